"""What lies inside the wood at a station, along a line: heart strip and marks between two faces, the feather on each.

The parts of heart strip and marks between a slab's two faces are projected onto the outline; each point takes the
largest share that covers it, never a sum. The feather counts by the mean of what the two faces show of it.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.stations.fast_loops import FAST
from scans.log import FloatArray, IntArray

BoolArray = NDArray[np.bool_]
_SAME_ROW = 1e-6
"""Heights so few steps apart are one."""


class Inside(NamedTuple):
    """Hearts and zones at the stations, turned with the log: y and rolled z. [m].

    hearts : (C, 6, N) sections of the heart strips at each station (see heart_sections), up to C of them; (0, 6, N)
        where hearts cost nothing at all. heart_counts : (N,) how many of them. heart_spans : (C, 2) the
        stations from the first to beyond the last that have a first, a second ... of them.
    zone_offsets : station i owns zones zone_offsets[i] .. zone_offsets[i + 1] - 1; zone q the corners
        ring_offsets[q] .. ring_offsets[q + 1] - 1 of `rings` (V, 2), a convex ring.
    zone_share : share of the price lost on each. zone_feather : how much of the premium figured wood brings in
        this lay; 0 for a mark. zone_figured, zone_hides : whether it is figured wood, and whether it hides that.
    heart_share : of the price, lost on the heart strip.
    rise_m : (N,) bed height of the log's axis at the stations. cos_tilt : of the lay.
    low_m, high_m : the bed heights that all of it lies between.
    heart_m : mean height of the hearts; nan: there is none. heart_radius_m : of their strips.
    most : the most hearts and marks that any station has, most_figured the most feathers that show; both 0 where
        nothing counts. best_feather : the greatest of zone_feather.
    shown : (most_figured, R, 2, N) from y, to y of what feathers show at bed heights shown_zero_m + r shown_step_m; inf
        and -inf where nothing shows, as at all such heights beyond. No rows where it was not found for all at once.
    shown_m : (R,) the premium's share there, summed over what shows at all stations. [m]
    """

    hearts: FloatArray
    heart_counts: IntArray
    heart_spans: IntArray
    zone_offsets: IntArray
    ring_offsets: IntArray
    rings: FloatArray
    zone_share: FloatArray
    zone_feather: FloatArray
    zone_figured: BoolArray
    zone_hides: BoolArray
    heart_share: float
    rise_m: FloatArray
    cos_tilt: float
    low_m: float
    high_m: float
    heart_m: float
    heart_radius_m: float
    most: int
    most_figured: int
    best_feather: float
    shown: FloatArray = np.zeros((0, 0, 2, 0))
    shown_zero_m: float = 0.0
    shown_step_m: float = 1.0
    shown_m: FloatArray = np.zeros(0)


@numba.njit(cache=True, nogil=True)
def heart_sections(crossings: FloatArray, offsets: IntArray, roll: float, radius_m: float) -> FloatArray:
    """Return the sections of the heart strips, (C, 6, N): y, z, slope, flat, top, at; top is -1 where there is none.

    crossings : (H, 4) (y, z, dy, dz) before the roll (radians): where a heart line crosses a station, and its unit
    direction; station i owns rows offsets[i] .. offsets[i + 1] - 1, C of them at most.

    The strip's section is an ellipse, stretched where the heart runs aslant: points u from the crossing with
    |u|^2 - (u . d)^2 <= radius^2. At a height v from the crossing it spans slope v -+ flat sqrt(top^2 - v^2), for
    v up to +-top; its rightmost point is at height `at`, its leftmost at -at.
    """
    stations = len(offsets) - 1
    most = 0
    for i in range(stations):
        most = max(most, offsets[i + 1] - offsets[i])
    found = np.zeros((most, 6, stations))
    found[:, 4] = -1.0
    cr, sr = np.cos(roll), np.sin(roll)
    for i in range(stations):
        for h in range(offsets[i], offsets[i + 1]):
            dy = crossings[h, 2] * cr - crossings[h, 3] * sr
            dz = crossings[h, 2] * sr + crossings[h, 3] * cr
            a, b, c = 1.0 - dy * dy, -dy * dz, 1.0 - dz * dz
            root = np.sqrt(a * c - b * b)
            section = found[h - offsets[i], :, i]
            section[0] = crossings[h, 0] * cr - crossings[h, 1] * sr
            section[1] = crossings[h, 0] * sr + crossings[h, 1] * cr
            section[2], section[3] = -b / a, root / a
            section[4], section[5] = radius_m * np.sqrt(a) / root, -b * radius_m / np.sqrt(c) / root
    return found


@numba.njit(cache=True, nogil=True)
def heights_of_hearts(sections: FloatArray, rise_m: FloatArray, cos_tilt: float) -> tuple[float, float]:
    """Return the bed heights that the heart strips lie between; inf, -inf where there are none. [m]."""
    low, high = np.inf, -np.inf
    for c in range(sections.shape[0]):
        for i in range(sections.shape[2]):
            if sections[c, 4, i] >= 0.0:
                height, top = rise_m[i] + sections[c, 1, i] * cos_tilt, sections[c, 4, i] * cos_tilt
                low, high = min(low, height - top), max(high, height + top)
    return low, high


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _heart_strips(
    y: FloatArray,
    z: FloatArray,
    slope: FloatArray,
    flat: FloatArray,
    top: FloatArray,
    at: FloatArray,
    rise_m: FloatArray,
    cos_tilt: float,
    lower_m: float,
    upper_m: float,
    from_m: FloatArray,
    to_m: FloatArray,
) -> None:
    # The y span of the part of a heart strip's section between two bed heights; one loop for vector instructions.
    scale = 1.0 / cos_tilt
    for i in range(len(y)):
        low = max((lower_m - rise_m[i]) * scale - z[i], -top[i])
        high = min((upper_m - rise_m[i]) * scale - z[i], top[i])
        v = min(max(at[i], low), high)
        right = y[i] + slope[i] * v + flat[i] * np.sqrt(max(0.0, top[i] * top[i] - v * v))
        v = min(max(-at[i], low), high)
        left = y[i] + slope[i] * v - flat[i] * np.sqrt(max(0.0, top[i] * top[i] - v * v))
        from_m[i] = np.inf if low >= high else left
        to_m[i] = -np.inf if low >= high else right


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
def _ring_chord(rings: FloatArray, first: int, last: int, level_m: float) -> tuple[float, float]:
    # The y span of a convex ring at one height. As _ring_span at equal heights, but most of a search's time goes here.
    low, high = np.inf, -np.inf
    ya, za = rings[last - 1, 0], rings[last - 1, 1]
    for k in range(first, last):
        yb, zb = rings[k, 0], rings[k, 1]
        if (za < level_m) != (zb < level_m):
            y = ya + (yb - ya) * (level_m - za) / (zb - za)
            low, high = min(low, y), max(high, y)
        ya, za = yb, zb
    return low, high


@numba.njit(cache=True, nogil=True)
def shown_at_rows(
    zone_offsets: IntArray,
    ring_offsets: IntArray,
    rings: FloatArray,
    zone_feather: FloatArray,
    rise_m: FloatArray,
    cos_tilt: float,
    most_figured: int,
    step_m: float,
) -> tuple[FloatArray, float, FloatArray]:
    """Return what feathers show at all multiples of a step, the first of these, and its sums; see Inside.shown."""
    low, high = np.inf, -np.inf
    for i in range(len(rise_m)):
        for q in range(zone_offsets[i], zone_offsets[i + 1]):
            if zone_feather[q] > 0.0:
                heights = rise_m[i] + rings[ring_offsets[q] : ring_offsets[q + 1], 1] * cos_tilt
                low, high = min(low, heights.min()), max(high, heights.max())
    if most_figured == 0 or high <= low:
        return np.zeros((0, 0, 2, 0)), 0.0, np.zeros(0)
    zero = np.floor(low / step_m) * step_m
    rows = int((high - zero) / step_m) + 2
    found = np.empty((most_figured, rows, 2, len(rise_m)))
    found[:, :, 0], found[:, :, 1] = np.inf, -np.inf
    shown_m = np.zeros(rows)
    for i in range(len(rise_m)):
        slot = 0
        for q in range(zone_offsets[i], zone_offsets[i + 1]):
            if zone_feather[q] <= 0.0:
                continue
            first, last = ring_offsets[q], ring_offsets[q + 1]
            ya, za = rings[last - 1, 0], (rise_m[i] + rings[last - 1, 1] * cos_tilt - zero) / step_m
            for k in range(first, last):
                yb, zb = rings[k, 0], (rise_m[i] + rings[k, 1] * cos_tilt - zero) / step_m
                for r in range(int(np.floor(min(za, zb))) + 1, int(np.floor(max(za, zb))) + 1):
                    y = ya + (yb - ya) * (r - za) / (zb - za)
                    found[slot, r, 0, i], found[slot, r, 1, i] = (
                        min(found[slot, r, 0, i], y),
                        max(found[slot, r, 1, i], y),
                    )
                ya, za = yb, zb
            for r in range(rows):
                shown_m[r] += zone_feather[q] * max(0.0, found[slot, r, 1, i] - found[slot, r, 0, i])
            slot += 1
    return found, zero, shown_m


@numba.njit(cache=True, nogil=True)
def most_shown_m2(inside: Inside, height_m: float, cell_m: float) -> float:
    """Return the most of the premium that runs can show on a face at a height; infinite where that is not known. [m2].

    Beyond its outer stations a run reaches less than a cell, and shows what it does at these.
    """
    row = _shown_row(inside, height_m)
    if row == -2:
        return np.inf
    return 2.0 * cell_m * inside.shown_m[row] if row >= 0 else 0.0


@numba.njit(cache=True, nogil=True)
def _shown_row(inside: Inside, height_m: float) -> int:
    """Return the row of Inside.shown at a height; -1 where nothing shows there, -2 where it has no row."""
    place = (height_m - inside.shown_zero_m) / inside.shown_step_m
    row = int(np.round(place))
    if inside.shown.shape[1] == 0 or abs(place - row) > _SAME_ROW:
        return -2
    return row if 0 <= row < inside.shown.shape[1] else -1


@numba.njit(cache=True, nogil=True)
def strips_of_layer(
    inside: Inside,
    first: int,
    lower_m: float,
    upper_m: float,
    strips: FloatArray,
    counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> None:
    """Find what lies between two bed heights at the stations from `first` on, and which feathers show at them.

    strips : (most, 4, count) filled with (from y, to y, share lost, 1 if it hides figure), inf and -inf where a heart
    is not between them; counts : (count,) how many.
    faces : (most_figured, 5, count) filled with (from y, to y) at the upper height, (from y, to y) at the lower, the
    premium's share; inf and -inf where a feather is at one of them alone; face_counts : (count,) how many.
    """
    # Locals, so that the loop does not take the tuple apart at every station.
    rise_m, cos_tilt, hearts, heart_counts = inside.rise_m, inside.cos_tilt, inside.hearts, inside.heart_counts
    zone_offsets, ring_offsets, rings = inside.zone_offsets, inside.ring_offsets, inside.rings
    zone_share, zone_feather = inside.zone_share, inside.zone_feather
    zone_figured, zone_hides = inside.zone_figured, inside.zone_hides
    stations = len(counts)
    upper_row, lower_row = _shown_row(inside, upper_m), _shown_row(inside, lower_m)
    by_row = upper_row > -2 and lower_row > -2
    if by_row:
        for c in range(len(inside.shown)):
            for face, row in enumerate((upper_row, lower_row)):
                if row < 0:
                    faces[c, 2 * face], faces[c, 2 * face + 1] = np.inf, -np.inf
                else:
                    faces[c, 2 * face : 2 * face + 2] = inside.shown[c, row, :, first : first + stations]
    for c in range(len(hearts)):
        strips[c, 0, :], strips[c, 1, :], strips[c, 2, :], strips[c, 3, :] = np.inf, -np.inf, inside.heart_share, 0.0
        begin, end = max(first, inside.heart_spans[c, 0]), min(first + stations, inside.heart_spans[c, 1])
        if begin < end:
            heart = hearts[c]
            _heart_strips(
                heart[0, begin:end], heart[1, begin:end], heart[2, begin:end], heart[3, begin:end],
                heart[4, begin:end], heart[5, begin:end], rise_m[begin:end], cos_tilt, lower_m, upper_m,
                strips[c, 0, begin - first : end - first], strips[c, 1, begin - first : end - first],
            )  # fmt: skip
    for i in range(stations):
        count, shown = heart_counts[first + i], 0
        if len(zone_share):
            station = first + i
            lower = (lower_m - rise_m[station]) / cos_tilt
            upper = (upper_m - rise_m[station]) / cos_tilt
            for q in range(zone_offsets[station], zone_offsets[station + 1]):
                if zone_figured[q]:
                    if by_row and zone_feather[q] > 0.0:
                        faces[shown, 4, i] = zone_feather[q]
                        shown += 1
                    elif zone_feather[q] > 0.0:
                        ends = faces[shown, :, i]
                        ends[0], ends[1] = _ring_chord(rings, ring_offsets[q], ring_offsets[q + 1], upper)
                        ends[2], ends[3] = _ring_chord(rings, ring_offsets[q], ring_offsets[q + 1], lower)
                        ends[4] = zone_feather[q]
                        shown += ends[1] > ends[0] or ends[3] > ends[2]
                    continue
                low, high = _ring_span(rings, ring_offsets[q], ring_offsets[q + 1], lower, upper)
                if high > low:
                    count = max(count, len(hearts))  # slots of hearts that are not there stay empty
                    strips[count, 0, i], strips[count, 1, i] = low, high
                    strips[count, 2, i], strips[count, 3, i] = zone_share[q], 1.0 if zone_hides[q] else 0.0
                    count += 1
        counts[i], face_counts[i] = count, shown


@numba.njit(cache=True, nogil=True)
def largest_share(strips: FloatArray, i: int, count: int, low: float, high: float) -> float:
    """Return the largest share lost that covers each point of low .. high at station i, summed along it. [m]."""
    if count == 0:
        return 0.0
    if count > 2:
        return _largest_of_many(strips, i, count, low, high)
    first = max(0.0, min(high, strips[0, 1, i]) - max(low, strips[0, 0, i]))
    if count == 1:
        return strips[0, 2, i] * first
    second = max(0.0, min(high, strips[1, 1, i]) - max(low, strips[1, 0, i]))
    both_low = max(low, strips[0, 0, i], strips[1, 0, i])
    both = max(0.0, min(high, strips[0, 1, i], strips[1, 1, i]) - both_low)
    a, b = strips[0, 2, i], strips[1, 2, i]
    return a * first + b * second - min(a, b) * both


@numba.njit(cache=True, nogil=True)
def _largest_of_many(strips: FloatArray, i: int, count: int, low: float, high: float) -> float:
    total, here = 0.0, low
    while here < high:
        # From here to the next place where any strip begins or ends the same strips cover the line.
        until, share = high, 0.0
        for k in range(count):
            if strips[k, 2, i] <= 0.0:
                continue
            if strips[k, 0, i] > here:
                until = min(until, strips[k, 0, i])
            elif strips[k, 1, i] > here:
                until = min(until, strips[k, 1, i])
                share = max(share, strips[k, 2, i])
        total += share * (until - here)
        here = until
    return total


@numba.njit(cache=True, nogil=True)
def shown_share(
    strips: FloatArray, faces: FloatArray, i: int, count: int, shown: int, low: float, high: float
) -> float:
    """Return the premium's share over low .. high at station i, the mean of what both faces show, summed along it. [m].

    count, shown : of strips and faces there; see strips_of_layer. Each point takes the largest share that covers it on
    a face, and none where something hides figure.
    """
    if shown == 0:
        return 0.0
    if shown == 1:
        hidden = False
        for k in range(count):
            hidden |= strips[k, 3, i] > 0.0
        if not hidden:
            upper = max(0.0, min(high, faces[0, 1, i]) - max(low, faces[0, 0, i]))
            lower = max(0.0, min(high, faces[0, 3, i]) - max(low, faces[0, 2, i]))
            return 0.5 * faces[0, 4, i] * (upper + lower)
    total, here = 0.0, low
    while here < high:
        until, upper, lower = high, 0.0, 0.0
        for k in range(shown):
            for face in range(2):
                begin, end = faces[k, 2 * face, i], faces[k, 2 * face + 1, i]
                if begin > here:
                    until = min(until, begin)
                elif end > here:
                    until = min(until, end)
                    if face == 0:
                        upper = max(upper, faces[k, 4, i])
                    else:
                        lower = max(lower, faces[k, 4, i])
        for k in range(count):
            if strips[k, 3, i] <= 0.0:
                continue
            if strips[k, 0, i] > here:
                until = min(until, strips[k, 0, i])
            elif strips[k, 1, i] > here:
                until = min(until, strips[k, 1, i])
                upper = lower = 0.0
        total += 0.5 * (upper + lower) * (until - here)
        here = until
    return total
