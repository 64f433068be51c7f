"""The scale of a scan, corrected by the log's length as a tape gives it."""

from scans.errors import ScanError
from scans.messages import Note, long_length, named

MOST_OFF = 0.2
"""A scan farther off than this share has another unit, or the tape measured something else."""
INCHES_PER_FOOT = 12.0


def taped_scale(length_m: float, taped_length_m: float | None, notes: list[Note]) -> float:
    """Return what makes a log of `length_m` as long as the tape says, 1 without one; say it first of all notes.

    Raises ScanError where the two lengths are more than a fifth apart.
    """
    if taped_length_m is None:
        return 1.0
    if not taped_length_m > 0.0:
        raise ScanError(
            f"{named('taped_length')} must be over 0, got {long_length(taped_length_m)}", field="taped_length"
        )
    factor = taped_length_m / length_m
    if not 1.0 / (1.0 + MOST_OFF) <= factor <= 1.0 + MOST_OFF:
        times = max(factor, 1.0 / factor)
        far = f"{times:.1f} times as long" if times >= 2.0 else f"{100.0 * (times - 1.0):.0f}% longer"
        longer = "the taped length" if factor > 1.0 else "the scan"
        in_feet_m = INCHES_PER_FOOT * taped_length_m
        if 1.0 / (1.0 + MOST_OFF) <= in_feet_m / length_m <= 1.0 + MOST_OFF:
            in_feet = f'"{long_length(in_feet_m)}"'
            mend = f"if you meant feet, write {named('taped_length', in_feet)}"
        else:
            mend = "give the whole length with its units, in feet and inches or in meters"
        raise ScanError(
            f"the tape says {long_length(taped_length_m)}, the scan's log is about {long_length(length_m)} long: "
            f"{longer} is {far}",
            f"{mend}; if the tape is right, choose another {named('unit')} or {named('pick')}",
            field="taped_length",
        )
    notes.insert(
        0,
        Note(
            "scaled_by_tape",
            f"The scan's {long_length(length_m)} were made the tape's {long_length(taped_length_m)}: "
            f"{100.0 * (factor - 1.0):+.1f}%.",
        ),
    )
    return factor
