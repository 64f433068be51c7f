"""Wood intervals at every blade height: a scan-line pass over the turned rings.

Bed height h at tilt t meets station x at the rolled height (h - lift - x sin t) / cos t, so a tilt is a
shear of the same rings. Row r stands for the bed height (lowest_row + r) x step + offset.

A chord table is (starts, y): the crossings at row r, station i are y[starts[r * N + i]:starts[r * N + i + 1]],
rising, an even number of them; each pair bounds an interval of wood. Bed y. [m]
"""

import numba
import numpy as np

from scans.log import FloatArray, IntArray


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


@numba.njit(cache=True, nogil=True)
def chord_table(offsets: IntArray, turned: FloatArray, rows: int, shift: float) -> tuple[IntArray, FloatArray]:
    """Find the crossings at each row and station; `shift` raises the rows by a part of a step."""
    n = len(offsets) - 1
    starts = np.zeros(rows * n + 1, dtype=np.int64)
    for i in range(n):
        for s in range(offsets[i], offsets[i + 1]):
            first, last = _rows_crossed(turned[s, 1] - shift, turned[s, 3] - shift, rows)
            for r in range(first, last):
                starts[r * n + i + 1] += 1
    for k in range(rows * n):
        starts[k + 1] += starts[k]
    y = np.zeros(starts[rows * n])
    filled = starts[: rows * n].copy()
    for i in range(n):
        for s in range(offsets[i], offsets[i + 1]):
            p0, p1 = turned[s, 1] - shift, turned[s, 3] - shift
            first, last = _rows_crossed(p0, p1, rows)
            if last <= first:
                continue
            y0, slope = turned[s, 0], (turned[s, 2] - turned[s, 0]) / (p1 - p0)
            for r in range(first, last):
                k = r * n + i
                value = y0 + slope * (r - p0)
                # Insert in order: lists are short.
                at = filled[k]
                while at > starts[k] and y[at - 1] > value:
                    y[at] = y[at - 1]
                    at -= 1
                y[at] = value
                filled[k] += 1
    return starts, y


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
def reach_on_mesh(bed_points: FloatArray, faces: IntArray, rows: int, row_zero_m: float, step_m: float) -> FloatArray:
    """Return the exact reach at each row from the mesh itself, (rows,). [m].

    bed_points (V, 3) in the bed frame. The extremes of a plane's section lie on the mesh's edges.
    """
    low = np.full(rows, np.inf)
    high = np.full(rows, -np.inf)
    for f in range(len(faces)):
        for e in range(3):
            a, b = faces[f, e], faces[f, (e + 1) % 3]
            if a > b:  # every edge once: its other face has it the other way round
                continue
            p0 = (bed_points[a, 2] - row_zero_m) / step_m
            p1 = (bed_points[b, 2] - row_zero_m) / step_m
            first, last = _rows_crossed(p0, p1, rows)
            for r in range(first, last):
                value = bed_points[a, 1] + (bed_points[b, 1] - bed_points[a, 1]) * (r - p0) / (p1 - p0)
                low[r] = min(low[r], value)
                high[r] = max(high[r], value)
    return np.where(high > low, high - low, 0.0)


@numba.njit(cache=True, nogil=True)
def wood_by_row(
    starts: IntArray, y: FloatArray, rows: int, cell_m: FloatArray, first: int, last: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return, for each row: wood area over all cells, length from first to last wood, wood area
    over the usable cells first .. last - 1, and the greatest width there. (rows,) each. [m2, m].

    Along log x: divide by cos(tilt) for the bed.
    """  # noqa: D205
    n = len(cell_m)
    area, length = np.zeros(rows), np.zeros(rows)
    usable, widest = np.zeros(rows), np.zeros(rows)
    for r in range(rows):
        from_x, to_x, x = -1.0, 0.0, 0.0
        for i in range(n):
            k = r * n + i
            width = 0.0
            for c in range(starts[k], starts[k + 1] - 1, 2):
                width += y[c + 1] - y[c]
            if width > 0.0:
                if from_x < 0.0:
                    from_x = x
                to_x = x + cell_m[i]
                area[r] += width * cell_m[i]
                if first <= i < last:
                    usable[r] += width * cell_m[i]
                    widest[r] = max(widest[r], width)
            x += cell_m[i]
        if from_x >= 0.0:
            length[r] = to_x - from_x
    return area, length, usable, widest


@numba.njit(cache=True, nogil=True)
def longest_by_row(
    starts: IntArray, y: FloatArray, rows: int, stations: int, first: int, last: int, least_m: float
) -> IntArray:
    """Return, for each row, over how many usable stations on end all its wood together is wide enough."""
    found = np.zeros(rows, dtype=np.int64)
    for r in range(rows):
        here = 0
        for i in range(first, last):
            k = r * stations + i
            width = 0.0
            for c in range(starts[k], starts[k + 1] - 1, 2):
                width += y[c + 1] - y[c]
            here = here + 1 if width >= least_m else 0
            found[r] = max(found[r], here)
    return found
