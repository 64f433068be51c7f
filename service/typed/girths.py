"""A log known by two girths and a length alone, as at an auction or in a stranger's yard: a log sheet of two places."""

import hashlib
from collections.abc import Sequence
from math import pi

from scans.messages import long_length, named, quoted
from scans.tape.sheet_checks import LEAST_DIAMETER_M, LEAST_LENGTH_M, MOST_DIAMETER_M, MOST_LENGTH_M
from scans.units import LengthError, parse_length_m
from service.typed.as_toml import as_toml
from service.typed.errors import InputError
from service.typed.files import FileRead
from service.typed.log_reading import MESH_END_TRIM_M
from service.typed.log_sheet import LogSheetTyped, SectionTyped
from service.words.units import Units

GIRTHS = 2
TAPE_OVER_HOLLOWS = 0.015
"""What is taken off a girth. A tape spans hollows, and the butt's flare is not the log's: without it the bids on 10
invented stems were 4 % over the net of their best plans (tests/benchmarks/two_girths.py, seeds 40-50, 2026-11-30)."""


def sheet_of_girths(girths: Sequence[str], length: str, units: Units) -> FileRead:
    """Return the log sheet of two girths and a length; the larger girth is the butt's. Raises InputError.

    girths, length : as typed. units : what a bare number is in.
    """
    if len(girths) != GIRTHS:
        raise InputError(
            f"{named('girth')} is needed twice, at the butt and at the top, got {len(girths) or 'none'}",
            f'write it as {named("girth")} "9 ft 2 in" {named("girth")} "7 ft"',
            field="girth",
        )
    around_m = [_length_m("girth", typed, pi * LEAST_DIAMETER_M, pi * MOST_DIAMETER_M, units) for typed in girths]
    long_m = _length_m("length", length, LEAST_LENGTH_M, MOST_LENGTH_M, units)
    sheet = LogSheetTyped(
        name=f"Log {' and '.join(quoted(typed.strip()) for typed in girths)} around, {quoted(length.strip())} long",
        end_trim_m=MESH_END_TRIM_M,
        section=(
            SectionTyped(at_m=0.0, girth_m=max(around_m) * (1.0 - TAPE_OVER_HOLLOWS)),
            SectionTyped(at_m=long_m, girth_m=min(around_m) * (1.0 - TAPE_OVER_HOLLOWS)),
        ),
    )
    data = as_toml(sheet.model_dump(mode="json", exclude_unset=True)).encode()
    return FileRead("two girths and a length.toml", data, hashlib.sha256(data).hexdigest())


def _length_m(field: str, typed: str, least_m: float, most_m: float, units: Units) -> float:
    try:
        length_m = parse_length_m(typed, units.bare_unit)
    except LengthError as error:
        raise InputError(f"{named(field)}: {error.text}", error.mend, field=field) from None
    if not least_m <= length_m <= most_m:
        raise InputError(
            f"{named(field)} must be from {long_length(least_m)} to {long_length(most_m)}, got {quoted(typed.strip())}",
            "check the number and its unit",
            field=field,
        )
    return length_m
