"""The scale of a scan, corrected by the log's length as a tape gives it."""

from typing import NamedTuple

from scans.errors import ScanError
from scans.log import FloatArray

MOST_OFF = 0.2
"""A scan farther off than this share has another unit, or the tape measured something else."""


class ScaledPoints(NamedTuple):
    """Points (N, 3) at the tape's scale, what they were multiplied by, and one line about it. [m]."""

    points_m: FloatArray
    factor: float
    note: str


def scaled_to_length(points_m: FloatArray, length_m: float, taped_length_m: float) -> ScaledPoints:
    """Return points (N, 3) scaled about the origin so that a log of `length_m` has the taped length.

    Raises ScanError where the two lengths are more than a fifth apart.
    """
    if not taped_length_m > 0.0:
        raise ScanError(f"--taped-length must be over 0, got {taped_length_m:g} m")
    factor = taped_length_m / length_m
    if not 1.0 / (1.0 + MOST_OFF) <= factor <= 1.0 + MOST_OFF:
        raise ScanError(
            f"--taped-length says {taped_length_m:.3g} m and the scan {length_m:.3g} m, more than "
            f"{100.0 * MOST_OFF:.0f} % apart: measure the length again, or give --unit or --pick"
        )
    note = (
        f"scale: {length_m:.3f} m in the scan made {taped_length_m:.3f} m by the tape, {100.0 * (factor - 1.0):+.1f} %"
    )
    return ScaledPoints(points_m * factor, factor, note)
