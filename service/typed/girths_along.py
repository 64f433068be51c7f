"""Girths as they are typed: one around a log, or several at places along it, such as `8 ft = 71 in`."""

from math import pi

from scans.fit.girths import GirthTaped
from scans.messages import long_length, named, quoted
from scans.tape.sheet_checks import LEAST_DIAMETER_M, MOST_DIAMETER_M, MOST_LENGTH_M
from scans.tape.sheet_doubt import RADIUS_READ_M
from scans.units import LengthError, parse_length_m
from service.typed.errors import InputError

MOST_GIRTHS = 20
_EACH = ","


def girths_along(text: str) -> tuple[GirthTaped, ...]:
    """Read girths at places along a log, parted by commas: `4 ft = 80 in, 8 ft = 71 in`. Raises InputError."""
    parts = [part.strip() for part in text.split(_EACH) if part.strip()] or [""]
    if len(parts) > MOST_GIRTHS:
        raise InputError(f"{named('girth')} takes at most {MOST_GIRTHS} places, got {len(parts)}", field="girth")
    found = []
    for part in parts:
        at, equals, around = part.partition("=")
        if not equals:
            raise InputError(
                f"{named('girth')} must say where and how far around, got {quoted(part) or 'nothing'}",
                f'give {named("girth")} a place from the butt end and a length, such as "8 ft = 71 in"',
                field="girth",
            )
        at_m = length_m_within("girth", at, 0.0, MOST_LENGTH_M)
        found.append(GirthTaped(at_m, girth_m_of(around), 2.0 * pi * RADIUS_READ_M))
    return tuple(found)


def girth_m_of(typed: str, bare_unit: str | None = None) -> float:
    """Read one girth. [m]. bare_unit : of a bare number. Raises InputError."""
    return length_m_within("girth", typed, pi * LEAST_DIAMETER_M, pi * MOST_DIAMETER_M, bare_unit)


def length_m_within(field: str, typed: str, least_m: float, most_m: float, bare_unit: str | None = None) -> float:
    """Read a length that has bounds. [m]. Raises InputError."""
    try:
        length_m = parse_length_m(typed, bare_unit)
    except LengthError as error:
        raise InputError(f"{named(field)}: {error.text}", error.mend, field=field) from None
    if not least_m <= length_m <= most_m:
        raise InputError(
            f"{named(field)} must be from {long_length(least_m)} to {long_length(most_m)}, got {quoted(typed.strip())}",
            "check the number and its unit",
            field=field,
        )
    return length_m
