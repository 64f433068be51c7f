"""The length of a long log that goes on the bed, crosscut at both ends."""

from collections.abc import Sequence
from math import ceil

import numpy as np

from optimizer.bed.buck_cuts import BuckCut, butt_cut, stem_cut
from optimizer.bed.sawn_layers import cut_meets
from scans.log import Log

STEP_M = 0.25
MOST_STRETCHES = 13
"""How far apart stretches begin, and how many are tried at the most (our own rules, no source)."""
SAME_POINT_M = 1e-9


def stretches_of(length_m: float, bed_length_m: float | None) -> list[tuple[float, float]]:
    """Return the stretches to try, each (from, to) along the log: the whole, or as long as the bed takes. [m].

    Of a log longer than the bed the first at the butt end, the last at the top end, the others evenly
    between, every 0.25 m or so.
    """
    if bed_length_m is None or length_m <= bed_length_m:
        return [(0.0, length_m)]
    left_m = length_m - bed_length_m
    count = min(MOST_STRETCHES, ceil(left_m / STEP_M) + 1)
    return [(float(start), float(start) + bed_length_m) for start in np.linspace(0.0, left_m, count)]


def clear_of_metal(
    stretches: Sequence[tuple[float, float]], length_m: float, metal_m: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Leave out stretches whose crosscut would go through metal; all of them stay where each would. [m].

    metal_m : from where to where along the log there is metal, its keep-out included. The ends of the log are no cuts.
    """

    def clear(stretch: tuple[float, float]) -> bool:
        cuts_m = [place for place in stretch if SAME_POINT_M < place < length_m - SAME_POINT_M]
        return not any(cut_meets((cut, cut), barred_m) for barred_m in metal_m for cut in cuts_m)

    return [stretch for stretch in stretches if clear(stretch)] or list(stretches)


def stretch_cuts(log: Log, from_m: float, to_m: float) -> tuple[BuckCut, ...]:
    """Return the crosscuts square to the axis that leave a log from one place along it to another; none at its ends."""
    cuts = (butt_cut(log, from_m),) if from_m > SAME_POINT_M else ()
    return (*cuts, stem_cut(log, to_m)) if to_m < log.length_m - SAME_POINT_M else cuts
