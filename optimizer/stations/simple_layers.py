"""What a layer brings whose faces have one interval of wood at most at each station, as most have.

Most of these have one run, or none, which is found in loops without branches.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.stations.fast_loops import FAST
from optimizer.stations.inside import Inside, largest_share, shown_share, strips_of_layer
from optimizer.stations.runs import Sold, over_run, run_areas, slab_value
from scans.log import FloatArray, IntArray


class _Run(NamedTuple):
    """The one run of a layer: its stations, its length, its area up to the greatest width and all of it, its ends.

    begin : -1 where there is none, -2 where there may be several, or it must be crosscut. [m, m2]
    """

    begin: int
    end: int
    length_m: float
    area_m2: float
    uncapped_m2: float
    first_reach_m: float
    last_reach_m: float


@numba.njit(cache=True, nogil=True)
def _one_run(
    sold: Sold,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
) -> _Run:
    """Find the run of a layer whose faces have one interval at most at each station: most have one, or none."""
    least, most, count = sold.min_width_m, sold.max_width_m, last - first
    a_low, a_high = upper_y[upper_row, 0, first:last], upper_y[upper_row, 1, first:last]
    b_low, b_high = lower_y[lower_row, 0, first:last], lower_y[lower_row, 1, first:last]
    wide, widths, capped, apart = _swept(a_low, a_high, b_low, b_high, least, most)
    if wide == 0 or (wide + 1) * cell_m < sold.min_length_m:
        return _Run(-1, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
    begin, end = 0, count - 1
    while True:
        low, high = _met(a_low, a_high, b_low, b_high, begin)
        first_width = high - low
        if first_width >= least:
            break
        begin += 1
    while True:
        low, high = _met(a_low, a_high, b_low, b_high, end)
        last_width = high - low
        if last_width >= least:
            break
        end -= 1
    if end - begin + 1 != wide or apart > 0:
        return _Run(-2, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
    first_reach, first_edge = 0.5 * cell_m, first_width
    if begin > 0:
        first_reach, first_edge = _end_of_run(a_low, a_high, b_low, b_high, begin, begin - 1, least, cell_m)
    last_reach, last_edge = 0.5 * cell_m, last_width
    if end < count - 1:
        last_reach, last_edge = _end_of_run(a_low, a_high, b_low, b_high, end, end + 1, least, cell_m)
    length = (end - begin) * cell_m + first_reach + last_reach
    if length > sold.max_length_m:
        return _Run(-2, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
    if length < sold.min_length_m:
        return _Run(-1, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
    ends = (first_reach, first_edge, last_reach, last_edge)
    area, uncapped = run_areas(widths, capped, first_width, last_width, most, cell_m, ends)
    return _Run(begin, end, length, area, uncapped, first_reach, last_reach)


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _swept(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    least: float,
    most: float,
) -> tuple[int, float, float, int]:
    """Sweep over the meetings of two intervals at each station.

    Returns at how many stations it is wide enough; the sum of its widths there, and that of them up to `most`; how
    often it is not linked to the next that is.
    """
    wide, widths, capped, apart = 0, 0.0, 0.0, 0
    for i in range(len(a_low)):
        width = np.float64(min(a_high[i], b_high[i])) - np.float64(max(a_low[i], b_low[i]))
        enough = width >= least
        wide += 1 if enough else 0
        widths += width if enough else 0.0
        capped += min(width, most) if enough else 0.0
    for i in range(len(a_low) - 1):
        low, high = max(a_low[i], b_low[i]), min(a_high[i], b_high[i])
        next_low, next_high = max(a_low[i + 1], b_low[i + 1]), min(a_high[i + 1], b_high[i + 1])
        here = np.float64(high) - np.float64(low) >= least
        there = np.float64(next_high) - np.float64(next_low) >= least
        apart += 1 if here & there & (min(high, next_high) <= max(low, next_low)) else 0
    return wide, widths, capped, apart


@numba.njit(cache=True, nogil=True)
def _met(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    i: int,
) -> tuple[float, float]:
    return max(np.float64(a_low[i]), np.float64(b_low[i])), min(np.float64(a_high[i]), np.float64(b_high[i]))


@numba.njit(cache=True, nogil=True)
def _end_of_run(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    i: int,
    beyond: int,
    least: float,
    cell_m: float,
) -> tuple[float, float]:
    """Return how far a run reaches beyond its outer station, and how wide it is there."""
    low, high = _met(a_low, a_high, b_low, b_high, i)
    next_low, next_high = _met(a_low, a_high, b_low, b_high, beyond)
    linked = next_high > next_low and min(high, next_high) > max(low, next_low)
    beyond_m = next_high - next_low if linked else 0.0
    return cell_m * (high - low - least) / (high - low - beyond_m), least


@numba.njit(cache=True, nogil=True)
def sound_simple_layer(
    sold: Sold,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
) -> float:
    """Return what a layer brings as if nothing were lost or figured; -1 where it may have several, or long, runs.

    upper_y, lower_y : of chord tables whose rows have one interval at most at each usable station.
    """
    run = _one_run(sold, upper_y, upper_row, lower_y, lower_row, first, last, cell_m)
    if run.begin < 0:
        return 0.0 if run.begin == -1 else -1.0
    return slab_value(sold, run.length_m, run.area_m2, run.uncapped_m2, 0.0, 0.0)


@numba.njit(cache=True, nogil=True)
def flawed_simple_layer(
    sold: Sold,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    inside: Inside,
    lower_m: float,
    upper_m: float,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
    lost: FloatArray,
    figured: FloatArray,
) -> float:
    """Return what a layer brings, flaws and figure counted; -1 where there may be several runs, or one to be crosscut.

    lower_m, upper_m : the faces' heights. The last six arrays are worked in; see layers.Room.
    """
    run = _one_run(sold, upper_y, upper_row, lower_y, lower_row, first, last, cell_m)
    if run.begin < 0:
        return 0.0 if run.begin == -1 else -1.0
    begin, end, feather = run.begin, run.end + 1, inside.best_feather > 0.0
    strips_of_layer(inside, first, lower_m, upper_m, strips, strip_counts, faces, face_counts)
    lost_on_run(
        upper_y,
        upper_row,
        lower_y,
        lower_row,
        first,
        last,
        inside.hearts,
        inside.heart_counts,
        strips,
        strip_counts,
        faces,
        face_counts,
        feather,
        lost,
        figured,
    )
    lost_m2 = over_run(lost[begin:end], cell_m, run.first_reach_m, run.last_reach_m)
    figured_m2 = over_run(figured[begin:end], cell_m, run.first_reach_m, run.last_reach_m) if feather else 0.0
    return slab_value(sold, run.length_m, run.area_m2, run.uncapped_m2, lost_m2, figured_m2)


@numba.njit(cache=True, nogil=True)
def lost_on_run(
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    hearts: FloatArray,
    heart_counts: IntArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
    feather: bool,
    lost: FloatArray,
    figured: FloatArray,
) -> None:
    """Put what is lost, and figured, at the usable stations into arrays; sense in it only where there is wood."""
    count = last - first
    a_low, a_high = upper_y[upper_row, 0, first:last], upper_y[upper_row, 1, first:last]
    b_low, b_high = lower_y[lower_row, 0, first:last], lower_y[lower_row, 1, first:last]
    # Most stations have a heart or two and nothing else, and loops without branches do for them. Where there is less
    # than that, slots are empty.
    if len(hearts) == 1:
        _lost_on_one_strip(a_low, a_high, b_low, b_high, strips[0, 0], strips[0, 1], strips[0, 2], lost)
    elif len(hearts) > 1:
        _lost_on_two_strips(
            a_low, a_high, b_low, b_high, strips[0, 0], strips[0, 1], strips[1, 0], strips[1, 1], strips[0, 2], lost
        )
    for k in range(count):
        if strip_counts[k] > 2 or strip_counts[k] > heart_counts[first + k] or len(hearts) == 0:
            low, high = _met(a_low, a_high, b_low, b_high, k)
            lost[k] = largest_share(strips, k, strip_counts[k], low, high)
        if feather:
            low, high = _met(a_low, a_high, b_low, b_high, k)
            figured[k] = shown_share(strips, faces, k, strip_counts[k], face_counts[k], low, high)


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _lost_on_one_strip(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    strip_low: FloatArray,
    strip_high: FloatArray,
    share: FloatArray,
    lost: FloatArray,
) -> None:
    # The same as largest_share, in one loop for vector instructions.
    for i in range(len(a_low)):
        low = max(np.float64(max(a_low[i], b_low[i])), strip_low[i])
        high = min(np.float64(min(a_high[i], b_high[i])), strip_high[i])
        lost[i] = share[i] * max(0.0, high - low)


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _lost_on_two_strips(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    first_low: FloatArray,
    first_high: FloatArray,
    second_low: FloatArray,
    second_high: FloatArray,
    share: FloatArray,
    lost: FloatArray,
) -> None:
    # The same for two strips of one share: what both cover counts once.
    for i in range(len(a_low)):
        low = np.float64(max(a_low[i], b_low[i]))
        high = np.float64(min(a_high[i], b_high[i]))
        one = max(0.0, min(high, first_high[i]) - max(low, first_low[i]))
        other = max(0.0, min(high, second_high[i]) - max(low, second_low[i]))
        both_low, both_high = max(first_low[i], second_low[i]), min(first_high[i], second_high[i])
        both = max(0.0, min(high, both_high) - max(low, both_low))
        lost[i] = share[i] * (one + other - both)
