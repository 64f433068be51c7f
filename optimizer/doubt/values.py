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

from optimizer.doubt.possible_logs import PossibleLog
from optimizer.problem import Problem
from optimizer.standing.rolled import Rolled
from optimizer.stations.lay_table import BoolArray, LayTable, lay_table, row_count
from optimizer.stations.layers import layer_of
from optimizer.stations.pair_tables import Paired, paired_layers, pairs_bring
from optimizer.stations.passes import Cuts, Known, room_of
from optimizer.stations.ruled_passes import best_ruled_cuts
from optimizer.stations.rules import NO_RULES, Rules
from optimizer.stations.runs import sold_as
from optimizer.stations.terms import Terms, terms_for
from scans.log import FloatArray

HEADROOM_M = 0.05
"""How much higher a possible log may stand than the log as given, and still be seen whole."""


@dataclass(frozen=True, eq=False)
class LayValues:
    """Averages over possible logs, for one lay; rows as in `table`, that of the log as given.

    down, flipped : (rows, M) what the layer under the pass at a row brings as each entry of the menu, before and after
    a flip; bed : (rows, M) what the piece on the bunks brings, by the face that it lies on. cost : (rows,) of passes.
    brings : what pairs of them bring on top; None where the book pays nothing for pairs.
    """

    table: LayTable
    down: FloatArray
    flipped: FloatArray
    bed: FloatArray
    cost: FloatArray
    brings: Paired | None = None


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
    as given is taken from its mesh. stride : only every so many rows are worked out, others on each log; those between
    lie on straight lines. Rows that the mill cannot saw on the log as given are left out. workers : how many logs are
    worked out at a time. made_row : the last pass made, which went through.
    """
    must_stand = made_row is None or rolled.stands(tilt_deg)
    table = problem.table(problem.coarse, rolled, tilt_deg, exact=exact, must_stand=must_stand)
    terms = possible_terms(problem)
    rows, entries = len(table.possible), len(terms.price)
    height_m = rolled.height_m(tilt_deg) + HEADROOM_M
    shares = np.full(len(logs), 1.0 / len(logs)) if weights is None else weights
    premium = problem.rules.pair_premium
    wanted = table.possible | table.possible_flipped if terms.can_flip else table.possible.copy()
    if made_row is not None and 0 <= made_row - table.lowest_row < rows:
        wanted[made_row - table.lowest_row] = True
    wanted = np.convolve(wanted, np.ones(2 * stride - 1), "same") > 0.0

    def share_of(log: PossibleLog, share: float, phase: int) -> tuple[FloatArray, ...]:
        down, cost = np.zeros((rows, entries)), np.zeros(rows)
        flipped, bed = (np.zeros((rows, entries)), np.zeros((rows, entries))) if terms.can_flip else (down, down)
        lay = log.lay(rolled.roll_deg, tilt_deg)
        lay = replace(lay, lift_m=lay.lift_m - float(log.blade_off_m[0]))
        own = terms._replace(widest_reach_m=terms.widest_reach_m - log.reach_spare_m)
        width_m = log.width_m(rolled.roll_deg)
        reach_m = np.full(row_count(height_m, own), width_m) if width_m <= own.widest_reach_m else None
        here = lay_table(log.stations, lay, height_m, own, problem.heart, reach_m)
        made = -1 if made_row is None else made_row - here.lowest_row
        if 0 <= made < len(here.possible):
            here.possible[made] = True
        _add(terms, here, wanted, stride, phase % stride, share, down, flipped, bed, cost)
        pairs = _pairs_on(own, here, Known(down, flipped, bed), share, premium)[1:] if premium > 0.0 else ()
        if not terms.can_flip:
            return (down, *pairs[:1], cost)
        return (down, flipped, bed, *pairs, cost)

    # Summed in the order of the logs, so that nothing hangs on which is ready first.
    with ThreadPoolExecutor(max_workers=workers) if workers > 1 else nullcontext() as pool:
        parts = (map if pool is None else pool.map)(share_of, logs, shares, range(len(logs)))
        sums = reduce(lambda total, part: tuple(a + b for a, b in zip(total, part, strict=True)), parts)
    kinds = 3 if terms.can_flip else 1
    known, pairs, cost = sums[:kinds], sums[kinds:-1], sums[-1]
    brings = Paired(premium, *(pairs if terms.can_flip else pairs * 3)) if pairs else None
    down, flipped, bed = known if terms.can_flip else known * 3
    return LayValues(table, down, flipped, bed, cost, brings)


def _pairs_on(terms: Terms, table: LayTable, known: Known, share: float, premium: float) -> Paired:
    """Return the share of one possible log in what pairs bring. known : its share in what layers bring."""
    rows = len(known.down)

    def fitted(costs: FloatArray) -> FloatArray:
        found = np.full(known.down.shape, -1.0)
        found[: min(rows, len(costs))] = share * costs[:rows]
        return found

    paired = paired_layers(terms, table, premium)
    return pairs_bring(Paired(premium, *(fitted(costs) for costs in paired[1:])), known, terms)


def possible_terms(problem: Problem) -> Terms:
    """Return the terms on possible logs: no margins, and no limit but the throat, as the log as given meets those."""
    terms = terms_for(problem.mill, problem.prices, problem.menu, margins=False)
    return terms._replace(highest_blade_m=np.inf, throat_depth_m=np.inf, all_depths=False)


def best_average_cuts(values: LayValues, terms: Terms, rules: Rules = NO_RULES, start_row: int | None = None) -> Cuts:
    """Return the passes that are worth the most in the mean; with `start_row`, those after a pass made already.

    terms : the search's own. start_row : of the table, the last pass made. The net leaves out what it cost.
    """
    table = values.table._replace(pass_cost=values.cost)
    known = Known(values.down, values.flipped, values.bed)
    return best_ruled_cuts(table, terms, rules, known=known, brings=values.brings, start_row=start_row)


@numba.njit(cache=True, nogil=True)
def _add(
    terms: Terms,
    table: LayTable,
    wanted: BoolArray,
    stride: int,
    phase: int,
    share: float,
    down: FloatArray,
    flipped: FloatArray,
    bed: FloatArray,
    cost: FloatArray,
) -> None:
    """Add to the sums what each layer brings on one possible log, times its share.

    wanted : (rows,) between which layers are worked out. phase : at which of `stride` rows it begins.
    """
    rows = min(len(cost), len(table.possible))
    room = room_of(table)
    drops, beds, counting = terms.drop_steps, terms.bed_steps, terms.counting
    # Taken out of the tuples once: that costs as much as some layers.
    possible, pass_cost = table.possible, table.pass_cost
    upper, lower, under, kerf_m = table.upper, table.lower, table.under, terms.kerf_m
    first, last, cell_m, inside = table.first, table.last, table.cell_m, table.inside
    zero_m, step_m = table.lowest_row * terms.step_m, terms.step_m
    has_flaws, flaw_low_m, flaw_high_m = inside.most + inside.most_figured > 0, inside.low_m, inside.high_m
    for k in range(len(cost)):
        cost[k] += share * (pass_cost[k] if k < rows else terms.pass_cost)
    for way in range(3 if terms.can_flip else 1):
        # Down from the pass at a row; the same after a flip, its kerf on the other side; on the bunks, with no kerf.
        top = under if way == 1 else upper
        bottom = lower if way == 0 else upper
        top_off_m, bottom_off_m = -kerf_m if way == 1 else 0.0, kerf_m if way == 0 else 0.0
        found = down if way == 0 else flipped if way == 1 else bed
        top_chords, top_shift, top_simple, top_m2 = top.chords, top.shift, top.simple, top.usable_m2
        bottom_chords, bottom_shift, bottom_simple = bottom.chords, bottom.shift, bottom.simple
        bottom_m2 = bottom.usable_m2
        for m in range(len(drops)):
            sold = sold_as(terms, m)
            steps = beds[m] if way == 2 else drops[m]
            before_k, before = -1, 0.0
            for k in range(steps, rows):
                if (k - steps + phase) % stride and k != steps and k != rows - 1:
                    continue
                j, value = k - steps, 0.0
                if wanted[k] and wanted[j] and possible[k] and possible[j] and top_m2[k] > 0.0 and bottom_m2[j] > 0.0:
                    u, v = k + top_shift, j + bottom_shift
                    upper_m, lower_m = zero_m + k * step_m + top_off_m, zero_m + j * step_m + bottom_off_m
                    flawed = has_flaws and upper_m > flaw_low_m and lower_m < flaw_high_m
                    value = layer_of(
                        sold, counting, m, top_chords, u, bottom_chords, v, first, last, cell_m,
                        top_simple[u] and bottom_simple[v], flawed, inside, lower_m, upper_m, room,
                    )  # fmt: skip
                found[k, m] += share * value
                for between in range(before_k + 1, k if before_k >= 0 else 0):
                    part = (between - before_k) / (k - before_k)
                    found[between, m] += share * (before + part * (value - before))
                before_k, before = k, value
