"""What people type: unknown fields, lengths in both ways, one line for each error, and the JSON schema."""

from typing import Any

import pytest
from plan_documents import a_document
from pydantic import Field, ValidationError

from optimizer.documents.mill import Mill
from optimizer.documents.plan import SCHEMA, PlanError, read_plan
from optimizer.documents.prices import PriceBook
from optimizer.documents.typed import Typed, one_line

MILL: dict[str, Any] = {"throat": "56 in", "kerf_m": 0.0016, "height_step": "1/16 in"}
BOOK: dict[str, Any] = {
    "per_board_foot": [{"species": "sugar maple", "quarters": 8, "price": 7}],
    "limits": {"min_width": "8 in", "min_length_m": 1.2},
}


class Part(Typed):
    """A part to test with."""

    at_m: float = Field(ge=0, description="Where.")


class Whole(Typed):
    """A whole to test with."""

    part: tuple[Part, ...] = ()
    width_m: float | None = Field(None, gt=0, description="How wide.")


def problem(model: type[Typed], data: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(data)
    return one_line(caught.value)


def test_lengths_are_taken_as_text_or_in_metres() -> None:
    mill = Mill.model_validate(MILL)

    assert mill.throat_m == pytest.approx(1.4224)
    assert mill.kerf_m == 0.0016


def test_other_quantities_are_taken_as_text_or_in_si() -> None:
    pace = {"sawing_rate": "5 ft2/min", "feed_max": "10 ft/min"}
    mill = Mill.model_validate(MILL | {"max_log_mass": "8800 lb", "loader_limit_kg": 700, "pace": pace})

    assert mill.max_log_mass_kg == pytest.approx(3991.6, abs=0.1)
    assert mill.loader_limit_kg == 700
    assert mill.pace.sawing_rate_m2_per_min == pytest.approx(0.4645, abs=1e-4)
    assert mill.pace.feed_max_m_per_min == pytest.approx(3.048)


@pytest.mark.parametrize(
    ("typed", "per_m2"),
    [("0.15 per ft2", 1.6146), ("0.15/sq ft", None), ("1.60 per m2", 1.6), ("0.15 per ft²", 1.6146)],
)
def test_what_an_area_costs_is_typed_with_its_unit(typed: str, per_m2: float | None) -> None:
    pace = {"blade_cost": typed}
    if per_m2 is None:
        assert problem(Mill, MILL | {"pace": pace}).endswith("write it as 0.15 per ft2 or 1.60 per m2")
    else:
        assert Mill.model_validate(MILL | {"pace": pace}).pace.blade_cost_per_m2 == pytest.approx(per_m2, abs=1e-4)


def test_what_a_weight_brings_is_typed_with_its_unit() -> None:
    book = PriceBook.model_validate(BOOK | {"money": {"offcut": "0.02 per lb"}})

    assert book.money.offcut_per_kg == pytest.approx(0.02 / 0.45359237)


def test_a_book_of_before_has_one_table_of_drying_for_every_thickness() -> None:
    book = PriceBook.model_validate(BOOK | {"drying": {"cost_per_board_foot": 0.8}})

    assert [book.drying_of(quarters).cost_per_board_foot for quarters in (4, 8, 16)] == [0.8, 0.8, 0.8]
    assert book.kept_share(book.drying_of(8)) == 1.0


def test_drying_without_a_row_is_worked_out_from_the_nearest() -> None:
    rows = [{"quarters": 8, "cost_per_board_foot": 1.0, "months": 10, "lost": 0.05}, {"quarters": 12, "months": 30}]
    book = PriceBook.model_validate(BOOK | {"drying": rows, "money": {"yearly_rate": 0.1}})
    thin, thick = book.drying_of(4), book.drying_of(16)

    # (4/8)^1.8 = 0.2872, (16/12)^1.8 = 1.6784
    assert (thin.cost_per_board_foot, thin.months, thin.lost) == pytest.approx((0.2872, 2.872, 0.05), abs=1e-3)
    assert thick.months == pytest.approx(50.35, abs=0.01)
    assert book.kept_share(book.drying_of(8)) == pytest.approx(0.95 * 1.1 ** (-10 / 12))


def test_the_schema_offers_other_quantities_in_both_ways() -> None:
    assert {"max_log_mass", "max_log_mass_kg"} <= set(Mill.model_json_schema()["properties"])


def test_what_is_left_out_sets_no_limit() -> None:
    mill = Mill.model_validate(MILL)

    assert mill.highest_blade_m is None
    assert mill.max_prop_m == pytest.approx(0.3048)
    assert mill.clamps_hold is False
    assert mill.pace.minutes_per_roll == 0.0

    assert mill.bed_length_m is None
    assert mill.pace.minutes_per_pass == 0.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"throet": "56 in"}, "did you mean throat?"),
        ({"zzzz": 1}, "it may hold"),
        ({"throat_m": 1.4}, "throat and throat_m are both given"),
        ({"throat_m": "56 in", "throat": None}, "throat_m takes a number in meters"),
        ({"throat": 56}, "throat = 56 has no unit"),
        ({"throat": "56"}, "has no unit"),
        ({"throat": "56 parsecs"}, "isn't a length I can read"),
        ({"throat": "-56 in"}, "throat_m must be over 0"),
        ({"max_log_mass_kg": float("inf")}, "max_log_mass_kg"),
        ({"max_log_mass": 8800}, 'max_log_mass = 8800 has no unit; write max_log_mass = "8800 lb"'),
        ({"max_log_mass": "8800"}, "has no unit"),
        ({"max_log_mass": "8800 ft"}, "is no weight"),
        ({"max_log_mass": "8800 lb", "max_log_mass_kg": 4000}, "max_log_mass and max_log_mass_kg are both given"),
        ({"max_log_mass_kg": "8800 lb"}, "max_log_mass_kg takes a number in kilograms; with a unit write max_log_mass"),
        ({"max_log_mass": "-1 lb"}, "max_log_mass_kg must be over 0"),
        ({"pace": {"sawing_rate": "5 ft/min"}}, "is no sawing rate"),
        ({"pace": {"feed_max": "5 ft2/min"}}, "is no speed"),
        ({"pace": {"feed_max": 5}}, "feed_max_m_per_min in meters a minute"),
        ({"pace": {"minutes_per_pas": 3}}, "pace: 'minutes_per_pas' is not known here; did you mean minutes_per_pass?"),
        ({"pace": {"hourly_rate": "lots"}}, "pace.hourly_rate"),
    ],
)
def test_a_wrong_mill_is_refused_in_one_line(change: dict[str, Any], said: str) -> None:
    data = MILL | change
    if "throat" in change and change["throat"] is None:
        del data["throat"]

    line = problem(Mill, data)

    assert said in line
    assert "\n" not in line


def test_what_is_missing_is_named_as_it_may_be_typed() -> None:
    assert problem(Mill, {"kerf_m": 0.001, "height_step_m": 0.001}) == "throat is missing; add it"


def test_the_place_in_a_list_is_counted_from_one() -> None:
    assert problem(Whole, {"part": [{"at": "1 in"}, {"at": "-1 in"}]}).startswith("part[2].at_m must be")


def test_a_frozen_document_cannot_be_changed() -> None:
    mill = Mill.model_validate(MILL)

    with pytest.raises(ValidationError):
        mill.throat_m = 2.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"per_board_foot": []}, "per_board_foot"),
        ({"per_board_foot": [{"species": "sugar mapel", "quarters": 8, "price": 7}]}, "maple, sugar"),
        ({"per_board_foot": BOOK["per_board_foot"] * 2}, "more than once"),
        (
            {"limits": {"min_width": "8 in", "min_length": "4 ft", "max_length": "3 ft"}},
            "max_length_m must be at least",
        ),
        ({"width_factor": [{"at_m": 0.5, "factor": 1}, {"at_m": 0.5, "factor": 2}]}, "must rise"),
        ({"deduct": {"heart": 1.5}}, "deduct.heart"),
        ({"drying": [{"quarters": 8}, {"quarters": 8, "months": 3}]}, "for 8/4"),
        ({"tally": {"face": "top"}}, "tally.face must be both, narrow, wide or mean, got 'top'"),
    ],
)
def test_a_wrong_price_book_is_refused_in_one_line(change: dict[str, Any], said: str) -> None:
    line = problem(PriceBook, BOOK | change)

    assert said in line
    assert "\n" not in line


def test_species_are_held_as_the_table_names_them() -> None:
    assert PriceBook.model_validate(BOOK).per_board_foot[0].species == "maple, sugar"


@pytest.mark.parametrize(
    ("priced", "species", "price"),
    [
        ({"oak": 3.0, "any": 1.0}, "oak, white", 3.0),
        ({"oak": 3.0, "red oak": 4.0, "any": 1.0}, "oak, northern red", 4.0),
        ({"oak": 3.0, "red oak": 4.0, "northern red oak": 5.0}, "oak, northern red", 5.0),
        ({"oak": 3.0, "any": 1.0}, "red oak", 3.0),
        ({"northern red oak": 5.0, "any": 1.0}, "red oak", 1.0),
        ({"oak": 3.0, "any": 1.0}, "unknown", 1.0),
    ],
)
def test_a_wood_without_a_price_of_its_own_has_its_groups(priced: dict[str, float], species: str, price: float) -> None:
    rows = [{"species": name, "quarters": 8, "price": amount} for name, amount in priced.items()]
    book = PriceBook.model_validate(BOOK | {"per_board_foot": rows})

    assert [row.price for row in book.rows_for(species)] == [price]


def test_the_schema_offers_a_length_in_both_ways() -> None:
    schema = Part.model_json_schema()

    assert set(schema["properties"]) == {"at", "at_m"}
    assert schema["additionalProperties"] is False
    assert "required" not in schema or "at_m" not in schema["required"]
    assert schema["allOf"] == [{"oneOf": [{"required": ["at_m"]}, {"required": ["at"]}]}]


def test_a_plan_document_is_read_back_as_it_was() -> None:
    document = a_document()

    again, warnings = read_plan(document.model_dump(mode="json"))

    assert again.model_dump_json() == document.model_dump_json()
    assert warnings == ()


def test_a_plan_of_a_newer_minor_version_is_read_with_a_warning() -> None:
    data = a_document().model_dump(mode="json") | {"schema": "pithline.plan/1.9", "new_field": 1}

    again, warnings = read_plan(data)

    assert again.log == a_document().log
    assert len(warnings) == 1


@pytest.mark.parametrize(("tried_rolls", "kind"), [(True, "searched"), (False, "own_way")])
def test_a_document_kept_before_documents_said_what_they_are_is_read(tried_rolls: bool, kind: str) -> None:
    data = a_document().model_dump(mode="json")
    del data["kind"], data["made"]
    data["value_by_roll"] = data["value_by_roll"] if tried_rolls else []

    again, _ = read_plan(data)

    assert (again.kind, again.made) == (kind, 0)


def test_a_document_is_what_it_says_and_not_what_its_rolls_suggest() -> None:
    data = a_document().model_dump(mode="json") | {"kind": "rest", "made": 3}

    again, _ = read_plan(data)

    assert (again.kind, again.made) == ("rest", 3)


@pytest.mark.parametrize("schema", ["pithline.plan/2.0", "pithline.plan/1.x", "something/1.0", "", None])
def test_another_document_is_refused(schema: str | None) -> None:
    data = a_document().model_dump(mode="json") | {"schema": schema}

    with pytest.raises(PlanError, match="plan the log again"):
        read_plan(data)


def test_a_plan_with_a_field_missing_is_refused_by_its_name() -> None:
    data = a_document().model_dump(mode="json")
    del data["plans"][0]["roll_deg"]

    with pytest.raises(PlanError, match=r"plans\[1\]\.roll_deg"):
        read_plan(data)
    assert data["schema"] == SCHEMA
