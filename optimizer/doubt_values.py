"""What layers bring on possible logs, summed over them, and the passes that are best for all of them together.

For one lay each possible log gives a table of layer values: what the wood between two passes brings as each entry of
the menu. Their average over the logs is again a table of layer values, and a pass's cost likewise, so that the same
dynamic programming finds the passes that are worth the most in the mean, exactly.

A pass is made where the mill can make it on the log as given, with the search's margins. Where the blade's reach on a
possible log goes over the throat, the pass fails there: it is paid for, and the two layers beside it bring nothing.
The blade lands a little high or low: on one possible log as much at each pass, since which pass a row will be is not
known yet.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import reduce

import numba
import numpy as np

from optimizer.inside import Inside
from optimizer.lay import Rolled
from optimizer.lay_table import BoolArray, Faces, LayTable, lay_table
from optimizer.layers import layer_value, room_for
from optimizer.passes import NOTHING, STOP, WASTE, Cuts
from optimizer.possible_logs import PossibleLog
from optimizer.problem import Problem
from optimizer.terms import Terms, terms_for
from scans.log import FloatArray, IntArray

HEADROOM_M = 0.05
"""How much higher a possible log may stand than the log as given, and still be seen whole."""


@dataclass(frozen=True, eq=False)
class LayValues:
    """Averages over possible logs, for one lay; rows as in `table`, that of the log as given.

    down, flipped : (rows, M) what the layer under the pass at a row brings as each entry of the menu, before and after
    a flip; bed : (rows, M) what the piece on the bunks brings, by the face that it lies on. cost : (rows,) of passes.
    """

    table: LayTable
    down: FloatArray
    flipped: FloatArray
    bed: FloatArray
    cost: FloatArray


def lay_values(
    problem: Problem,
    rolled: Rolled,
    tilt_deg: float,
    logs: Sequence[PossibleLog],
    weights: FloatArray | None = None,
    *,
    exact: bool = False,
    stride: int = 1,
    workers: int = 1,
    made_row: int | None = None,
) -> LayValues:
    """Return the values of a lay's layers, averaged over possible logs.

    weights : (N,) of the logs, their sum 1; None for logs that are all as likely. exact : whether the reach on the log
    as given is taken from its mesh. stride : only every so many rows are worked out; those between lie on straight
    lines. workers : how many logs are worked out at a time. made_row : the last pass made, which went through.
    """
    table = problem.table(problem.coarse, rolled, tilt_deg, exact=exact)
    terms = possible_terms(problem)
    rows, entries = len(table.possible), len(terms.price)
    height_m = rolled.height_m(tilt_deg) + HEADROOM_M
    shares = np.full(len(logs), 1.0 / len(logs)) if weights is None else weights

    def share_of(log: PossibleLog, share: float) -> tuple[FloatArray, ...]:
        down, cost = np.zeros((rows, entries)), np.zeros(rows)
        flipped, bed = (np.zeros((rows, entries)), np.zeros((rows, entries))) if terms.can_flip else (down, down)
        lay = log.lay(rolled.roll_deg, tilt_deg)
        lay = replace(lay, lift_m=lay.lift_m - float(log.blade_off_m[0]))
        own = terms._replace(widest_reach_m=terms.widest_reach_m - log.reach_spare_m)
        here = lay_table(log.stations, lay, height_m, own, problem.heart)
        made = -1 if made_row is None else made_row - here.lowest_row
        if 0 <= made < len(here.possible):
            here.possible[made] = True
        _add(terms, here, stride, share, down, flipped, bed, cost)
        return (down, flipped, bed, cost) if terms.can_flip else (down, cost)

    # Summed in the order of the logs, so that nothing hangs on which is ready first.
    with ThreadPoolExecutor(max_workers=workers) if workers > 1 else nullcontext() as pool:
        parts = (map if pool is None else pool.map)(share_of, logs, shares)
        sums = reduce(lambda total, part: tuple(a + b for a, b in zip(total, part, strict=True)), parts)
    down, cost = sums[0], sums[-1]
    return LayValues(table, down, *((sums[1], sums[2]) if terms.can_flip else (down, down)), cost)


def possible_terms(problem: Problem) -> Terms:
    """Return the terms on possible logs: no margins, and no limit but the throat, as the log as given meets those."""
    terms = terms_for(problem.mill, problem.prices, problem.menu, margins=False)
    return terms._replace(throat_depth_m=np.inf, all_depths=False)


def best_average_cuts(values: LayValues, terms: Terms, start_row: int | None = None) -> Cuts:
    """Return the passes that are worth the most in the mean; with `start_row`, those after a pass made already.

    terms : the search's own. start_row : of the table, the last pass made. The net leaves out what it cost.
    """
    table = values.table
    if len(table.possible) == 0:
        return NOTHING
    possible, first, flippable = table.possible, table.may_be_first, table.possible_flipped
    cost = values.cost
    if start_row is not None:
        at = np.arange(len(possible))
        possible, first = (possible & (at < start_row)) | (at == start_row), at == start_row
        flippable = flippable & (at < start_row)
        cost = np.where(at == start_row, 0.0, cost)
    most = len(possible) if np.isinf(terms.throat_depth_m) else int(terms.throat_depth_m / terms.step_m + 1e-9)
    least = int(terms.kerf_m / terms.step_m + 1e-9) + 1
    value, choice, below = _downwards(values.down, cost, possible, terms.drop_steps, most, least)
    after = np.where(first & possible, value - cost, -np.inf)
    best, best_net = NOTHING, -np.inf if start_row is not None else 0.0
    top = int(np.argmax(after))
    if after[top] > best_net:
        rows, entries = _followed(top, choice, below)
        best, best_net = Cuts(tuple(table.lowest_row + row for row in rows), entries, float(after[top])), after[top]
    if terms.can_flip:
        flipped = _best_flipped(values, terms, cost, (possible, first, flippable), (most, least))
        if flipped.net > best_net + 1e-9:
            return flipped
    return best


def _followed(start: int, choice: IntArray, onward: IntArray) -> tuple[list[int], tuple[int, ...]]:
    rows, entries, k = [start], [], start
    while choice[k] != STOP:
        entries.append(int(choice[k]))
        k = int(onward[k])
        rows.append(k)
    return rows, tuple(entries)


def _best_flipped(
    values: LayValues,
    terms: Terms,
    cost: FloatArray,
    may: tuple[BoolArray, BoolArray, BoolArray],
    waste: tuple[int, int],
) -> Cuts:
    possible, first, flippable = may
    most, least = waste
    table, steps = values.table, terms.drop_steps
    top, top_choice, above = _from_the_top(values.down, cost, possible, first, steps, most, least)
    bottom, bottom_choice, beyond = _upwards(
        values.flipped, cost, flippable, table.may_be_first_flipped, steps, most, least
    )
    best, face, last, bed_entry = -np.inf, -1, -1, WASTE
    best_p = -1
    for k in range(len(top)):
        p = k - table.lowest_row
        if p >= 0 and (best_p < 0 or bottom[p] > bottom[best_p]):
            best_p = p
        if best_p >= 0 and top[k] + bottom[best_p] > best:
            best, face, last, bed_entry = top[k] + bottom[best_p], k, best_p, WASTE
        for m, bed in enumerate(terms.bed_steps):
            p = k - int(bed)
            if bed < table.lowest_row or p < 0:
                continue
            if top[k] + bottom[p] + values.bed[k, m] > best:
                best, face, last, bed_entry = top[k] + bottom[p] + values.bed[k, m], k, p, m
    if not np.isfinite(best):
        return NOTHING
    rows, entries = _followed(face, top_choice, above)
    after, flipped_entries = _followed(last, bottom_choice, beyond)
    return Cuts(
        rows=tuple(table.lowest_row + row for row in rows[::-1]),
        entries=entries[::-1],
        net=float(best - terms.flip_cost),
        flipped_rows=tuple(face - row for row in after[::-1]),
        flipped_entries=(*flipped_entries[::-1], bed_entry),
    )


@numba.njit(cache=True, nogil=True)
def _add(
    terms: Terms,
    table: LayTable,
    stride: int,
    share: float,
    down: FloatArray,
    flipped: FloatArray,
    bed: FloatArray,
    cost: FloatArray,
) -> None:
    """Add to the sums what each layer brings on one possible log, times its share."""
    rows = min(len(cost), len(table.possible))
    slots = max(table.upper.chords.most, table.lower.chords.most, table.under.chords.most)
    room = room_for(table.last - table.first, slots, table.inside.most)
    drops, beds = terms.drop_steps, terms.bed_steps
    possible, pass_cost = table.possible, table.pass_cost
    upper, lower, under, inside = table.upper, table.lower, table.under, table.inside
    zero_m, step_m, kerf_m = table.lowest_row * terms.step_m, terms.step_m, terms.kerf_m
    for k in range(len(cost)):
        cost[k] += share * (pass_cost[k] if k < rows else terms.pass_cost)
    for way in range(3 if terms.can_flip else 1):
        # Down from the pass at a row; the same after a flip, its kerf on the other side; on the bunks, with no kerf.
        top = under if way == 1 else upper
        bottom = lower if way == 0 else upper
        top_off_m, bottom_off_m = -kerf_m if way == 1 else 0.0, kerf_m if way == 0 else 0.0
        found = down if way == 0 else flipped if way == 1 else bed
        for m in range(len(drops)):
            steps = beds[m] if way == 2 else drops[m]
            before_k, before = -1, 0.0
            for k in range(steps, rows):
                if (k - steps) % stride and k != rows - 1:
                    continue
                j, value = k - steps, 0.0
                if possible[k] and possible[j] and top.usable_m2[k] > 0.0 and bottom.usable_m2[j] > 0.0:
                    lower_m, upper_m = zero_m + j * step_m + bottom_off_m, zero_m + k * step_m + top_off_m
                    value = _of_layer(terms, table, m, top, k, bottom, j, lower_m, upper_m, inside, room)
                found[k, m] += share * value
                for between in range(before_k + 1, k if before_k >= 0 else 0):
                    part = (between - before_k) / (k - before_k)
                    found[between, m] += share * (before + part * (value - before))
                before_k, before = k, value


@numba.njit(cache=True, nogil=True)
def _of_layer(
    terms: Terms,
    table: LayTable,
    entry: int,
    top: Faces,
    top_row: int,
    bottom: Faces,
    bottom_row: int,
    lower_m: float,
    upper_m: float,
    inside: Inside,
    room: tuple,  # type: ignore[type-arg]
) -> float:
    upper_row, lower_row = top_row + top.shift, bottom_row + bottom.shift
    return layer_value(
        terms, entry, top.chords, upper_row, bottom.chords, lower_row, table.first, table.last, table.cell_m,
        top.simple[upper_row] and bottom.simple[lower_row], inside, lower_m, upper_m, room, 0.0,
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)
def _downwards(
    values: FloatArray, cost: FloatArray, possible: BoolArray, drops: IntArray, most: int, least: int
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return what can still come under each row, what follows it, and where."""
    rows = len(possible)
    value = np.zeros(rows)
    choice, below = np.full(rows, -1, dtype=np.int64), np.full(rows, -1, dtype=np.int64)
    for k in range(rows):
        if not possible[k]:
            continue
        for j in range(max(0, k - most), k - least + 1):
            if possible[j] and value[j] - cost[j] > value[k]:
                value[k], choice[k], below[k] = value[j] - cost[j], -2, j
        for m in range(len(drops)):
            j = k - drops[m]
            if j >= 0 and possible[j] and drops[m] <= most and values[k, m] > 0.0:
                found = value[j] - cost[j] + values[k, m]
                if found > value[k]:
                    value[k], choice[k], below[k] = found, m, j
    return value, choice, below


@numba.njit(cache=True, nogil=True)
def _from_the_top(
    values: FloatArray, cost: FloatArray, possible: BoolArray, first: BoolArray, drops: IntArray, most: int, least: int
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return what the passes down to each row bring, what lies above it, and up to where."""
    rows = len(possible)
    value = np.full(rows, -np.inf)
    choice, above = np.full(rows, -1, dtype=np.int64), np.full(rows, -1, dtype=np.int64)
    for k in range(rows - 1, -1, -1):
        if not possible[k]:
            continue
        best = 0.0 if first[k] else -np.inf
        for j in range(k + least, min(rows - 1, k + most) + 1):
            if value[j] > best:
                best, choice[k], above[k] = value[j], -2, j
        for m in range(len(drops)):
            j = k + drops[m]
            if j < rows and drops[m] <= most and values[j, m] > 0.0 and value[j] + values[j, m] > best:
                best, choice[k], above[k] = value[j] + values[j, m], m, j
        value[k] = best - cost[k]
    return value, choice, above


@numba.njit(cache=True, nogil=True)
def _upwards(
    values: FloatArray, cost: FloatArray, possible: BoolArray, first: BoolArray, drops: IntArray, most: int, least: int
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return what the passes after the flip bring, from the far side up to each row, and the way back."""
    rows = len(possible)
    value = np.full(rows, -np.inf)
    choice, beyond = np.full(rows, -1, dtype=np.int64), np.full(rows, -1, dtype=np.int64)
    for p in range(rows):
        if not possible[p]:
            continue
        best = 0.0 if first[p] else -np.inf
        for j in range(max(0, p - most), p - least + 1):
            if value[j] > best:
                best, choice[p], beyond[p] = value[j], -2, j
        for m in range(len(drops)):
            j = p - drops[m]
            if j >= 0 and drops[m] <= most and values[p, m] > 0.0 and value[j] + values[p, m] > best:
                best, choice[p], beyond[p] = value[j] + values[p, m], m, j
        value[p] = best - cost[p]
    return value, choice, beyond
