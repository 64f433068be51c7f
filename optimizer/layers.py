"""What one layer of one lay is worth: outline, pieces, runs, prices, in one sweep over the stations.

The outline at a station is the meeting of the wood intervals on the layer's two faces. Its pieces are
linked from station to station where intervals overlap; each piece is judged by itself.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.chords import Chords
from optimizer.terms import Terms
from scans.log import FloatArray, IntArray


@numba.njit(cache=True, nogil=True)
def width_factor(terms: Terms, mean_width_m: float) -> float:
    """Return the width factor: straight lines between the book's points, flat outside."""
    at, factor = terms.width_at_m, terms.width_factor
    if mean_width_m <= at[0]:
        return factor[0]
    for k in range(1, len(at)):
        if mean_width_m <= at[k]:
            share = (mean_width_m - at[k - 1]) / (at[k] - at[k - 1])
            return factor[k - 1] + share * (factor[k] - factor[k - 1])
    return factor[len(at) - 1]


@numba.njit(cache=True, nogil=True)
def slab_value(terms: Terms, entry: int, length_m: float, area_m2: float, uncapped_m2: float, lost_m2: float) -> float:
    """Return what a slab brings after its own drying and handling; 0 where that is not above 0."""
    if length_m <= 0.0 or uncapped_m2 <= 0.0:
        return 0.0
    board_feet = area_m2 * terms.board_feet_per_m2[entry]
    price = board_feet * terms.price[entry] * width_factor(terms, area_m2 / length_m)
    price = max(0.0, price * (1.0 - terms.heart_share * min(1.0, lost_m2 / uncapped_m2)))
    return max(0.0, price - board_feet * terms.drying_per_board_foot - terms.slab_cost)


@numba.njit(cache=True, nogil=True)
def _at(cumulated: FloatArray, places: FloatArray, count: int, x: float) -> float:
    # Linear between the places of a cumulated sum; places rise.
    if x <= places[0]:
        return cumulated[0]
    low, high = 0, count - 1
    if x >= places[high]:
        return cumulated[high]
    while high - low > 1:
        mid = (low + high) // 2
        if places[mid] <= x:
            low = mid
        else:
            high = mid
    share = (x - places[low]) / (places[high] - places[low])
    return cumulated[low] + share * (cumulated[high] - cumulated[low])


@numba.njit(cache=True, nogil=True)
def run_value(
    terms: Terms,
    entry: int,
    places: FloatArray,
    area: FloatArray,
    uncapped: FloatArray,
    lost: FloatArray,
    count: int,
) -> float:
    """Return what a run brings, crosscut where it is longer than buyers take.

    places, area, uncapped, lost: places along the run and the sums up to them, the first `count`.
    """
    start, end = places[0], places[count - 1]
    length = end - start
    if length < terms.min_length_m:
        return 0.0
    if length <= terms.max_length_m:
        return slab_value(terms, entry, length, area[count - 1], uncapped[count - 1], lost[count - 1])
    parts = int(np.ceil(length / terms.max_length_m - 1e-12))
    if length / parts >= terms.min_length_m:
        total = 0.0
        for p in range(parts):
            x0, x1 = start + length * p / parts, start + length * (p + 1) / parts
            total += slab_value(
                terms,
                entry,
                x1 - x0,
                _at(area, places, count, x1) - _at(area, places, count, x0),
                _at(uncapped, places, count, x1) - _at(uncapped, places, count, x0),
                _at(lost, places, count, x1) - _at(lost, places, count, x0),
            )
        return total
    best_x, best_area = start, -1.0
    for k in range(2 * count):
        # The part of maximum length with the greatest area begins, or ends, at a place.
        x0 = places[k] if k < count else places[k - count] - terms.max_length_m
        if x0 < start or x0 + terms.max_length_m > end:
            continue
        found = _at(area, places, count, x0 + terms.max_length_m) - _at(area, places, count, x0)
        if found > best_area:
            best_x, best_area = x0, found
    x1 = best_x + terms.max_length_m
    return slab_value(
        terms,
        entry,
        terms.max_length_m,
        best_area,
        _at(uncapped, places, count, x1) - _at(uncapped, places, count, best_x),
        _at(lost, places, count, x1) - _at(lost, places, count, best_x),
    )


@numba.njit(cache=True, nogil=True)
def piece_value(
    terms: Terms,
    entry: int,
    width: FloatArray,
    lost: FloatArray,
    low: int,
    high: int,
    count: int,
    cell_m: float,
    scratch: FloatArray,
) -> float:
    """Return what the runs of one piece bring.

    width, lost : (count,) wood across the piece at each usable station, and heart strip in it. [m]
    low, high : the piece lies on stations low .. high. cell_m : length of a cell along the bed. [m]
    scratch : (4, count + 2).

    Between stations the width goes straight; beyond the piece's own ends it falls to 0 in a cell,
    but at a trim the wood goes on to the plane, half a cell away.
    """
    least = terms.min_width_m
    most = terms.max_width_m
    total = 0.0
    places, area, uncapped, lost_sum = scratch[0], scratch[1], scratch[2], scratch[3]
    i = low
    while i <= high:
        if width[i] < least:
            i += 1
            continue
        centre = (i + 0.5) * cell_m
        w = width[i]
        capped = min(w, most)
        area[0] = uncapped[0] = lost_sum[0] = 0.0
        if i == 0:
            reach, edge = 0.5 * cell_m, w
        else:
            before = width[i - 1] if i > low else 0.0
            reach, edge = cell_m * (w - least) / (w - before), least
        places[0] = centre - reach
        n = 1
        places[1] = centre
        area[1] = reach * 0.5 * (capped + min(edge, most))
        uncapped[1] = reach * 0.5 * (w + edge)
        lost_sum[1] = reach * lost[i]
        n = 2
        j = i
        while j + 1 <= high and width[j + 1] >= least:
            j += 1
            places[n] = places[n - 1] + cell_m
            area[n] = area[n - 1] + 0.5 * cell_m * (min(width[j - 1], most) + min(width[j], most))
            uncapped[n] = uncapped[n - 1] + 0.5 * cell_m * (width[j - 1] + width[j])
            lost_sum[n] = lost_sum[n - 1] + 0.5 * cell_m * (lost[j - 1] + lost[j])
            n += 1
        w = width[j]
        if j == count - 1:
            reach, edge = 0.5 * cell_m, w
        else:
            after = width[j + 1] if j + 1 <= high else 0.0
            reach, edge = cell_m * (w - least) / (w - after), least
        places[n] = places[n - 1] + reach
        area[n] = area[n - 1] + reach * 0.5 * (min(w, most) + min(edge, most))
        uncapped[n] = uncapped[n - 1] + reach * 0.5 * (w + edge)
        lost_sum[n] = lost_sum[n - 1] + reach * lost[j]
        n += 1
        total += run_value(terms, entry, places, area, uncapped, lost_sum, n)
        i = j + 1
    return total


@numba.njit(cache=True, nogil=True)
def _root(parent: IntArray, k: int) -> int:
    while parent[k] != k:
        parent[k] = parent[parent[k]]
        k = parent[k]
    return k


@numba.njit(cache=True, nogil=True)
def heart_strip(hearts: FloatArray, radius_m: float, lower_m: float, upper_m: float, strips: FloatArray) -> int:
    """Find the y intervals of heart strip between two rolled heights at a station.

    hearts : (H, 4) turned crossings (y, z, dy, dz). strips : (H, 2) filled with the intervals,
    sorted and joined; returns how many. The strip's section is an ellipse, stretched where the heart
    runs aslant: points u from the crossing with |u|^2 - (u . d)^2 <= radius^2.
    """
    count = 0
    for h in range(len(hearts)):
        y, z, dy, dz = hearts[h, 0], hearts[h, 1], hearts[h, 2], hearts[h, 3]
        a, b, c = 1.0 - dy * dy, -dy * dz, 1.0 - dz * dz
        det = a * c - b * b
        top = radius_m * np.sqrt(a / det)
        low, high = max(lower_m - z, -top), min(upper_m - z, top)
        if low >= high:
            continue
        widest = radius_m * np.sqrt(c / det)
        at = -b / c * widest  # the height of the rightmost point; the leftmost is its mirror image
        v = min(max(at, low), high)
        right = (-b * v + np.sqrt(max(0.0, b * b * v * v - a * (c * v * v - radius_m * radius_m)))) / a
        v = min(max(-at, low), high)
        left = (-b * v - np.sqrt(max(0.0, b * b * v * v - a * (c * v * v - radius_m * radius_m)))) / a
        k = count
        while k > 0 and strips[k - 1, 0] > y + left:
            strips[k, 0], strips[k, 1] = strips[k - 1, 0], strips[k - 1, 1]
            k -= 1
        strips[k, 0], strips[k, 1] = y + left, y + right
        count += 1
    joined = 0
    for k in range(count):
        if joined and strips[k, 0] <= strips[joined - 1, 1]:
            strips[joined - 1, 1] = max(strips[joined - 1, 1], strips[k, 1])
        else:
            strips[joined, 0], strips[joined, 1] = strips[k, 0], strips[k, 1]
            joined += 1
    return joined


@numba.njit(cache=True, nogil=True)
def _overlap(strips: FloatArray, count: int, low: float, high: float) -> float:
    total = 0.0
    for k in range(count):
        total += max(0.0, min(high, strips[k, 1]) - max(low, strips[k, 0]))
    return total


class Room(NamedTuple):
    """Room for the kernels to work in, made once for a lay.

    low, high : intervals of an outline, station by station. parent : the piece that each belongs to.
    begins : (count + 1,) first interval of each station. from_station, to_station : where each piece lies, at its
    first interval. width, lost, left, right : (count,). sums : (4, count + 2). strips : (H, 2).
    """

    low: FloatArray
    high: FloatArray
    parent: IntArray
    begins: IntArray
    width: FloatArray
    lost: FloatArray
    left: FloatArray
    right: FloatArray
    from_station: IntArray
    to_station: IntArray
    sums: FloatArray
    strips: FloatArray


@numba.njit(cache=True, nogil=True)
def room_for(count: int, slots: int, hearts: int) -> Room:
    """Make room for outlines of `count` stations whose faces have up to `slots` crossings each."""
    intervals = count * slots  # two lists of slots / 2 intervals meet in fewer than slots
    return Room(
        np.zeros(intervals),
        np.zeros(intervals),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(count + 1, dtype=np.int64),
        np.zeros(count),
        np.zeros(count),
        np.zeros(count),
        np.zeros(count),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(intervals, dtype=np.int64),
        np.zeros((4, count + 2)),
        np.zeros((max(1, hearts), 2)),
    )


class Hearts(NamedTuple):
    """The heart lines' crossings at the stations, turned.

    offsets : station i owns rows offsets[i] .. offsets[i + 1] - 1 of `crossings`, each (y, z, dy, dz).
    rise_m : (N,) bed height of the log's axis at the stations. cos_tilt : of the lay.
    low_m, high_m : the bed heights that all heart strip lies between.
    """

    offsets: IntArray
    crossings: FloatArray
    rise_m: FloatArray
    cos_tilt: float
    low_m: float
    high_m: float


@numba.njit(cache=True, nogil=True)
def _strips_at(terms: Terms, hearts: Hearts, s: int, lower_m: float, upper_m: float, strips: FloatArray) -> int:
    return heart_strip(
        hearts.crossings[hearts.offsets[s] : hearts.offsets[s + 1]],
        terms.heart_radius_m,
        (lower_m - hearts.rise_m[s]) / hearts.cos_tilt,
        (upper_m - hearts.rise_m[s]) / hearts.cos_tilt,
        strips,
    )


@numba.njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _meet(
    upper_low: NDArray[np.float32],
    upper_high: NDArray[np.float32],
    lower_low: NDArray[np.float32],
    lower_high: NDArray[np.float32],
    left: FloatArray,
    right: FloatArray,
) -> None:
    # Where each face has one interval at most, the loop is one for vector instructions.
    for i in range(len(left)):
        a, b = upper_low[i], lower_low[i]
        left[i] = max(b, a)
        a, b = upper_high[i], lower_high[i]
        right[i] = min(b, a)


@numba.njit(cache=True, nogil=True)
def _simple_layer(
    terms: Terms,
    entry: int,
    upper: Chords,
    upper_row: int,
    lower: Chords,
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    with_heart: bool,
    hearts: Hearts,
    lower_m: float,
    upper_m: float,
    room: Room,
) -> float:
    count = last - first
    left, right, width, lost = room.left, room.right, room.width, room.lost
    _meet(
        upper.y[upper_row, 0, first:last],
        upper.y[upper_row, 1, first:last],
        lower.y[lower_row, 0, first:last],
        lower.y[lower_row, 1, first:last],
        left,
        right,
    )
    total = 0.0
    needed = terms.min_length_m / cell_m - 1.0
    i = 0
    while i < count:
        if right[i] <= left[i]:
            i += 1
            continue
        low = i
        width[i] = right[i] - left[i]
        inside = 1 if width[i] >= terms.min_width_m else 0
        longest = inside
        while i + 1 < count and min(right[i], right[i + 1]) > max(left[i], left[i + 1]):
            i += 1
            width[i] = right[i] - left[i]
            inside = inside + 1 if width[i] >= terms.min_width_m else 0
            longest = max(longest, inside)
        if longest >= needed and longest > 0:
            for k in range(low, i + 1):
                lost[k] = 0.0
                if with_heart and width[k] >= terms.min_width_m:
                    s = first + k
                    if hearts.offsets[s + 1] > hearts.offsets[s]:
                        strips = _strips_at(terms, hearts, s, lower_m, upper_m, room.strips)
                        lost[k] = _overlap(room.strips, strips, left[k], right[k])
            total += piece_value(terms, entry, width, lost, low, i, count, cell_m, room.sums)
        i += 1
    return total


@numba.njit(cache=True, nogil=True)
def layer_value(
    terms: Terms,
    entry: int,
    upper: Chords,
    upper_row: int,
    lower: Chords,
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    simple: bool,
    hearts: Hearts,
    lower_m: float,
    upper_m: float,
    room: Room,
) -> float:
    """Return what the slabs of one layer bring, after their drying and handling.

    first .. last - 1 are the usable stations; cell_m is a cell's length along the bed. simple : whether
    both faces have one interval at most at every usable station. lower_m, upper_m : the faces' heights.
    """
    with_heart = (
        terms.heart_share > 0.0 and len(hearts.crossings) > 0 and upper_m > hearts.low_m and lower_m < hearts.high_m
    )
    if simple:
        return _simple_layer(
            terms, entry, upper, upper_row, lower, lower_row, first, last, cell_m, with_heart, hearts,
            lower_m, upper_m, room,
        )  # fmt: skip
    count = last - first
    low, high, parent, begins = room.low, room.high, room.parent, room.begins
    n = 0
    for i in range(count):
        begins[i] = n
        s = first + i
        a, a_end = 0, upper.counts[upper_row, s]
        b, b_end = 0, lower.counts[lower_row, s]
        while a < a_end and b < b_end:
            left = max(upper.y[upper_row, a, s], lower.y[lower_row, b, s])
            right = min(upper.y[upper_row, a + 1, s], lower.y[lower_row, b + 1, s])
            if right > left:
                low[n], high[n], parent[n] = left, right, n
                n += 1
            if upper.y[upper_row, a + 1, s] < lower.y[lower_row, b + 1, s]:
                a += 2
            else:
                b += 2
        if i:
            p, q = begins[i - 1], begins[i]
            while p < begins[i] and q < n:
                if min(high[p], high[q]) > max(low[p], low[q]):
                    root_p, root_q = _root(parent, p), _root(parent, q)
                    if root_p != root_q:
                        parent[max(root_p, root_q)] = min(root_p, root_q)
                if high[p] < high[q]:
                    p += 1
                else:
                    q += 1
    begins[count] = n
    begin, end = room.from_station, room.to_station
    for i in range(count):
        for m in range(begins[i], begins[i + 1]):
            # Parents come first, so that one step finds the root.
            root = parent[parent[m]]
            parent[m] = root
            if root == m:
                begin[m] = i
            end[root] = i
    width, lost = room.width, room.lost
    needed = terms.min_length_m / cell_m - 1.0
    total = 0.0
    for k in range(n):
        # Each piece once, at its root; a short one has no room for a run.
        if parent[k] != k or end[k] - begin[k] + 1 < needed:
            continue
        inside, longest = 0, 0
        for i in range(begin[k], end[k] + 1):
            width[i] = lost[i] = 0.0
            for m in range(begins[i], begins[i + 1]):
                if parent[m] == k:
                    width[i] += high[m] - low[m]
            inside = inside + 1 if width[i] >= terms.min_width_m else 0
            longest = max(longest, inside)
        if longest < needed or longest == 0:
            continue
        if with_heart:
            for i in range(begin[k], end[k] + 1):
                s = first + i
                if hearts.offsets[s + 1] == hearts.offsets[s] or width[i] < terms.min_width_m:
                    continue
                strips = _strips_at(terms, hearts, s, lower_m, upper_m, room.strips)
                for m in range(begins[i], begins[i + 1]):
                    if strips and parent[m] == k:
                        lost[i] += _overlap(room.strips, strips, low[m], high[m])
        total += piece_value(terms, entry, width, lost, begin[k], end[k], count, cell_m, room.sums)
    return total
