"""Quantities as people type and read them: `9 ft 8 in`, `0.95 m`; `8800 lb`, `5 ft2/min`, `0.15 per ft2`.

The inch is 25.4 mm exactly (international inch, 1959).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from scans.messages import Refusal, long_length, quoted

INCH_M = 0.0254
FOOT_M = 0.3048
POUND_KG = 0.45359237

_UNITS_M = {
    "m": 1.0, "meter": 1.0, "meters": 1.0, "metre": 1.0, "metres": 1.0,
    "cm": 0.01, "mm": 0.001,
    "in": INCH_M, "inch": INCH_M, "inches": INCH_M, '"': INCH_M, "″": INCH_M, "”": INCH_M, "''": INCH_M,
    "ft": FOOT_M, "foot": FOOT_M, "feet": FOOT_M, "'": FOOT_M, "′": FOOT_M, "’": FOOT_M,
}  # fmt: skip
_NUMBER = r"(?:\d+[ -]+\d+/\d+|\d+/\d+|\d*\.\d+|\d+\.?)"
_UNIT = "|".join(sorted((re.escape(unit) for unit in _UNITS_M), key=len, reverse=True))
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})(?![a-z])\s*,?", re.IGNORECASE)
MOST_M = 10_000.0
"""Nothing here is so long: a slip of whoever typed it."""
_MOST_LETTERS = 60
_UNREADABLE = "isn't a length I can read"
_EXAMPLES = 'write it like 9 ft 8 in, 38 1/2", 0.95 m or 95 cm'


class LengthError(Refusal):
    """A text that is no length, or not the quantity that is asked for."""


@dataclass(frozen=True)
class Quantity:
    """A kind of quantity that is typed as one number and one unit.

    noun : what it is. si : its unit in SI, in words. units : its units, each in SI. examples : how to write it.
    """

    noun: str
    si: str
    units: Mapping[str, float]
    examples: str


QUANTITIES: Mapping[str, Quantity] = {
    "_m2_per_min": Quantity(
        "sawing rate",
        "square meters a minute",
        {"ft2/min": FOOT_M**2, "sq ft/min": FOOT_M**2, "m2/min": 1.0},
        "write it as 5 ft2/min or 0.5 m2/min",
    ),
    "_m_per_min": Quantity(
        "speed", "meters a minute", {"ft/min": FOOT_M, "m/min": 1.0}, "write it as 10 ft/min or 3 m/min"
    ),
    "_per_m2": Quantity(
        "cost of an area",
        "money a square meter",
        {
            "per ft2": 1.0 / FOOT_M**2,
            "per sq ft": 1.0 / FOOT_M**2,
            "per square foot": 1.0 / FOOT_M**2,
            "/ft2": 1.0 / FOOT_M**2,
            "per m2": 1.0,
            "/m2": 1.0,
        },
        "write it as 0.15 per ft2 or 1.60 per m2",
    ),
    "_per_kg": Quantity(
        "price of a weight",
        "money a kilogram",
        {"per lb": 1.0 / POUND_KG, "/lb": 1.0 / POUND_KG, "per kg": 1.0, "/kg": 1.0, "per t": 0.001, "/t": 0.001},
        "write it as 0.02 per lb or 0.05 per kg",
    ),
    "_kg": Quantity(
        "weight",
        "kilograms",
        {"lb": POUND_KG, "lbs": POUND_KG, "pound": POUND_KG, "pounds": POUND_KG, "kg": 1.0, "t": 1000.0},
        "write it as 8800 lb, 4000 kg or 4 t",
    ),
}
"""By the ending that the name of such a field has; lengths, which take feet and inches together, end in `_m`."""
_ONE = re.compile(rf"(?P<number>\d{{1,3}}(?:,\d{{3}})+(?:\.\d+)?|{_NUMBER})\s*(?P<unit>.*)")


def parse_quantity(text: str, quantity: Quantity) -> float:
    """Read one number and its unit, in SI. A bare 0 needs no unit.

    Raises LengthError for everything else, with the text and ways to write it.
    """
    stripped = text.strip()
    shown = quoted(stripped)
    if not stripped:
        raise LengthError(f"the {quantity.noun} is empty; {quantity.examples}")
    negative = stripped.startswith("-")
    found = _ONE.fullmatch(re.sub(r"^[+-]\s*", "", stripped)) if len(stripped) <= _MOST_LETTERS else None
    if found is None:
        raise LengthError(f'"{shown}" is no {quantity.noun}; {quantity.examples}')
    number = _number(found["number"].replace(",", ""))
    unit = re.sub(r"\s*/\s*", "/", found["unit"].lower().replace("²", "2")).replace("minute", "min")
    if not unit and number == 0.0:
        return 0.0
    if not unit:
        raise LengthError(f'"{shown}" has no unit; {quantity.examples}')
    if unit not in quantity.units:
        raise LengthError(f'"{shown}" is no {quantity.noun}; {quantity.examples}')
    return (-number if negative else number) * quantity.units[unit]


def _number(text: str) -> float:
    whole, _, fraction = text.replace("-", " ").rpartition(" ")
    try:
        return float(Fraction(whole or 0) + Fraction(fraction))
    except ZeroDivisionError:
        raise LengthError(f'"{text}" divides by nothing', _EXAMPLES) from None


def parse_length_m(text: str, bare_unit: str | None = None) -> float:
    """Read a length with its unit, MOST_M at most. [m].

    Feet and inches may stand together; fractions follow a blank or a dash. A bare 0 needs no unit, and another bare
    number none where `bare_unit` says what it is in. Raises LengthError for everything else, with the text and ways to
    write it.
    """
    stripped = text.strip()
    if not stripped:
        raise LengthError("the length is empty", _EXAMPLES)
    if len(stripped) > _MOST_LETTERS:
        raise LengthError(f'"{quoted(stripped)}" {_UNREADABLE}', _EXAMPLES)
    length_m = _length_m(stripped, bare_unit)
    if abs(length_m) > MOST_M:
        raise LengthError(f'"{stripped}" is over {long_length(MOST_M)}', "check the number and its unit")
    return length_m


def _length_m(stripped: str, bare_unit: str | None) -> float:
    sign = -1.0 if stripped.startswith("-") else 1.0
    rest = re.sub(r"^[+-]\s*", "", stripped)
    if re.fullmatch(_NUMBER, rest):
        number = _number(rest)
        if number == 0.0:
            return 0.0
        if bare_unit is not None:
            return sign * number * _UNITS_M[bare_unit]
        raise LengthError(f'"{stripped}" has no unit', _EXAMPLES)
    total_m, position, last_unit_m = 0.0, 0, float("inf")
    while position < len(rest):
        part = _PART.match(rest, position)
        if part is None:
            slip = _no_unit_after(stripped, rest[position:].strip(), last_unit_m)
            raise slip or LengthError(f'"{quoted(stripped)}" {_UNREADABLE}', _EXAMPLES)
        unit_m = _UNITS_M[part["unit"].lower()]
        if unit_m >= last_unit_m:
            raise LengthError(f'"{stripped}" {_UNREADABLE}: units must go from large to small', _EXAMPLES)
        total_m += _number(part["number"]) * unit_m
        position, last_unit_m = part.end(), unit_m
    return sign * total_m


def _no_unit_after(text: str, left: str, last_unit_m: float) -> LengthError | None:
    """Return what is wrong where a number without a unit follows a whole length: 9 ft 9; None for other slips."""
    smaller = {FOOT_M: "in", 1.0: "cm"}.get(last_unit_m)
    if smaller is None or not re.fullmatch(_NUMBER, left):
        return None
    return LengthError(f'"{text}" has no unit after {left}', f'write "{text} {smaller}"')


def fraction_text(value: float, denominator: int = 16) -> str:
    """Write a number as a tape shows it, to the nearest 1/`denominator`: 17 5/8, 3/16, 0."""
    parts = floor(abs(value) * denominator + 0.5)
    whole, rest = divmod(parts, denominator)
    sign = "-" if value < 0 and parts else ""
    if not rest:
        return f"{sign}{whole}"
    fraction = Fraction(rest, denominator)
    shown = f"{fraction.numerator}/{fraction.denominator}"
    return f"{sign}{whole} {shown}" if whole else f"{sign}{shown}"


def inches_text(length_m: float, denominator: int = 16) -> str:
    """Write a length in inches and fractions: `17 5/8 in`."""
    return f"{fraction_text(length_m / INCH_M, denominator)} in"


def feet_text(length_m: float, denominator: int = 2) -> str:
    """Write a length in feet and inches: `9 ft 8 1/2 in`; under a foot, in inches alone."""
    parts = floor(abs(length_m) / INCH_M * denominator + 0.5)
    feet, rest = divmod(parts, 12 * denominator)
    inches = fraction_text(rest / denominator, denominator)
    sign = "-" if length_m < 0 and parts else ""
    if not feet:
        return f"{sign}{inches} in"
    return f"{sign}{feet} ft" if not rest else f"{sign}{feet} ft {inches} in"
