"""Wood intervals at every blade height: a scan-line pass over the turned rings.

Bed height h at tilt t meets station x at the rolled height (h - lift - x sin t) / cos t, so a tilt is a
shear of the same rings. Row r stands for the bed height (lowest_row + r) x step + offset.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.stations.fast_loops import FAST
from scans.log import FloatArray, IntArray


class Chords(NamedTuple):
    """Where rows cross the rings at stations; bed y. [m].

    counts : (rows, N) uint8, how many crossings: an even number.
    y : (rows, slots, N) float32, the crossings, rising along the second axis; each pair bounds an interval of
        wood. Where nothing is crossed the first two hold inf and -inf, an interval that meets nothing. Single
        precision is good to a ten-thousandth of a millimetre here, and twice as fast.
    most : the greatest count; over `slots`, the table is not whole and must be made anew with more.
    """

    counts: NDArray[np.uint8]
    y: NDArray[np.float32]
    most: int


@numba.njit(cache=True, nogil=True)
def turn_rings(
    offsets: IntArray,
    segments: FloatArray,
    x_m: FloatArray,
    roll: float,
    tilt: float,
    lift_m: float,
    row_zero_m: float,
    step_m: float,
) -> FloatArray:
    """Turn (S, 4) segments into (y, row position) of both ends, (S, 4).

    Angles in radians; a row position is (bed height - row_zero_m) / step_m.
    """
    turned = np.zeros_like(segments)
    cr, sr, ct, st = np.cos(roll), np.sin(roll), np.cos(tilt), np.sin(tilt)
    for i in range(len(x_m)):
        base = lift_m + x_m[i] * st - row_zero_m
        for s in range(offsets[i], offsets[i + 1]):
            for e in (0, 2):
                y, z = segments[s, e], segments[s, e + 1]
                turned[s, e] = y * cr - z * sr
                turned[s, e + 1] = ((y * sr + z * cr) * ct + base) / step_m
    return turned


@numba.njit(cache=True, nogil=True)
def _rows_crossed(p0: float, p1: float, rows: int) -> tuple[int, int]:
    # Half-open: a row at an end point belongs to the segment above it, so that rings cross evenly.
    low, high = (p0, p1) if p0 < p1 else (p1, p0)
    first, last = int(np.ceil(low)), int(np.ceil(high))
    return max(first, 0), min(last, rows)


def chord_table(offsets: IntArray, turned: FloatArray, rows: int, shift: float, slots: int = 4) -> Chords:
    """Find the crossings at each row and station; `shift` raises the rows by a part of a step.

    slots : how many crossings to make room for at first.
    """
    table = _chord_table(offsets, turned, rows, shift, slots)
    if table.most > slots:
        table = _chord_table(offsets, turned, rows, shift, table.most + table.most % 2)
    return table


@numba.njit(cache=True, nogil=True)
def most_crossings(offsets: IntArray, segments: FloatArray, rolls: int, step_m: float) -> int:
    """Return the most crossings that level lines `step_m` apart make with the rings, over a few rolls."""
    most = 2
    for k in range(rolls):
        angle = 2.0 * np.pi * k / rolls
        x_m = np.zeros(len(offsets) - 1)
        turned = turn_rings(offsets, segments, x_m, angle, 0.0, 0.0, 0.0, step_m)
        low, high = turned[:, 1::2].min(), turned[:, 1::2].max()
        rows = int(high - low) + 2
        turned[:, 1] -= low
        turned[:, 3] -= low
        for i in range(len(x_m)):
            counts = np.zeros(rows, dtype=np.int64)
            for s in range(offsets[i], offsets[i + 1]):
                first, last = _rows_crossed(turned[s, 1], turned[s, 3], rows)
                counts[first:last] += 1
            most = max(most, counts.max())
    return most


@numba.njit(cache=True, nogil=True)
def _chord_table(offsets: IntArray, turned: FloatArray, rows: int, shift: float, slots: int) -> Chords:
    n = len(offsets) - 1
    counts = np.zeros((rows, n), dtype=np.uint8)
    y = np.zeros((rows, slots, n), dtype=np.float32)
    y[:, 0, :] = np.inf
    y[:, 1, :] = -np.inf
    most = 0
    for i in range(n):
        for s in range(offsets[i], offsets[i + 1]):
            p0, p1 = turned[s, 1] - shift, turned[s, 3] - shift
            first, last = _rows_crossed(p0, p1, rows)
            if last <= first:
                continue
            y0, slope = turned[s, 0], (turned[s, 2] - turned[s, 0]) / (p1 - p0)
            for r in range(first, last):
                value = np.float32(y0 + slope * (r - p0))
                at = int(counts[r, i])
                counts[r, i] = at + 1
                most = max(most, at + 1)
                if at >= slots:
                    continue
                # Insert in order: lists are short.
                while at > 0 and y[r, at - 1, i] > value:
                    y[r, at, i] = y[r, at - 1, i]
                    at -= 1
                y[r, at, i] = value
    return Chords(counts, y, most)


@numba.njit(cache=True, nogil=True)
def reach_of_chords(table: Chords, rows: int) -> FloatArray:
    """Return greatest less least y at each row over all stations, (rows,); 0 where nothing is met. [m]."""
    reach = np.zeros(rows)
    for r in range(rows):
        low, high = np.inf, -np.inf
        for i in range(table.counts.shape[1]):
            count = table.counts[r, i]
            if count:
                low = min(low, table.y[r, 0, i])
                high = max(high, table.y[r, count - 1, i])
        if high > low:
            reach[r] = high - low
    return reach


@numba.njit(cache=True, nogil=True)
def reach_by_row(turned: FloatArray, rows: int) -> FloatArray:
    """Return greatest less least y at each row over all stations, (rows,); 0 where nothing is met. [m]."""
    low = np.full(rows, np.inf)
    high = np.full(rows, -np.inf)
    for s in range(len(turned)):
        p0, p1 = turned[s, 1], turned[s, 3]
        first, last = _rows_crossed(p0, p1, rows)
        if last <= first:
            continue
        y0, slope = turned[s, 0], (turned[s, 2] - turned[s, 0]) / (p1 - p0)
        for r in range(first, last):
            value = y0 + slope * (r - p0)
            low[r] = min(low[r], value)
            high[r] = max(high[r], value)
    return np.where(high > low, high - low, 0.0)


@numba.njit(cache=True, nogil=True)
def reach_on_mesh(
    vertices_m: FloatArray, faces: IntArray, log_to_bed: FloatArray, rows: int, row_zero_m: float, step_m: float
) -> FloatArray:
    """Return the exact reach at each row from the mesh itself, (rows,). [m].

    vertices_m (V, 3) in the log frame. The extremes of a plane's section lie on the mesh's edges.
    """
    low = np.full(rows, np.inf)
    high = np.full(rows, -np.inf)
    count = len(vertices_m)
    y, place = np.empty(count), np.empty(count)
    sideways, upward = log_to_bed[1], log_to_bed[2]
    for v in range(count):
        a, b, c = vertices_m[v, 0], vertices_m[v, 1], vertices_m[v, 2]
        y[v] = sideways[0] * a + sideways[1] * b + sideways[2] * c + sideways[3]
        place[v] = (upward[0] * a + upward[1] * b + upward[2] * c + upward[3] - row_zero_m) / step_m
    for f in range(len(faces)):
        for e in range(3):
            a, b = faces[f, e], faces[f, (e + 1) % 3]
            if a > b:  # every edge once: its other face has it the other way round
                continue
            p0, p1 = place[a], place[b]
            first, last = _rows_crossed(p0, p1, rows)
            least, most = min(y[a], y[b]), max(y[a], y[b])
            for r in range(first, last):
                if least < low[r] or most > high[r]:
                    value = y[a] + (y[b] - y[a]) * (r - p0) / (p1 - p0)
                    low[r] = min(low[r], value)
                    high[r] = max(high[r], value)
    return np.where(high > low, high - low, 0.0)


@numba.njit(cache=True, nogil=True)
def _widths(table: Chords, r: int, widths: FloatArray) -> None:
    # An interval that meets nothing is minus infinity wide; the loop is one for vector instructions.
    low, high = table.y[r, 0], table.y[r, 1]
    for i in range(len(widths)):
        width = high[i] - low[i]
        widths[i] = max(0.0, width)
    if table.most > 2:
        for i in range(len(widths)):
            for c in range(2, table.counts[r, i], 2):
                widths[i] += table.y[r, c + 1, i] - table.y[r, c, i]


@numba.njit(cache=True, nogil=True)
def wood_by_row(
    table: Chords,
    cell_m: FloatArray,
    first: int,
    last: int,
    min_width_m: float,
    min_length_m: float,
    worth_step_m: float,
    worth_m: FloatArray,
    by_widest: bool = False,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Measure each row: wood area and length over all cells; the most that runs can hold, and the greatest width.

    Returns (rows,) each: area over all cells; length from first to last wood; bounds on the area of all runs on
    this face, whatever its other face, over the usable stations first .. last - 1, and on their areas times their
    width factors; the greatest width there. Along log x: divide by cos(tilt) for the bed. [m2, m]
    worth_step_m, worth_m : see terms.worth_of_widths. by_widest : whether a run may count as if it were as wide all
    along as at its widest place.
    """
    rows, n = table.counts.shape
    area, length = np.zeros(rows), np.zeros(rows)
    usable, worth, widest = np.zeros(rows), np.zeros(rows), np.zeros(rows)
    widths = np.zeros(n)
    begins = np.zeros(n + 1)
    begins[1:] = np.cumsum(cell_m)
    beyond = len(worth_m) - 1
    steepest = (worth_m[beyond] - worth_m[beyond - 1]) / worth_step_m
    # Beyond its outer stations a run reaches less than a cell at either end, and is narrower there: in all no more than
    # its own mean over one cell more.
    needed = max(1.0, np.ceil(min_length_m / cell_m[first] - 1.0 - 1e-9)) if last > first else 1.0
    for r in range(rows):
        _widths(table, r, widths)
        area[r] = _sum_of_products(widths, cell_m)
        if area[r] == 0.0:
            continue
        length[r] = begins[_last_over(widths, 0.0) + 1] - begins[_first_over(widths, 0.0)]
        widest[r] = _greatest(widths[first:last])
        if widest[r] < min_width_m:
            continue
        i = first
        while i < last:
            if widths[i] < min_width_m:
                i += 1
                continue
            begin, inside_m2, inside_worth = i, 0.0, 0.0
            while i < last and widths[i] >= min_width_m:
                inside_m2 += widths[i] * cell_m[i]
                i += 1
            if i - begin < needed:
                continue
            if by_widest:
                widths[begin:i] = widths[begin:i].max()
                inside_m2 = widths[begin] * cell_m[begin:i].sum()
            for k in range(begin, i):
                at = min(int(widths[k] / worth_step_m), beyond - 1)
                slope = steepest if at == beyond - 1 else (worth_m[at + 1] - worth_m[at]) / worth_step_m
                inside_worth += (worth_m[at] + slope * (widths[k] - at * worth_step_m)) * cell_m[k]
            usable[r] += inside_m2 * (1.0 + 1.0 / needed)
            worth[r] += inside_worth * (1.0 + 1.0 / needed)
    return area, length, usable, worth, widest


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _sum_of_products(a: FloatArray, b: FloatArray) -> float:
    total = 0.0
    for i in range(len(a)):
        total += a[i] * b[i]
    return total


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _greatest(values: FloatArray) -> float:
    most = 0.0
    for i in range(len(values)):
        most = max(most, values[i])
    return most


@numba.njit(cache=True, nogil=True)
def _first_over(values: FloatArray, least: float) -> int:
    i = 0
    while values[i] <= least:
        i += 1
    return i


@numba.njit(cache=True, nogil=True)
def _last_over(values: FloatArray, least: float) -> int:
    i = len(values) - 1
    while values[i] <= least:
        i -= 1
    return i


@numba.njit(cache=True, nogil=True)
def longest_by_row(table: Chords, first: int, last: int, least_m: float) -> IntArray:
    """Return, for each row, over how many usable stations on end all its wood together is wide enough."""
    rows, n = table.counts.shape
    found = np.zeros(rows, dtype=np.int64)
    widths = np.zeros(n)
    for r in range(rows):
        _widths(table, r, widths)
        here = 0
        for i in range(first, last):
            here = here + 1 if widths[i] >= least_m else 0
            found[r] = max(found[r], here)
    return found
