"""What stays below every height of a lay, and how well its supports hold it: one sweep upwards through the wood.

Each interval of wood at a row and a station is a cell. Row by row cells join what they touch, below and beside, so that
every body below a height is known with its volume and mass centre as soon as the sweep has got there.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.bed.joined import root_of
from optimizer.standing.hull import hull_of_spans, inside_by_m
from optimizer.standing.supports import margin_of_reach_m
from scans.log import FloatArray, IntArray


class Spans(NamedTuple):
    """Supports as plain arrays (K,), bed frame.

    bunk : which bunk. station : of the sections, the one that it lies next to. first_row : of the sweep, the first that
    may meet it. y_m : where it touches. low_m, high_m : from where to where it holds. [m]
    """

    bunk: IntArray
    station: IntArray
    first_row: IntArray
    y_m: FloatArray
    low_m: FloatArray
    high_m: FloatArray


@numba.njit(cache=True, nogil=True)
def _join(parent: IntArray, volume: FloatArray, sum_x: FloatArray, sum_y: FloatArray, a: int, b: int) -> None:
    a, b = root_of(parent, a), root_of(parent, b)
    if a != b:
        low, high = min(a, b), max(a, b)
        parent[high] = low
        volume[low] += volume[high]
        sum_x[low] += sum_x[high]
        sum_y[low] += sum_y[high]


@numba.njit(cache=True, nogil=True)
def sweep(
    counts: NDArray[np.uint8],
    y_m: NDArray[np.float32],
    x_bed_m: FloatArray,
    row_shift_m: FloatArray,
    cell_m2: FloatArray,
    spans: Spans,
    bunks_m: FloatArray,
    loose_m3: float,
) -> tuple[FloatArray, FloatArray, float]:
    """Return, for what is swept up to each row, the least of how far bodies lie inside their supports' hulls.

    counts, y_m : as of Chords, rows in the order of the sweep. x_bed_m : (N,) bed x of the stations at the first row;
    row_shift_m : (rows,) what it is more at each. cell_m2 : (N,) a row's height times a station's length.
    Returns two (rows,): that, and the same less the margin that each body asks for; infinite where there is no body of
    at least `loose_m3`, minus infinite where one has no support. The last row counts the largest body however small it
    is. And the volume of all. [m, m3]
    """
    rows, n = counts.shape
    cells = 0
    for r in range(rows):
        for i in range(n):
            cells += counts[r, i] // 2
    parent = np.arange(cells)
    volume, sum_x, sum_y = np.zeros(cells), np.zeros(cells), np.zeros(cells)
    roots, root_count = np.zeros(cells, dtype=np.int64), 0
    before, here = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    held = len(spans.bunk)
    cell_of = np.full(held, -1, dtype=np.int64)
    inside, spare = np.full(rows, np.inf), np.full(rows, np.inf)
    low, high = np.zeros(len(bunks_m)), np.zeros(len(bunks_m))
    total, free = 0.0, 0
    for r in range(rows):
        for i in range(n):
            here[i] = free
            for j in range(counts[r, i] // 2):
                from_y, to_y = y_m[r, 2 * j, i], y_m[r, 2 * j + 1, i]
                v = cell_m2[i] * (to_y - from_y)
                total += v
                volume[free] = v
                sum_x[free] = v * (x_bed_m[i] + row_shift_m[r])
                sum_y[free] = v * 0.5 * (from_y + to_y)
                roots[root_count] = free
                root_count += 1
                if r > 0:
                    for q in range(counts[r - 1, i] // 2):
                        if y_m[r - 1, 2 * q, i] < to_y and from_y < y_m[r - 1, 2 * q + 1, i]:
                            _join(parent, volume, sum_x, sum_y, free, before[i] + q)
                if i > 0:
                    for q in range(counts[r, i - 1] // 2):
                        if y_m[r, 2 * q, i - 1] < to_y and from_y < y_m[r, 2 * q + 1, i - 1]:
                            _join(parent, volume, sum_x, sum_y, free, here[i - 1] + q)
                free += 1
        kept = 0
        for k in range(root_count):
            if parent[roots[k]] == roots[k]:
                roots[kept] = roots[k]
                kept += 1
        root_count = kept
        for k in range(held):
            if cell_of[k] < 0 and r >= spans.first_row[k]:
                cell_of[k] = _cell_at(counts, y_m, r, spans, k, here)
        largest = -1
        if r == rows - 1:
            for k in range(root_count):
                if largest < 0 or volume[roots[k]] > volume[largest]:
                    largest = roots[k]
        for k in range(root_count):
            body = roots[k]
            if (volume[body] < loose_m3 and body != largest) or volume[body] <= 0.0:
                continue
            low[:] = np.inf
            high[:] = -np.inf
            reach = 0.0
            for s in range(held):
                if cell_of[s] >= 0 and root_of(parent, cell_of[s]) == body:
                    b = spans.bunk[s]
                    low[b] = min(low[b], spans.low_m[s])
                    high[b] = max(high[b], spans.high_m[s])
                    reach = max(reach, 0.5 * (spans.high_m[s] - spans.low_m[s]))
            hull = hull_of_spans(bunks_m, low, high)
            by = inside_by_m(hull, sum_x[body] / volume[body], sum_y[body] / volume[body])
            inside[r] = min(inside[r], by)
            spare[r] = min(spare[r], by - margin_of_reach_m(reach))
        before, here = here, before
    return inside, spare, total


@numba.njit(cache=True, nogil=True)
def _cell_at(counts: NDArray[np.uint8], y_m: NDArray[np.float32], r: int, spans: Spans, k: int, here: IntArray) -> int:
    # The nearest interval at the support's station, if it is within the support's reach.
    i, found = spans.station[k], -1
    nearest = 0.5 * (spans.high_m[k] - spans.low_m[k])
    for q in range(counts[r, i] // 2):
        beside = max(0.0, y_m[r, 2 * q, i] - spans.y_m[k], spans.y_m[k] - y_m[r, 2 * q + 1, i])
        if beside <= nearest:
            found, nearest = here[i] + q, beside
    return found
