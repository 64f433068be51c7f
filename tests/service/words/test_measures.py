"""Measures as people read them."""

import pytest
from plan_documents import a_mill

from service.words.layout import aligned
from service.words.measures import Measures, board_feet_text, minutes_text
from service.words.turn_words import turn_column, turn_in_full, turn_words
from service.words.units import Units

INCH_M = 0.0254


def imperial(**changes: object) -> Measures:
    return Measures(Units.IMPERIAL, a_mill(**changes), "USD")


def metric(**changes: object) -> Measures:
    return Measures(Units.METRIC, a_mill(**changes), "EUR")


@pytest.mark.parametrize(
    ("changes", "height_in", "text"),
    [
        ({}, 17.625, "17 5/8"),
        ({"scale_zero": "1 1/2 in"}, 17.625, "16 1/8"),
        ({"scale_zero": "-1/32 in"}, 17.625, "17 21/32"),
        ({"height_step": "1/8 in"}, 17.625, "17 5/8"),
        ({"height_step": "1 in"}, 17.0, "17"),
        ({"height_step": "1 mm"}, 17.0 + 1 / 25.4, "17.039"),
    ],
)
def test_a_reading_is_the_height_less_the_scales_zero_at_the_mills_step(
    changes: dict[str, str], height_in: float, text: str
) -> None:
    assert imperial(**changes).reading(height_in * INCH_M) == text


@pytest.mark.parametrize(
    ("changes", "height_m", "text"),
    [({"height_step": "1 mm"}, 0.448, "448"), ({}, 17.625 * INCH_M, "447.7"),
     ({"height_step": "1 mm", "scale_zero": "3 mm"}, 0.448, "445")],
)  # fmt: skip
def test_a_metric_reading_is_in_millimetres(changes: dict[str, str], height_m: float, text: str) -> None:
    assert metric(**changes).reading(height_m) == text


@pytest.mark.parametrize(
    ("amount", "dollars", "euros", "difference"),
    [(1234.5, "$1,235", "1,235 EUR", "+$1,235"), (-56.4, "-$56", "-56 EUR", "-$56"), (-0.4, "$0", "0 EUR", "+$0")],
)
def test_money(amount: float, dollars: str, euros: str, difference: str) -> None:
    assert imperial().money(amount) == dollars
    assert metric().money(amount) == euros
    assert imperial().difference(amount) == difference
    assert imperial().amount(amount) == dollars
    assert f"{metric().amount(amount)} {metric().amount_unit}" == euros


@pytest.mark.parametrize(("board_feet", "text"), [(38.24, "38.0"), (38.25, "38.5"), (0.0, "0.0"), (1234.8, "1,235.0")])
def test_board_feet_are_shown_to_the_nearest_half_foot(board_feet: float, text: str) -> None:
    assert board_feet_text(board_feet) == text


@pytest.mark.parametrize(("inches", "text"), [(97.99, "8 ft 1 in"), (98.0, "8 ft 2 in"), (98.999, "8 ft 2 in")])
def test_a_slab_is_never_said_to_be_longer_than_it_is(inches: float, text: str) -> None:
    assert imperial().slab_length(inches * INCH_M) == text


def test_a_slab_is_never_said_to_be_longer_than_it_is_in_metres() -> None:
    assert metric().slab_length(2.4999) == "2.49 m"
    assert metric().slab_length(2.5) == "2.50 m"


def test_masses_stand_beside_lift_masses() -> None:
    assert metric().mass_and_lift(80.0) == "80/100"
    assert imperial().mass_and_lift(80.0) == "176/220"


@pytest.mark.parametrize(
    ("roll_deg", "said", "in_a_column"),
    [(0.0, "as it lies", "0"), (359.9, "as it lies", "0"), (35.2, "35 degrees clockwise", "35 cw"),
     (180.0, "180 degrees clockwise", "180 cw"), (180.6, "179 degrees counterclockwise", "179 ccw"),
     (325.0, "35 degrees counterclockwise", "35 ccw"), (359.0, "1 degree counterclockwise", "1 ccw")],
)  # fmt: skip
def test_a_roll_is_said_as_the_smaller_turn_and_its_side(roll_deg: float, said: str, in_a_column: str) -> None:
    assert turn_words(roll_deg) == said
    assert turn_in_full(roll_deg) == (said if in_a_column == "0" else f"{said}, looking at the butt")
    assert turn_column(roll_deg) == in_a_column


def test_minutes() -> None:
    assert minutes_text(44.6) == "45 min"
    assert minutes_text(125.0) == "2 h 5 min"


def test_readings_are_set_with_their_whole_inches_below_one_another() -> None:
    assert aligned(["29", "26 11/16", "1 3/8", "5/8"]) == ["29      ", "26 11/16", "1 3/8  ", " 5/8  "]
    assert aligned(["736.6", "29"]) == ["736.6", "29"]
