"""Which lay and passes do best in the mean over the logs that this one may turn out to be.

The ordinary search has seen the whole turn on the log as given. Its plans, and the rolls where it found the most, are
tried on a few possible logs; the best few that lie apart are climbed from; the best of all are worked out on every
possible log of the choice, at every height, and priced on the log as given.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from optimizer.doubt_values import best_average_cuts, lay_values
from optimizer.lay import Rolled
from optimizer.passes import Cuts
from optimizer.possible_logs import PossibleLog
from optimizer.pricing import Priced
from optimizer.problem import Problem
from optimizer.search import DISTINCT_ROLL_DEG, Found, Progress, roll_distance_deg

CHOICE_LOGS = 40
FEW, SOME = 6, 12
"""Of the possible logs of the choice: how many the first look and the climb are made on."""
STRIDE = 3
ROLLS, STARTS, FINALISTS = 18, 6, 8
LAYS_PER_ROLL, LAYS_PER_START, LAYS_PER_FINALIST = 12, 50, 30
"""How many rolls are looked at, climbed from, and worked out at the end: fewer after a short search."""
TILT_SHARES = (0.0, -0.5, 0.5)
ROLL_STEPS_DEG = (4.0, 2.0, 1.0)
MOST_MOVES = 12


@dataclass(frozen=True, eq=False)
class _Tried:
    rolled: Rolled
    tilt_deg: float
    cuts: Cuts

    @property
    def roll_deg(self) -> float:
        return self.rolled.roll_deg


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

    def tried(lay: tuple[Rolled, float], few: int, stride: int, *, exact: bool = False) -> _Tried | None:
        if not goes_on():
            return None
        values = lay_values(problem, *lay, logs[:few], exact=exact, stride=stride)
        cuts = best_average_cuts(values, problem.terms)
        return _Tried(*lay, cuts) if cuts.rows else None

    def climbed(start: _Tried) -> list[_Tried]:
        return _climbed(problem, start, lambda rolled, tilt_deg: tried((rolled, tilt_deg), SOME, STRIDE))

    count_starts = min(STARTS, max(1, found.lays // LAYS_PER_START))
    count_finalists = min(FINALISTS, max(2, found.lays // LAYS_PER_FINALIST))
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        lays = _first_lays(problem, found)
        looked: list[_Tried] = []
        for k, one in enumerate(pool.map(lambda lay: tried(lay, FEW, STRIDE), lays), start=1):
            looked += [one] if one is not None else []
            _tell(on_progress, "weighing doubt", k, len(lays))
        looked.sort(key=lambda t: -t.cuts.net)
        starts = _apart(looked, count_starts, DISTINCT_ROLL_DEG)
        climbs: list[_Tried] = []
        for k, path in enumerate(pool.map(climbed, starts), start=1):
            climbs += path
            _tell(on_progress, "choosing in doubt", k, len(starts))
        climbs.sort(key=lambda t: -t.cuts.net)
        # Half the places go to lays well apart, half to the very best.
        finalists = _apart(climbs, count_finalists // 2, DISTINCT_ROLL_DEG)
        finalists += [t for t in _apart(climbs, count_finalists, 0.5) if t not in finalists][
            : count_finalists - len(finalists)
        ]
        last: list[_Tried] = []
        final = pool.map(lambda t: tried((t.rolled, t.tilt_deg), len(logs), 1, exact=True), finalists)
        for k, one in enumerate(final, start=1):
            last += [one] if one is not None else []
            _tell(on_progress, "working out heights", k, len(finalists))
        last.sort(key=lambda t: -t.cuts.net)
        return [p for p in pool.map(lambda t: problem.price(t.rolled.lay(t.tilt_deg), t.cuts), last) if p.slabs]


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
        rolled = problem.supports.turned(float(rolls[k]))
        limits = problem.tilt_range_deg(rolled)
        if limits is None or nets[k] <= 0.0:
            continue
        rest = rolled.resting_tilt_deg
        for share in TILT_SHARES if limits[1] - limits[0] > 1e-6 else (0.0,):
            end = limits[1] if share > 0.0 else limits[0]
            lays.append((rolled, rest + abs(share) * (end - rest)))
    return lays


def _apart(order: Sequence[_Tried], count: int, apart_deg: float) -> list[_Tried]:
    """Return the first few of an order that lie apart."""
    kept: list[_Tried] = []
    for one in order:
        if len(kept) == count:
            break
        if all(roll_distance_deg(one.roll_deg, other.roll_deg) >= apart_deg for other in kept):
            kept.append(one)
    return kept


def _climbed(problem: Problem, start: _Tried, tried: Callable[[Rolled, float], _Tried | None]) -> list[_Tried]:
    """Climb from a lay by steps of roll and tilt; return the lays tried, each on as many logs."""
    first = tried(start.rolled, start.tilt_deg)
    if first is None:
        return []
    path, best = [first], first
    limits = problem.tilt_range_deg(start.rolled)
    for size, roll_step_deg in enumerate(ROLL_STEPS_DEG):
        tilt_step_deg = 0.0 if limits is None else 0.25 * (limits[1] - limits[0]) / 2.0**size
        moves = [(roll_step_deg, 0.0), (-roll_step_deg, 0.0), (0.0, tilt_step_deg), (0.0, -tilt_step_deg)]
        for roll_move, tilt_move in moves:
            if len(path) > MOST_MOVES:
                return path
            if roll_move == 0.0 and tilt_move == 0.0:
                continue
            lay = _moved(problem, best, roll_move, tilt_move)
            one = None if lay is None else tried(*lay)
            if one is not None:
                path.append(one)
                best = one if one.cuts.net > best.cuts.net else best
    return path


def _moved(problem: Problem, centre: _Tried, roll_move: float, tilt_move: float) -> tuple[Rolled, float] | None:
    rolled = centre.rolled if roll_move == 0.0 else problem.supports.turned((centre.roll_deg + roll_move) % 360.0)
    limits = problem.tilt_range_deg(rolled)
    if limits is None:
        return None
    offset = centre.tilt_deg - centre.rolled.resting_tilt_deg + tilt_move
    tilt_deg = min(max(rolled.resting_tilt_deg + offset, limits[0]), limits[1])
    if roll_move == 0.0 and abs(tilt_deg - centre.tilt_deg) < 1e-9:
        return None
    return rolled, tilt_deg
