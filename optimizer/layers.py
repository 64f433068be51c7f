"""What one layer of one lay is worth: outline, pieces, runs, prices, in one sweep over the stations.

The outline at a station is the meeting of the wood intervals on the layer's two faces. Its pieces are
linked from station to station where intervals overlap; each piece is judged by itself.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.chords import Chords
from optimizer.inside import Inside, largest_share, strips_of_layer
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
def slab_value(
    terms: Terms, entry: int, length_m: float, area_m2: float, uncapped_m2: float, lost_m2: float, figured_m2: float
) -> float:
    """Return what a slab brings after its own drying and handling; 0 where that is not above 0.

    lost_m2, figured_m2 : area times the share of the price lost on it, and of the premium that it brings.
    """
    if length_m <= 0.0 or uncapped_m2 <= 0.0:
        return 0.0
    board_feet = area_m2 * terms.board_feet_per_m2[entry]
    price = board_feet * terms.price[entry] * width_factor(terms, area_m2 / length_m)
    price *= max(0.0, 1.0 - lost_m2 / uncapped_m2)
    price += figured_m2 * terms.board_feet_per_m2[entry] * terms.feather_per_board_foot
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
    figured: FloatArray,
    count: int,
) -> float:
    """Return what a run brings, crosscut where it is longer than buyers take.

    places, area, uncapped, lost, figured : places along the run and the sums up to them, the first `count`.
    """
    start, end = places[0], places[count - 1]
    length = end - start
    if length < terms.min_length_m:
        return 0.0
    if length <= terms.max_length_m:
        end_at = count - 1
        return slab_value(terms, entry, length, area[end_at], uncapped[end_at], lost[end_at], figured[end_at])
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
                _at(figured, places, count, x1) - _at(figured, places, count, x0),
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
        _at(figured, places, count, x1) - _at(figured, places, count, best_x),
    )


@numba.njit(cache=True, nogil=True)
def piece_value(
    terms: Terms,
    entry: int,
    width: FloatArray,
    lost: FloatArray,
    figured: FloatArray,
    low: int,
    high: int,
    count: int,
    cell_m: float,
    scratch: FloatArray,
) -> float:
    """Return what the runs of one piece bring.

    width, lost, figured : (count,) wood across the piece at each usable station; the share of the price lost, and
    that of the premium brought, summed across it. [m]
    low, high : the piece lies on stations low .. high. cell_m : length of a cell along the bed. [m]
    scratch : (5, count + 2).

    Between stations the width goes straight; beyond the piece's own ends it falls to 0 in a cell,
    but at a trim the wood goes on to the plane, half a cell away.
    """
    least = terms.min_width_m
    most = terms.max_width_m
    total = 0.0
    places, area, uncapped, lost_sum, figured_sum = scratch[0], scratch[1], scratch[2], scratch[3], scratch[4]
    i = low
    while i <= high:
        if width[i] < least:
            i += 1
            continue
        centre = (i + 0.5) * cell_m
        w = width[i]
        capped = min(w, most)
        area[0] = uncapped[0] = lost_sum[0] = figured_sum[0] = 0.0
        if i == 0:
            reach, edge = 0.5 * cell_m, w
        else:
            before = width[i - 1] if i > low else 0.0
            reach, edge = cell_m * (w - least) / (w - before), least
        places[0] = centre - reach
        places[1] = centre
        area[1] = reach * 0.5 * (capped + min(edge, most))
        uncapped[1] = reach * 0.5 * (w + edge)
        lost_sum[1] = reach * lost[i]
        figured_sum[1] = reach * figured[i]
        n = 2
        j = i
        while j + 1 <= high and width[j + 1] >= least:
            j += 1
            places[n] = places[n - 1] + cell_m
            area[n] = area[n - 1] + 0.5 * cell_m * (min(width[j - 1], most) + min(width[j], most))
            uncapped[n] = uncapped[n - 1] + 0.5 * cell_m * (width[j - 1] + width[j])
            lost_sum[n] = lost_sum[n - 1] + 0.5 * cell_m * (lost[j - 1] + lost[j])
            figured_sum[n] = figured_sum[n - 1] + 0.5 * cell_m * (figured[j - 1] + figured[j])
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
        figured_sum[n] = figured_sum[n - 1] + reach * figured[j]
        n += 1
        total += run_value(terms, entry, places, area, uncapped, lost_sum, figured_sum, n)
        i = j + 1
    return total


@numba.njit(cache=True, nogil=True)
def _root(parent: IntArray, k: int) -> int:
    while parent[k] != k:
        parent[k] = parent[parent[k]]
        k = parent[k]
    return k


class Room(NamedTuple):
    """Room for the kernels to work in, made once for a lay.

    low, high : intervals of an outline, station by station. parent : the piece that each belongs to.
    begins : (count + 1,) first interval of each station. from_station, to_station : where each piece lies, at its
    first interval. width, lost, figured, left, right : (count,). sums : (5, count + 2). strips : (count, most, 4).
    strip_counts : (count,).
    """

    low: FloatArray
    high: FloatArray
    parent: IntArray
    begins: IntArray
    width: FloatArray
    lost: FloatArray
    figured: FloatArray
    left: FloatArray
    right: FloatArray
    from_station: IntArray
    to_station: IntArray
    sums: FloatArray
    strips: FloatArray
    strip_counts: IntArray


@numba.njit(cache=True, nogil=True)
def room_for(count: int, slots: int, strips: int) -> Room:
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
        np.zeros(count),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(intervals, dtype=np.int64),
        np.zeros((5, count + 2)),
        np.zeros((count, max(1, strips), 4)),
        np.zeros(count, dtype=np.int64),
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
    something: bool,
    inside: Inside,
    lower_m: float,
    upper_m: float,
    room: Room,
) -> float:
    count = last - first
    left, right, width, lost, figured = room.left, room.right, room.width, room.lost, room.figured
    _meet(
        upper.y[upper_row, 0, first:last],
        upper.y[upper_row, 1, first:last],
        lower.y[lower_row, 0, first:last],
        lower.y[lower_row, 1, first:last],
        left,
        right,
    )
    strips, strip_counts, found, feather = room.strips, room.strip_counts, False, inside.best_feather > 0.0
    total = 0.0
    needed = terms.min_length_m / cell_m - 1.0
    i = 0
    while i < count:
        if right[i] <= left[i]:
            i += 1
            continue
        low = i
        width[i] = right[i] - left[i]
        on_end = 1 if width[i] >= terms.min_width_m else 0
        longest = on_end
        while i + 1 < count and min(right[i], right[i + 1]) > max(left[i], left[i + 1]):
            i += 1
            width[i] = right[i] - left[i]
            on_end = on_end + 1 if width[i] >= terms.min_width_m else 0
            longest = max(longest, on_end)
        if longest >= needed and longest > 0:
            if something and not found:
                strips_of_layer(inside, first, lower_m, upper_m, room.strips, room.strip_counts)
                found = True
            for k in range(low, i + 1):
                lost[k] = figured[k] = 0.0
                if found and strip_counts[k]:
                    lost[k] = largest_share(strips, k, strip_counts[k], 2, left[k], right[k])
                    if feather:
                        figured[k] = largest_share(strips, k, strip_counts[k], 3, left[k], right[k])
            total += piece_value(terms, entry, width, lost, figured, low, i, count, cell_m, room.sums)
        i += 1
    return total


@numba.njit(cache=True, nogil=True)
def general_layer(
    terms: Terms,
    entry: int,
    upper_counts: NDArray[np.uint8],
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_counts: NDArray[np.uint8],
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    something: bool,
    feather: bool,
    low: FloatArray,
    high: FloatArray,
    parent: IntArray,
    begins: IntArray,
    begin: IntArray,
    end: IntArray,
    width: FloatArray,
    lost: FloatArray,
    figured: FloatArray,
    sums: FloatArray,
    strips: FloatArray,
    strip_counts: IntArray,
) -> float:
    """Return what a layer of any outline brings; see layer_value, and Room for what it works in.

    something : whether strips, strip_counts hold what lies between the faces. The arrays come one by one: to take
    them out of a tuple costs more than most layers.
    """
    count = last - first
    n = 0
    for i in range(count):
        begins[i] = n
        s = first + i
        a, a_end = 0, upper_counts[upper_row, s]
        b, b_end = 0, lower_counts[lower_row, s]
        while a < a_end and b < b_end:
            left = max(upper_y[upper_row, a, s], lower_y[lower_row, b, s])
            right = min(upper_y[upper_row, a + 1, s], lower_y[lower_row, b + 1, s])
            if right > left:
                low[n], high[n], parent[n] = left, right, n
                n += 1
            if upper_y[upper_row, a + 1, s] < lower_y[lower_row, b + 1, s]:
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
    for i in range(count):
        for m in range(begins[i], begins[i + 1]):
            # Parents come first, so that one step finds the root.
            root = parent[parent[m]]
            parent[m] = root
            if root == m:
                begin[m] = i
            end[root] = i
    needed = terms.min_length_m / cell_m - 1.0
    total = 0.0
    for k in range(n):
        # Each piece once, at its root; a short one has no room for a run.
        if parent[k] != k or end[k] - begin[k] + 1 < needed:
            continue
        on_end, longest = 0, 0
        for i in range(begin[k], end[k] + 1):
            width[i] = lost[i] = figured[i] = 0.0
            for m in range(begins[i], begins[i + 1]):
                if parent[m] == k:
                    width[i] += high[m] - low[m]
            on_end = on_end + 1 if width[i] >= terms.min_width_m else 0
            longest = max(longest, on_end)
        if longest < needed or longest == 0:
            continue
        if something:
            for i in range(begin[k], end[k] + 1):
                for m in range(begins[i], begins[i + 1]):
                    if strip_counts[i] and parent[m] == k:
                        lost[i] += largest_share(strips, i, strip_counts[i], 2, low[m], high[m])
                        if feather:
                            figured[i] += largest_share(strips, i, strip_counts[i], 3, low[m], high[m])
        total += piece_value(terms, entry, width, lost, figured, begin[k], end[k], count, cell_m, sums)
    return total


@numba.njit(cache=True, nogil=True)
def layer_of(
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
    something: bool,
    inside: Inside,
    lower_m: float,
    upper_m: float,
    room: Room,
) -> float:
    """Return what a layer brings, flaws and figure counted; see layer_value. something : whether there are any."""
    if simple:
        return _simple_layer(
            terms, entry, upper, upper_row, lower, lower_row, first, last, cell_m, something, inside,
            lower_m, upper_m, room,
        )  # fmt: skip
    if something:
        strips_of_layer(inside, first, lower_m, upper_m, room.strips, room.strip_counts)
    return general_layer(
        terms, entry, upper.counts, upper.y, upper_row, lower.counts, lower.y, lower_row, first, last, cell_m,
        something, inside.best_feather > 0.0, room.low, room.high, room.parent, room.begins, room.from_station,
        room.to_station, room.width, room.lost, room.figured, room.sums, room.strips, room.strip_counts,
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)
def sound_simple_layer(
    terms: Terms,
    entry: int,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
) -> float:
    """Return what a layer brings as if nothing were lost or figured; -1 where a run must be crosscut.

    upper_y, lower_y : of chord tables whose rows have one interval at most at each usable station. The same as
    _simple_layer in one loop that keeps no arrays: most layers are looked at no further.
    """
    least, most = terms.min_width_m, terms.max_width_m
    count = last - first
    # `widths`, `capped` : sums over the run's stations so far; the first and the last of them count half.
    total, start, area, uncapped, widths, capped, first_width = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    before, before_left, before_right = 0.0, 0.0, 0.0
    running = False
    for i in range(count + 1):
        width, left, right = 0.0, 0.0, 0.0
        if i < count:
            left, other = np.float64(upper_y[upper_row, 0, first + i]), np.float64(lower_y[lower_row, 0, first + i])
            left = max(left, other)
            right, other = np.float64(upper_y[upper_row, 1, first + i]), np.float64(lower_y[lower_row, 1, first + i])
            right = min(right, other)
            width = right - left if right > left else 0.0
        linked = width > 0.0 and before > 0.0 and left < before_right and before_left < right
        if running and (not linked or width < least):
            # The run ends beyond the station before this one, at a trim half a cell away.
            reach, edge = 0.5 * cell_m, before
            if i < count:
                reach, edge = cell_m * (before - least) / (before - (width if linked else 0.0)), least
            length = (i - 0.5) * cell_m + reach - start
            uncapped += cell_m * (widths - 0.5 * (first_width + before)) + reach * 0.5 * (before + edge)
            area += cell_m * (capped - 0.5 * (min(first_width, most) + min(before, most)))
            area += reach * 0.5 * (min(before, most) + min(edge, most))
            if length > terms.max_length_m:
                return -1.0
            if length >= terms.min_length_m:
                total += slab_value(terms, entry, length, area, uncapped, 0.0, 0.0)
            running = False
        if width >= least:
            if not running:
                reach, edge = 0.5 * cell_m, width
                if i > 0:
                    reach, edge = cell_m * (width - least) / (width - (before if linked else 0.0)), least
                start = (i + 0.5) * cell_m - reach
                area = reach * 0.5 * (min(width, most) + min(edge, most))
                uncapped = reach * 0.5 * (width + edge)
                widths, capped, first_width, running = 0.0, 0.0, width, True
            widths += width
            capped += min(most, width)
        before, before_left, before_right = width, left, right
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
    inside: Inside,
    lower_m: float,
    upper_m: float,
    room: Room,
    enough: float,
) -> float:
    """Return what the slabs of one layer bring, after their drying and handling.

    first .. last - 1 are the usable stations; cell_m is a cell's length along the bed. simple : whether
    both faces have one interval at most at every usable station. lower_m, upper_m : the faces' heights.
    enough : where the layer cannot bring more than this, anything that is not more may come back.
    """
    something = inside.most > 0 and upper_m > inside.low_m and lower_m < inside.high_m
    if inside.best_feather == 0.0 and (simple or something):
        # Sound wood brings the most: look there first whether flaws are worth counting.
        sound = -1.0
        if simple:
            sound = sound_simple_layer(terms, entry, upper.y, upper_row, lower.y, lower_row, first, last, cell_m)
        if sound < 0.0 and something:
            sound = layer_of(
                terms, entry, upper, upper_row, lower, lower_row, first, last, cell_m, simple, False, inside,
                lower_m, upper_m, room,
            )  # fmt: skip
        if sound >= 0.0 and (not something or sound <= enough):
            return sound
    return layer_of(
        terms, entry, upper, upper_row, lower, lower_row, first, last, cell_m, simple, something, inside,
        lower_m, upper_m, room,
    )  # fmt: skip
