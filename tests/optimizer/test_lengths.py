"""Lengths as people type and read them. The inch is 25.4 mm exactly (international yard and pound, 1959)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scans.units import QUANTITIES, LengthError, feet_text, fraction_text, inches_text, parse_length_m, parse_quantity


@pytest.mark.parametrize(
    ("text", "length_m"),
    [
        ("9 ft 8 in", 2.9464),
        ("9' 8\"", 2.9464),
        ("9’8”", 2.9464),
        ('38 1/2"', 0.9779),
        ("38-1/2 in", 0.9779),
        ("1/16 in", 0.0015875),
        ("0.95 m", 0.95),
        (".95m", 0.95),
        ("95 cm", 0.95),
        ("950 MM", 0.95),
        ("1 m 5 cm", 1.05),
        ("2 feet, 3 inches", 0.6858),
        ("-1/4 in", -0.00635),
        ("+3 in", 0.0762),
        ("0", 0.0),
        ("0.0", 0.0),
    ],
)
def test_lengths_are_read(text: str, length_m: float) -> None:
    assert parse_length_m(text) == pytest.approx(length_m, abs=1e-15)


@pytest.mark.parametrize(
    "text",
    ["", "  ", "38", "38 1/2", "in", "8 in 9 ft", "9 ft 8 ft", "9 ft 8", "3 yd", "1/0 in", "9 ft - 8 in", "1,5 m",
     "nan m",
     "1e3 m", "5 mi"],
)  # fmt: skip
def test_what_is_no_length_is_refused_with_ways_to_write_it(text: str) -> None:
    with pytest.raises(LengthError, match=r'write it like|write "9 ft 8 in"$'):
        parse_length_m(text)


@pytest.mark.parametrize(
    ("text", "bare_unit", "length_m"),
    [("20", "in", 0.508), ("-20 1/2", "in", -0.5207), ("9", "ft", 2.7432), ("530", "mm", 0.53), ("20 cm", "in", 0.2),
     ("0", "in", 0.0)],
)  # fmt: skip
def test_a_bare_number_is_in_the_unit_that_stands_beside_it(text: str, bare_unit: str, length_m: float) -> None:
    assert parse_length_m(text, bare_unit) == pytest.approx(length_m, abs=1e-15)


def test_the_end_of_a_length_is_no_bare_number() -> None:
    with pytest.raises(LengthError, match='write "9 ft 8 in"'):
        parse_length_m("9 ft 8", "mm")


@pytest.mark.parametrize(
    ("value", "denominator", "text"),
    [
        (17.625, 16, "17 5/8"),
        (0.1875, 16, "3/16"),
        (0.0, 16, "0"),
        (-0.01, 16, "0"),
        (-1.5, 16, "-1 1/2"),
        (2.97, 16, "3"),
        (2.5, 1, "3"),
        (0.03125, 16, "1/16"),
        (0.03125, 32, "1/32"),
    ],
)
def test_numbers_are_shown_as_a_tape_shows_them(value: float, denominator: int, text: str) -> None:
    assert fraction_text(value, denominator) == text


@pytest.mark.parametrize(
    ("length_m", "text"),
    [
        (2.9464, "9 ft 8 in"),
        (0.3048, "1 ft"),
        (0.2540, "10 in"),
        (0.3047, "1 ft"),
        (-0.3302, "-1 ft 1 in"),
        (0.0, "0 in"),
    ],
)
def test_feet_and_inches(length_m: float, text: str) -> None:
    assert feet_text(length_m) == text


@given(st.integers(-64 * 400, 64 * 400))
def test_what_is_shown_is_read_again(sixty_fourths: int) -> None:
    length_m = sixty_fourths / 64 * 0.0254

    assert parse_length_m(inches_text(length_m, 64)) == pytest.approx(length_m, abs=1e-12)
    assert parse_length_m(feet_text(length_m, 64)) == pytest.approx(length_m, abs=1e-12)


@given(st.text(max_size=20))
def test_any_text_is_a_length_or_refused(text: str) -> None:
    try:
        length_m = parse_length_m(text)
    except LengthError:
        return

    assert isinstance(length_m, float)


@pytest.mark.parametrize(
    ("ending", "text", "value"),
    [
        ("_kg", "8800 lb", 8800 * 0.45359237),
        ("_kg", "8,800.5 Pounds", 8800.5 * 0.45359237),
        ("_kg", "4000kg", 4000.0),
        ("_kg", "4 t", 4000.0),
        ("_kg", "1 1/2 t", 1500.0),
        ("_kg", "-5 kg", -5.0),
        ("_kg", "0", 0.0),
        ("_m2_per_min", "5 ft2/min", 5 * 0.3048**2),
        ("_m2_per_min", "5 ft²/min", 5 * 0.3048**2),
        ("_m2_per_min", "5 sq ft / minute", 5 * 0.3048**2),
        ("_m2_per_min", ".5 m2/min", 0.5),
        ("_m_per_min", "10 ft/min", 3.048),
        ("_m_per_min", "3 m/min", 3.0),
    ],
)
def test_other_quantities_as_people_type_them(ending: str, text: str, value: float) -> None:
    """The pound is 0.45359237 kg exactly (international yard and pound, 1959)."""
    assert parse_quantity(text, QUANTITIES[ending]) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("ending", QUANTITIES)
@pytest.mark.parametrize("text", ["", " ", "5", "5 parsecs", "5 m", "lb", "5 5 lb/min", "1/0 kg", "1e3 kg", "9" * 5000])
def test_what_is_no_such_quantity_is_refused_in_one_line(ending: str, text: str) -> None:
    with pytest.raises(LengthError) as caught:
        parse_quantity(text, QUANTITIES[ending])

    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 200
