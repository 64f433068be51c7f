"""A log known by two girths and a length alone, as at an auction or in a stranger's yard: a log sheet of two places."""

import hashlib
from collections.abc import Sequence

from scans.messages import named, quoted
from scans.tape.sheet_checks import LEAST_LENGTH_M, MOST_LENGTH_M
from service.typed.as_toml import as_toml
from service.typed.errors import InputError
from service.typed.files import FileRead
from service.typed.girths_along import girth_m_of, length_m_within
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
    around_m = [girth_m_of(typed, units.bare_unit) for typed in girths]
    long_m = length_m_within("length", length, LEAST_LENGTH_M, MOST_LENGTH_M, units.bare_unit)
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
