"""The best passes of one lay, exactly: dynamic programming over the height steps.

V(k), the most that can still come once the pass at row k is made, is the greatest of: nothing more; a
layer of a thickness of the menu, its lower pass paid, and V below it; waste of any height, likewise. n
layers take n + 1 passes, all charged. No layer is thicker than the wood that fits above the blade.

With a flip two tables meet: T(k), the most that the passes down to row k bring, and B(p), the most that the
passes made after the flip bring, from the far side up to row p; between them lies the piece on the bunks.
"""

from dataclasses import dataclass

import numba
import numpy as np

from optimizer.inside import strips_of_layer
from optimizer.lay_table import Faces, LayTable
from optimizer.layers import Room, general_layer, layer_value, room_for
from optimizer.runs import Sold
from optimizer.simple_layers import flawed_simple_layer, sound_simple_layer
from optimizer.terms import Terms
from scans.log import FloatArray, IntArray

STOP, WASTE = -1, -2
"""What follows a pass, beside an entry of the menu."""
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


def best_cuts(table: LayTable, terms: Terms, floor: float = 0.0) -> Cuts:
    """Find the passes of one lay that are worth the most, by the search's own measure.

    floor : cuts that cannot be worth more than this are not followed up; a lay that cannot be is given up at once.
    """
    if len(table.possible) == 0:
        return NOTHING
    above = np.zeros(0)
    if floor > 0.0 and not terms.can_flip:
        above = _most_above(terms, table)
        if (above - table.pass_cost).max() <= floor:  # nothing need come after a pass
            return NOTHING
    down = _downwards(terms, table, above, floor)
    net, first, choice, below = down
    best = NOTHING
    if first >= 0:
        rows, entries = _followed(first, choice, below)
        best = Cuts(tuple(table.lowest_row + row for row in rows), entries, float(net))
    if terms.can_flip:
        flipped = _best_flipped(terms, table)
        if flipped.net > best.net + TIE:  # nobody turns a log over for nothing
            return flipped
    return best


def _followed(start: int, choice: IntArray, onward: IntArray) -> tuple[list[int], tuple[int, ...]]:
    rows, entries, k = [start], [], start
    while choice[k] != STOP:
        entries.append(int(choice[k]))
        k = int(onward[k])
        rows.append(k)
    return rows, tuple(entries)


def _best_flipped(terms: Terms, table: LayTable) -> Cuts:
    net, face, last, bed_entry, top, bottom = _with_flip(terms, table)
    if face < 0:
        return NOTHING
    rows, entries = _followed(face, *top)  # from the flip back up
    after, flipped_entries = _followed(last, *bottom)  # from the bunks back up
    return Cuts(
        rows=tuple(table.lowest_row + row for row in rows[::-1]),
        entries=entries[::-1],
        net=float(net),
        # A pass at row p is so far below the face that the log lies on after the flip.
        flipped_rows=tuple(face - row for row in after[::-1]),
        flipped_entries=(*flipped_entries[::-1], int(bed_entry)),
    )


def value_of_layer(table: LayTable, terms: Terms, entry: int, upper_row: int, lower_row: int) -> float:
    """Return what the layer between two passes (in height steps) brings as one entry of the menu."""
    room = _room(table)
    return float(
        _layer(terms, table, entry, table.upper, upper_row - table.lowest_row, 0.0, table.lower,
               lower_row - table.lowest_row, terms.kerf_m, room, 0.0)
    )  # fmt: skip


def value_of_flipped_layer(table: LayTable, terms: Terms, entry: int, upper_row: int, lower_row: int) -> float:
    """Return the same for a layer between two passes made after the flip; their rows in the first bed frame."""
    room = _room(table)
    return float(
        _layer(terms, table, entry, table.under, upper_row - table.lowest_row, -terms.kerf_m, table.upper,
               lower_row - table.lowest_row, 0.0, room, 0.0)
    )  # fmt: skip


def value_of_bed_layer(table: LayTable, terms: Terms, entry: int, face_row: int, last_row: int) -> float:
    """Return the same for the piece on the bunks after the flip, from the face it lies on to the last pass."""
    room = _room(table)
    return float(
        _layer(terms, table, entry, table.upper, face_row - table.lowest_row, 0.0, table.upper,
               last_row - table.lowest_row, 0.0, room, 0.0)
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)
def _room(table: LayTable) -> Room:
    slots = max(table.upper.chords.most, table.lower.chords.most, table.under.chords.most)
    return room_for(table.last - table.first, slots, table.inside.most)


@numba.njit(cache=True, nogil=True)
def _layer(
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
    # A layer holds wood, so waste too drops by more than the kerf.
    return int(np.floor(terms.kerf_m / terms.step_m + 1e-9)) + 1


@numba.njit(cache=True, nogil=True)
def _pair_most(
    least: float,
    price: float,
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
    return max(0.0, (worth_m2 * price + area_m2 * extra) * board_feet_per_m2 - least)


@numba.njit(cache=True, nogil=True)
def _extra(terms: Terms, table: LayTable) -> float:
    return terms.feather_per_board_foot * table.inside.best_feather - terms.drying_per_board_foot


@numba.njit(cache=True, nogil=True)
def _downwards(terms: Terms, table: LayTable, above: FloatArray, floor: float) -> tuple[float, int, IntArray, IntArray]:
    """Return the best net, the row of its first pass (-1: none), and what follows each row, and where.

    above : (rows,) the most that comes before the pass at a row, or (0,) where there is no floor: what cannot be worth
    more than `floor` with it is not looked at.
    """
    rows = len(table.possible)
    value = np.zeros(rows)
    choice = np.full(rows, -1, dtype=np.int64)
    below = np.full(rows, -1, dtype=np.int64)
    # V(j) - cost(j), and a queue of the rows where it is greatest so far: its head is the best place for waste to
    # end. Rows leave it where the layer would be thicker than the wood that fits above the blade.
    after = np.full(rows, -np.inf)
    queue = np.zeros(rows, dtype=np.int64)
    head, tail = 0, 0
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    # Taken out of the tuples once: that costs more than a layer.
    price, feet, drops = terms.price, terms.board_feet_per_m2, terms.drop_steps
    least, extra, possible, pass_cost = terms.slab_cost, _extra(terms, table), table.possible, table.pass_cost
    top, bottom = table.upper, table.lower
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    top_y, bottom_y, top_simple, bottom_simple = top.chords.y, bottom.chords.y, top.simple, bottom.simple
    top_shift, bottom_shift, first, last, cell_m = top.shift, bottom.shift, table.first, table.last, table.cell_m
    inside = table.inside
    figured, flaw_low_m, flaw_high_m = inside.best_feather > 0.0, inside.low_m, inside.high_m
    zero_m, step_m, kerf_m = table.lowest_row * terms.step_m, terms.step_m, terms.kerf_m
    min_width_m, max_width_m = terms.min_width_m, terms.max_width_m
    min_length_m, max_length_m = terms.min_length_m, terms.max_length_m
    feather, drying = terms.feather_per_board_foot, terms.drying_per_board_foot
    width_at_m, width_factor = terms.width_at_m, terms.width_factor
    room = _room(table)
    top_counts, bottom_counts = top.chords.counts, bottom.chords.counts
    low, high, piece, begins = room.low, room.high, room.piece, room.begins
    parent, begin, end, widths = room.parent, room.begin, room.end, room.widths
    lost, figure, sums = room.lost, room.figured, room.sums
    strips, strip_counts = room.strips, room.strip_counts
    promised, bounded = np.zeros(len(drops)), len(above) > 0
    for k in range(rows):
        # The row that a waste layer may now just reach.
        j = k - least_waste
        if j >= 0 and possible[j]:
            while tail > head and after[queue[tail - 1]] <= after[j]:
                tail -= 1
            queue[tail] = j
            tail += 1
        while tail > head and queue[head] < k - most_drop:
            head += 1
        if not possible[k]:
            continue
        if tail > head and after[queue[head]] > value[k]:
            value[k], choice[k], below[k] = after[queue[head]], -2, queue[head]
        # What promises the most is looked at first, so that the others need not be.
        enough = value[k]
        if bounded:
            enough = max(enough, floor - above[k] + pass_cost[k])
        for m in range(len(drops)):
            promised[m] = -np.inf
            j = k - drops[m]
            if j < 0 or not possible[j] or drops[m] > most_drop:
                continue
            most = _pair_most(
                least, price[m], extra, feet[m], top_m2[k], bottom_m2[j], top_worth[k], bottom_worth[j],
                top_factor[k], bottom_factor[j],
            )  # fmt: skip
            if most > 0.0:
                promised[m] = after[j] + most
        while True:
            m = int(np.argmax(promised))
            if promised[m] <= max(enough, value[k]):
                break
            promised[m] = -np.inf
            j = k - drops[m]
            top_row, bottom_row = k + top_shift, j + bottom_shift
            upper_m, lower_m = zero_m + k * step_m, zero_m + j * step_m + kerf_m
            flawed = upper_m > flaw_low_m and lower_m < flaw_high_m
            sold = Sold(
                min_width_m, max_width_m, min_length_m, max_length_m, feet[m], price[m], feather, drying, least,
                width_at_m, width_factor,
            )  # fmt: skip
            simple = top_simple[top_row] and bottom_simple[bottom_row]
            # Sound wood brings the most: where it is looked at first, the flaws are what is left to count.
            for counted in range(figured and flawed, 2 if flawed else 1):
                found = -1.0
                if simple and counted:
                    found = flawed_simple_layer(
                        sold, top_y, top_row, bottom_y, bottom_row, first, last, cell_m, inside, lower_m, upper_m,
                        strips, strip_counts, lost, figure,
                    )  # fmt: skip
                elif simple:
                    found = sound_simple_layer(sold, top_y, top_row, bottom_y, bottom_row, first, last, cell_m)
                if found < 0.0:
                    if counted:
                        strips_of_layer(inside, first, lower_m, upper_m, strips, strip_counts)
                    found = general_layer(
                        sold, top_counts, top_y, top_row, bottom_counts, bottom_y, bottom_row, first, last, cell_m,
                        bool(counted), figured, low, high, piece, begins, parent, begin, end, widths, lost, figure,
                        sums, strips, strip_counts,
                    )  # fmt: skip
                found += after[j]
                if found <= value[k]:
                    break
            if found > value[k]:
                value[k], choice[k], below[k] = found, m, j
        after[k] = value[k] - pass_cost[k]
    best, best_k = 0.0, -1
    for k in range(rows):
        if possible[k] and table.may_be_first[k] and after[k] > best:
            best, best_k = after[k], k
    return best, best_k, choice, below


@numba.njit(cache=True, nogil=True)
def _most_above(terms: Terms, table: LayTable) -> FloatArray:
    """Return the most that can come before the pass at each row, its own cost left out; -inf: it cannot be reached."""
    rows = len(table.possible)
    above = np.full(rows, -np.inf)
    # The best of `above`, less the pass there, at or over a row.
    waste = np.full(rows, -np.inf)
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    # Taken out of the tuples once: that costs more than a layer.
    price, feet, drops = terms.price, terms.board_feet_per_m2, terms.drop_steps
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
                        least, price[m], extra, feet[m], top_m2[k], bottom_m2[j], top_worth[k], bottom_worth[j],
                        top_factor[k], bottom_factor[j],
                    )  # fmt: skip
                    most = max(most, above[k] - pass_cost[k] + layer)
            above[j] = most
        after = above[j] - pass_cost[j]
        waste[j] = max(after, waste[j + 1]) if j + 1 < rows else after
    return above


@numba.njit(cache=True, nogil=True)
def _upwards(terms: Terms, table: LayTable, room: Room) -> tuple[FloatArray, IntArray, IntArray]:
    """Return B(p) for the passes after the flip, from the far side up to row p, with the way back."""
    rows = len(table.possible)
    value = np.full(rows, -np.inf)
    choice = np.full(rows, -1, dtype=np.int64)
    beyond = np.full(rows, -1, dtype=np.int64)
    queue = np.zeros(rows, dtype=np.int64)
    head, tail = 0, 0
    # Taken out of the tuples once: that costs more than a layer.
    price, feet, drops = terms.price, terms.board_feet_per_m2, terms.drop_steps
    least, extra, pass_cost = terms.slab_cost, _extra(terms, table), table.pass_cost
    top, bottom = table.under, table.upper
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    possible, may_be_first = table.possible_flipped, table.may_be_first_flipped
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    for p in range(rows):
        j = p - least_waste
        if j >= 0 and value[j] > -np.inf:
            while tail > head and value[queue[tail - 1]] <= value[j]:
                tail -= 1
            queue[tail] = j
            tail += 1
        while tail > head and queue[head] < p - most_drop:
            head += 1
        if not possible[p]:
            continue
        best = 0.0 if may_be_first[p] else -np.inf
        if tail > head and value[queue[head]] > best:
            best, choice[p], beyond[p] = value[queue[head]], -2, queue[head]
        for m in range(len(drops)):
            j = p - drops[m]
            if j < 0 or value[j] == -np.inf or drops[m] > most_drop:
                continue
            most = _pair_most(
                least, price[m], extra, feet[m], top_m2[p], bottom_m2[j], top_worth[p], bottom_worth[j],
                top_factor[p], bottom_factor[j],
            )  # fmt: skip
            if most == 0.0 or value[j] + most <= best:
                continue
            found = value[j] + _layer(terms, table, m, top, p, -terms.kerf_m, bottom, j, 0.0, room, best - value[j])
            if found > best:
                best, choice[p], beyond[p] = found, m, j
        value[p] = best - pass_cost[p]
    return value, choice, beyond


@numba.njit(cache=True, nogil=True)
def _from_the_top(terms: Terms, table: LayTable, room: Room) -> tuple[FloatArray, IntArray, IntArray]:
    """Return T(k) for the passes before the flip, down to row k, with the way back."""
    rows = len(table.possible)
    value = np.full(rows, -np.inf)
    choice = np.full(rows, -1, dtype=np.int64)
    above = np.full(rows, -1, dtype=np.int64)
    queue = np.zeros(rows, dtype=np.int64)
    head, tail = 0, 0
    # Taken out of the tuples once: that costs more than a layer.
    price, feet, drops = terms.price, terms.board_feet_per_m2, terms.drop_steps
    least, extra, possible, pass_cost = terms.slab_cost, _extra(terms, table), table.possible, table.pass_cost
    top, bottom = table.upper, table.lower
    top_m2, top_worth, top_factor = top.usable_m2, top.usable_worth_m2, top.best_factor
    bottom_m2, bottom_worth, bottom_factor = bottom.usable_m2, bottom.usable_worth_m2, bottom.best_factor
    may_be_first = table.may_be_first
    most_drop, least_waste = _most_drop(terms, rows), _least_waste(terms)
    for k in range(rows - 1, -1, -1):
        j = k + least_waste
        if j < rows and value[j] > -np.inf:
            while tail > head and value[queue[tail - 1]] <= value[j]:
                tail -= 1
            queue[tail] = j
            tail += 1
        while tail > head and queue[head] > k + most_drop:
            head += 1
        if not possible[k]:
            continue
        best = 0.0 if may_be_first[k] else -np.inf
        if tail > head and value[queue[head]] > best:
            best, choice[k], above[k] = value[queue[head]], -2, queue[head]
        for m in range(len(drops)):
            j = k + drops[m]
            if j >= rows or value[j] == -np.inf or drops[m] > most_drop:
                continue
            most = _pair_most(
                least, price[m], extra, feet[m], top_m2[j], bottom_m2[k], top_worth[j], bottom_worth[k],
                top_factor[j], bottom_factor[k],
            )  # fmt: skip
            if most == 0.0 or value[j] + most <= best:
                continue
            found = value[j] + _layer(terms, table, m, top, j, 0.0, bottom, k, terms.kerf_m, room, best - value[j])
            if found > best:
                best, choice[k], above[k] = found, m, j
        value[k] = best - pass_cost[k]
    return value, choice, above


@numba.njit(cache=True, nogil=True)
def _with_flip(
    terms: Terms, table: LayTable
) -> tuple[float, int, int, int, tuple[IntArray, IntArray], tuple[IntArray, IntArray]]:
    """Return the best net with a flip, the face it lies on, its last pass, what is on the bunks, and the ways."""
    rows = len(table.possible)
    room = _room(table)
    top, top_choice, above = _from_the_top(terms, table, room)
    bottom, bottom_choice, beyond = _upwards(terms, table, room)
    best, face, last, bed_entry = 0.0, -1, -1, -2
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
    face_rows = table.upper
    face_m2, face_worth, face_factor = face_rows.usable_m2, face_rows.usable_worth_m2, face_rows.best_factor
    extra = _extra(terms, table)
    price, feet, least = terms.price, terms.board_feet_per_m2, terms.slab_cost
    for m in range(len(price)):
        steps = terms.bed_steps[m]
        if steps < table.lowest_row:  # the blade does not go down to it
            continue
        for k in range(steps, rows):
            p = k - steps
            if top[k] == -np.inf or bottom[p] == -np.inf:
                continue
            so_far = top[k] + bottom[p] - terms.flip_cost
            most = _pair_most(
                least, price[m], extra, feet[m], face_m2[k], face_m2[p], face_worth[k], face_worth[p],
                face_factor[k], face_factor[p],
            )  # fmt: skip
            if most == 0.0 or so_far + most <= best:
                continue
            net = so_far + _layer(terms, table, m, face_rows, k, 0.0, face_rows, p, 0.0, room, best - so_far)
            if net > best:
                best, face, last, bed_entry = net, k, p, m
    return best, face, last, bed_entry, (top_choice, above), (bottom_choice, beyond)
