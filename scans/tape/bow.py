"""How far a stem bends, from the widest gap under a string along its hollow side."""

import numpy as np

from scans.errors import sheet_error
from scans.log import FloatArray
from scans.messages import short_length

_FLARE_SLACK_M = 0.02
"""A butt flare alone may leave this much more gap than was measured before the sheet contradicts itself. [m]."""


def bent_line(at_m: FloatArray, reach_m: FloatArray, gap_m: float, where_m: float) -> tuple[FloatArray, FloatArray]:
    """Return how far the centre line lies away from the hollow at each station (N,) [m], and its slope (N,).

    at_m : (N,) stations from end to end. [m]
    reach_m : (N,) from the centre to the surface on the hollow side, square to the line. [m]
    gap_m, where_m : the widest gap between surface and string, and where. [m]

    The line is two parabolas that meet at its deepest point without a kink and end at 0. Its depth makes
    the widest gap `gap_m`; its deepest point is put where that gap then lies nearest to `where_m`. Taper
    and butt flare leave a gap of their own under the string, and it is reckoned with.

    Raises SheetError where the taper alone leaves a wider gap than was measured.
    """
    length = float(at_m[-1])
    best = (np.inf, np.zeros(len(at_m)), np.zeros(len(at_m)))
    for deepest in np.linspace(0.05, 0.95, 181) * length:
        shape, slope = _two_parabolas(at_m, float(deepest))
        depth = _depth_for(at_m, reach_m, gap_m, shape, slope)
        gaps = gap_under_string(at_m, reach_m * np.hypot(1.0, depth * slope) - depth * shape)
        missed = abs(float(at_m[np.argmax(gaps)]) - where_m) + 1e-3 * abs(float(deepest) - where_m)
        if missed < best[0]:
            best = (missed, depth * shape, depth * slope)
    return best[1], best[2]


def gap_under_string(at_m: FloatArray, surface_m: FloatArray) -> FloatArray:
    """Gap (N,) between a surface (N,) and the straight line between its ends. [m]."""
    line = np.interp(at_m, at_m[[0, -1]], surface_m[[0, -1]])
    return np.asarray(line - surface_m)


def _two_parabolas(at_m: FloatArray, deepest_m: float) -> tuple[FloatArray, FloatArray]:
    """Shape 1 deep at its deepest and 0 at the ends, and its slope."""
    arm = np.where(at_m < deepest_m, deepest_m, at_m[-1] - deepest_m)
    share = (at_m - deepest_m) / arm
    return 1.0 - share**2, -2.0 * share / arm


def _depth_for(at_m: FloatArray, reach_m: FloatArray, gap_m: float, shape: FloatArray, slope: FloatArray) -> float:
    """Depth at which the widest gap under the string is `gap_m`. [m]."""
    without = float(gap_under_string(at_m, reach_m).max())
    if without >= gap_m:
        if without > gap_m + _FLARE_SLACK_M:
            raise sheet_error(
                "bow.gap",
                f"{short_length(gap_m)}, but the sections' taper alone leaves a gap of "
                f"{short_length(without)} under a "
                "string from end to end; measure the gap again, or leave the bow out",
            )
        return 0.0
    depth = gap_m - without
    for _ in range(30):
        gaps = gap_under_string(at_m, reach_m * np.hypot(1.0, depth * slope) - depth * shape)
        short = gap_m - float(gaps.max())
        depth += short
        if abs(short) < 1e-7:
            break
    return depth
