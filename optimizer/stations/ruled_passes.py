"""The best passes of one lay where layers hang on one another: pairs, few thicknesses, sets. Exactly.

Two layers of one entry with their premium are one move, beside single layers, so that no layer is in two pairs and the
best pairing is found with the passes. A set is counted in the state: V(k, c) is the most that can still come once the
pass at row k is made, and gives at least c slabs of the set. What comes after a flip is what the last pass before it
leads to. Few thicknesses: passes are found with all of the menu, and where they use too many, once more without one of
these and once more with it kept, and so on (branch and bound). What a layer brings is worked out once, and only where
what it promises is more than what is found without it.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numba
import numpy as np

from optimizer.stations.lay_table import BoolArray, LayTable
from optimizer.stations.layers import Room, layer_of
from optimizer.stations.pair_tables import Paired, paired_layers, slabs_given
from optimizer.stations.passes import (
    BED,
    DOWN,
    FLIPPED,
    NOTHING,
    STOP,
    TIE,
    WASTE,
    Cuts,
    Known,
    best_cuts,
    drop_limits,
    faces_beside,
    from_made,
    layer_between,
    promised_layers,
    room_of,
)
from optimizer.stations.rules import Rules
from optimizer.stations.runs import sold_as
from optimizer.stations.terms import Terms
from scans.log import FloatArray, IntArray

MOST_TRIES = 2000
"""How often passes are looked for with a part of a menu, at most: far more than a menu of ten thicknesses asks."""


def best_ruled_cuts(
    table: LayTable,
    terms: Terms,
    rules: Rules,
    floor: float = 0.0,
    *,
    known: Known | None = None,
    brings: Paired | None = None,
    start_row: int | None = None,
) -> Cuts:
    """Find the passes of one lay that are worth the most under rules; as `best_cuts` where none of them binds.

    known, brings : where they are given, what layers and pairs bring (see pairs_bring) is taken from there, not from
    the wood. No cuts come back where none keep the rules.
    """
    if not rules.bind(len(terms.price)):
        return best_cuts(table, terms, floor, known=known, start_row=start_row)
    if len(table.possible) == 0:
        return NOTHING
    if start_row is not None:
        table = from_made(table, start_row)
    lay = _Lay.of(terms, table, rules, known, brings)
    found = _fewest(lay, rules, floor if floor > 0.0 and not terms.can_flip else -np.inf)
    if found is None or (found.net <= 0.0 and start_row is None):
        return NOTHING
    return found


class Layers(NamedTuple):
    """What the layers of one kind bring, (rows, M) each.

    value : what they bring; nan where that is not worked out yet. most : what they can bring at most. slabs : how many
    wanted slabs they give; (0, 0) where none are counted. way : which kind, see Known.
    pairs : what a layer brings on top with the next, beside `premium` x what both bring; below 0 where they can be no
    pair; (0, 0) where nothing can.
    """

    value: FloatArray
    most: FloatArray
    slabs: IntArray
    way: int
    pairs: FloatArray
    premium: float


@dataclass(frozen=True, eq=False)
class _Lay:
    """A lay with what its layers bring. count : how many slabs are wanted; 0 for none.

    above : (rows,) the most that comes above the pass at each row.
    """

    terms: Terms
    table: LayTable
    down: Layers
    flipped: Layers
    bed: Layers
    count: int
    above: FloatArray

    @classmethod
    def of(
        cls, terms: Terms, table: LayTable, rules: Rules, known: Known | None = None, brings: Paired | None = None
    ) -> "_Lay":
        """Gather what is known of a lay's layers."""
        ways = (DOWN, FLIPPED, BED) if terms.can_flip else (DOWN,)
        pairs, premium = [np.zeros((0, 0))] * 3, 0.0
        if known is not None:
            values = most = list(known)
            if brings is not None:
                pairs = [np.where(one > 0.0, one, -1.0) for one in brings[1:]]
        else:
            most = [promised_layers(terms, table, way) for way in ways]
            values = [np.where(one > 0.0, np.nan, 0.0) for one in most]
            if rules.pair_premium > 0.0:
                premium = rules.pair_premium
                pairs = [np.where(one >= 0.0, premium * one, -1.0) for one in paired_layers(terms, table, premium)[1:]]
        slabs, count = [np.zeros((0, 0), dtype=np.int64)] * 3, 0
        if rules.wanted is not None:
            given = slabs_given(terms, table, rules.wanted.entry)
            slabs, count = [one.astype(np.int64) for one in given], rules.wanted.count
        layers = [Layers(values[way], most[way], slabs[way], way, pairs[way], premium) for way in ways]
        # What a pair brings is counted with both its layers, and what is over with the upper one.
        at_most = (1.0 + premium) * most[DOWN] + (np.maximum(0.0, pairs[DOWN]) if len(pairs[DOWN]) else 0.0)
        above = _most_above(terms, table, at_most)
        down, flipped, bed = layers if terms.can_flip else layers * 3
        return cls(terms, table, down, flipped, bed, count, above)

    def best(self, allowed: BoolArray, floor: float) -> Cuts | None:
        """Return the best cuts with a part of the menu; None where there are none over a floor."""
        terms, table = self.terms, self.table
        if (self.above - table.pass_cost).max() <= floor and not terms.can_flip:  # nothing need come after a pass
            return None
        ends = np.full((len(table.possible), self.count + 1), -np.inf)
        after = ends.copy()
        ends[:, 0] = 0.0
        found = self._followed(chosen(terms, table, self.down, ends, allowed, self.above, floor), None, None)
        if not terms.can_flip:
            return found
        # Nobody turns a log over for nothing.
        least = floor if found is None else max(floor, found.net + TIE)
        after[table.may_be_first_flipped, 0] = 0.0
        back = chosen(terms, table, self.flipped, after, allowed, np.zeros(0), -np.inf)
        turned = _turned(terms, table, back.after, self.flipped, self.bed, allowed, self.above, least)
        ways = chosen(terms, table, self.down, turned.best, allowed, self.above, least)
        with_flip = self._followed(ways, back, turned)
        return found if with_flip is None or with_flip.net <= least else with_flip

    def _followed(self, ways: "Chosen", back: "Chosen | None", turned: "_Turned | None") -> Cuts | None:
        """Return the best cuts of those chosen; back, turned : what comes after a flip, where there is one."""
        terms, table = self.terms, self.table
        entries = len(terms.price)
        nets = np.where(table.possible & table.may_be_first, ways.after[:, self.count], -np.inf)
        first = int(np.argmax(nets))
        if nets[first] == -np.inf:
            return None
        rows, layers, face, left = _followed(ways, first, self.count, entries)
        cuts = Cuts(tuple(table.lowest_row + row for row in rows), tuple(layers), float(nets[first]))
        if back is None or turned is None:
            return cuts
        last, entry = int(turned.row[face, left]), int(turned.entry[face, left])
        beside: list[int] = []
        ends = [entry]
        if entry >= entries:  # two layers, the last of them on the bunks
            beside, ends = [last], [entry - entries] * 2
            last -= int(terms.drop_steps[entry - entries])
        up, up_layers, _, _ = _followed(back, last, int(turned.need[face, left]), entries)
        # A pass at row p is so far below the face that the log lies on after the flip.
        flipped_rows = tuple(face - row for row in [*up[::-1], *beside])
        return replace(cuts, flipped_rows=flipped_rows, flipped_entries=(*up_layers[::-1], *ends))


def _fewest(lay: _Lay, rules: Rules, floor: float) -> Cuts | None:
    """Return the best cuts that use no more thicknesses than the rules say; None where none are over the floor."""
    entries = len(lay.terms.price)
    most = entries if rules.thicknesses is None else max(rules.thicknesses, len(rules.sawn))
    every = frozenset(range(entries))
    best: Cuts | None = None
    tries = 0
    # Parts of the menu: which may be used, which of these are kept, and the best cuts where they are known.
    parts: list[tuple[frozenset[int], frozenset[int], Cuts | None]] = []
    parts.append((rules.sawn if len(rules.sawn) == most else every, rules.sawn, None))
    while parts and tries < MOST_TRIES:
        allowed, kept, found = parts.pop()
        if found is None:
            tries += 1
            least = floor if best is None else max(floor, best.net)
            found = lay.best(np.isin(np.arange(entries), list(allowed)), least)
        if found is None or (best is not None and found.net <= best.net):
            continue
        used = _used(found) | kept
        if len(used) <= most:
            best = found
            continue
        rarest = min(used - kept, key=lambda entry: (_times(found, entry), entry))
        kept_too = kept | {rarest}
        parts.append((kept_too, kept_too, None) if len(kept_too) == most else (allowed, kept_too, found))
        # The best without what is used least is looked for first.
        parts.append((allowed - {rarest}, kept, None))
    return best


def _used(cuts: Cuts) -> frozenset[int]:
    return frozenset({*cuts.entries, *cuts.flipped_entries} - {WASTE})


def _times(cuts: Cuts, entry: int) -> int:
    return (*cuts.entries, *cuts.flipped_entries).count(entry)


@numba.njit(cache=True, nogil=True)
def _most_above(terms: Terms, table: LayTable, promised: FloatArray) -> FloatArray:
    """Return the most that can come above the pass at each row, its own cost left out; -inf: it cannot be reached."""
    rows, entries = promised.shape
    least_waste, most_drop = drop_limits(terms, rows)
    drops, possible, may_be_first, cost = terms.drop_steps, table.possible, table.may_be_first, table.pass_cost
    above, waste = np.full(rows, -np.inf), np.full(rows, -np.inf)
    for j in range(rows - 1, -1, -1):
        if possible[j]:
            above[j] = 0.0 if may_be_first[j] else -np.inf
            if j + least_waste < rows:
                above[j] = max(above[j], waste[j + least_waste])
            for m in range(entries):
                k = j + drops[m]
                if k < rows and possible[k] and drops[m] <= most_drop and promised[k, m] > 0.0:
                    above[j] = max(above[j], above[k] - cost[k] + promised[k, m])
        after = above[j] - cost[j]
        waste[j] = max(after, waste[j + 1]) if j + 1 < rows else after
    return above


class Chosen(NamedTuple):
    """What is best at the pass at each row, for each count of slabs that it must still give, (rows, C + 1).

    after : what it and what follows it bring; -inf where there is nothing. choice : STOP, WASTE, an entry of the menu,
    or an entry and M: two layers of it. row, need : where that leads to.
    """

    after: FloatArray
    choice: IntArray
    row: IntArray
    need: IntArray


@numba.njit(cache=True, nogil=True)
def chosen(
    terms: Terms,
    table: LayTable,
    layers: Layers,
    ends: FloatArray,
    allowed: BoolArray,
    above: FloatArray,
    floor: float,
) -> Chosen:
    """Choose what lies below the pass at each row, from the bottom up; what layers bring is noted in `layers`.

    ends : (rows, C + 1) what comes where nothing follows. allowed : (M,) which entries of the menu may be used.
    above : (rows,) the most that comes above the pass at a row, or (0,) where that is not known: what cannot be worth
    more than `floor` with it is not looked at.
    """
    value, most, slabs, way, pairs, premium = layers
    rows, states = ends.shape
    drops, entries = terms.drop_steps, len(terms.drop_steps)
    possible = table.possible_flipped if way == FLIPPED else table.possible
    pass_cost = table.pass_cost
    least_waste, most_drop = drop_limits(terms, rows)
    after = np.full((rows, states), -np.inf)
    choice = np.full((rows, states), -1, dtype=np.int64)
    to_row = np.full((rows, states), -1, dtype=np.int64)
    to_need = np.zeros((rows, states), dtype=np.int64)
    # The best places for waste to end, as in `passes`: for each count of its own.
    queue = np.zeros((states, rows), dtype=np.int64)
    head, tail = np.zeros(states, dtype=np.int64), np.zeros(states, dtype=np.int64)
    paired, counted, bounded = len(pairs) > 0, len(slabs) > 0, len(above) > 0
    promised = np.zeros(2 * entries)
    top, bottom, _ = faces_beside(terms, table, way)
    top_off_m = -terms.kerf_m if way == FLIPPED else 0.0
    bottom_off_m = terms.kerf_m if way == DOWN else 0.0
    # Taken out of the tuples once: that costs as much as some layers.
    top_chords, top_shift, top_simple = top.chords, top.shift, top.simple
    bottom_chords, bottom_shift, bottom_simple = bottom.chords, bottom.shift, bottom.simple
    first, last, cell_m, inside, room = table.first, table.last, table.cell_m, table.inside, room_of(table)
    zero_m, step_m = table.lowest_row * terms.step_m, terms.step_m
    has_flaws, flaw_low_m, flaw_high_m = inside.most + inside.most_figured > 0, inside.low_m, inside.high_m
    counting = terms.counting
    for k in range(rows):
        j = k - least_waste
        for c in range(states):
            if j >= 0 and possible[j] and after[j, c] > -np.inf:
                while tail[c] > head[c] and after[queue[c, tail[c] - 1], c] <= after[j, c]:
                    tail[c] -= 1
                queue[c, tail[c]] = j
                tail[c] += 1
            while tail[c] > head[c] and k - queue[c, head[c]] > most_drop:
                head[c] += 1
        if not possible[k]:
            continue
        for c in range(states):
            after[k, c] = ends[k, c]
            if tail[c] > head[c] and after[queue[c, head[c]], c] > after[k, c]:
                j = queue[c, head[c]]
                after[k, c], choice[k, c], to_row[k, c], to_need[k, c] = after[j, c], -2, j, c
        # What promises the most is looked at first, so that the others need not be.
        for m in range(entries):
            promised[m] = promised[entries + m] = -np.inf
            j = k - drops[m]
            if not allowed[m] or j < 0 or not possible[j] or drops[m] > most_drop:
                continue
            one = value[k, m] if value[k, m] == value[k, m] else most[k, m]
            if one <= 0.0:
                continue
            promised[m] = after[j, 0] + one
            i = j - drops[m]
            if paired and i >= 0 and possible[i] and pairs[k, m] >= 0.0:
                other = value[j, m] if value[j, m] == value[j, m] else most[j, m]
                if other > 0.0:
                    promised[entries + m] = after[i, 0] + (1.0 + premium) * (one + other) + pairs[k, m] - pass_cost[j]
        while True:
            move = int(np.argmax(promised))
            enough = after[k].min()
            if bounded:
                enough = max(enough, floor - above[k] + pass_cost[k])
            if promised[move] <= enough:
                break
            m, count = move % entries, 1 + move // entries
            promised[move] = -np.inf
            brings, given, row = 0.0, 0, k
            for _ in range(count):
                if value[row, m] != value[row, m]:
                    u, v = row + top_shift, row - drops[m] + bottom_shift
                    upper_m = zero_m + row * step_m + top_off_m
                    lower_m = zero_m + (row - drops[m]) * step_m + bottom_off_m
                    flawed = has_flaws and upper_m > flaw_low_m and lower_m < flaw_high_m
                    value[row, m] = layer_of(
                        sold_as(terms, m), counting, m, top_chords, u, bottom_chords, v, first, last, cell_m,
                        top_simple[u] and bottom_simple[v], flawed, inside, lower_m, upper_m, room,
                    )  # fmt: skip
                if value[row, m] <= 0.0:
                    brings = -np.inf
                brings += value[row, m]
                given += slabs[row, m] if counted else 0
                row -= drops[m]
            if count == 2:
                brings += premium * brings + pairs[k, m] - pass_cost[k - drops[m]]
            for c in range(states):
                need = max(0, c - given)
                if after[row, need] + brings > after[k, c]:
                    after[k, c], choice[k, c], to_row[k, c], to_need[k, c] = after[row, need] + brings, move, row, need
        for c in range(states):
            after[k, c] -= pass_cost[k]
    return Chosen(after, choice, to_row, to_need)


def _followed(ways: Chosen, start: int, count: int, entries: int) -> tuple[list[int], list[int], int, int]:
    """Return the rows of passes and the entries of layers from a row on, the last row, and what it must still give."""
    rows, layers, k, c = [start], [], start, count
    while ways.choice[k, c] != STOP:
        entry, row, need = int(ways.choice[k, c]), int(ways.row[k, c]), int(ways.need[k, c])
        if entry >= entries:  # two layers, their middle pass half-way
            rows.append((k + row) // 2)
            layers.append(entry - entries)
            entry -= entries
        layers.append(entry)
        rows.append(row)
        k, c = row, need
    return rows, layers, k, c


class _Turned(NamedTuple):
    """What is best where the log is turned over after the pass at each row, (rows, C + 1).

    best : what that brings; -inf where there is nothing. row : the last pass after the flip. entry : what lies under it
    on the bunks: WASTE for an offcut, an entry of the menu, or an entry and M: that and the layer sawn before it.
    need : what the passes before that must still give.
    """

    best: FloatArray
    row: IntArray
    entry: IntArray
    need: IntArray


@numba.njit(cache=True, nogil=True)
def _turned(
    terms: Terms,
    table: LayTable,
    after: FloatArray,
    flipped: Layers,
    bed: Layers,
    allowed: BoolArray,
    above: FloatArray,
    least: float,
) -> _Turned:
    """Return what turning the log over brings.

    after : (rows, C + 1) what the passes after the flip bring. above : (rows,) the most that comes above the pass at a
    row: what cannot be worth more than `least` with it is not looked at.
    """
    room = room_of(table)
    rows, states = after.shape
    lowest_row, possible, pass_cost = table.lowest_row, table.possible_flipped, table.pass_cost
    entries, paired, counted, premium = len(terms.price), len(bed.pairs) > 0, len(bed.slabs) > 0, bed.premium
    best = np.full((rows, states), -np.inf)
    to_row = np.full((rows, states), -1, dtype=np.int64)
    entry = np.full((rows, states), -2, dtype=np.int64)
    to_need = np.zeros((rows, states), dtype=np.int64)
    for c in range(states):
        last = -1
        for k in range(rows):
            p = k - lowest_row
            if p >= 0 and (last < 0 or after[p, c] > after[last, c]):
                last = p
            if last >= 0:
                best[k, c], to_row[k, c], to_need[k, c] = after[last, c], last, c
    for m in range(entries):
        steps, drop = terms.bed_steps[m], terms.drop_steps[m]
        if steps < lowest_row or not allowed[m]:  # the blade does not go down to it
            continue
        for k in range(steps, rows):
            p = k - steps
            if not possible[p] or not table.possible[k] or bed.most[k, m] <= 0.0:
                continue
            i = p - drop
            is_pair = paired and i >= 0 and possible[i] and bed.pairs[k, m] >= 0.0 and flipped.most[p, m] > 0.0
            one = _known_or_most(bed, k, m)
            hoped = after[p, 0] + one
            if is_pair:
                both = (1.0 + premium) * (one + _known_or_most(flipped, p, m)) + bed.pairs[k, m]
                hoped = max(hoped, after[i, 0] + both - pass_cost[p])
            if hoped <= max(best[k].min(), least - above[k] + pass_cost[k] + terms.flip_cost):
                continue
            one = _worked_out(terms, table, bed, k, m, room)
            if one <= 0.0:
                continue
            given = bed.slabs[k, m] if counted else 0
            for c in range(states):
                need = max(0, c - given)
                if after[p, need] + one > best[k, c]:
                    best[k, c], to_row[k, c], entry[k, c], to_need[k, c] = after[p, need] + one, p, m, need
            if not is_pair:
                continue
            other = _worked_out(terms, table, flipped, p, m, room)
            if other <= 0.0:
                continue
            both = (1.0 + premium) * (one + other) + bed.pairs[k, m] - pass_cost[p]
            given += flipped.slabs[p, m] if counted else 0
            for c in range(states):
                need = max(0, c - given)
                if after[i, need] + both > best[k, c]:
                    best[k, c], to_row[k, c], entry[k, c], to_need[k, c] = after[i, need] + both, p, entries + m, need
    best -= terms.flip_cost
    return _Turned(best, to_row, entry, to_need)


@numba.njit(cache=True, nogil=True)
def _known_or_most(layers: Layers, row: int, entry: int) -> float:
    value = layers.value[row, entry]
    return layers.most[row, entry] if np.isnan(value) else value


@numba.njit(cache=True, nogil=True)
def _worked_out(terms: Terms, table: LayTable, layers: Layers, row: int, entry: int, room: Room) -> float:
    """Return what a layer after a flip brings, worked out if it is not yet."""
    if np.isnan(layers.value[row, entry]):
        top, bottom, steps = faces_beside(terms, table, layers.way)
        off_m = -terms.kerf_m if layers.way == FLIPPED else 0.0
        layers.value[row, entry] = layer_between(
            terms, table, entry, top, row, off_m, bottom, row - steps[entry], 0.0, room, 0.0
        )
    return float(layers.value[row, entry])
