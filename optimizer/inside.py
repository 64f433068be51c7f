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

    heart_offsets : station i owns rows heart_offsets[i] .. heart_offsets[i + 1] - 1 of `hearts`, each
        (y, z, dy, dz): where a heart line crosses it, and its unit direction's y and z.
    zone_offsets : station i owns zones zone_offsets[i] .. zone_offsets[i + 1] - 1; zone q the corners
        ring_offsets[q] .. ring_offsets[q + 1] - 1 of `rings` (V, 2), a convex ring.
    zone_share : share of the price lost on each. zone_feather : how much of the premium figured wood brings in
        this lay; 0 for a mark.
    heart_share, heart_radius_m : of the heart strip.
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
    heart_radius_m: float
    rise_m: FloatArray
    cos_tilt: float
    low_m: float
    high_m: float
    most: int
    best_feather: float


@numba.njit(cache=True, nogil=True)
def _heart_span(heart: FloatArray, radius_m: float, lower_m: float, upper_m: float) -> tuple[float, float]:
    # The strip's section is an ellipse, stretched where the heart runs aslant: points u from the crossing with
    # |u|^2 - (u . d)^2 <= radius^2. Its part between two rolled heights spans from .. to in y.
    y, z, dy, dz = heart[0], heart[1], heart[2], heart[3]
    a, b, c = 1.0 - dy * dy, -dy * dz, 1.0 - dz * dz
    det = a * c - b * b
    top = radius_m * np.sqrt(a / det)
    low, high = max(lower_m - z, -top), min(upper_m - z, top)
    if low >= high:
        return 0.0, 0.0
    widest = radius_m * np.sqrt(c / det)
    at = -b / c * widest  # the height of the rightmost point; the leftmost is its mirror image
    v = min(max(at, low), high)
    right = (-b * v + np.sqrt(max(0.0, b * b * v * v - a * (c * v * v - radius_m * radius_m)))) / a
    v = min(max(-at, low), high)
    left = (-b * v - np.sqrt(max(0.0, b * b * v * v - a * (c * v * v - radius_m * radius_m)))) / a
    return y + left, y + right


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
def strips_at(inside: Inside, station: int, lower_m: float, upper_m: float, strips: FloatArray) -> int:
    """Find what lies between two bed heights at a station.

    strips : (most, 4) filled with (from y, to y, share lost, premium's share); returns how many.
    """
    lower = (lower_m - inside.rise_m[station]) / inside.cos_tilt
    upper = (upper_m - inside.rise_m[station]) / inside.cos_tilt
    count = 0
    if inside.heart_share > 0.0:
        for h in range(inside.heart_offsets[station], inside.heart_offsets[station + 1]):
            low, high = _heart_span(inside.hearts[h], inside.heart_radius_m, lower, upper)
            if high > low:
                strips[count, 0], strips[count, 1] = low, high
                strips[count, 2], strips[count, 3] = inside.heart_share, 0.0
                count += 1
    for q in range(inside.zone_offsets[station], inside.zone_offsets[station + 1]):
        low, high = _ring_span(inside.rings, inside.ring_offsets[q], inside.ring_offsets[q + 1], lower, upper)
        if high > low:
            strips[count, 0], strips[count, 1] = low, high
            strips[count, 2], strips[count, 3] = inside.zone_share[q], inside.zone_feather[q]
            count += 1
    return count


@numba.njit(cache=True, nogil=True)
def largest_share(strips: FloatArray, count: int, column: int, low: float, high: float) -> float:
    """Return the largest share that covers each point of low .. high, summed along it. [m]."""
    total, here = 0.0, low
    while here < high:
        # From here to the next place where any strip begins or ends the same strips cover the line.
        until, share = high, 0.0
        for k in range(count):
            if strips[k, column] <= 0.0:
                continue
            if strips[k, 0] > here:
                until = min(until, strips[k, 0])
            elif strips[k, 1] > here:
                until = min(until, strips[k, 1])
                share = max(share, strips[k, column])
        total += share * (until - here)
        here = until
    return total
