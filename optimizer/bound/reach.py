"""Where no pass can be made at any lay of a box, as the blade would reach farther than the throat lets through.

At a few stations the outer surface is cut across. Where its edge climbs from below a range of heights to above it
without turning back, every level line in that range crosses it, so that the wood comes at least as far to that side as
the edge does there. The farthest to either side, of all stations, are a reach that no pass is under. A turn by an angle
a moves a point that lies R off the line by R x a at most: so much farther up and down the edge must climb, and so much
is taken off what it reaches.
"""

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d
import numba
import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray, IntArray

NOTHING = 65535
"""In a table: no edge is known to cross all heights of the row."""
Sides = NDArray[np.uint16]


class Sections(NamedTuple):
    """The outer surface cut across at S stations.

    x_m : (S,) where. first : (S + 1,) first ring of each. offsets : of rings, into points (P, 2), (y, z) off the line.
    off_m : how far the surface reaches from the line, anywhere. [m]
    """

    x_m: FloatArray
    first: IntArray
    offsets: IntArray
    points: FloatArray
    off_m: float

    @property
    def unit_m(self) -> float:
        """What tables of it count in. [m]."""
        return 4.0 * self.off_m / (NOTHING - 1)


def sections_of(body: manifold3d.Manifold, x_m: Sequence[float], line_m: tuple[float, float], off_m: float) -> Sections:
    """Cut a body across at some places along log x; line_m : (y, z) of the line that rolls are looked at around."""
    upright = body.transform(np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0]]))
    rings = [[np.asarray(ring) - line_m for ring in upright.slice(x).to_polygons()] for x in x_m]
    flat = [ring for station in rings for ring in station]
    return Sections(
        x_m=np.asarray(x_m, dtype=np.float64),
        first=np.concatenate([[0], np.cumsum([len(station) for station in rings])]).astype(np.int64),
        offsets=np.concatenate([[0], np.cumsum([len(ring) for ring in flat])]).astype(np.int64),
        points=np.concatenate([*flat, np.zeros((0, 2))]),
        off_m=off_m,
    )


@numba.njit(cache=True, nogil=True)
def sides_at(
    first: IntArray,
    offsets: IntArray,
    points: FloatArray,
    off_m: float,
    roll: float,
    half: float,
    zero_m: float,
    row_m: float,
    rows: int,
    unit_m: float,
) -> Sides:
    """Return how far the surface surely comes to either side, for all rolls within `half` of `roll` (radians).

    (rows, 2 S): to the right (greatest y), then to the left, for each station: by how many units it falls short of
    2 x off_m to that side, rounded up, or NOTHING. Row q holds for every rolled height from zero_m + q x row_m to a row
    further.
    """
    stations = len(first) - 1
    found = np.full((rows, 2 * stations), np.uint16(NOTHING))
    cos, sin = np.cos(roll), np.sin(roll)
    moved_m = off_m * half + 1e-6
    right, left = np.zeros(rows), np.zeros(rows)
    for i in range(stations):
        right[:], left[:] = -np.inf, np.inf
        for ring in range(first[i], first[i + 1]):
            corners = points[offsets[ring] : offsets[ring + 1]]
            y = corners[:, 0] * cos - corners[:, 1] * sin
            z = corners[:, 0] * sin + corners[:, 1] * cos
            _climbs(y, z, moved_m, zero_m, row_m, right, left)
        for q in range(rows):
            if right[q] > -np.inf:
                found[q, i] = _short(2.0 * off_m - right[q] + moved_m, unit_m)
                found[q, stations + i] = _short(2.0 * off_m + left[q] + moved_m, unit_m)
    return found


@numba.njit(cache=True, nogil=True)
def _short(short_m: float, unit_m: float) -> int:
    return min(NOTHING, max(0, int(np.ceil(short_m / unit_m))))


@numba.njit(cache=True, nogil=True)
def _climbs(
    y: FloatArray, z: FloatArray, moved_m: float, zero_m: float, row_m: float, right: FloatArray, left: FloatArray
) -> None:
    """Look at each part of a ring that only rises or only falls; note how far it stays to either side over each row."""
    count = len(z)
    start = int(np.argmin(z))
    k = 0
    while k < count:
        # From corner k on, as long as it goes the same way.
        a = (start + k) % count
        b = (start + k + 1) % count
        up = z[b] >= z[a]
        end = k + 1
        while end < count:
            a, b = (start + end) % count, (start + end + 1) % count
            if (z[b] >= z[a]) != up:
                break
            end += 1
        low, high = (k, end) if up else (end, k)
        _climb(y, z, start, low, high, moved_m, zero_m, row_m, right, left)
        k = end


@numba.njit(cache=True, nogil=True)
def _climb(
    y: FloatArray,
    z: FloatArray,
    start: int,
    low: int,
    high: int,
    moved_m: float,
    zero_m: float,
    row_m: float,
    right: FloatArray,
    left: FloatArray,
) -> None:
    """Note how far a part of a ring stays to either side over each row; it rises from corner `low` to corner `high`."""
    count, rows = len(z), len(right)
    step = 1 if high > low else -1
    bottom, top = z[(start + low) % count], z[(start + high) % count]
    q = max(0, int(np.ceil((bottom + moved_m - zero_m) / row_m)))
    at = low
    while q < rows and zero_m + (q + 1) * row_m + moved_m <= top:
        from_m, to_m = zero_m + q * row_m - moved_m, zero_m + (q + 1) * row_m + moved_m
        # `at` : the last corner that is not above the row.
        while at + step != high and z[(start + at + step) % count] <= from_m:
            at += step
        least, most = np.inf, -np.inf
        k = at
        while k != high:
            a, b = (start + k) % count, (start + k + step) % count
            for level in (from_m, to_m):
                within = min(max(level, z[a]), z[b])
                value = y[b]
                if z[b] > z[a]:
                    value = y[a] + (y[b] - y[a]) * (within - z[a]) / (z[b] - z[a])
                least, most = min(least, value), max(most, value)
            if z[b] == z[a]:
                least, most = min(least, y[a]), max(most, y[a])
            if z[b] > to_m:
                break
            k += step
        right[q], left[q] = max(right[q], least), min(left[q], most)
        q += 1


@numba.njit(cache=True, nogil=True)
def barred_rows(
    doubled: NDArray[np.uint16],  # see bound_widths.doubled
    zero_m: float,
    row_m: float,
    levels_m: FloatArray,
    shift_m: FloatArray,
    off_m: float,
    unit_m: float,
    throat_m: float,
) -> NDArray[np.bool_]:
    """Return (K,) whether every pass in a row of planes reaches farther than the throat, at every lay of a box.

    levels_m : (K, 2) least and greatest c / cos(tilt). shift_m : (S, 2) least and greatest of what comes to it.
    """
    stations, rows = len(shift_m), doubled.shape[1]
    barred = np.zeros(len(levels_m), dtype=np.bool_)
    for k in range(len(levels_m)):
        right = left = NOTHING
        for i in range(stations):
            low = int(np.floor((levels_m[k, 0] + shift_m[i, 0] - zero_m) / row_m - 1e-9))
            high = int(np.floor((levels_m[k, 1] + shift_m[i, 1] - zero_m) / row_m + 1e-9))
            if low < 0 or high >= rows:
                continue
            p, size = 0, 1
            while 2 * size <= high - low + 1:
                size *= 2
                p += 1
            far = high - size + 1
            right = min(right, max(doubled[p, low, i], doubled[p, far, i]))
            left = min(left, max(doubled[p, low, stations + i], doubled[p, far, stations + i]))
        if right < NOTHING and left < NOTHING:
            barred[k] = 4.0 * off_m - (right + left) * unit_m > throat_m
    return barred
