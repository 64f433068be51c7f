"""How wide the wood can be at each cell and height, for every roll within a narrow range.

A turn by an angle a moves a point that lies R off the line by R x a at most. So the chord of a section at any roll
of the range lies, for each convex part, between the part's least and greatest y over the heights R x a around, at the
middle roll, R x a beyond at either end. The parts' chords are joined, so that none counts twice.
"""

import numba
import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray, IntArray

Widths = NDArray[np.uint16]


@numba.njit(cache=True, nogil=True)
def widths_at(
    first: IntArray,
    offsets: IntArray,
    points: FloatArray,
    off_m: FloatArray,
    roll: float,
    half: float,
    zero_m: float,
    row_m: float,
    rows: int,
    unit_m: float,
) -> Widths:
    """Return (rows, N) the greatest width in units, rounded up, for the rolls within `half` of `roll` (radians).

    Row q holds for every rolled height from zero_m + q x row_m to a row further; see Parts for the other arrays.
    """
    n = len(first) - 1
    table = np.zeros((rows, n), dtype=np.uint16)
    cos, sin = np.cos(roll), np.sin(roll)
    most = 1
    for i in range(n):
        most = max(most, first[i + 1] - first[i])
    lows, highs = np.zeros((most, rows)), np.zeros((most, rows))
    right, left = np.zeros(rows + 1), np.zeros(rows + 1)
    spans, order = np.zeros((most, 2), dtype=np.int64), np.zeros(most, dtype=np.int64)
    for i in range(n):
        count = first[i + 1] - first[i]
        moved_m = off_m[i] * half + 1e-6
        spread = int(np.ceil(moved_m / row_m))
        begin, end = rows, 0
        for c in range(count):
            ring = points[offsets[first[i] + c] : offsets[first[i] + c + 1]]
            y = ring[:, 0] * cos - ring[:, 1] * sin
            z = ring[:, 0] * sin + ring[:, 1] * cos
            spans[c, 0], spans[c, 1] = _chords(y, z, zero_m, row_m, spread, left, right, lows[c], highs[c])
            begin, end = min(begin, spans[c, 0]), max(end, spans[c, 1])
        for c in range(count):
            order[c] = c
            lows[c, begin : spans[c, 0]], highs[c, begin : spans[c, 0]] = np.inf, -np.inf
            lows[c, spans[c, 1] : end], highs[c, spans[c, 1] : end] = np.inf, -np.inf
        for q in range(begin, end):
            width = _joined(lows, highs, order[:count], q, moved_m)
            if width > 0.0:
                table[q, i] = np.uint16(min(65535, int(width / unit_m) + 1))
    return table


@numba.njit(cache=True, nogil=True)
def _chords(
    y: FloatArray,
    z: FloatArray,
    zero_m: float,
    row_m: float,
    spread: int,
    left: FloatArray,
    right: FloatArray,
    lows: FloatArray,
    highs: FloatArray,
) -> tuple[int, int]:
    """Find the least and greatest y of a convex ring over each row and `spread` rows around; inf, -inf where none.

    Returns the first row that was looked at, and the one beyond the last.
    """
    rows, k = len(lows), len(y)
    bottom, top, far_left, far_right = np.argmin(z), np.argmax(z), np.argmin(y), np.argmax(y)
    low_z, high_z = z[bottom], z[top]
    begin, end = int(np.ceil((low_z - zero_m) / row_m)), int(np.floor((high_z - zero_m) / row_m))
    for way in range(2):  # up the right side, anticlockwise; up the left, clockwise
        line = right if way == 0 else left
        step = 1 if way == 0 else k - 1
        at = bottom
        for q in range(begin, end + 1):
            level = zero_m + q * row_m
            beyond = (at + step) % k
            while at != top and (z[beyond] < level or z[beyond] <= low_z):  # past a level bottom
                at, beyond = beyond, (beyond + step) % k
            rise = z[beyond] - z[at]
            share = 0.0 if rise <= 0.0 else min(max((level - z[at]) / rise, 0.0), 1.0)
            line[q] = y[at] + share * (y[beyond] - y[at])
    from_row = max(0, begin - 1 - spread)
    to_row = max(from_row, min(rows, end + 1 + spread))
    for q in range(from_row, to_row):
        lows[q], highs[q] = np.inf, -np.inf
        a, b = q - spread, q + 1 + spread
        low, high = zero_m + a * row_m, zero_m + b * row_m
        if high < low_z or low > high_z:
            continue
        # Greatest y rises up to the rightmost corner and falls beyond; least y the other way.
        if low <= z[far_right] <= high:
            highs[q] = y[far_right]
        elif high < z[far_right]:
            highs[q] = right[b] if b <= end else y[far_right]
        else:
            highs[q] = right[a] if a >= begin else y[far_right]
        if low <= z[far_left] <= high:
            lows[q] = y[far_left]
        elif high < z[far_left]:
            lows[q] = left[b] if b <= end else y[far_left]
        else:
            lows[q] = left[a] if a >= begin else y[far_left]
    return from_row, to_row


@numba.njit(cache=True, nogil=True)
def _joined(lows: FloatArray, highs: FloatArray, order: IntArray, q: int, moved_m: float) -> float:
    """Return the length of the union of intervals, each `moved_m` longer at either end.

    order : of the intervals, by where they begin at the row before; put right for this one.
    """
    count = len(order)
    if count == 1:
        return highs[0, q] - lows[0, q] + 2.0 * moved_m if highs[0, q] >= lows[0, q] else 0.0
    for k in range(1, count):
        c, at = order[k], k
        while at > 0 and lows[order[at - 1], q] > lows[c, q]:
            order[at] = order[at - 1]
            at -= 1
        order[at] = c
    total, reached = 0.0, -np.inf
    for c in order:
        if highs[c, q] >= lows[c, q] and highs[c, q] + moved_m > reached:
            total += highs[c, q] + moved_m - max(lows[c, q] - moved_m, reached)
            reached = highs[c, q] + moved_m
    return total


@numba.njit(cache=True, nogil=True)
def doubled(table: Widths, levels: int) -> NDArray[np.uint16]:
    """Return (levels, rows, N): at level p the greatest of a row and the 2**p - 1 rows after it."""
    rows, n = table.shape
    found = np.zeros((levels, rows, n), dtype=np.uint16)
    found[0] = table
    for p in range(1, levels):
        by = 2 ** (p - 1)
        for q in range(rows):
            if q + by < rows:
                for i in range(n):
                    found[p, q, i] = max(found[p - 1, q, i], found[p - 1, q + by, i])
            else:
                found[p, q] = found[p - 1, q]
    return found
