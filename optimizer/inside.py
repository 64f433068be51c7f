"""What lies inside the wood at a station: heart strip, marks and feather between two faces, along a line.

The parts of them between a slab's two faces are projected onto the outline; each point takes the largest
share that covers it, never a sum.
"""

from typing import NamedTuple

import numba
import numpy as np

from scans.log import FloatArray, IntArray


class Inside(NamedTuple):
    """Hearts and zones at the stations, turned with the log: y and rolled z. [m].

    heart_offsets : station i owns rows heart_offsets[i] .. heart_offsets[i + 1] - 1 of `hearts`, each the section of
        a heart strip (see heart_sections).
    zone_offsets : station i owns zones zone_offsets[i] .. zone_offsets[i + 1] - 1; zone q the corners
        ring_offsets[q] .. ring_offsets[q + 1] - 1 of `rings` (V, 2), a convex ring.
    zone_share : share of the price lost on each. zone_feather : how much of the premium figured wood brings in
        this lay; 0 for a mark.
    heart_share : of the price, lost on the heart strip.
    rise_m : (N,) bed height of the log's axis at the stations. cos_tilt : of the lay.
    low_m, high_m : the bed heights that all of it lies between.
    most : the most hearts and zones that any station has; 0 where nothing counts. best_feather : the greatest of
        zone_feather.
    """

    heart_offsets: IntArray
    hearts: FloatArray
    zone_offsets: IntArray
    ring_offsets: IntArray
    rings: FloatArray
    zone_share: FloatArray
    zone_feather: FloatArray
    heart_share: float
    rise_m: FloatArray
    cos_tilt: float
    low_m: float
    high_m: float
    most: int
    best_feather: float


def heart_sections(crossings: FloatArray, radius_m: float) -> FloatArray:
    """Return the sections of the heart strip, (H, 6): y, z, slope, flat, top, at.

    crossings : (H, 4) turned (y, z, dy, dz): where a heart line crosses a station, and its unit direction.

    The strip's section is an ellipse, stretched where the heart runs aslant: points u from the crossing with
    |u|^2 - (u . d)^2 <= radius^2. At a height v from the crossing it spans slope v -+ flat sqrt(top^2 - v^2), for
    v up to +-top; its rightmost point is at height `at`, its leftmost at -at.
    """
    y, z, dy, dz = crossings.T
    a, b, c = 1.0 - dy * dy, -dy * dz, 1.0 - dz * dz
    root = np.sqrt(a * c - b * b)
    return np.stack([y, z, -b / a, root / a, radius_m * np.sqrt(a) / root, -b * radius_m / np.sqrt(c) / root], axis=1)


@numba.njit(cache=True, nogil=True)
def _heart_span(heart: FloatArray, lower_m: float, upper_m: float) -> tuple[float, float]:
    # The y span of the part of a heart strip's section between two rolled heights.
    z, top, at = heart[1], heart[4], heart[5]
    low, high = max(lower_m - z, -top), min(upper_m - z, top)
    if low >= high:
        return 0.0, 0.0
    v = min(max(at, low), high)
    right = heart[2] * v + heart[3] * np.sqrt(max(0.0, top * top - v * v))
    v = min(max(-at, low), high)
    left = heart[2] * v - heart[3] * np.sqrt(max(0.0, top * top - v * v))
    return heart[0] + left, heart[0] + right


@numba.njit(cache=True, nogil=True)
def _ring_span(rings: FloatArray, first: int, last: int, lower_m: float, upper_m: float) -> tuple[float, float]:
    # The y span of the part of a convex ring between two heights.
    low, high = np.inf, -np.inf
    for k in range(first, last):
        a, b = k, k + 1 if k + 1 < last else first
        za, zb = rings[a, 1], rings[b, 1]
        if lower_m <= za <= upper_m:
            low, high = min(low, rings[a, 0]), max(high, rings[a, 0])
        for level in (lower_m, upper_m):
            if (za < level) != (zb < level):
                y = rings[a, 0] + (rings[b, 0] - rings[a, 0]) * (level - za) / (zb - za)
                low, high = min(low, y), max(high, y)
    return low, high


@numba.njit(cache=True, nogil=True)
def strips_of_layer(
    inside: Inside, first: int, lower_m: float, upper_m: float, strips: FloatArray, counts: IntArray
) -> None:
    """Find what lies between two bed heights at the stations from `first` on.

    strips : (count, most, 4) filled with (from y, to y, share lost, premium's share); counts : (count,) how many.
    """
    # Locals, so that the loop does not take the tuple apart at every station.
    rise_m, cos_tilt, heart_share = inside.rise_m, inside.cos_tilt, inside.heart_share
    heart_offsets, hearts = inside.heart_offsets, inside.hearts
    zone_offsets, ring_offsets, rings = inside.zone_offsets, inside.ring_offsets, inside.rings
    zone_share, zone_feather = inside.zone_share, inside.zone_feather
    for i in range(len(counts)):
        station = first + i
        lower = (lower_m - rise_m[station]) / cos_tilt
        upper = (upper_m - rise_m[station]) / cos_tilt
        count = 0
        if heart_share > 0.0:
            for h in range(heart_offsets[station], heart_offsets[station + 1]):
                low, high = _heart_span(hearts[h], lower, upper)
                if high > low:
                    strips[i, count, 0], strips[i, count, 1] = low, high
                    strips[i, count, 2], strips[i, count, 3] = heart_share, 0.0
                    count += 1
        for q in range(zone_offsets[station], zone_offsets[station + 1]):
            low, high = _ring_span(rings, ring_offsets[q], ring_offsets[q + 1], lower, upper)
            if high > low:
                strips[i, count, 0], strips[i, count, 1] = low, high
                strips[i, count, 2], strips[i, count, 3] = zone_share[q], zone_feather[q]
                count += 1
        counts[i] = count


@numba.njit(cache=True, nogil=True)
def largest_share(strips: FloatArray, i: int, count: int, column: int, low: float, high: float) -> float:
    """Return the largest share that covers each point of low .. high at station i, summed along it. [m]."""
    if count == 0:
        return 0.0
    if count == 1:
        overlap = min(high, strips[i, 0, 1]) - max(low, strips[i, 0, 0])
        return strips[i, 0, column] * overlap if overlap > 0.0 else 0.0
    total, here = 0.0, low
    while here < high:
        # From here to the next place where any strip begins or ends the same strips cover the line.
        until, share = high, 0.0
        for k in range(count):
            if strips[i, k, column] <= 0.0:
                continue
            if strips[i, k, 0] > here:
                until = min(until, strips[i, k, 0])
            elif strips[i, k, 1] > here:
                until = min(until, strips[i, k, 1])
                share = max(share, strips[i, k, column])
        total += share * (until - here)
        here = until
    return total
