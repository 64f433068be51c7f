"""What one layer of one lay is worth: outline, pieces, runs, prices, in one sweep over the stations.

The outline at a station is the meeting of the wood intervals on the layer's two faces. Its pieces are
linked from station to station where intervals overlap; each piece is judged by itself.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.bed.joined import root_of
from optimizer.stations.chords import Chords
from optimizer.stations.inside import Inside, largest_share, shown_share, strips_of_layer
from optimizer.stations.runs import Sold, piece_value, sold_as
from optimizer.stations.simple_layers import flawed_simple_layer, sound_simple_layer
from optimizer.stations.tallied import tallied_layer
from optimizer.stations.terms import Counting, Terms
from scans.log import FloatArray, IntArray


class Room(NamedTuple):
    """Room for the kernels to work in, made once for a lay.

    low, high, piece : intervals of an outline, station by station, and the piece that each belongs to. begins :
    (count + 1,) first interval of each station. parent, begin, end : of pieces: which one each was joined to, its first
    and its last station. widths : (pieces, count). lost, figured : (count,). sums : (5, count + 2).
    strips : (most, 4, count). strip_counts : (count,). faces : (most_figured, 5, count). face_counts : (count,).
    own : (4, intervals) from and to where the upper and the lower face belong to an interval. nodes : (2, 5, count + 2)
    what counts along a piece, and along a side of it; see tallied.
    """

    low: FloatArray
    high: FloatArray
    piece: IntArray
    begins: IntArray
    parent: IntArray
    begin: IntArray
    end: IntArray
    widths: FloatArray
    lost: FloatArray
    figured: FloatArray
    sums: FloatArray
    strips: FloatArray
    strip_counts: IntArray
    faces: FloatArray
    face_counts: IntArray
    own: FloatArray
    nodes: FloatArray


@numba.njit(cache=True, nogil=True)
def room_for(count: int, slots: int, strips: int, figured: int) -> Room:
    """Make room for outlines of `count` stations whose faces have up to `slots` crossings each.

    strips, figured : how many hearts and marks, and how many feathers, a station has at most.
    """
    intervals = count * slots  # two lists of slots / 2 intervals meet in fewer than slots
    return Room(
        np.zeros(intervals),
        np.zeros(intervals),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(count + 1, dtype=np.int64),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(intervals, dtype=np.int64),
        np.zeros(intervals, dtype=np.int64),
        np.empty((intervals, count)),
        np.zeros(count),
        np.zeros(count),
        np.zeros((5, count + 2)),
        np.zeros((max(1, strips), 4, count)),
        np.zeros(count, dtype=np.int64),
        np.zeros((max(1, figured), 5, count)),
        np.zeros(count, dtype=np.int64),
        np.zeros((4, intervals)),
        np.zeros((2, 5, count + 2)),
    )


@numba.njit(cache=True, nogil=True)
def general_layer(
    sold: Sold,
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
    piece: IntArray,
    begins: IntArray,
    parent: IntArray,
    begin: IntArray,
    end: IntArray,
    widths: FloatArray,
    lost: FloatArray,
    figured: FloatArray,
    sums: FloatArray,
    strips: FloatArray,
    strip_counts: IntArray,
    faces: FloatArray,
    face_counts: IntArray,
) -> float:
    """Return what a layer of any outline brings; see layer_value, and Room for what it works in.

    something : whether strips, strip_counts, faces, face_counts hold what lies in the layer. The arrays come one by
    one: to take them out of a tuple costs more than most layers.
    """
    count = last - first
    n, pieces = 0, 0
    for i in range(count):
        begins[i] = n
        s = first + i
        a, a_end = 0, upper_counts[upper_row, s]
        b, b_end = 0, lower_counts[lower_row, s]
        before = begins[i - 1] if i else 0
        while a < a_end and b < b_end:
            a_right, b_right = upper_y[upper_row, a + 1, s], lower_y[lower_row, b + 1, s]
            left = np.float64(max(upper_y[upper_row, a, s], lower_y[lower_row, b, s]))
            right = np.float64(min(a_right, b_right))
            if right > left:
                # It belongs to the piece of what it meets at the station before, which it may join to another.
                while before < begins[i] and high[before] <= left:
                    before += 1
                own, beside = -1, before
                while beside < begins[i] and low[beside] < right:
                    other = root_of(parent, piece[beside])
                    if own < 0:
                        own = other
                    elif other != own:
                        own = _joined(own, other, parent, begin, end, widths)
                    beside += 1
                if own < 0:
                    own, parent[pieces], begin[pieces], end[pieces] = pieces, pieces, i, -1
                    pieces += 1
                if end[own] == i:
                    widths[own, i] += right - left
                else:
                    widths[own, i], end[own] = right - left, i
                low[n], high[n], piece[n] = left, right, own
                n += 1
            if a_right < b_right:
                a += 2
            else:
                b += 2
    begins[count] = n
    needed = sold.min_length_m / cell_m - 1.0
    total = 0.0
    for k in range(pieces):
        # A short piece has no room for a run.
        if parent[k] != k or end[k] - begin[k] + 1 < needed:
            continue
        if something:
            for i in range(begin[k], end[k] + 1):
                lost[i] = figured[i] = 0.0
                for m in range(begins[i], begins[i + 1]):
                    if (strip_counts[i] or face_counts[i]) and root_of(parent, piece[m]) == k:
                        lost[i] += largest_share(strips, i, strip_counts[i], low[m], high[m])
                        if feather:
                            figured[i] += shown_share(
                                strips, faces, i, strip_counts[i], face_counts[i], low[m], high[m]
                            )
        total += piece_value(sold, widths[k], something, lost, figured, begin[k], end[k], count, cell_m, sums)
    return total


@numba.njit(cache=True, nogil=True)
def _joined(a: int, b: int, parent: IntArray, begin: IntArray, end: IntArray, widths: FloatArray) -> int:
    """Make one piece of two that lie side by side at a station; return which it is."""
    kept, gone = min(a, b), max(a, b)
    for i in range(begin[gone], end[gone] + 1):
        shared = begin[kept] <= i <= end[kept]
        widths[kept, i] = widths[gone, i] + (widths[kept, i] if shared else 0.0)
    begin[kept], end[kept] = min(begin[kept], begin[gone]), max(end[kept], end[gone])
    parent[gone] = kept
    return kept


@numba.njit(cache=True, nogil=True)
def layer_of(
    sold: Sold,
    counting: Counting,
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
    at_most: bool = False,
) -> float:
    """Return what a layer brings, flaws and figure counted; see layer_value. something : whether there are any.

    at_most : see tallied_layer.
    """
    if not counting.plain:
        return tallied_layer(
            sold, counting, entry, upper.counts, upper.y, upper_row, lower.counts, lower.y, lower_row, first, last,
            cell_m, simple, something, at_most, inside, lower_m, upper_m, room.low, room.high, room.own, room.piece,
            room.begins, room.parent, room.begin, room.end, room.lost, room.figured, room.sums, room.nodes,
            room.strips, room.strip_counts, room.faces, room.face_counts,
        )  # fmt: skip
    if simple:
        found = -1.0
        if something:
            found = flawed_simple_layer(
                sold, upper.y, upper_row, lower.y, lower_row, first, last, cell_m, inside, lower_m, upper_m,
                room.strips, room.strip_counts, room.faces, room.face_counts, room.lost, room.figured,
            )  # fmt: skip
        else:
            found = sound_simple_layer(sold, upper.y, upper_row, lower.y, lower_row, first, last, cell_m)
        if found >= 0.0:
            return found
    if something:
        strips_of_layer(inside, first, lower_m, upper_m, room.strips, room.strip_counts, room.faces, room.face_counts)
    return general_layer(
        sold, upper.counts, upper.y, upper_row, lower.counts, lower.y, lower_row, first, last, cell_m,
        something, inside.best_feather > 0.0, room.low, room.high, room.piece, room.begins, room.parent,
        room.begin, room.end, room.widths, room.lost, room.figured, room.sums, room.strips, room.strip_counts,
        room.faces, room.face_counts,
    )  # fmt: skip


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
    something = inside.most + inside.most_figured > 0 and upper_m > inside.low_m and lower_m < inside.high_m
    sold, counting = sold_as(terms, entry), terms.counting
    if something and inside.best_feather == 0.0 and enough > 0.0:
        # Sound wood brings the most: look there first whether flaws are worth counting.
        sound = layer_of(
            sold, counting, entry, upper, upper_row, lower, lower_row, first, last, cell_m, simple, False, inside,
            lower_m, upper_m, room, counting.slab_with_heart > 0.0,
        )  # fmt: skip
        if sound <= enough:
            return sound
    return layer_of(
        sold, counting, entry, upper, upper_row, lower, lower_row, first, last, cell_m, simple, something, inside,
        lower_m, upper_m, room,
    )  # fmt: skip
