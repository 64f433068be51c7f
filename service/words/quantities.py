"""Quantities of notes, cautions and refusals, which hold them as SI in braces, in the reader's units."""

import re
from math import isfinite, isnan

from scans.units import INCH_M, fraction_text
from service.words.measures import fixed, measures_in
from service.words.units import Units

_QUANTITY = re.compile(r"\{(-?\d+(?:\.\d+)?|nan|-?inf) (m|dm|cm|mm|kg)\}")
_ON_A_TAPE_M = 0.0001
"""What a sixteenth may be off and still be exact; else it takes a 64th."""


def in_units(text: str, units: Units) -> str:
    """Return a text with its quantities in the reader's units: `{2.95 m}` becomes `9 ft 8 in`, or `2.95 m`."""
    measures = measures_in(units)

    def said(found: re.Match[str]) -> str:
        value = float(found[1])
        if not isfinite(value):
            return "no number" if isnan(value) else "no limit"
        match found[2]:
            case "kg":
                return f"{measures.mass(value)} {measures.mass_unit}"
            case "m":
                return measures.long(value)
            case "dm":
                return f"{measures.width(value / 10.0)} {measures.reading_unit}"
            case "cm":
                return measures.short(value / 100.0)
        return _exact(value / 1000.0, units)

    return _QUANTITY.sub(said, text)


def _exact(length_m: float, units: Units) -> str:
    if units is Units.METRIC:
        return f"{fixed(1000.0 * length_m, 1).removesuffix('.0')} mm"
    inches = length_m / INCH_M
    is_sixteenths = abs(round(16.0 * inches) / 16.0 - inches) * INCH_M <= _ON_A_TAPE_M
    return f"{fraction_text(inches, 16 if is_sixteenths else 64)} in"


def in_si(text: str) -> str:
    """Return a text with its quantities in SI, as programs read it: without the braces."""
    return _QUANTITY.sub(r"\1 \2", text)
