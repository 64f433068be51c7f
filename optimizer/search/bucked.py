"""Where to buck a log: limbs cut back, the butt cut off, a long stem halved, each scouted with few lays.

Every cut is looked at coarsely first; limbs together by turns, one at a time from the best; the best to the inch. What
is worth searching well is handed back: what it brings in truth only a search of its own tells.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from optimizer.bed.bodies import manifold_of
from optimizer.bed.buck_cuts import BuckCut, BuckError, butt_cut, limb_cut, limb_leaves_m, limb_length_m, stem_cut
from optimizer.bed.bucking import buck, is_of_member, solid_of
from optimizer.bed.cut_back import CutBack
from optimizer.problem import Problem
from optimizer.search.bolt_worth import SPACING_M, Weigh, numbered, scouted_at, whole_turn_deg, worth_of
from optimizer.search.climb import Steps, climb
from optimizer.search.lays import Scouted, roll_distance_deg, scout
from optimizer.standing.rolled import Rolled
from optimizer.stations.stations import Stations, stations_of
from scans.log import Log, Solid
from scans.units import FOOT_M, INCH_M

Buck = Literal["best", "limbs", "no"]

COARSE_M = FOOT_M
STEPS_M = (6.0 * INCH_M, 3.0 * INCH_M, INCH_M)
"""How far apart places are first looked at, and then beside the best."""
PAST_CROTCH_M = INCH_M
LEAST_CUT_M = 4.0 * INCH_M
"""Nobody cuts off less."""
ROLL_STEP_DEG, FIRST_ROLL_STEP_DEG = 30.0, 5.0
BEST_ROLLS, ROLLS_APART_DEG = 4, 10.0
STEM_PLACES = 5
UNDER_FORK = (0.0, 0.75)
"""Where to cut a stem off its fork, in stem diameters below where the bark parts."""
CLOSER_SHARE, CLOSER_LOOKS = 0.95, 4
CLOSER_STARTS, CLOSER_LAYS, CLOSER_ROLL_STEP_DEG, CLOSER_TILT_STEP = 2, 10, 6.0, 0.15
"""How near to the log as it came, scouted, a bucked one must come to be looked at more closely, how many are, and
how."""
MOST_BUCKED = 2
WORTH_A_SEARCH = 0.99
"""A bucked log is searched well where a closer look finds so much of what it finds for the log as it came."""
SIMPLER_M, EDGE_M = 0.003, 0.1
"""Scouting is done on a surface with fewer faces: none astray by more, no edge longer (our own rules, no source)."""

Told = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class _Looked:
    """A log bucked one way, and what its rolls are worth; bolts and cuts are worth `beside` more at each."""

    problem: Problem
    stations: Stations
    by_roll: tuple[Scouted, ...]
    beside: float

    @property
    def value(self) -> float:
        """What the best of them is worth."""
        return max((one.net for one in self.by_roll), default=0.0) + self.beside


@dataclass(eq=False)
class Scouting:
    """Values ways to buck one log, each once, at its resting tilt at a few rolls."""

    problem: Problem
    weigh: Weigh
    goes_on: Callable[[], bool] = lambda: True
    told: Told = lambda _done, _total: None
    expected: int = 30
    workers: int = 1
    _known: dict[tuple[tuple[str, float], ...], _Looked | None] = field(default_factory=dict)
    _closer: dict[tuple[tuple[str, float], ...], float] = field(default_factory=dict)
    _bolts: dict[tuple[tuple[str, float], ...], float] = field(default_factory=dict)

    @cached_property
    def _simple(self) -> Problem:
        return replace(self.problem, log=simpler(self.problem.log))

    @cached_property
    def _rolls_deg(self) -> list[float]:
        """The best few rolls of the log as it came, apart from one another, and a coarse turn. [deg]."""
        whole = self._simple
        stations = stations_of(whole.log, whole.end_trim_m, SPACING_M, whole.zones, like=whole.coarse)
        turn_deg = whole_turn_deg(FIRST_ROLL_STEP_DEG)
        whole.terms, whole.heart, whole.supports.table  # noqa: B018 - made once, before the workers ask for them
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            found = pool.map(lambda roll_deg: scouted_at(whole, stations, roll_deg), turn_deg)
            tried = dict(zip(turn_deg, found, strict=True))
        nets = {roll_deg: one.net for roll_deg, one in tried.items() if one is not None}
        kept: list[float] = []
        for roll_deg in sorted(nets, key=lambda roll_deg: -nets[roll_deg]):
            if len(kept) < BEST_ROLLS and nets[roll_deg] > 0.0 and _is_apart(roll_deg, kept, ROLLS_APART_DEG):
                kept.append(roll_deg)
        return [*kept, *(roll_deg for roll_deg in whole_turn_deg(ROLL_STEP_DEG) if _is_apart(roll_deg, kept, 1.0))]

    def look_at(self, ways: Sequence[Sequence[BuckCut]]) -> None:
        """Look at several ways at once whose values are about to be asked for."""
        new = {key: cuts for cuts in ways if (key := _key(cuts)) not in self._known}
        if not self.goes_on():
            return
        self._rolls_deg  # noqa: B018 - made once, before the workers ask for it
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            for key, looked in zip(new, pool.map(self._looked, new.values()), strict=True):
                self._known[key] = looked
                self.told(min(len(self._known), self.expected), self.expected)

    def look_closer_at(self, ways: Sequence[Sequence[BuckCut]]) -> None:
        """Look closer at several ways at once, likewise."""
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            list(pool.map(self.closer_value, ways))

    def value(self, cuts: Sequence[BuckCut]) -> float:
        """Return about what the log is worth bucked so, its bolts and cuts counted; -inf where it cannot be."""
        key = _key(cuts)
        if key not in self._known:
            if not self.goes_on():
                return -np.inf
            self._known[key] = self._looked(cuts)
            self.told(min(len(self._known), self.expected), self.expected)
        known = self._known[key]
        return -np.inf if known is None else known.value

    def closer_value(self, cuts: Sequence[BuckCut]) -> float:
        """Return the same from a closer look: the best rolls climbed from, by roll and tilt."""
        key, rough = _key(cuts), self.value(cuts)
        looked = self._known.get(key)
        if looked is None or not self.goes_on():
            return rough
        if key not in self._closer:
            self._closer[key] = max(rough, self._climbed(looked))
        return self._closer[key]

    def _climbed(self, looked: _Looked) -> float:
        problem, starts = looked.problem, list[Scouted]()
        for one in sorted(looked.by_roll, key=lambda one: -one.net):
            rolls_deg = [start.lay.roll_deg for start in starts]
            if len(starts) < CLOSER_STARTS and one.net > 0.0 and _is_apart(one.lay.roll_deg, rolls_deg, ROLL_STEP_DEG):
                starts.append(one)

        def price(rolled: Rolled, tilt_deg: float, floor: float) -> Scouted:
            return scout(problem, looked.stations, rolled, tilt_deg, floor=floor)

        best = 0.0
        for start in starts:
            low_deg, high_deg = problem.tilt_range_deg(start.rolled) or (0.0, 0.0)
            tilt_deg = CLOSER_TILT_STEP * (high_deg - low_deg)
            steps = Steps(CLOSER_ROLL_STEP_DEG, tilt_deg, 1.0, CLOSER_LAYS, thorough=False)
            best = max(best, *(one.net for one in (start, *climb(problem, start, price, steps, self.goes_on))))
        return best + looked.beside

    def _looked(self, cuts: Sequence[BuckCut]) -> _Looked | None:
        """Look at the log bucked so; None where it cannot be."""
        if any(_through_metal(self.problem, cut) for cut in cuts):
            return None
        whole = self._simple
        try:
            ready = CutBack.of(whole.log, cuts)
        except BuckError:
            return None
        kept = whole.bucked_to(ready.made_on(whole.log), cuts)
        bed_m, most_kg = kept.mill.bed_length_m, kept.mill.max_log_mass_kg
        if kept.log.length_m - sum(kept.end_trim_m) < kept.prices.limits.min_length_m:
            return None
        if bed_m is not None and kept.log.length_m > bed_m + 1e-9:
            return None
        if most_kg is not None and self.weigh(kept.log) > most_kg:
            return None
        stations = stations_of(kept.log, kept.end_trim_m, SPACING_M, kept.zones, like=whole.coarse)
        by_roll, best = list[Scouted](), 0.0
        for roll_deg in self._rolls_deg:
            # What is clearly less than the best so far is no place to climb from.
            one = scouted_at(kept, stations, roll_deg, CLOSER_SHARE * best)
            if one is not None:
                by_roll.append(one)
                best = max(best, one.net)
        return _Looked(kept, stations, tuple(by_roll), self._of_bolts(ready, cuts) - kept.buck_cost)

    def _of_bolts(self, ready: CutBack, cuts: Sequence[BuckCut]) -> float:
        if not all(cut.limb is not None for cut in cuts):
            return self._sum(ready)
        # What comes off a limb is the same wherever else the log is cut.
        total = 0.0
        for cut in cuts:
            key = _key((cut,))
            if key not in self._bolts:
                self._bolts[key] = self._sum(CutBack.of(self._simple.log, (cut,)))
            total += self._bolts[key]
        return total

    def _sum(self, ready: CutBack) -> float:
        bolts = ready.bolts_of(self._simple.log)
        return sum(worth.worth for bolt in bolts for worth in worth_of(self._simple, bolt, self.weigh))


def _is_apart(roll_deg: float, others: Sequence[float], least_deg: float) -> bool:
    return all(roll_distance_deg(roll_deg, other) >= least_deg for other in others)


def simpler(log: Log) -> Log:
    """Return a log with fewer faces, for scouting; what is known of each of them left out."""

    def of(solid: Solid) -> Solid:
        return solid_of(manifold_of(solid).simplify(SIMPLER_M).refine_to_length(EDGE_M))

    outer = of(log.outer)
    wood = outer if log.wood is log.outer else of(log.wood)
    return replace(log, outer=outer, wood=wood, face_seen=None, doubt=None, colours=None)


def ways_to_buck(scouting: Scouting, buck_by: Buck) -> list[tuple[BuckCut, ...]]:
    """Return the ways to buck a log that are worth a search of their own, best first; none where none is."""
    if buck_by == "no":
        return []
    log = scouting.problem.log
    as_it_came = scouting.value(())
    found: dict[tuple[BuckCut, ...], float] = {}
    cuts = _limbs_by_turns(scouting, found)
    if buck_by == "best":
        more = [(*cuts, cut) if cut.member == "butt" else (cut,) for cut in _stem_and_butt(log, scouting.problem)]
        scouting.look_at(more)
        for way in more:
            _note(scouting, found, way)
        others = [way for way in found if way[-1].limb is None]
        best = max(others, key=lambda way: found[way], default=())
        if best and found[best] > WORTH_A_SEARCH * as_it_came:
            _refined(scouting, found, best)
    least = max(CLOSER_SHARE * as_it_came, 0.0)
    closer = _distinct(sorted((way for way in found if found[way] > least), key=lambda way: -found[way]), CLOSER_LOOKS)
    if not closer:
        return []
    scouting.look_closer_at([(), *closer])
    values = {way: scouting.closer_value(way) for way in closer}
    least = WORTH_A_SEARCH * max(scouting.closer_value(()), 0.0)
    return _distinct(sorted((way for way in closer if values[way] > least), key=lambda way: -values[way]), MOST_BUCKED)


def _distinct(ways: Sequence[tuple[BuckCut, ...]], most: int) -> list[tuple[BuckCut, ...]]:
    """Return the first few ways that differ from one another."""
    kept: list[tuple[BuckCut, ...]] = []
    for way in ways:
        if len(kept) < most and all(_differ(way, other) for other in kept):
            kept.append(way)
    return kept


def may_be_bucked(problem: Problem, buck_by: Buck) -> bool:
    """Tell whether there is anything to look at: limbs whose hearts are known, a stem long enough for two."""
    if buck_by == "no":
        return False
    limbs = any(_places_m(problem.log, limb) for limb in range(1, len(problem.log.hearts)))
    return limbs or (buck_by == "best" and bool(_stem_and_butt(problem.log, problem)))


def bucked_problem(problem: Problem, cuts: Sequence[BuckCut], weigh: Weigh) -> Problem:
    """Return the problem of a bucked log, its bolts priced."""
    bucked = buck(problem.log, cuts)
    worths = [worth for bolt in bucked.bolts for worth in worth_of(problem, bolt, weigh, priced=True)]
    return replace(problem.bucked_to(bucked.log, cuts), bolts=numbered(worths))


def _limbs_by_turns(scouting: Scouting, found: dict[tuple[BuckCut, ...], float]) -> tuple[BuckCut, ...]:
    """Note ways to cut limbs back, and return the best of them: one limb at a time, from the best single cut."""
    log = scouting.problem.log
    places = {limb: _places_m(log, limb) for limb in range(1, len(log.hearts))}
    best: dict[int, float] = {}
    best_value = scouting.value(())

    def way(at: dict[int, float]) -> tuple[BuckCut, ...]:
        return tuple(limb_cut(log, limb, at_m) for limb, at_m in sorted(at.items()))

    def tried(limb: int, candidates: Sequence[float | None]) -> bool:
        nonlocal best, best_value
        helped = False
        others = {k: v for k, v in best.items() if k != limb}
        every = [others if at_m is None else {**others, limb: at_m} for at_m in candidates]
        scouting.look_at([way(at) for at in every])
        for at in every:
            value = _note(scouting, found, way(at))
            if value > best_value:
                best, best_value, helped = at, value, True
        return helped

    singles: dict[int, float] = {}
    scouting.look_at([way({limb: at_m}) for limb, places_m in places.items() for at_m in places_m])
    for limb, places_m in places.items():
        values = [(_note(scouting, found, way({limb: at_m})), at_m) for at_m in places_m]
        if values:
            top, at_m = max(values)
            singles[limb] = at_m
            if top > best_value:
                best, best_value = {limb: at_m}, top
    if len(singles) > 1:
        both = _note(scouting, found, way(singles))
        if both > best_value:
            best, best_value = dict(singles), both
    start = best or singles  # where no cut helps by itself, both together may
    if start:
        first = min(start)
        for limb in (k for k in places if k != first):
            tried(limb, places[limb])
    for step_m in STEPS_M:
        for limb in sorted(best):
            ends = places[limb][0], limb_length_m(log, limb) - LEAST_CUT_M
            beside = [best[limb] + off for off in (-step_m, step_m) if ends[0] <= best[limb] + off <= ends[1]]
            tried(limb, beside)
    return way(best)


def _refined(scouting: Scouting, found: dict[tuple[BuckCut, ...], float], way: tuple[BuckCut, ...]) -> None:
    """Note ways with the last cut, of butt or stem, moved to the best inch."""
    log, best = scouting.problem.log, way
    make = butt_cut if way[-1].member == "butt" else stem_cut
    for step_m in STEPS_M:
        for off_m in (-step_m, step_m):
            at_m = best[-1].at_m + off_m
            if LEAST_CUT_M < at_m < log.length_m - LEAST_CUT_M:
                beside = (*best[:-1], make(log, at_m))
                if _note(scouting, found, beside) > found[best]:
                    best = beside


def _places_m(log: Log, limb: int) -> list[float]:
    from_m, to_m = limb_leaves_m(log, limb) + PAST_CROTCH_M, limb_length_m(log, limb) - LEAST_CUT_M
    return [float(at_m) for at_m in np.arange(from_m, to_m, COARSE_M)]


def _stem_and_butt(log: Log, problem: Problem) -> list[BuckCut]:
    """Return cuts square to the axis: a butt cut off, a stem cut off its fork, a long stem in two."""
    least_m = problem.prices.limits.min_length_m + sum(problem.end_trim_m)
    if log.forks:
        fork = min(log.forks, key=lambda fork: float(fork.crotch_m[0]))
        start_m = float(log.outer.bounds_m[0, 0])
        under = [float(fork.crotch_m[0]) - start_m - below * fork.diameter_m for below in UNDER_FORK]
        stems = [stem_cut(log, at_m) for at_m in under if least_m <= at_m < log.length_m - LEAST_CUT_M]
        return [*stems, *(butt_cut(log, k * COARSE_M) for k in (1, 2))]
    if log.length_m < 2.0 * least_m:
        return []
    places = np.linspace(least_m, log.length_m - least_m, STEM_PLACES + 2)[1:-1]
    # The longer part goes on the bed: it is searched well, the bolt is only scouted.
    return [(stem_cut if at_m >= 0.5 * log.length_m else butt_cut)(log, float(at_m)) for at_m in places]


def _note(scouting: Scouting, found: dict[tuple[BuckCut, ...], float], cuts: tuple[BuckCut, ...]) -> float:
    value = scouting.value(cuts)
    if cuts:
        found[cuts] = value
    return value


def _key(cuts: Sequence[BuckCut]) -> tuple[tuple[str, float], ...]:
    return tuple((cut.member, round(cut.at_m, 4)) for cut in cuts)


def _differ(a: tuple[BuckCut, ...], b: tuple[BuckCut, ...]) -> bool:
    places = {cut.member: cut.at_m for cut in a}, {cut.member: cut.at_m for cut in b}
    if set(places[0]) != set(places[1]):
        return True
    return any(abs(at_m - places[1][member]) >= COARSE_M for member, at_m in places[0].items())


def _through_metal(problem: Problem, cut: BuckCut) -> bool:
    """Tell whether a cut would run into marked metal, its keep-out included."""
    keep_out_m = problem.mill.metal_keep_out_m
    for rod in problem.metal:
        beyond_m = cut.beyond_m(rod.corners_m)
        through = beyond_m.min() < keep_out_m and beyond_m.max() > -keep_out_m
        if through and is_of_member(rod.corners_m.mean(axis=0), cut, problem.log.hearts):
            return True
    return False
