"""What layers bring on top with the next layer below them, as a pair; and how many slabs a layer gives.

This is the search's own measure, near the mesh's but not the same: pieces side by side count as one, so that the
layers of a log are pairs, not the slabs; the shared length is that between the outermost places where all four faces
are wide enough, which is a little more than what the slabs share; and the prices are found from what the layers bring,
with the cost of one slab and with the board feet that are the most on the faces. What is chosen is priced on the mesh,
slab by slab.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.stations.chords import Chords
from optimizer.stations.lay_table import BoolArray, Faces, LayTable
from optimizer.stations.passes import BED, DOWN, FLIPPED, Known, faces_beside, layers_where
from optimizer.stations.terms import Terms
from scans.log import FloatArray, IntArray

SLIGHT_COST = 1e-3
"""So little more does each slab cost for them to be counted by what their layer loses. [money]"""


class Paired(NamedTuple):
    """What makes pairs, (rows, M) each, by the row of the pass over the upper of two layers of one entry.

    A pair brings `premium` x (what both layers bring + these); none where this is below 0.
    down, flipped : before and after a flip. bed : the piece on the bunks, by the face that it lies on, with the layer
    that is sawn just before it.
    """

    premium: float
    down: FloatArray
    flipped: FloatArray
    bed: FloatArray


class Ends(NamedTuple):
    """From where to where each face is wide enough: (rows, 2) in usable stations, for each of the table's faces."""

    upper: IntArray
    lower: IntArray
    under: IntArray


def paired_layers(terms: Terms, table: LayTable, premium: float) -> Paired:
    """Return which layers of a lay can be pairs, and the costs in their prices."""
    ends = ends_of(terms, table)
    down = pair_costs(terms, table, DOWN, DOWN, ends)
    if not terms.can_flip:
        return Paired(premium, down, down, down)
    flipped = pair_costs(terms, table, FLIPPED, FLIPPED, ends)
    return Paired(premium, down, flipped, pair_costs(terms, table, BED, FLIPPED, ends))


def pairs_bring(paired: Paired, known: Known, terms: Terms) -> Paired:
    """Return the same as what pairs bring, by what layers are known to bring; 0 where there is none."""

    def brings(costs: FloatArray, value: FloatArray, next_value: FloatArray, steps: IntArray) -> FloatArray:
        found = np.zeros(value.shape)
        for m, drop in enumerate(steps):
            if drop < len(value):
                first, second = value[drop:, m], next_value[: len(value) - drop, m]
                is_pair = (costs[drop:, m] >= 0.0) & (first > 0.0) & (second > 0.0)
                found[drop:, m] = np.where(is_pair, paired.premium * (first + second + costs[drop:, m]), 0.0)
        return found

    down = brings(paired.down, known.down, known.down, terms.drop_steps)
    if not terms.can_flip:
        return Paired(paired.premium, down, down, down)
    flipped = brings(paired.flipped, known.flipped, known.flipped, terms.drop_steps)
    return Paired(paired.premium, down, flipped, brings(paired.bed, known.bed, known.flipped, terms.bed_steps))


def ends_of(terms: Terms, table: LayTable) -> Ends:
    """Return from where to where the faces of a lay are wide enough."""

    def ends(faces: Faces) -> IntArray:
        return wide_ends(faces.chords, faces.usable_m2, faces.shift, table.first, table.last, terms.min_width_m)

    upper = ends(table.upper)
    return Ends(upper, ends(table.lower), ends(table.under) if terms.can_flip else upper)


@numba.njit(cache=True, nogil=True)
def wide_ends(chords: Chords, usable_m2: FloatArray, shift: int, first: int, last: int, least_m: float) -> IntArray:
    """Return (rows, 2): the first usable station where each face is wide enough, and the one after the last."""
    counts, y = chords.counts, chords.y
    found = np.zeros((len(usable_m2), 2), dtype=np.int64)
    for r in range(len(usable_m2)):
        if usable_m2[r] <= 0.0:
            continue
        begin, end = first, last
        while begin < last and _width(counts, y, r + shift, begin) < least_m:
            begin += 1
        while end > begin and _width(counts, y, r + shift, end - 1) < least_m:
            end -= 1
        found[r, 0], found[r, 1] = begin, end
    return found


@numba.njit(cache=True, nogil=True)
def _width(counts: NDArray[np.uint8], y: NDArray[np.float32], row: int, i: int) -> float:
    width = 0.0
    for c in range(0, counts[row, i], 2):
        width += np.float64(y[row, c + 1, i]) - np.float64(y[row, c, i])
    return width


@numba.njit(cache=True, nogil=True)
def _of_face(ends: Ends, way: int, is_top: bool) -> IntArray:
    if way == DOWN:
        return ends.upper if is_top else ends.lower
    if way == FLIPPED:
        return ends.under if is_top else ends.upper
    return ends.upper


@numba.njit(cache=True, nogil=True)
def pair_costs(terms: Terms, table: LayTable, way: int, next_way: int, ends: Ends) -> FloatArray:
    """Return (rows, M) the costs in both prices of a layer and the next below it; -1 where they cannot be a pair.

    way, next_way : what kind of layer it is, and the next.
    """
    rows, entries = len(table.possible), len(terms.price)
    found = np.full((rows, entries), -1.0)
    top, bottom, steps = faces_beside(terms, table, way)
    next_top, next_bottom, next_steps = faces_beside(terms, table, next_way)
    top_ends, bottom_ends = _of_face(ends, way, True), _of_face(ends, way, False)
    third_ends, fourth_ends = _of_face(ends, next_way, True), _of_face(ends, next_way, False)
    top_m2, bottom_m2, third_m2, fourth_m2 = top.usable_m2, bottom.usable_m2, next_top.usable_m2, next_bottom.usable_m2
    needed = terms.min_length_m / table.cell_m
    for m in range(entries):
        drying = terms.drying_per_board_foot[m] * terms.board_feet_per_m2[m]
        for k in range(steps[m] + next_steps[m], rows):
            j = k - steps[m]
            i = j - next_steps[m]
            begin = max(top_ends[k, 0], bottom_ends[j, 0], third_ends[j, 0], fourth_ends[i, 0])
            end = min(top_ends[k, 1], bottom_ends[j, 1], third_ends[j, 1], fourth_ends[i, 1])
            if end - begin >= needed:
                feet = min(top_m2[k], bottom_m2[j]) + min(third_m2[j], fourth_m2[i])
                found[k, m] = 2.0 * terms.slab_cost + drying * feet
    return found


def slabs_given(terms: Terms, table: LayTable, entry: int) -> Known:
    """Return how many slabs each layer gives that is sawn as an entry, (rows, M); 0 as any other.

    Counted by what layers lose where each slab costs a little more, so that whatever makes slabs of a layer counts.
    """
    dearer = terms._replace(slab_cost=terms.slab_cost + SLIGHT_COST)

    def counted(way: int) -> FloatArray:
        asked = may_be_layers(terms, table, way)
        asked[:, np.arange(asked.shape[1]) != entry] = False
        each, less = np.zeros(asked.shape), np.zeros(asked.shape)
        layers_where(terms, table, way, asked, each)
        layers_where(dearer, table, way, asked & (each > 0.0), less)
        found: FloatArray = np.ceil((each - less) / SLIGHT_COST - 1e-6)
        return found

    down = counted(DOWN)
    return Known(down, counted(FLIPPED), counted(BED)) if terms.can_flip else Known(down, down, down)


def may_be_layers(terms: Terms, table: LayTable, way: int) -> BoolArray:
    """Return (rows, M) where there can be a layer under the pass at a row, or on the bunks under a face."""
    top, bottom, steps = faces_beside(terms, table, way)
    above = (table.possible_flipped if way == FLIPPED else table.possible) & (top.usable_m2 > 0.0)
    below = (table.possible if way == DOWN else table.possible_flipped) & (bottom.usable_m2 > 0.0)
    found: NDArray[np.bool_] = np.zeros((len(above), len(steps)), dtype=np.bool_)
    for m, drop in enumerate(steps):
        if drop < len(above):
            found[drop:, m] = above[drop:] & below[: len(below) - drop]
    return found
