"""The search for the best lay: the whole turn, the tilts that its supports allow, then the best few refined.

For one lay the passes are found exactly; over the lays the value jumps and has hundreds of peaks, so the
whole turn is tried with several tilts, the best few are refined by pattern search, and the winners are
worked out again on finer stations and priced on the mesh itself. Nothing is random: the same input gives the
same plans, whatever the number of workers, unless time ends the search.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Literal

from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.lay import GAP_TOLERANCE_M, Lay
from optimizer.bed.pricing import Priced
from optimizer.problem import Problem
from optimizer.search.climb import Steps, climb
from optimizer.search.level import level_lays
from optimizer.standing.rolled import Rolled
from optimizer.stations.passes import NOTHING, WASTE, Cuts
from optimizer.stations.ruled_passes import best_ruled_cuts
from optimizer.stations.stations import Stations
from scans.log import FloatArray
from scans.units import INCH_M

TILTS = (0.0, -1.0, 1.0, -0.5, 0.5)
"""Tilts tried at each roll: the resting one, and shares of the way to the highest support at either end."""
COARSE_SHARE = 0.55
STARTS = 8
TILT_STEP = 0.25
FINALISTS, FEWEST_FINALISTS, LAYS_PER_FINALIST = 16, 6, 50
FINEST_ROLL_DEG = 0.05
FIRST_POLISH_DEG = 0.4
POLISHED = 3
POLISH_LAYS = 18
MOST_PLANS = 5
FEWEST_LAYS = 40
BEST_STRETCHES = 2
DISTINCT_ROLL_DEG = 10.0
DISTINCT_SHIM_M = 0.5 * INCH_M
DISTINCT_FACE_M = INCH_M
DISTINCT_STRETCH_M = 0.2
TIE = 0.005
"""How much is tried at each stage, how finely, and what differs as a sawyer sees it; ties within half a cent (our own
rules, no source)."""

StoppedBy = Literal["gap", "lays", "time", "cancelled"]
Stop = Callable[[], StoppedBy | None]


@dataclass(frozen=True, eq=False)
class BestSoFar:
    """The best that was found yet, as much of it as costs nothing to tell: how the log lies, and where it is sawn.

    net : as the search knows it by then. log_to_bed : (4, 4). stretch_m : what lies on the bed, in log x.
    blade_heights_m : in sawing order, up to a flip. buck_cuts : how the log is bucked before.
    """

    net: float
    roll_deg: float
    log_to_bed: FloatArray
    stretch_m: tuple[float, float]
    blade_heights_m: tuple[float, ...]
    buck_cuts: tuple[BuckCut, ...] = ()


@dataclass(frozen=True)
class Progress:
    """How far the search is: what it does, how much of it is done, the best net so far, and how near the bound it is.

    gap : None until a bound is proven. best : None where nothing was found yet, or what is done finds nothing new.
    """

    stage: str
    done: int
    total: int
    best_net: float | None
    gap: float | None = None
    best: BestSoFar | None = None


@dataclass(frozen=True)
class Scouted:
    """A lay and its best passes by the search's own measure; set_up_cost : what it costs to set the log so."""

    rolled: Rolled
    lay: Lay
    cuts: Cuts
    set_up_cost: float = 0.0

    @property
    def net(self) -> float:
        """What the search makes of it; 0 where nothing is sawn."""
        return self.cuts.net - self.set_up_cost if self.cuts.rows else 0.0


@dataclass(frozen=True, eq=False)
class Found:
    """What a search found: plans ranked and distinct, the net at each roll tried, how much was tried."""

    plans: tuple[Priced, ...]
    net_by_roll: tuple[tuple[float, float | None], ...]
    lays: int
    stopped_by: StoppedBy


@dataclass
class _Tally:
    """How many lays were priced and what ended it; shared by the stages of one search."""

    problem: Problem
    stop: Stop
    on_progress: Callable[[Progress], None] | None
    lays: int = 0
    stopped_by: StoppedBy = "lays"
    best_net: float | None = None
    best: BestSoFar | None = None
    ended: bool = field(default=False)

    def goes_on(self) -> bool:
        """Tell whether to price another lay."""
        if not self.ended:
            reason = self.stop()
            if reason is not None:
                self.ended, self.stopped_by = True, reason
        return not self.ended

    def report(self, stage: str, done: int, total: int, found: "Scouted | Priced | None") -> None:
        """Note what was found and tell the observer."""
        if found is not None and found.net > 0.0 and (self.best_net is None or found.net > self.best_net):
            self.best_net = found.net
            self.best = None if self.on_progress is None else _best_so_far(self.problem, found)
        if self.on_progress is not None:
            self.on_progress(Progress(stage, done, total, self.best_net, best=self.best))


def _best_so_far(problem: Problem, found: "Scouted | Priced") -> BestSoFar:
    if isinstance(found, Scouted):
        heights_m = [row * problem.mill.height_step_m for row in found.cuts.rows]
    else:
        heights_m = [cut.blade_height_m for cut in found.passes if not cut.flipped]
    lay, ends_m = found.lay, problem.log.outer.bounds_m[:, 0]
    stretch_m = (float(ends_m[0]), float(ends_m[1]))
    return BestSoFar(found.net, lay.roll_deg, lay.log_to_bed, stretch_m, tuple(heights_m), problem.cuts)


def first_answer(problem: Problem) -> Progress:
    """Return what the log brings as it lies, of which a search knows within a moment; no plan hangs on it."""
    rolled = problem.supports.turned(0.0)
    found = None
    if problem.tilt_range_deg(rolled) is not None:
        scouted = scout(problem, problem.coarse, rolled, rolled.resting_tilt_deg)
        found = scouted if scouted.net > 0.0 else None
    best = None if found is None else _best_so_far(problem, found)
    return Progress("bucking", 0, 1, None if best is None else best.net, best=best)


def never_stop() -> StoppedBy | None:
    """Go on until the lays are used up."""
    return None


def search(
    problem: Problem,
    lays: int,
    *,
    workers: int = 2,
    stop: Stop = never_stop,
    on_progress: Callable[[Progress], None] | None = None,
) -> Found:
    """Search the whole turn and the tilts within the shims; return distinct plans, best first.

    lays : about how many lays to price. stop : asked before each lay; a reason ends the search, and what was
    found by then is returned.
    """
    tally = _Tally(problem, stop, on_progress)
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        rolls = _grid(problem, lays)
        coarse = _scout_grid(problem, rolls, tally, pool)
        net_by_roll = _by_roll(problem, rolls, coarse)
        scouted = [s for s in coarse if s is not None and s.cuts.rows]
        scouted += _refine(problem, scouted, rolls, lays, tally, pool)
        count = min(FINALISTS, max(FEWEST_FINALISTS, lays // LAYS_PER_FINALIST))
        finals = _price_finalists(problem, _finalists(problem, scouted, count), tally, pool)
        priced = [priced for _, priced in finals]
        priced += _polish(problem, finals, max(1, POLISHED * count // FINALISTS), tally, pool)
        if tally.goes_on():
            priced += as_it_lies(problem)
    return Found(ranked(priced, problem.checked), net_by_roll, tally.lays, tally.stopped_by)


def is_as_it_lies(problem: Problem, priced: Priced) -> bool:
    """Tell whether a plan leaves the log as it lies: neither turned nor tilted."""
    tilt_deg = problem.supports.turned(0.0).resting_tilt_deg
    return roll_distance_deg(priced.lay.roll_deg, 0.0) == 0.0 and abs(priced.lay.tilt_deg - tilt_deg) < 1e-9


def as_it_lies(problem: Problem) -> list[Priced]:
    """Return the best passes with the log neither turned nor tilted: always weighed, as it is the least trouble."""
    rolled = problem.supports.turned(0.0)
    if problem.tilt_range_deg(rolled) is None:
        return []
    priced = price_scouted(problem, scout(problem, problem.fine, rolled, rolled.resting_tilt_deg, exact=True))
    return [] if priced is None else [priced]


def search_stretches(
    problems: Sequence[Problem],
    lays: int,
    *,
    workers: int = 2,
    stop: Stop = never_stop,
    on_progress: Callable[[Progress], None] | None = None,
) -> Found:
    """Search every stretch of a long log a little, and the best of them well; return distinct plans, best first."""
    if len(problems) == 1:
        return search(problems[0], lays, workers=workers, stop=stop, on_progress=on_progress)
    each = max(FEWEST_LAYS, lays // (2 * len(problems)))
    scouted = [search(problem, each, workers=workers, stop=stop, on_progress=on_progress) for problem in problems]
    order = sorted(range(len(problems)), key=lambda k: -max((p.net for p in scouted[k].plans), default=0.0))
    closer = [
        search(problems[k], lays // BEST_STRETCHES, workers=workers, stop=stop, on_progress=on_progress)
        for k in order[:BEST_STRETCHES]
    ]
    return merged([*scouted, *closer], problems)


def merged(every: Sequence[Found], problems: Sequence[Problem]) -> Found:
    """Return what searches found together, ranked; problems : those that their plans are of."""
    by_cuts = {problem.cuts: problem for problem in problems}
    best = max(every, key=lambda found: (max((p.net for p in found.plans), default=0.0), found.lays))
    return Found(
        plans=ranked(
            [priced for found in every for priced in found.plans],
            lambda priced: by_cuts[priced.buck_cuts].checked(priced),
        ),
        net_by_roll=best.net_by_roll,
        lays=sum(found.lays for found in every),
        stopped_by=next((found.stopped_by for found in every if found.stopped_by != "lays"), "lays"),
    )


def scout(
    problem: Problem,
    stations: Stations,
    rolled: Rolled,
    tilt_deg: float,
    *,
    exact: bool = False,
    floor: float = 0.0,
    can_flip: bool = True,
) -> Scouted:
    """Find the best passes of one lay at given stations; `exact` takes the reach from the mesh (see Problem.table).

    floor : a lay that cannot be worth more than this comes back without passes, as does one that does not stand.
    can_flip : False keeps the log from being turned over, whatever the mill can do.
    """
    lay = rolled.lay(tilt_deg)
    if not rolled.stands(tilt_deg):
        return Scouted(rolled, lay, NOTHING)
    cost, terms = problem.set_up(rolled, tilt_deg).cost, problem.terms
    table = problem.table(stations, rolled, tilt_deg, exact=exact)
    terms = terms._replace(can_flip=terms.can_flip and can_flip)
    cuts = best_ruled_cuts(table, terms, problem.rules, floor + cost)
    return Scouted(rolled, lay, cuts, cost) if cuts.net > cost else Scouted(rolled, lay, NOTHING)


def _grid(problem: Problem, lays: int) -> tuple[float, ...]:
    tilts = len(TILTS) if max(problem.mill.max_shim_m, problem.mill.max_prop_m) > 0.0 else 1
    count = max(8, min(180, int(lays * COARSE_SHARE / tilts)))
    # A whole number of rolls to the quarter turn, so that turning a log by one turns its plans.
    count = 4 * max(2, round(count / 4))
    return tuple(360.0 * k / count for k in range(count))


def _scout_grid(
    problem: Problem, rolls: tuple[float, ...], tally: _Tally, pool: ThreadPoolExecutor
) -> list[Scouted | None]:
    stations = problem.coarse
    jobs: list[tuple[Rolled, float]] = []
    for roll_deg in rolls:
        rolled = problem.supports.turned(roll_deg)
        limits = problem.tilt_range_deg(rolled)
        if limits is not None:
            jobs += [(rolled, tilt_deg) for tilt_deg in _tilts(rolled, limits)]
    for rolled, tilt_deg in level_lays(problem):
        limits = problem.tilt_range_deg(rolled)
        if limits is not None and limits[0] <= tilt_deg <= limits[1]:
            jobs.append((rolled, tilt_deg))
    # The resting tilts of the whole turn come first, so that a search that is ended early has seen all rolls; the
    # other tilts of a roll count only where they are worth more than its resting one.
    resting = [job for job in jobs if job[1] == job[0].resting_tilt_deg]
    others = [job for job in jobs if job[1] != job[0].resting_tilt_deg]
    floors: dict[float, float] = {}

    def one(job: tuple[Rolled, float]) -> Scouted | None:
        # What does not stand is no lay.
        if not tally.goes_on() or not job[0].stands(job[1]):
            return None
        return scout(problem, stations, *job, floor=floors.get(job[0].roll_deg, 0.0))

    found: list[Scouted | None] = []
    for batch in (resting, others):
        for outcome in pool.map(one, batch):
            found.append(outcome)
            tally.lays += outcome is not None
            tally.report("scouting", len(found), len(jobs), outcome)
        floors = {scouted.lay.roll_deg: scouted.net for scouted in found if scouted is not None}
    return found


def _tilts(rolled: Rolled, limits: tuple[float, float]) -> list[float]:
    rest = rolled.resting_tilt_deg
    found: list[float] = []
    for share in TILTS:
        end = limits[1] if share > 0.0 else limits[0]
        tilt_deg = rest + abs(share) * (end - rest)
        if all(abs(tilt_deg - other) > 1e-9 for other in found):
            found.append(tilt_deg)
    return found


def _by_roll(
    problem: Problem, rolls: tuple[float, ...], coarse: list[Scouted | None]
) -> tuple[tuple[float, float | None], ...]:
    beside = problem.bolts_worth - problem.buck_cost
    best: dict[float, float | None] = dict.fromkeys(rolls)
    for scouted in coarse:
        if scouted is not None and scouted.lay.roll_deg in best:
            before = best[scouted.lay.roll_deg]
            net = scouted.net + beside
            best[scouted.lay.roll_deg] = net if before is None else max(before, net)
    return tuple(best.items())


def roll_distance_deg(a_deg: float, b_deg: float) -> float:
    """Return how far apart two rolls are, at most 180. [deg]."""
    return abs((a_deg - b_deg + 180.0) % 360.0 - 180.0)


def _refine(
    problem: Problem,
    scouted: list[Scouted],
    rolls: tuple[float, ...],
    lays: int,
    tally: _Tally,
    pool: ThreadPoolExecutor,
) -> list[Scouted]:
    spacing_deg = 360.0 / len(rolls)
    starts: list[Scouted] = []
    for candidate in sorted(scouted, key=lambda s: -s.net):
        apart = all(roll_distance_deg(candidate.lay.roll_deg, s.lay.roll_deg) > 1.5 * spacing_deg for s in starts)
        if apart:
            starts.append(candidate)
        if len(starts) == STARTS:
            break
    if not starts:
        return []
    budget = max(8, (lays - tally.lays) // len(starts))
    stations = problem.coarse

    # On a round log all starts are alike: with first steps of their own they do not all try the same tilts.
    shares = [TILT_STEP * 0.5 ** (k / STARTS) for k in range(len(starts))]

    def price(rolled: Rolled, tilt_deg: float, floor: float) -> Scouted:
        return scout(problem, stations, rolled, tilt_deg, floor=floor)

    def one(start: Scouted, share: float) -> list[Scouted]:
        steps = _steps(problem, start, 0.5 * spacing_deg, share, budget)
        return climb(problem, start, price, steps, tally.goes_on)

    found: list[Scouted] = []
    for k, path in enumerate(pool.map(one, starts, shares), start=1):
        found += path
        tally.lays += len(path)
        tally.report("refining", k, len(starts), max(path, key=lambda s: s.net, default=None))
    return found


def _steps(problem: Problem, start: Scouted, roll_deg: float, tilt_share: float, most: int) -> Steps:
    """Return how to climb from a lay. tilt_share : the first step of tilt, as a share of all tilts at its roll."""
    low_deg, high_deg = problem.tilt_range_deg(start.rolled) or (0.0, 0.0)
    return Steps(roll_deg, tilt_share * (high_deg - low_deg), FINEST_ROLL_DEG, most, thorough=True)


def _finalists(problem: Problem, scouted: list[Scouted], count: int) -> list[Scouted]:
    # Half the places go to lays that differ as a sawyer sees it, half to the very best: on finer
    # stations a lay may lose what the coarse ones promised.
    order = sorted((s for s in scouted if s.cuts.rows), key=lambda s: -s.net)
    distinct: list[Scouted] = []
    for candidate in order:
        if all(_lays_differ(problem, candidate, other) for other in distinct):
            distinct.append(candidate)
        if len(distinct) == count // 2:
            break
    best = [s for s in order[:count] if s not in distinct]
    return distinct + best[: count - len(distinct)]


def _lays_differ(problem: Problem, a: Scouted, b: Scouted) -> bool:
    if roll_distance_deg(a.lay.roll_deg, b.lay.roll_deg) >= DISTINCT_ROLL_DEG:
        return True
    gaps = zip(a.rolled.gaps_m(a.lay.tilt_deg), b.rolled.gaps_m(b.lay.tilt_deg), strict=True)
    if any(abs(p - q) >= DISTINCT_SHIM_M for p, q in gaps):
        return True
    step_m = problem.mill.height_step_m
    if abs(a.cuts.rows[0] - b.cuts.rows[0]) * step_m >= DISTINCT_FACE_M - GAP_TOLERANCE_M:
        return True
    entries = [{*s.cuts.entries, *s.cuts.flipped_entries} - {WASTE} for s in (a, b)]
    return entries[0] != entries[1]


def _price_finalists(
    problem: Problem, finalists: list[Scouted], tally: _Tally, pool: ThreadPoolExecutor
) -> list[tuple[Scouted, Priced]]:
    stations = problem.fine
    problem.bodies.usable.num_tri()  # made once, before the workers ask for it

    def one(scouted: Scouted) -> tuple[Scouted, Priced | None]:
        fine = scout(problem, stations, scouted.rolled, scouted.lay.tilt_deg, exact=True)
        return fine, price_scouted(problem, fine)

    found: list[tuple[Scouted, Priced]] = []
    for k, (fine, priced) in enumerate(pool.map(one, finalists), start=1):
        tally.lays += 1
        if priced is not None:
            found.append((fine, priced))
        tally.report("pricing", k, len(finalists), priced)
    return found


def price_scouted(problem: Problem, scouted: Scouted) -> Priced | None:
    """Price a lay's best passes on the mesh; None where there are none, none that pays, or not the set asked for.

    A flip after which what is left would not stand is dropped.
    """
    if not scouted.cuts.rows:
        return None
    priced = problem.price(scouted.lay, scouted.cuts)
    if priced.flip_face_m is not None and not problem.standing(priced).is_allowed:
        tilt_deg = scouted.lay.tilt_deg
        unflipped = scout(problem, problem.fine, scouted.rolled, tilt_deg, exact=True, can_flip=False)
        return price_scouted(problem, unflipped)
    return priced if priced.slabs and problem.gives_set(priced) else None


def _polish(
    problem: Problem, priced: list[tuple[Scouted, Priced]], count: int, tally: _Tally, pool: ThreadPoolExecutor
) -> list[Priced]:
    stations = problem.fine
    starts = [scouted for scouted, _ in sorted(priced, key=lambda p: -p[1].net)[:count]]

    def price(rolled: Rolled, tilt_deg: float, floor: float) -> Scouted:
        return scout(problem, stations, rolled, tilt_deg, exact=True, floor=floor)

    def one(scouted: Scouted) -> tuple[int, Priced | None]:
        # Half as far as the first climb would step at so small a roll.
        steps = _steps(problem, scouted, FIRST_POLISH_DEG, TILT_STEP * FIRST_POLISH_DEG / 5.0, POLISH_LAYS)
        path = climb(problem, scouted, price, steps, tally.goes_on)
        best = max(path, key=lambda s: s.net, default=None)
        return len(path), None if best is None or best.net <= scouted.net else price_scouted(problem, best)

    found: list[Priced] = []
    for k, (lays, better) in enumerate(pool.map(one, starts), start=1):
        tally.lays += lays
        if better is not None:
            found.append(better)
        tally.report("polishing", k, len(starts), better)
    return found


def ranked(priced: Sequence[Priced], checked: Callable[[Priced], Priced | None]) -> tuple[Priced, ...]:
    """Rank plans by net and keep those that stand and differ as a sawyer sees it, five at most.

    checked : returns a plan with its supports as the solid itself asks for them; None where it does not stand. Asked
    only of plans that come to the top, as it takes a while. Ties within half a cent: the least trouble.
    """
    order = list(priced)
    kept: list[Priced] = []
    while order and len(kept) < MOST_PLANS:
        order = [plan for plan in order if all(differ(plan, other) for other in kept)]
        top = max((plan.net for plan in order), default=0.0)
        tied = [plan for plan in order if top - plan.net <= TIE]
        unchecked = [plan for plan in tied if not plan.is_checked]
        if unchecked:
            found = [checked(plan) for plan in unchecked]
            order = [plan for plan in order if plan not in unchecked] + [plan for plan in found if plan is not None]
        elif tied:
            best = min(tied, key=trouble)
            order.remove(best)
            kept.append(best)
    return tuple(kept)


def trouble(plan: Priced) -> tuple[float, ...]:
    """Return how much trouble a plan asks for, the weightiest first: buck cuts, a turn, how far, supports, passes."""
    turn_deg = roll_distance_deg(plan.lay.roll_deg, 0.0)
    asked = len(plan.buck_cuts), turn_deg > 0.0, turn_deg, plan.placed, len(plan.passes), sum(plan.gaps_m)
    return *asked, -plan.passes[0].blade_height_m


def differ(a: Priced, b: Priced) -> bool:
    """Tell whether two plans differ as a sawyer sees it: bucked elsewhere, roll, shims, first face, thicknesses."""
    at_m = [{cut.member: cut.at_m for cut in plan.buck_cuts} for plan in (a, b)]
    if set(at_m[0]) != set(at_m[1]) or any(abs(at_m[0][m] - at_m[1][m]) >= DISTINCT_STRETCH_M for m in at_m[0]):
        return True
    if roll_distance_deg(a.lay.roll_deg, b.lay.roll_deg) >= DISTINCT_ROLL_DEG:
        return True
    if any(abs(p - q) >= DISTINCT_SHIM_M for p, q in zip(a.gaps_m, b.gaps_m, strict=True)):
        return True
    if abs(a.passes[0].blade_height_m - b.passes[0].blade_height_m) >= DISTINCT_FACE_M - GAP_TOLERANCE_M:
        return True
    return {slab.entry.quarters for slab in a.slabs} != {slab.entry.quarters for slab in b.slabs}
