"""Which lay and passes do best in the mean over the logs that this one may turn out to be.

The ordinary search has seen the whole turn on the log as given. Its plans, and the rolls where it found the most, are
tried on a few possible logs; the best few that lie apart are climbed from; the best of all are worked out on every
possible log of the choice, at every height, and priced on the log as given.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from optimizer.bed.pricing import Priced
from optimizer.doubt.possible_logs import PossibleLog
from optimizer.doubt.values import best_average_cuts, lay_values
from optimizer.problem import Problem
from optimizer.search.climb import Steps, climb
from optimizer.search.lays import DISTINCT_ROLL_DEG, Found, Progress, Scouted, price_scouted, roll_distance_deg
from optimizer.standing.rolled import Rolled
from scans.units import INCH_M

CHOICE_LOGS = 40
FEW, SOME = 6, 12
"""Of the possible logs of the choice: how many the first look and the climb are made on."""
APART_M = 0.1875 * INCH_M
"""Of the rows within so much height one is worked out on a log, others on each; twice as far apart was tried, and found
other lays."""
ROLLS, STARTS, FINALISTS = 18, 6, 8
LAYS_PER_ROLL, LAYS_PER_START, LAYS_PER_FINALIST = 12, 50, 30
"""How many rolls are looked at, climbed from, and worked out at the end: fewer after a short search."""
TILT_SHARES = (0.0, -0.5, 0.5)
FIRST_ROLL_DEG, FINEST_ROLL_DEG, TILT_STEP = 4.0, 1.0, 0.25
MOST_MOVES = 12
"""How the climb in doubt steps, its first tilt as a share of all tilts (our own rules, no source)."""


def chosen_in_doubt(
    problem: Problem,
    found: Found,
    logs: Sequence[PossibleLog],
    workers: int,
    on_progress: Callable[[Progress], None] | None = None,
    goes_on: Callable[[], bool] = lambda: True,
) -> list[Priced]:
    """Return plans that do well in the mean over possible logs, priced on the log as given; best first.

    found : of the ordinary search. The same whatever the number of workers, unless `goes_on` ends it.
    """
    stride = rows_apart(problem, APART_M)

    def tried(lay: tuple[Rolled, float], few: int, *, exact: bool = False) -> Scouted | None:
        if not goes_on() or not lay[0].stands(lay[1]):
            return None
        values = lay_values(problem, *lay, logs[:few], exact=exact, stride=stride)
        cuts = best_average_cuts(values, problem.terms, problem.rules)
        cost = problem.set_up(*lay).cost
        return Scouted(lay[0], lay[0].lay(lay[1]), cuts, cost) if cuts.rows else None

    def climbed(start: Scouted) -> list[Scouted]:
        # What it is worth on a few logs alone is no measure for what is tried on more.
        first = tried((start.rolled, start.lay.tilt_deg), SOME)
        if first is None:
            return []
        low_deg, high_deg = problem.tilt_range_deg(start.rolled) or (0.0, 0.0)

        def price(rolled: Rolled, tilt_deg: float, _floor: float) -> Scouted | None:
            return tried((rolled, tilt_deg), SOME)

        steps = Steps(FIRST_ROLL_DEG, TILT_STEP * (high_deg - low_deg), FINEST_ROLL_DEG, MOST_MOVES, thorough=False)
        return [first, *climb(problem, first, price, steps)]

    count_starts = min(STARTS, max(1, found.lays // LAYS_PER_START))
    count_finalists = min(FINALISTS, max(2, found.lays // LAYS_PER_FINALIST))
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        lays = _first_lays(problem, found)
        looked: list[Scouted] = []
        for k, one in enumerate(pool.map(lambda lay: tried(lay, FEW), lays), start=1):
            looked += [one] if one is not None else []
            _tell(on_progress, "checking how sure it is", k, len(lays))
        looked.sort(key=lambda t: -t.net)
        starts = _apart(looked, count_starts, DISTINCT_ROLL_DEG)
        climbs: list[Scouted] = []
        for k, path in enumerate(pool.map(climbed, starts), start=1):
            climbs += path
            _tell(on_progress, "choosing the best plans", k, len(starts))
        climbs.sort(key=lambda t: -t.net)
        # Half the places go to lays well apart, half to the very best.
        finalists = _apart(climbs, count_finalists // 2, DISTINCT_ROLL_DEG)
        finalists += [t for t in _apart(climbs, count_finalists, 0.5) if t not in finalists][
            : count_finalists - len(finalists)
        ]
        # The log as it lies is worked out as well as any other: only so can it be told whether turning it pays.
        lying = [one for lay in _lays_at(problem, 0.0) if (one := tried(lay, SOME)) is not None]
        if lying and not any(t.lay.roll_deg % 360.0 == 0.0 for t in finalists):
            finalists.append(max(lying, key=lambda t: t.net))
        last: list[Scouted] = []
        final = pool.map(lambda t: tried((t.rolled, t.lay.tilt_deg), len(logs), exact=True), finalists)
        for k, one in enumerate(final, start=1):
            last += [one] if one is not None else []
            _tell(on_progress, "working out heights", k, len(finalists))
        last.sort(key=lambda t: -t.net)
        priced = [p for p in pool.map(lambda t: price_scouted(problem, t), last) if p is not None]
        return [p for p in pool.map(problem.checked, priced) if p is not None]


def rows_apart(problem: Problem, apart_m: float) -> int:
    """Return how many rows lie within a height, one at the least."""
    return max(1, int(apart_m / problem.mill.height_step_m + 1e-9))


def _tell(on_progress: Callable[[Progress], None] | None, stage: str, done: int, total: int) -> None:
    if on_progress is not None:
        on_progress(Progress(stage, done, total, None))


def _first_lays(problem: Problem, found: Found) -> list[tuple[Rolled, float]]:
    """Return the lays to look at first: the plans', and at the best rolls the resting tilt and half-way shims."""
    lays = [(problem.supports.turned(p.lay.roll_deg), p.lay.tilt_deg) for p in found.plans]
    rolls = np.array([roll for roll, _ in found.net_by_roll])
    nets = np.array([0.0 if net is None else net for _, net in found.net_by_roll])
    if len(rolls) == 0:
        return lays
    # A roll is worth what its neighbours are, too: the log is never what it seems, nor set just so.
    apart_deg = np.abs((rolls[:, None] - rolls + 180.0) % 360.0 - 180.0)
    near = np.exp(-0.5 * (apart_deg / 5.0) ** 2)
    smoothed = (near @ nets) / near.sum(axis=1)
    for k in np.argsort(-smoothed, kind="stable")[: min(ROLLS, max(2, found.lays // LAYS_PER_ROLL))]:
        if nets[k] > 0.0:
            lays += _lays_at(problem, float(rolls[k]))
    return lays


def _lays_at(problem: Problem, roll_deg: float) -> list[tuple[Rolled, float]]:
    """Return the resting tilt at a roll and shims half-way; none where the mill cannot take it so."""
    rolled = problem.supports.turned(roll_deg)
    limits = problem.tilt_range_deg(rolled)
    if limits is None:
        return []
    rest = rolled.resting_tilt_deg
    shares = TILT_SHARES if limits[1] - limits[0] > 1e-6 else (0.0,)
    return [(rolled, rest + abs(share) * ((limits[1] if share > 0.0 else limits[0]) - rest)) for share in shares]


def _apart(order: Sequence[Scouted], count: int, apart_deg: float) -> list[Scouted]:
    """Return the first few of an order that lie apart."""
    kept: list[Scouted] = []
    for one in order:
        if len(kept) == count:
            break
        if all(roll_distance_deg(one.lay.roll_deg, other.lay.roll_deg) >= apart_deg for other in kept):
            kept.append(one)
    return kept
