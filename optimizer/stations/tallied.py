"""What a layer brings where slabs are counted in any other way than green, on both faces, at the mean of their widths.

The same rules as on the mesh (bed/tally, bed/faces, bed/ripping), at the stations: the widths that count go straight
from station to station; beyond a piece's own ends they fall to 0 in a cell, but at a trim they go on to the plane. A
width that counts more than the two faces share breaks off where these part, somewhere within a cell: it goes on for
half of one.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.bed.joined import root_of
from optimizer.bed.tally import FROM_END_M, ROUNDING_M
from optimizer.stations.fast_loops import FAST
from optimizer.stations.inside import Inside, largest_share, shown_share, strips_of_layer
from optimizer.stations.runs import Sold, over_run, run_areas, width_factor
from optimizer.stations.simple_layers import lost_on_run
from optimizer.stations.terms import BOTH, LEAST, MEAN_FACE, MEAN_WIDTH, MIDDLE, NARROW, WIDE, Counting
from optimizer.wood.width_shrinkage import green_width, width_shrinkage
from scans.log import FloatArray, IntArray

NONE = -1e300
"""What a slab brings that its buyer does not take."""
PLACE, COUNTED, OUTLINE, LOST, FIGURED = 0, 1, 2, 3, 4
"""Rows of nodes: where along the bed; widths that count, and those on both faces; the share of the price lost, and of
the premium brought, summed across. Node 0 is where the piece begins, then its stations, then where it ends. [m]"""


@numba.njit(cache=True, nogil=True)
def _simple_intervals(
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    count: int,
    low: FloatArray,
    high: FloatArray,
    own: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    begin: IntArray,
    end: IntArray,
) -> int:
    """Do what `_intervals` does for faces that have one interval at most at each station."""
    a_low, a_high = upper_y[upper_row, 0, first : first + count], upper_y[upper_row, 1, first : first + count]
    b_low, b_high = lower_y[lower_row, 0, first : first + count], lower_y[lower_row, 1, first : first + count]
    n, pieces, linked_low, linked_high = 0, 0, np.inf, -np.inf
    for i in range(count):
        begins[i] = n
        left, right = np.float64(max(a_low[i], b_low[i])), np.float64(min(a_high[i], b_high[i]))
        if right <= left:
            linked_low, linked_high = np.inf, -np.inf
            continue
        if min(right, linked_high) <= max(left, linked_low):
            parent[pieces], begin[pieces] = pieces, i
            pieces += 1
        low[n], high[n], piece[n], end[pieces - 1] = left, right, pieces - 1, i
        own[0, n], own[1, n], own[2, n], own[3, n] = a_low[i], a_high[i], b_low[i], b_high[i]
        linked_low, linked_high = left, right
        n += 1
    begins[count] = n
    return pieces


@numba.njit(cache=True, nogil=True)
def _intervals(
    upper_counts: NDArray[np.uint8],
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_counts: NDArray[np.uint8],
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    count: int,
    low: FloatArray,
    high: FloatArray,
    own: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    begin: IntArray,
    end: IntArray,
) -> int:
    """Meet the faces at every station, link what meets into pieces, and share out what each face has; see layers.Room.

    Returns how many pieces there are, those among them that were joined to others.
    """
    n, pieces = 0, 0
    for i in range(count):
        begins[i] = n
        s = first + i
        a, a_end = 0, upper_counts[upper_row, s]
        b, b_end = 0, lower_counts[lower_row, s]
        last_a, last_b = -1, -1
        before = begins[i - 1] if i else 0
        while a < a_end and b < b_end:
            a_left, a_right = np.float64(upper_y[upper_row, a, s]), np.float64(upper_y[upper_row, a + 1, s])
            b_left, b_right = np.float64(lower_y[lower_row, b, s]), np.float64(lower_y[lower_row, b + 1, s])
            left, right = max(a_left, b_left), min(a_right, b_right)
            if right > left:
                while before < begins[i] and high[before] <= left:
                    before += 1
                mine, beside = -1, before
                while beside < begins[i] and low[beside] < right:
                    other = root_of(parent, piece[beside])
                    if mine < 0:
                        mine = other
                    elif other != mine:
                        kept, gone = min(mine, other), max(mine, other)
                        begin[kept], end[kept] = min(begin[kept], begin[gone]), max(end[kept], end[gone])
                        parent[gone], mine = kept, kept
                    beside += 1
                if mine < 0:
                    mine, parent[pieces], begin[pieces] = pieces, pieces, i
                    pieces += 1
                low[n], high[n], piece[n], end[mine] = left, right, mine, i
                own[0, n], own[1, n], own[2, n], own[3, n] = a_left, a_right, b_left, b_right
                # One stretch of a face that meets several pieces is parted half-way between them.
                if last_a == a:
                    own[1, n - 1] = own[0, n] = 0.5 * (high[n - 1] + left)
                if last_b == b:
                    own[3, n - 1] = own[2, n] = 0.5 * (high[n - 1] + left)
                last_a, last_b = a, b
                n += 1
            if a_right < b_right:
                a += 2
            else:
                b += 2
    begins[count] = n
    return pieces


@numba.njit(cache=True, nogil=True)
def _across(
    face: int,
    k: int,
    i: int,
    above: float,
    below: float,
    low: FloatArray,
    high: FloatArray,
    own: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
) -> tuple[float, float]:
    """Return the width of piece k that counts at a station, and that on both faces, of what lies between two y. [m]."""
    outline = upper = lower = 0.0
    for m in range(begins[i], begins[i + 1]):
        if root_of(parent, piece[m]) == k:
            outline += max(0.0, min(high[m], below) - max(low[m], above))
            upper += max(0.0, min(own[1, m], below) - max(own[0, m], above))
            lower += max(0.0, min(own[3, m], below) - max(own[2, m], above))
    if face == BOTH or outline == 0.0:
        return outline, outline
    if face == NARROW:
        return min(upper, lower), outline
    return 0.5 * (upper + lower) if face == MEAN_FACE else max(upper, lower), outline


@numba.njit(cache=True, nogil=True)
def _close_ends(nodes: FloatArray, face: int, begin: int, end: int, count: int, cell_m: float) -> None:
    """Put the first and the last node where the piece on stations begin .. end begins and ends."""
    n, breaks_off = end - begin + 3, face in (WIDE, MEAN_FACE)
    for at, beside, is_trim, way in ((0, 1, begin == 0, -1.0), (n - 1, n - 2, end == count - 1, 1.0)):
        goes_on = is_trim or breaks_off
        nodes[PLACE, at] = nodes[PLACE, beside] + way * (0.5 if goes_on else 1.0) * cell_m
        for row in range(COUNTED, FIGURED + 1):
            nodes[row, at] = nodes[row, beside] if goes_on or row > OUTLINE else 0.0


@numba.njit(cache=True, nogil=True)
def _cell_of(nodes: FloatArray, n: int, cell_m: float, x: float) -> int:
    """Return the node at or before a place, at most the last but one."""
    if x < nodes[PLACE, 1]:
        return 0
    return min(n - 2, 1 + int((x - nodes[PLACE, 1]) / cell_m + ROUNDING_M))


@numba.njit(cache=True, nogil=True)
def _value_at(nodes: FloatArray, row: int, n: int, cell_m: float, x: float) -> float:
    k = _cell_of(nodes, n, cell_m, x)
    share = (x - nodes[PLACE, k]) / (nodes[PLACE, k + 1] - nodes[PLACE, k])
    found: float = nodes[row, k] + share * (nodes[row, k + 1] - nodes[row, k])
    return found


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _trapezia(place: FloatArray, values: FloatArray, most: float) -> float:
    total = 0.0
    for k in range(len(place) - 1):
        total += (place[k + 1] - place[k]) * (min(values[k], most) + min(values[k + 1], most))
    return 0.5 * total


@numba.njit(cache=True, nogil=True)
def _area(nodes: FloatArray, row: int, n: int, cell_m: float, start: float, stop: float, most: float) -> float:
    """Return the area under values up to `most` between two places, straight between nodes. [m2].

    What is lost, or figured, is level beyond the outer nodes between them.
    """
    i, j = _cell_of(nodes, n, cell_m, start) + 1, _cell_of(nodes, n, cell_m, stop)
    at_start = min(most, _value_at(nodes, row, n, cell_m, start))
    at_stop = min(most, _value_at(nodes, row, n, cell_m, stop))
    if i > j:
        return 0.5 * (stop - start) * (at_start + at_stop)
    if row > OUTLINE:
        at_start, at_stop = nodes[row, i], nodes[row, j]
    area: float = 0.5 * (nodes[PLACE, i] - start) * (at_start + min(most, nodes[row, i]))
    area += 0.5 * (stop - nodes[PLACE, j]) * (min(most, nodes[row, j]) + at_stop)
    return area + _trapezia(nodes[PLACE, i : j + 1], nodes[row, i : j + 1], most)


@numba.njit(cache=True, nogil=True)
def _rounded_down(size_m: float, step_m: float, spare_m: float) -> float:
    """Return the whole steps that a size holds with so much to spare; the size itself for a step of 0. [m]."""
    return np.floor((size_m - spare_m + ROUNDING_M) / step_m) * step_m if step_m > 0.0 else size_m


@numba.njit(cache=True, nogil=True)
def _paid(
    sold: Sold,
    counting: Counting,
    entry: int,
    width_m: float,
    span_m: float,
    area_m2: float,
    outline_m2: float,
    lost_m2: float,
    figured_m2: float,
    heart_share: float,
) -> float:
    """Return what a slab brings after its drying, not its handling; NONE if its buyer does not take it.

    width_m, area_m2 : as counted, before sizes are rounded. heart_share : lost of its whole price.
    """
    length_m = _rounded_down(span_m, counting.round_length_m, counting.spare_length_m)
    width_m = _rounded_down(width_m, counting.round_width_m, counting.spare_width_m)
    # What is not rounded is safely over the limits, as its run is.
    if counting.round_width_m > 0.0 and width_m < counting.least_width_m - ROUNDING_M:
        return NONE
    if counting.round_length_m > 0.0 and length_m < counting.least_length_m - ROUNDING_M:
        return NONE
    if counting.width != MEAN_WIDTH or counting.round_width_m > 0.0 or counting.round_length_m > 0.0:
        area_m2 = width_m * length_m
    board_feet = area_m2 * sold.board_feet_per_m2
    price = board_feet * sold.price * width_factor(sold, width_m)
    spare_width_m = 0.0 if counting.round_width_m > 0.0 else counting.spare_width_m
    spare_length_m = 0.0 if counting.round_length_m > 0.0 else counting.spare_length_m
    for row in range(len(counting.row_entry)):
        if counting.row_entry[row] == entry and counting.row_price[row] > price:
            wide = width_m - spare_width_m >= counting.row_width_m[row] - ROUNDING_M
            if wide and length_m - spare_length_m >= counting.row_length_m[row] - ROUNDING_M:
                price = counting.row_price[row]
    price *= max(0.0, 1.0 - lost_m2 / outline_m2 - heart_share) if outline_m2 > 0.0 else 0.0
    price += figured_m2 * sold.board_feet_per_m2 * sold.feather_per_board_foot
    return price - board_feet * sold.drying_per_board_foot


@numba.njit(cache=True, nogil=True)
def _ripped_most(sold: Sold, counting: Counting, entry: int, green_m2: float, widest_m: float, span_m: float) -> float:
    """Return the most that the two sides of a slab can bring, ripped along its heart, after their drying.

    green_m2, widest_m : of the whole slab by the face that counts. Its sides keep no more of their width than any wood
    can, and each is no wider than the whole at its widest; the wide faces of both may be more than the whole's.
    """
    kept = 1.0 - min(counting.shrinks_radial, counting.shrinks_tangential)
    area_m2 = kept * green_m2
    if counting.width not in (MEAN_WIDTH, LEAST):
        area_m2 = 2.0 * kept * widest_m * span_m
    if counting.face == WIDE:
        area_m2 *= 2.0
    factor = width_factor(sold, kept * widest_m)
    for k in range(len(sold.width_at_m)):
        if k == 0 or sold.width_at_m[k] <= kept * widest_m:
            factor = max(factor, sold.width_factor[k])
    most = area_m2 * sold.board_feet_per_m2 * max(0.0, sold.price * factor - sold.drying_per_board_foot)
    by_slab = 0.0
    for row in range(len(counting.row_entry)):
        if counting.row_entry[row] == entry:
            by_slab = max(by_slab, counting.row_price[row])
    return most + 2.0 * by_slab


@numba.njit(cache=True, nogil=True)
def _slab(
    sold: Sold,
    counting: Counting,
    entry: int,
    off_heart_m: float,
    nodes: FloatArray,
    n: int,
    cell_m: float,
    start: float,
    stop: float,
    something: bool,
    heart_share: float,
) -> float:
    """Return what a slab from one place to another brings after its drying, not its handling; NONE if it is not taken.

    heart_share : lost of its whole price.
    """
    span_m = stop - start
    green_m2 = _area(nodes, COUNTED, n, cell_m, start, stop, np.inf)
    kept = 1.0 - width_shrinkage(counting.shrinks_radial, counting.shrinks_tangential, off_heart_m, green_m2 / span_m)
    most = sold.max_width_m
    area_m2 = kept * (green_m2 if np.isinf(most) else _area(nodes, COUNTED, n, cell_m, start, stop, most / kept))
    if counting.width == MEAN_WIDTH:
        width_m = area_m2 / span_m
    elif counting.width == LEAST:
        width_m = min(_value_at(nodes, COUNTED, n, cell_m, start), _value_at(nodes, COUNTED, n, cell_m, stop))
        for k in range(_cell_of(nodes, n, cell_m, start) + 1, _cell_of(nodes, n, cell_m, stop) + 1):
            width_m = min(width_m, nodes[COUNTED, k])
        width_m = min(kept * width_m, most)
    else:
        width_m = min(kept * _value_at(nodes, COUNTED, n, cell_m, 0.5 * (start + stop)), most)
        if counting.width != MIDDLE:
            in_m = min(FROM_END_M, 0.5 * span_m)
            width_m += min(kept * _value_at(nodes, COUNTED, n, cell_m, start + in_m), most)
            width_m += min(kept * _value_at(nodes, COUNTED, n, cell_m, stop - in_m), most)
            width_m /= 3.0
    outline_m2, lost_m2, figured_m2 = 1.0, 0.0, 0.0
    if something:
        outline_m2 = _area(nodes, OUTLINE, n, cell_m, start, stop, np.inf)
        lost_m2 = _area(nodes, LOST, n, cell_m, start, stop, np.inf)
        figured_m2 = _area(nodes, FIGURED, n, cell_m, start, stop, np.inf)
    return _paid(sold, counting, entry, width_m, span_m, area_m2, outline_m2, lost_m2, figured_m2, heart_share)


@numba.njit(cache=True, nogil=True)
def _next_run(nodes: FloatArray, n: int, k: int, least_m: float) -> tuple[int, float, float]:
    """Return the node after the next run from node k on, and where that begins and ends; (n, 0, 0) without one."""
    while k < n and nodes[COUNTED, k] < least_m:
        k += 1
    if k == n:
        return n, 0.0, 0.0
    start = nodes[PLACE, k]
    if k > 0:
        over = (nodes[COUNTED, k] - least_m) / (nodes[COUNTED, k] - nodes[COUNTED, k - 1])
        start -= over * (nodes[PLACE, k] - nodes[PLACE, k - 1])
    while k + 1 < n and nodes[COUNTED, k + 1] >= least_m:
        k += 1
    stop = nodes[PLACE, k]
    if k + 1 < n:
        over = (nodes[COUNTED, k] - least_m) / (nodes[COUNTED, k] - nodes[COUNTED, k + 1])
        stop += over * (nodes[PLACE, k + 1] - nodes[PLACE, k])
    return k + 1, start, stop


@numba.njit(cache=True, nogil=True)
def _most_wood(
    nodes: FloatArray, n: int, cell_m: float, start: float, stop: float, long_m: float, most: float
) -> float:
    """Return where the part of a run, so long, begins that has the greatest area: it begins or ends at a node."""
    best, best_area = start, -1.0
    for k in range(2 * n + 2):
        if k < 2 * n:
            x = nodes[PLACE, k] if k < n else nodes[PLACE, k - n] - long_m
        else:
            x = start if k == 2 * n else stop - long_m
        if x < start or x + long_m > stop:
            continue
        area = _area(nodes, COUNTED, n, cell_m, x, x + long_m, most)
        if area > best_area:
            best, best_area = x, area
    return best


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _swept(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    face: int,
    least_m: float,
    counted: FloatArray,
    outline: FloatArray,
) -> tuple[int, float, int]:
    """Put the widths that count, and those of the outline, at each station into arrays; loops for vector instructions.

    Returns at how many stations what counts is wide enough, its sum there, and how often such a one is not linked to
    the next that is.
    """
    count = len(a_low)
    for i in range(count):
        outline[i] = max(0.0, np.float64(min(a_high[i], b_high[i])) - np.float64(max(a_low[i], b_low[i])))
    if face == BOTH:
        for i in range(count):
            counted[i] = outline[i]
    else:
        for i in range(count):
            upper = np.float64(a_high[i]) - np.float64(a_low[i])
            lower = np.float64(b_high[i]) - np.float64(b_low[i])
            less, more = min(upper, lower), max(upper, lower)
            chosen = less if face == NARROW else more if face == WIDE else 0.5 * (upper + lower)
            counted[i] = chosen if outline[i] > 0.0 else 0.0
    wide, total, apart = 0, 0.0, 0
    for i in range(count):
        enough = counted[i] >= least_m
        wide += 1 if enough else 0
        total += counted[i] if enough else 0.0
    for i in range(count - 1):
        low, high = max(a_low[i], b_low[i]), min(a_high[i], b_high[i])
        next_low, next_high = max(a_low[i + 1], b_low[i + 1]), min(a_high[i + 1], b_high[i + 1])
        both = (counted[i] >= least_m) & (counted[i + 1] >= least_m)
        apart += 1 if both & (min(high, next_high) <= max(low, next_low)) else 0
    return wide, total, apart


@numba.njit(cache=True, nogil=True)
def _end_of_run(
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    i: int,
    beyond: int,
    face: int,
    least_m: float,
    cell_m: float,
    counted: FloatArray,
    outline: FloatArray,
) -> tuple[float, float, float]:
    """Return how far a run reaches beyond its outer station, how wide it is there as it counts, and on both faces."""
    linked = False
    if 0 <= beyond < len(counted) and outline[beyond] > 0.0:
        low, high = max(a_low[i], b_low[i]), min(a_high[i], b_high[i])
        next_low, next_high = max(a_low[beyond], b_low[beyond]), min(a_high[beyond], b_high[beyond])
        linked = min(high, next_high) > max(low, next_low)
    if not linked and (face in (WIDE, MEAN_FACE) or not 0 <= beyond < len(counted)):
        return 0.5 * cell_m, counted[i], outline[i]
    next_counted, next_outline = (counted[beyond], outline[beyond]) if linked else (0.0, 0.0)
    share = (counted[i] - least_m) / (counted[i] - next_counted)
    return cell_m * share, least_m, outline[i] + share * (next_outline - outline[i])


@numba.njit(cache=True, nogil=True)
def _in_run(
    counted: FloatArray, begin: int, end: int, cell_m: float, ends: tuple[float, float, float, float], x: float
) -> float:
    """Return the width that counts in a run, so far from its first station; see runs.run_areas for `ends`. [m]."""
    first_reach, first_edge, last_reach, last_edge = ends
    last = (end - begin) * cell_m
    if x <= 0.0:
        return counted[begin] + (first_edge - counted[begin]) * (-x / first_reach if first_reach > 0.0 else 0.0)
    if x >= last:
        return counted[end] + (last_edge - counted[end]) * ((x - last) / last_reach if last_reach > 0.0 else 0.0)
    k = min(int(x / cell_m), end - begin - 1)
    share = x / cell_m - k
    return counted[begin + k] + share * (counted[begin + k + 1] - counted[begin + k])


class _Run(NamedTuple):
    """The one run of a layer, as it counts before sizes are rounded.

    begin, end : its stations; begin is -1 where there is no run, -2 where there may be several, or one to be crosscut.
    green_m2, widest_m : of what counts, green.
    """

    begin: int
    end: int
    span_m: float
    width_m: float
    area_m2: float
    outline_m2: float
    lost_m2: float
    figured_m2: float
    green_m2: float
    widest_m: float


@numba.njit(cache=True, nogil=True)
def _no_run(begin: int) -> _Run:
    return _Run(begin, 0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0)


@numba.njit(cache=True, nogil=True)
def _one_run(
    sold: Sold,
    counting: Counting,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    something: bool,
    inside: Inside,
    off_heart_m: float,
    least_m: float,
    lost: FloatArray,
    figured: FloatArray,
    sums: FloatArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> _Run:
    """Find the run of a layer whose faces have one interval at most at each station: most have one, or none.

    something : whether strips, strip_counts, faces, face_counts hold what lies in the layer.
    """
    count, face = last - first, counting.face
    a_low, a_high = upper_y[upper_row, 0, first:last], upper_y[upper_row, 1, first:last]
    b_low, b_high = lower_y[lower_row, 0, first:last], lower_y[lower_row, 1, first:last]
    counted, outline = sums[0, :count], sums[1, :count]
    wide, total, apart = _swept(a_low, a_high, b_low, b_high, face, least_m, counted, outline)
    if wide == 0 or (wide + 1) * cell_m < sold.min_length_m:
        return _no_run(-1)
    begin, end = 0, count - 1
    while counted[begin] < least_m:
        begin += 1
    while counted[end] < least_m:
        end -= 1
    if end - begin + 1 != wide or apart > 0:
        return _no_run(-2)
    first_reach, first_edge, first_outline = _end_of_run(
        a_low, a_high, b_low, b_high, begin, begin - 1, face, least_m, cell_m, counted, outline
    )
    last_reach, last_edge, last_outline = _end_of_run(
        a_low, a_high, b_low, b_high, end, end + 1, face, least_m, cell_m, counted, outline
    )
    span_m = (end - begin) * cell_m + first_reach + last_reach
    if span_m > sold.max_length_m:
        return _no_run(-2)
    if span_m < sold.min_length_m:
        return _no_run(-1)
    ends = (first_reach, first_edge, last_reach, last_edge)
    first_m, last_m = counted[begin], counted[end]
    green_m2, _ = run_areas(total, total, first_m, last_m, np.inf, cell_m, ends)
    kept = 1.0 - width_shrinkage(counting.shrinks_radial, counting.shrinks_tangential, off_heart_m, green_m2 / span_m)
    most, area_m2 = sold.max_width_m, kept * green_m2
    if not np.isinf(most):
        capped = 0.0
        for i in range(begin, end + 1):
            capped += min(counted[i], most / kept)
        area_m2 = kept * run_areas(total, capped, first_m, last_m, most / kept, cell_m, ends)[0]
    if counting.width == MEAN_WIDTH:
        width_m = area_m2 / span_m
    elif counting.width == LEAST:
        width_m = min(kept * min(first_edge, last_edge, counted[begin : end + 1].min()), most)
    else:
        middle = 0.5 * span_m - first_reach
        width_m = min(kept * _in_run(counted, begin, end, cell_m, ends, middle), most)
        if counting.width != MIDDLE:
            in_m = min(FROM_END_M, 0.5 * span_m)
            for x in (in_m - first_reach, span_m - in_m - first_reach):
                width_m += min(kept * _in_run(counted, begin, end, cell_m, ends, x), most)
            width_m /= 3.0
    outline_m2, lost_m2, figured_m2 = 1.0, 0.0, 0.0
    if something:
        feather = inside.best_feather > 0.0
        lost_on_run(
            upper_y, upper_row, lower_y, lower_row, first, last, inside.hearts, inside.heart_counts, strips,
            strip_counts, faces, face_counts, feather, lost, figured,
        )  # fmt: skip
        lost_m2 = over_run(lost[begin : end + 1], cell_m, first_reach, last_reach)
        if feather:
            figured_m2 = over_run(figured[begin : end + 1], cell_m, first_reach, last_reach)
        across = outline[begin : end + 1].sum()
        outline_ends = (first_reach, first_outline, last_reach, last_outline)
        outline_m2, _ = run_areas(across, across, outline[begin], outline[end], np.inf, cell_m, outline_ends)
    widest_m = max(first_edge, last_edge, counted[begin : end + 1].max())
    return _Run(begin, end, span_m, width_m, area_m2, outline_m2, lost_m2, figured_m2, green_m2, widest_m)


@numba.njit(cache=True, nogil=True)
def _run_paid(sold: Sold, counting: Counting, entry: int, run: _Run, heart_share: float) -> float:
    return _paid(
        sold, counting, entry, run.width_m, run.span_m, run.area_m2, run.outline_m2, run.lost_m2, run.figured_m2,
        heart_share,
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)
def _simple_layer(
    sold: Sold,
    counting: Counting,
    entry: int,
    upper_y: NDArray[np.float32],
    upper_row: int,
    lower_y: NDArray[np.float32],
    lower_row: int,
    first: int,
    last: int,
    cell_m: float,
    something: bool,
    at_most: bool,
    inside: Inside,
    lower_m: float,
    upper_m: float,
    off_heart_m: float,
    least_m: float,
    lost: FloatArray,
    figured: FloatArray,
    sums: FloatArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> float:
    """Return what a layer brings that has one run, or none, whole or ripped; -1 where it takes a closer look."""
    if something:
        strips_of_layer(inside, first, lower_m, upper_m, strips, strip_counts, faces, face_counts)
    run = _one_run(
        sold, counting, upper_y, upper_row, lower_y, lower_row, first, last, cell_m, something, inside, off_heart_m,
        least_m, lost, figured, sums, strips, strip_counts, faces, face_counts,
    )  # fmt: skip
    if run.begin < 0:
        return 0.0 if run.begin == -1 else -1.0
    if at_most:
        most = _ripped_most(sold, counting, entry, run.green_m2, run.widest_m, run.span_m)
        return max(0.0, max(most, _run_paid(sold, counting, entry, run, 0.0)) - sold.slab_cost)
    if not something or counting.slab_with_heart <= 0.0:
        return max(0.0, _run_paid(sold, counting, entry, run, 0.0) - sold.slab_cost)
    a_low, a_high = upper_y[upper_row, 0], upper_y[upper_row, 1]
    b_low, b_high = lower_y[lower_row, 0], lower_y[lower_row, 1]
    from_station = first + run.begin
    to_station = first + run.end
    at, held, is_one = _heart_stations(
        inside, from_station, to_station, lower_m, upper_m, a_low, a_high, b_low, b_high, sums[2]
    )
    if held * cell_m <= counting.heart_length_share * run.span_m:
        return max(0.0, _run_paid(sold, counting, entry, run, 0.0) - sold.slab_cost)
    if counting.face in (WIDE, MEAN_FACE):
        return -1.0  # a side breaks off elsewhere than the whole does
    best = _run_paid(sold, counting, entry, run, counting.slab_with_heart)
    if best == NONE or not is_one:
        return max(0.0, best - sold.slab_cost)
    # The straight line from where the heart comes in to where it goes out, and how far it strays from that.
    begin, end, y = int(at[0]), int(at[1]), sums[2]
    slope = (y[end] - y[begin]) / (end - begin) if end > begin else 0.0
    left_m = right_m = 0.0
    for k in range(begin, end + 1):
        if not np.isinf(y[k]):
            stray = y[k] - y[begin] - slope * (k - begin)
            left_m, right_m = max(left_m, stray), min(right_m, stray)
    half_m = inside.heart_radius_m * np.sqrt(1.0 + (slope / cell_m) ** 2)
    sides = np.empty((2, 2, len(a_low)), dtype=np.float32)
    ripped = 0.0
    for side in range(2):
        off_m = y[begin] - slope * (from_station + begin) + (left_m + half_m if side == 0 else right_m - half_m)
        for i in range(first, last):
            cut = np.float32(off_m + slope * i)
            sides[0, 0, i] = max(a_low[i], cut) if side == 0 else a_low[i]
            sides[1, 0, i] = max(b_low[i], cut) if side == 0 else b_low[i]
            sides[0, 1, i] = a_high[i] if side == 0 else min(a_high[i], cut)
            sides[1, 1, i] = b_high[i] if side == 0 else min(b_high[i], cut)
        part = _one_run(
            sold, counting, sides, 0, sides, 1, first, last, cell_m, True, inside, off_heart_m, least_m, lost, figured,
            sums, strips, strip_counts, faces, face_counts,
        )  # fmt: skip
        if part.begin == -2:
            return -1.0
        if part.begin >= 0:
            ripped += max(0.0, _run_paid(sold, counting, entry, part, 0.0))
    return max(0.0, max(best, ripped) - sold.slab_cost)


@numba.njit(cache=True, nogil=True)
def _heart_stations(
    inside: Inside,
    from_station: int,
    to_station: int,
    lower_m: float,
    upper_m: float,
    a_low: NDArray[np.float32],
    a_high: NDArray[np.float32],
    b_low: NDArray[np.float32],
    b_high: NDArray[np.float32],
    heart_y: FloatArray,
) -> tuple[tuple[int, int], int, bool]:
    """Put where a heart runs inside a run at each of its stations into an array; inf where none does. [m].

    Returns the first and the last that one does at, counted from the first station; at how many; and whether it is
    never more than one.
    """
    begin, end, held, is_one, hearts = -1, -1, 0, True, inside.hearts
    rise_m, cos_tilt, counts = inside.rise_m, inside.cos_tilt, inside.heart_counts
    for i in range(from_station, to_station + 1):
        k, here = i - from_station, 0
        heart_y[k] = np.inf
        for c in range(counts[i]):
            y, height_m = hearts[c, 0, i], rise_m[i] + hearts[c, 1, i] * cos_tilt
            there = hearts[c, 4, i] >= 0.0 and lower_m <= height_m <= upper_m
            if there and max(a_low[i], b_low[i]) <= y <= min(a_high[i], b_high[i]):
                heart_y[k] = y
                here += 1
        if here:
            begin, end, held = k if begin < 0 else begin, k, held + 1
            is_one = is_one and here == 1
    return (begin, end), held, is_one


@numba.njit(cache=True, nogil=True)
def tallied_layer(
    sold: Sold,
    counting: Counting,
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
    simple: bool,
    something: bool,
    at_most: bool,
    inside: Inside,
    lower_m: float,
    upper_m: float,
    low: FloatArray,
    high: FloatArray,
    own: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    begin: IntArray,
    end: IntArray,
    lost: FloatArray,
    figured: FloatArray,
    sums: FloatArray,
    nodes: FloatArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> float:
    """Return what a layer brings by any rule of the book; see layer_value, and layers.Room for what it works in.

    something : whether flaws and figure are counted; without, a slab with heart is worth what one without is, and with
    at_most no less than it can be ripped. To be called with one of the two at most.
    """
    count = last - first
    radial, tangential = counting.shrinks_radial, counting.shrinks_tangential
    off_heart_m = abs(0.5 * (lower_m + upper_m) - inside.heart_m)
    least_m = green_width(sold.min_width_m, radial, tangential, off_heart_m)
    if simple:
        found = _simple_layer(
            sold, counting, entry, upper_y, upper_row, lower_y, lower_row, first, last, cell_m, something, at_most,
            inside, lower_m, upper_m, off_heart_m, least_m, lost, figured, sums, strips, strip_counts, faces,
            face_counts,
        )  # fmt: skip
        if found >= 0.0:
            return found
        pieces = _simple_intervals(
            upper_y, upper_row, lower_y, lower_row, first, count, low, high, own, piece, begins, parent, begin, end
        )
    else:
        pieces = _intervals(
            upper_counts, upper_y, upper_row, lower_counts, lower_y, lower_row, first, count, low, high, own, piece,
            begins, parent, begin, end,
        )  # fmt: skip
    kept = 1.0 - width_shrinkage(radial, tangential, off_heart_m, least_m)
    needed = sold.min_length_m / cell_m - 1.0
    total, has_strips = 0.0, False
    for k in range(pieces):
        # A short piece has no room for a run.
        if parent[k] != k or end[k] - begin[k] + 1 < needed:
            continue
        n = end[k] - begin[k] + 3
        whole = nodes[0]
        for i in range(begin[k], end[k] + 1):
            at = i - begin[k] + 1
            whole[PLACE, at] = (i + 0.5) * cell_m
            if simple:
                m = begins[i]
                outline = high[m] - low[m]
                upper, lower = own[1, m] - own[0, m], own[3, m] - own[2, m]
                counted = outline
                if counting.face == NARROW:
                    counted = min(upper, lower)
                elif counting.face == MEAN_FACE:
                    counted = 0.5 * (upper + lower)
                elif counting.face != BOTH:
                    counted = max(upper, lower)
                whole[COUNTED, at], whole[OUTLINE, at] = counted, outline
            else:
                whole[COUNTED, at], whole[OUTLINE, at] = _across(
                    counting.face, k, i, -np.inf, np.inf, low, high, own, piece, begins, parent
                )
        _close_ends(whole, counting.face, begin[k], end[k], count, cell_m)
        has_lost, node = False, 0
        while node < n:
            node, start, stop = _next_run(whole, n, node, least_m)
            length_m = stop - start
            if length_m < sold.min_length_m or length_m <= 0.0:
                continue
            if something and not has_strips:
                strips_of_layer(inside, first, lower_m, upper_m, strips, strip_counts, faces, face_counts)
                has_strips = True
            if something and not has_lost:
                for i in range(begin[k], end[k] + 1):
                    whole[LOST, i - begin[k] + 1], whole[FIGURED, i - begin[k] + 1] = _lost_across(
                        k, i, -np.inf, np.inf, low, high, piece, begins, parent, strips, strip_counts, faces,
                        face_counts,
                    )  # fmt: skip
                _close_ends(whole, counting.face, begin[k], end[k], count, cell_m)
                has_lost = True
            parts, part_m = 1, length_m
            if length_m > sold.max_length_m:
                parts = int(np.ceil(length_m / sold.max_length_m - 1e-12))
                part_m = length_m / parts
                if part_m < sold.min_length_m:
                    parts, part_m = 1, sold.max_length_m
                    start = _most_wood(whole, n, cell_m, start, stop, part_m, sold.max_width_m / kept)
            for p in range(parts):
                total += _whole_or_ripped(
                    sold, counting, entry, off_heart_m, least_m, nodes, n, cell_m, start + p * part_m,
                    start + (p + 1) * part_m, something, at_most, inside, first, count, lower_m, upper_m, k, begin[k],
                    end[k], low, high, own, piece, begins, parent, strips, strip_counts, faces, face_counts,
                )  # fmt: skip
    return total


@numba.njit(cache=True, nogil=True)
def _lost_across(
    k: int,
    i: int,
    above: float,
    below: float,
    low: FloatArray,
    high: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> tuple[float, float]:
    """Return what piece k loses, and shows of figure, at a station between two y, summed across. [m]."""
    lost = figured = 0.0
    if strip_counts[i] or face_counts[i]:
        for m in range(begins[i], begins[i + 1]):
            left, right = max(low[m], above), min(high[m], below)
            if right > left and root_of(parent, piece[m]) == k:
                lost += largest_share(strips, i, strip_counts[i], left, right)
                figured += shown_share(strips, faces, i, strip_counts[i], face_counts[i], left, right)
    return lost, figured


@numba.njit(cache=True, nogil=True)
def _whole_or_ripped(
    sold: Sold,
    counting: Counting,
    entry: int,
    off_heart_m: float,
    least_m: float,
    nodes: FloatArray,
    n: int,
    cell_m: float,
    start: float,
    stop: float,
    something: bool,
    at_most: bool,
    inside: Inside,
    first: int,
    count: int,
    lower_m: float,
    upper_m: float,
    k: int,
    begin: int,
    end: int,
    low: FloatArray,
    high: FloatArray,
    own: FloatArray,
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> float:
    """Return what a slab of piece k brings after its drying and handling, whole or ripped along its heart; 0 at least.

    at_most : see tallied_layer. least_m : the least green width that counts.
    """
    if not something or counting.slab_with_heart <= 0.0:
        whole = _slab(sold, counting, entry, off_heart_m, nodes[0], n, cell_m, start, stop, something, 0.0)
        if at_most:
            i, j = _cell_of(nodes[0], n, cell_m, start), _cell_of(nodes[0], n, cell_m, stop) + 1
            green_m2 = _area(nodes[0], COUNTED, n, cell_m, start, stop, np.inf)
            widest_m = nodes[0, COUNTED, i : j + 1].max()
            whole = max(whole, _ripped_most(sold, counting, entry, green_m2, widest_m, stop - start))
        return max(0.0, whole - sold.slab_cost)
    # Where the heart runs in the slab: at how many stations, from where to where.
    hearts, held, is_one = inside.hearts, 0, True
    from_x = from_y = to_x = to_y = 0.0
    for way in range(2):  # then how far it strays from the straight line between
        right_m, left_m = np.inf, -np.inf
        slope = (to_y - from_y) / (to_x - from_x) if to_x > from_x else 0.0
        for i in range(begin, end + 1):
            x, here = (i + 0.5) * cell_m, 0
            if x < start or x > stop:
                continue
            for c in range(inside.heart_counts[first + i]):
                y, height_m = (
                    hearts[c, 0, first + i],
                    inside.rise_m[first + i] + hearts[c, 1, first + i] * inside.cos_tilt,
                )
                if hearts[c, 4, first + i] < 0.0 or not lower_m <= height_m <= upper_m:
                    continue
                for m in range(begins[i], begins[i + 1]):
                    if low[m] <= y <= high[m] and root_of(parent, piece[m]) == k:
                        here += 1
                        if way == 0 and held == 0 and here == 1:
                            from_x, from_y = x, y
                        if way == 0:
                            to_x, to_y = x, y
                        stray = y - from_y - slope * (x - from_x)
                        right_m, left_m = min(right_m, stray), max(left_m, stray)
            if way == 0:
                held += here > 0
                is_one = is_one and here <= 1
        if held * cell_m <= counting.heart_length_share * (stop - start):
            whole = _slab(sold, counting, entry, off_heart_m, nodes[0], n, cell_m, start, stop, True, 0.0)
            return max(0.0, whole - sold.slab_cost)
    lost_share = counting.slab_with_heart
    best = _slab(sold, counting, entry, off_heart_m, nodes[0], n, cell_m, start, stop, True, lost_share)
    if best == NONE or not is_one:
        return max(0.0, best - sold.slab_cost)
    half_m = inside.heart_radius_m * np.sqrt(1.0 + slope * slope)
    ripped = 0.0
    for side in range(2):
        part = nodes[1]
        for i in range(begin, end + 1):
            at, x = i - begin + 1, (i + 0.5) * cell_m
            cut = from_y + slope * (x - from_x) + (left_m + half_m if side == 0 else right_m - half_m)
            above, below = (cut, np.inf) if side == 0 else (-np.inf, cut)
            part[PLACE, at] = x
            part[COUNTED, at], part[OUTLINE, at] = _across(
                counting.face, k, i, above, below, low, high, own, piece, begins, parent
            )
            part[LOST, at], part[FIGURED, at] = _lost_across(
                k, i, above, below, low, high, piece, begins, parent, strips, strip_counts, faces, face_counts
            )
        _close_ends(part, counting.face, begin, end, count, cell_m)
        best_part, node = 0.0, 0
        while node < n:
            node, part_start, part_stop = _next_run(part, n, node, least_m)
            part_start, part_stop = max(part_start, start), min(part_stop, stop)
            if part_stop - part_start >= sold.min_length_m:
                found = _slab(sold, counting, entry, off_heart_m, part, n, cell_m, part_start, part_stop, True, 0.0)
                best_part = max(best_part, found)
        ripped += best_part
    return max(0.0, max(best, ripped) - sold.slab_cost)
