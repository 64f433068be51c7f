"""The best passes of one lay, exactly: dynamic programming over the height steps.

V(k), the most that can still come once the pass at row k is made, is the greatest of: nothing more; a
layer of a thickness of the menu, its lower pass paid, and V below it; waste of 1/2 in
or more, likewise. n layers take n + 1 passes, all charged. No layer is thicker than the wood that fits above the blade.

With a flip two tables meet: T(k), the most that the passes down to row k bring, and B(p), the most that the
passes made after the flip bring, from the far side up to row p; between them lies the piece on the bunks.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numba
import numpy as np

from optimizer.stations.inside import most_shown_m2, strips_of_layer
from optimizer.stations.lay_table import BoolArray, Faces, LayTable
from optimizer.stations.layers import Room, general_layer, layer_of, layer_value, room_for
from optimizer.stations.runs import Sold, sold_as
from optimizer.stations.simple_layers import flawed_simple_layer, sound_simple_layer
from optimizer.stations.tallied import tallied_layer
from optimizer.stations.terms import Terms
from scans.log import FloatArray, IntArray

STOP, WASTE = -1, -2
"""What follows a pass, beside an entry of the menu."""
LEAST_WASTE_M = 0.0127
"""Waste is no thinner than 1/2 in: nobody sends the blade through a shaving, where it wanders out of the cut (common
practice, no source)."""
TIE = 1e-9
"""Money that is only rounding."""


@dataclass(frozen=True)
class Cuts:
    """Passes from the top down, as whole numbers of height steps, and what each layer is.

    rows : (n + 1,) passes; empty where nothing is worth sawing. entries : (n,) of the menu, or WASTE.
    net : what the search makes of it, margins included.
    flipped_rows : (q,) passes after the flip, in the flipped bed frame; empty without a flip.
    flipped_entries : (q,) what lies under each of them, the last on the bunks; there WASTE is an offcut.
    """

    rows: tuple[int, ...]
    entries: tuple[int, ...]
    net: float
    flipped_rows: tuple[int, ...] = ()
    flipped_entries: tuple[int, ...] = ()


NOTHING = Cuts((), (), 0.0)


class Known(NamedTuple):
    """What layers bring, where it is known before passes are chosen: (rows, M) each, for each entry of the menu.

    down, flipped : the layer under the pass at a row, before and after a flip. bed : the piece on the bunks, by the
    row of the face that it lies on.
    """

    down: FloatArray
    flipped: FloatArray
    bed: FloatArray


_UNKNOWN = np.zeros((0, 0))


def best_cuts(
    table: LayTable, terms: Terms, floor: float = 0.0, *, known: Known | None = None, start_row: int | None = None
) -> Cuts:
    """Find the passes of one lay that are worth the most, by the search's own measure, or by what is known of layers.

    floor : cuts that cannot be worth more than this are not followed up; a lay that cannot be is given up at once.
    known : where it is given, what layers bring is taken from there, not from the wood.
    start_row : of the table, the last pass that is made already: only what follows it is looked for, whatever the mill
    thought of it, and even where it brings less than nothing. The net leaves out what that pass cost.
    """
    if len(table.possible) == 0:
        return NOTHING
    if start_row is not None:
        table = from_made(table, start_row)
    above = np.zeros(0)
    if floor > 0.0 and not terms.can_flip:
        above = _most_above(terms, table)
        if (above - table.pass_cost).max() <= floor:  # nothing need come after a pass
            return NOTHING
    down, flipped, bed = (_UNKNOWN, _UNKNOWN, _UNKNOWN) if known is None else known
    # Any pass may be the last.
    after, choice, below = _passes(terms, table, True, False, np.ones_like(table.possible), down, above, floor)
    after[~(table.possible & table.may_be_first)] = -np.inf
    first, least_net = int(np.argmax(after)), 0.0 if start_row is None else -np.inf
    best = NOTHING
    if after[first] > least_net:
        rows, entries = _followed(first, choice, below)
        best = Cuts(tuple(table.lowest_row + row for row in rows), entries, float(after[first]))
    if terms.can_flip:
        turned = _best_flipped(terms, table, down, flipped, bed)
        if turned is not None and turned.net > best.net + TIE:  # nobody turns a log over for nothing
            return turned
    return best


def from_made(table: LayTable, row: int) -> LayTable:
    """Return a table where every way begins with the pass at a row, which costs nothing more."""
    at = np.arange(len(table.possible))
    return table._replace(
        possible=(table.possible & (at < row)) | (at == row),
        may_be_first=at == row,
        possible_flipped=table.possible_flipped & (at < row),
        pass_cost=np.where(at == row, 0.0, table.pass_cost),
    )


def _followed(start: int, choice: IntArray, onward: IntArray) -> tuple[list[int], tuple[int, ...]]:
    rows, entries, k = [start], [], start
    while choice[k] != STOP:
        entries.append(int(choice[k]))
        k = int(onward[k])
        rows.append(k)
    return rows, tuple(entries)


def _best_flipped(terms: Terms, table: LayTable, down: FloatArray, flipped: FloatArray, bed: FloatArray) -> Cuts | None:
    """Return the best passes with a flip; None where none is possible."""
    none, nowhere = np.zeros(0), 0.0
    top, *back_up = _passes(terms, table, False, False, table.may_be_first, down, none, nowhere)
    bottom, *back_down = _passes(terms, table, True, True, table.may_be_first_flipped, flipped, none, nowhere)
    net, face, last, bed_entry = _meeting(terms, table, top, bottom, bed)
    if face < 0:
        return None
    rows, entries = _followed(face, *back_up)  # from the flip back up
    after, flipped_entries = _followed(last, *back_down)  # from the bunks back up
    return Cuts(
        rows=tuple(table.lowest_row + row for row in rows[::-1]),
        entries=entries[::-1],
        net=float(net),
        # A pass at row p is so far below the face that the log lies on after the flip.
        flipped_rows=tuple(face - row for row in after[::-1]),
        flipped_entries=(*flipped_entries[::-1], int(bed_entry)),
    )


@numba.njit(cache=True, nogil=True)
def room_of(table: LayTable) -> Room:
    """Make room for the layers of a lay."""
    slots = max(table.upper.chords.most, table.lower.chords.most, table.under.chords.most)
    return room_for(table.last - table.first, slots, table.inside.most, table.inside.most_figured)


@numba.njit(cache=True, nogil=True)
def layer_between(
    terms: Terms,
    table: LayTable,
    entry: int,
    top: Faces,
    top_row: int,
    top_offset_m: float,
    bottom: Faces,
    bottom_row: int,
    bottom_offset_m: float,
    room: Room,
    enough: float,
) -> float:
    """Return what the layer between two faces brings as an entry of the menu; see `layer_value` for `enough`.

    top_row, bottom_row : of the passes that open the faces; top_offset_m, bottom_offset_m : how far the faces lie above
    the bottoms of their kerfs. [m]
    """
    upper_row, lower_row = top_row + top.shift, bottom_row + bottom.shift
    return layer_value(
        terms,
        entry,
        top.chords,
        upper_row,
        bottom.chords,
        lower_row,
        table.first,
        table.last,
        table.cell_m,
        top.simple[upper_row] and bottom.simple[lower_row],
        table.inside,
        (table.lowest_row + bottom_row) * terms.step_m + bottom_offset_m,
        (table.lowest_row + top_row) * terms.step_m + top_offset_m,
        room,
        enough,
    )


@numba.njit(cache=True, nogil=True)
def _most_drop(terms: Terms, rows: int) -> int:
    if np.isinf(terms.throat_depth_m):
        return rows
    return int(np.floor(terms.throat_depth_m / terms.step_m + 1e-9))


@numba.njit(cache=True, nogil=True)
def _least_waste(terms: Terms) -> int:
    return int(np.ceil((LEAST_WASTE_M + terms.kerf_m) / terms.step_m - 1e-9))


@numba.njit(cache=True, nogil=True)
def _pair_most(
    least: float,
    most_price: float,
    extra: float,
    board_feet_per_m2: float,
    top_m2: float,
    bottom_m2: float,
    top_worth_m2: float,
    bottom_worth_m2: float,
    top_factor: float,
    bottom_factor: float,
) -> float:
    """Return the most that a layer can bring: no slab is larger than the runs on either face, or wider.

    least : what a slab must bring to be worth handling. extra : figure at its best less drying, for a board foot.
    """
    area_m2, factor = min(top_m2, bottom_m2), min(top_factor, bottom_factor)
    worth_m2 = min(top_worth_m2, bottom_worth_m2, area_m2 * factor)
    if extra < 0.0:
        # Wood of so much worth is at least so large, as no board foot has more than the greatest factor.
        area_m2 = worth_m2 / factor if factor > 0.0 else 0.0
    return max(0.0, (worth_m2 * most_price + area_m2 * extra) * board_feet_per_m2 - least)


@numba.njit(cache=True, nogil=True)
def _layer_most(
    least: float,
    most_price: float,
    extra: float,
    drying: float,
    figure: float,
    board_feet_per_m2: float,
    top_m2: float,
    bottom_m2: float,
    top_worth_m2: float,
    bottom_worth_m2: float,
    top_factor: float,
    bottom_factor: float,
) -> float:
    """Return the most that a layer can bring, whose figure brings no more than `figure` on both faces; see _pair_most.

    drying : of a board foot. figure : infinite where that is not known.
    """
    most = _pair_most(
        least, most_price, extra, board_feet_per_m2, top_m2, bottom_m2, top_worth_m2, bottom_worth_m2, top_factor,
        bottom_factor,
    )  # fmt: skip
    if not figure < np.inf:  # nor where no entry pays for figure, and that is nothing times infinity
        return most
    sound = _pair_most(
        least, most_price, -drying, board_feet_per_m2, top_m2, bottom_m2, top_worth_m2, bottom_worth_m2, top_factor,
        bottom_factor,
    )  # fmt: skip
    return min(most, sound + figure)


@numba.njit(cache=True, nogil=True)
def _extra(terms: Terms, table: LayTable) -> FloatArray:
    """Return the most that a board foot brings beside its price, (M,): figure at its best, less drying."""
    if not terms.counting.plain and table.inside.best_feather > 0.0:
        # Figure is seen on more wood than is counted, and dried.
        return terms.feather_per_board_foot * table.inside.best_feather
    return terms.feather_per_board_foot * table.inside.best_feather - terms.drying_per_board_foot


@numba.njit(cache=True, nogil=True)
def _most_figure(terms: Terms, table: LayTable, offset_m: float) -> FloatArray:
    """Return half of the most figure that the face at each row can show. [m2]."""
    found = np.zeros(len(table.possible))
    if table.inside.best_feather > 0.0:
        for k in range(len(found)):
            height_m = (table.lowest_row + k) * terms.step_m + offset_m
            found[k] = 0.5 * most_shown_m2(table.inside, height_m, table.cell_m)
    return found


@numba.njit(cache=True, nogil=True)
def _passes(
    terms: Terms,
    table: LayTable,
    rising: bool,
    flipped: bool,
    may_end: BoolArray,
    known: FloatArray,
    above: FloatArray,
    floor: float,
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return what the pass at each row and those before it bring, what lies beside it there, and where that ends.

    What they bring is the most that can be, (rows,); -inf where there can be none.

    rising : whether rows are gone through from the bottom, so that what is before a pass lies below it; else from the
    top. flipped : whether the passes are made after the flip: their kerfs lie on the other side. may_end : (rows,)
    where nothing need come before the pass. known : (rows, M) what the layer under the pass at a row brings; (0, 0)
    where that is taken from the wood. above : (rows,) the most that comes on the other side of the pass at a row, or
    (0,) where there is no floor: what cannot be worth more than `floor` with it is not looked at.
    """
    rows, way = len(table.possible), 1 if rising else -1
    value = np.full(rows, -np.inf)
    choice = np.full(rows, -1, dtype=np.int64)
    before = np.full(rows, -1, dtype=np.int64)
    # What a pass and those before it bring, and a queue of the rows where that is greatest so far: its head is the best
    # place for waste to end. Rows leave it where the layer would be thicker than the wood that fits above the blade.
    after = np.full(rows, -np.inf)
    queue = np.zeros(rows, dtype=np.int64)
    head, tail = 0, 0
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    # Taken out of the tuples once: that costs more than a layer.
    price, feet, drops, most_price = terms.price, terms.board_feet_per_m2, terms.drop_steps, terms.most_price
    least, extra, pass_cost = terms.slab_cost, _extra(terms, table), table.pass_cost
    possible = table.possible_flipped if flipped else table.possible
    top, bottom = (table.under, table.upper) if flipped else (table.upper, table.lower)
    top_off_m, bottom_off_m = (-terms.kerf_m, 0.0) if flipped else (0.0, terms.kerf_m)
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    top_figure, bottom_figure = _most_figure(terms, table, top_off_m), _most_figure(terms, table, bottom_off_m)
    top_y, bottom_y, top_simple, bottom_simple = top.chords.y, bottom.chords.y, top.simple, bottom.simple
    top_shift, bottom_shift, first, last, cell_m = top.shift, bottom.shift, table.first, table.last, table.cell_m
    inside = table.inside
    figured, flaw_low_m, flaw_high_m = inside.best_feather > 0.0, inside.low_m, inside.high_m
    zero_m, step_m = table.lowest_row * terms.step_m, terms.step_m
    min_width_m, max_width_m = terms.min_width_m, terms.max_width_m
    min_length_m, max_length_m = terms.min_length_m, terms.max_length_m
    feather, drying = terms.feather_per_board_foot, terms.drying_per_board_foot
    width_at_m, width_factor = terms.width_at_m, terms.width_factor
    counting = terms.counting
    plain, may_rip = counting.plain, counting.slab_with_heart > 0.0
    room = room_of(table)
    top_counts, bottom_counts = top.chords.counts, bottom.chords.counts
    low, high, piece, begins = room.low, room.high, room.piece, room.begins
    parent, begin, end, widths = room.parent, room.begin, room.end, room.widths
    lost, figure, sums = room.lost, room.figured, room.sums
    strips, strip_counts, faces, face_counts = room.strips, room.strip_counts, room.faces, room.face_counts
    own, nodes = room.own, room.nodes
    promised, bounded, is_known = np.zeros(len(drops)), len(above) > 0, len(known) > 0
    for k in range(rows) if rising else range(rows - 1, -1, -1):
        # The row that a waste layer may now just reach.
        j = k - way * least_waste
        if 0 <= j < rows and possible[j]:
            while tail > head and after[queue[tail - 1]] <= after[j]:
                tail -= 1
            queue[tail] = j
            tail += 1
        while tail > head and way * (k - queue[head]) > most_drop:
            head += 1
        if not possible[k]:
            continue
        if may_end[k]:
            value[k] = 0.0
        if tail > head and after[queue[head]] > value[k]:
            value[k], choice[k], before[k] = after[queue[head]], -2, queue[head]
        # What promises the most is looked at first, so that the others need not be.
        enough = value[k]
        if bounded:
            enough = max(enough, floor - above[k] + pass_cost[k])
        for m in range(len(drops)):
            promised[m] = -np.inf
            j = k - way * drops[m]
            if not 0 <= j < rows or not possible[j] or drops[m] > most_drop:
                continue
            u, v = (k, j) if rising else (j, k)
            if is_known:
                most = known[u, m]
            else:
                shown = feather[m] * feet[m] * (top_figure[u] + bottom_figure[v]) if figured else np.inf
                most = _layer_most(
                    least, most_price[m], extra[m], drying[m], shown, feet[m], top_m2[u], bottom_m2[v], top_worth[u],
                    bottom_worth[v], top_factor[u], bottom_factor[v],
                )  # fmt: skip
            if most > 0.0:
                promised[m] = after[j] + most
        while True:
            m = int(np.argmax(promised))
            if promised[m] <= max(enough, value[k]):
                break
            j = k - way * drops[m]
            if is_known:
                value[k], choice[k], before[k] = promised[m], m, j
                break
            promised[m] = -np.inf
            u, v = (k, j) if rising else (j, k)
            top_row, bottom_row = u + top_shift, v + bottom_shift
            upper_m, lower_m = zero_m + u * step_m + top_off_m, zero_m + v * step_m + bottom_off_m
            flawed = upper_m > flaw_low_m and lower_m < flaw_high_m
            sold = Sold(
                min_width_m, max_width_m, min_length_m, max_length_m, feet[m], price[m], feather[m], drying[m], least,
                width_at_m, width_factor,
            )  # fmt: skip
            simple = top_simple[top_row] and bottom_simple[bottom_row]
            # Sound wood, or that ripped, and all the figure bring the most: looked at first, flaws are what is left to
            # count.
            figure_most = feather[m] * feet[m] * (top_figure[u] + bottom_figure[v]) if figured and flawed else 0.0
            for counted in range(figure_most == np.inf, 2 if flawed else 1):
                found = -1.0
                at_most = flawed and may_rip and not counted
                if not plain:
                    found = tallied_layer(
                        sold, counting, m, top_counts, top_y, top_row, bottom_counts, bottom_y, bottom_row, first,
                        last, cell_m, simple, bool(counted), at_most, inside, lower_m,
                        upper_m, low, high, own, piece, begins, parent, begin, end, lost, figure, sums, nodes, strips,
                        strip_counts, faces, face_counts,
                    )  # fmt: skip
                elif simple and counted:
                    found = flawed_simple_layer(
                        sold, top_y, top_row, bottom_y, bottom_row, first, last, cell_m, inside, lower_m, upper_m,
                        strips, strip_counts, faces, face_counts, lost, figure,
                    )  # fmt: skip
                elif simple:
                    found = sound_simple_layer(sold, top_y, top_row, bottom_y, bottom_row, first, last, cell_m)
                if found < 0.0:
                    if counted:
                        strips_of_layer(inside, first, lower_m, upper_m, strips, strip_counts, faces, face_counts)
                    found = general_layer(
                        sold, top_counts, top_y, top_row, bottom_counts, bottom_y, bottom_row, first, last, cell_m,
                        bool(counted), figured, low, high, piece, begins, parent, begin, end, widths, lost, figure,
                        sums, strips, strip_counts, faces, face_counts,
                    )  # fmt: skip
                found += after[j]
                if found + (0.0 if counted else figure_most) <= value[k]:
                    break
            if found > value[k]:
                value[k], choice[k], before[k] = found, m, j
        after[k] = value[k] - pass_cost[k]
    return after, choice, before


@numba.njit(cache=True, nogil=True)
def _most_above(terms: Terms, table: LayTable) -> FloatArray:
    """Return the most that can come before the pass at each row, its own cost left out; -inf: it cannot be reached."""
    rows = len(table.possible)
    above = np.full(rows, -np.inf)
    # The best of `above`, less the pass there, at or over a row.
    waste = np.full(rows, -np.inf)
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    # Taken out of the tuples once: that costs more than a layer.
    most_price, feet, drops = terms.most_price, terms.board_feet_per_m2, terms.drop_steps
    least, extra, possible, pass_cost = terms.slab_cost, _extra(terms, table), table.possible, table.pass_cost
    top, bottom = table.upper, table.lower
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    may_be_first = table.may_be_first
    for j in range(rows - 1, -1, -1):
        if possible[j]:
            most = 0.0 if may_be_first[j] else -np.inf
            if j + least_waste < rows:
                most = max(most, waste[j + least_waste])
            for m in range(len(drops)):
                k = j + drops[m]
                if k < rows and possible[k] and drops[m] <= most_drop:
                    layer = _pair_most(
                        least, most_price[m], extra[m], feet[m], top_m2[k], bottom_m2[j], top_worth[k], bottom_worth[j],
                        top_factor[k], bottom_factor[j],
                    )  # fmt: skip
                    most = max(most, above[k] - pass_cost[k] + layer)
            above[j] = most
        after = above[j] - pass_cost[j]
        waste[j] = max(after, waste[j + 1]) if j + 1 < rows else after
    return above


@numba.njit(cache=True, nogil=True)
def _meeting(
    terms: Terms, table: LayTable, top: FloatArray, bottom: FloatArray, known: FloatArray
) -> tuple[float, int, int, int]:
    """Return the best net with a flip, the face that the log lies on, its last pass (-1: none), what is on the bunks.

    top, bottom : (rows,) what the passes down to a row bring, and those after the flip up to a row. known : (rows, M)
    what is on the bunks brings, by the face that it lies on; (0, 0) where that is taken from the wood.
    """
    rows = len(table.possible)
    best, face, last, bed_entry = -np.inf, -1, -1, -2
    # The piece on the bunks left as an offcut: the best last pass that is low enough for the blade.
    best_p = -1
    for k in range(rows):
        p = k - table.lowest_row
        if p >= 0 and (best_p < 0 or bottom[p] > bottom[best_p]):
            best_p = p
        if best_p < 0 or top[k] == -np.inf:
            continue
        net = top[k] + bottom[best_p] - terms.flip_cost
        if net > best:
            best, face, last, bed_entry = net, k, best_p, -2
    face_rows, room = table.upper, room_of(table)
    face_m2, face_worth, face_factor = face_rows.usable_m2, face_rows.usable_worth_m2, face_rows.best_factor
    extra, is_known = _extra(terms, table), len(known) > 0
    most_price, feet, least = terms.most_price, terms.board_feet_per_m2, terms.slab_cost
    for m in range(len(most_price)):
        steps = terms.bed_steps[m]
        if steps < table.lowest_row:  # the blade does not go down to it
            continue
        for k in range(steps, rows):
            p = k - steps
            if top[k] == -np.inf or bottom[p] == -np.inf:
                continue
            so_far = top[k] + bottom[p] - terms.flip_cost
            if is_known:
                net = so_far + known[k, m]
            else:
                most = _pair_most(
                    least, most_price[m], extra[m], feet[m], face_m2[k], face_m2[p], face_worth[k], face_worth[p],
                    face_factor[k], face_factor[p],
                )  # fmt: skip
                if most == 0.0 or so_far + most <= best:
                    continue
                enough = best - so_far
                net = so_far + layer_between(terms, table, m, face_rows, k, 0.0, face_rows, p, 0.0, room, enough)
            if net > best:
                best, face, last, bed_entry = net, k, p, m
    return best, face, last, bed_entry


@numba.njit(cache=True, nogil=True)
def drop_limits(terms: Terms, rows: int) -> tuple[int, int]:
    """Return the least drop of a waste layer and the most of any layer, in height steps."""
    return _least_waste(terms), _most_drop(terms, rows)


DOWN, FLIPPED, BED = 0, 1, 2
"""Layers by the sides that their kerfs lie on: before a flip, after it, and the piece on the bunks; see Known."""


@numba.njit(cache=True, nogil=True)
def faces_beside(terms: Terms, table: LayTable, way: int) -> tuple[Faces, Faces, IntArray]:
    """Return where the upper and the lower faces of layers are, and how many steps lie between their passes, (M,)."""
    if way == DOWN:
        return table.upper, table.lower, terms.drop_steps
    if way == FLIPPED:
        return table.under, table.upper, terms.drop_steps
    return table.upper, table.upper, terms.bed_steps


@numba.njit(cache=True, nogil=True)
def promised_layers(terms: Terms, table: LayTable, way: int) -> FloatArray:
    """Return (rows, M) the most that layers can bring."""
    rows, entries = len(table.possible), len(terms.price)
    top, bottom, steps = faces_beside(terms, table, way)
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    possible = table.possible if way == DOWN else table.possible_flipped
    face_possible = possible if way == FLIPPED else table.possible
    price, feet, least, extra = terms.most_price, terms.board_feet_per_m2, terms.slab_cost, _extra(terms, table)
    feather, drying = terms.feather_per_board_foot, terms.drying_per_board_foot
    figured = table.inside.best_feather > 0.0
    top_figure = _most_figure(terms, table, -terms.kerf_m if way == FLIPPED else 0.0)
    bottom_figure = _most_figure(terms, table, terms.kerf_m if way == DOWN else 0.0)
    found = np.zeros((rows, entries))
    for m in range(entries):
        for u in range(steps[m], rows):
            v = u - steps[m]
            if face_possible[u] and possible[v] and top_m2[u] > 0.0 and bottom_m2[v] > 0.0:
                shown = feather[m] * feet[m] * (top_figure[u] + bottom_figure[v]) if figured else np.inf
                found[u, m] = _layer_most(
                    least, price[m], extra[m], drying[m], shown, feet[m], top_m2[u], bottom_m2[v], top_worth[u],
                    bottom_worth[v], top_factor[u], bottom_factor[v],
                )  # fmt: skip
    return found


@numba.njit(cache=True, nogil=True)
def layers_where(terms: Terms, table: LayTable, way: int, asked: BoolArray, found: FloatArray) -> None:
    """Put what layers bring into `found` (rows, M), where `asked` (rows, M) says so."""
    rows, room = len(table.possible), room_of(table)
    top, bottom, steps = faces_beside(terms, table, way)
    top_off_m = -terms.kerf_m if way == FLIPPED else 0.0
    bottom_off_m = terms.kerf_m if way == DOWN else 0.0
    # Taken out of the tuples once: that costs as much as some layers.
    top_chords, top_shift, top_simple = top.chords, top.shift, top.simple
    bottom_chords, bottom_shift, bottom_simple = bottom.chords, bottom.shift, bottom.simple
    first, last, cell_m, inside = table.first, table.last, table.cell_m, table.inside
    zero_m, step_m = table.lowest_row * terms.step_m, terms.step_m
    has_flaws, flaw_low_m, flaw_high_m = inside.most + inside.most_figured > 0, inside.low_m, inside.high_m
    counting = terms.counting
    for m in range(len(steps)):
        sold = sold_as(terms, m)
        for k in range(steps[m], rows):
            if not asked[k, m]:
                continue
            u, v = k + top_shift, k - steps[m] + bottom_shift
            upper_m, lower_m = zero_m + k * step_m + top_off_m, zero_m + (k - steps[m]) * step_m + bottom_off_m
            flawed = has_flaws and upper_m > flaw_low_m and lower_m < flaw_high_m
            found[k, m] = layer_of(
                sold, counting, m, top_chords, u, bottom_chords, v, first, last, cell_m,
                top_simple[u] and bottom_simple[v], flawed, inside, lower_m, upper_m, room,
            )  # fmt: skip
