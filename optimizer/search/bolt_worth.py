"""What a bolt that was cut off brings: as a small log of its own, or as firewood."""

from collections.abc import Callable
from dataclasses import replace
from math import ceil

import numpy as np

from optimizer.bed.bolts import Bolt, BoltWorth
from optimizer.bed.buck_cuts import BuckError, stem_cut
from optimizer.bed.cut_back import CutBack
from optimizer.problem import Problem
from optimizer.search.lays import Scouted, price_scouted, scout
from optimizer.stations.stations import Stations, stations_of
from scans.log import Log

ROLL_STEP_DEG = 45.0
SPACING_M = 0.03
"""How finely a bolt is scouted (our own rules, no source)."""

Weigh = Callable[[Log], float]
"""What a log weighs green, bark included. [kg]."""


def worth_of(problem: Problem, bolt: Bolt, weigh: Weigh, *, priced: bool = False) -> list[BoltWorth]:
    """Return what a bolt brings; of one longer than the bed, what the equal lengths of it do that go on it.

    priced : whether its best lay is worked out on the mesh itself; else it is scouted alone.
    """
    here, bed_m = problem.of_bolt(bolt), problem.mill.bed_length_m
    length_m = bolt.log.length_m
    if bed_m is not None and length_m > bed_m:
        return [
            worth
            for part in _equal_lengths(bolt, ceil(length_m / bed_m - 1e-9))
            for worth in worth_of(problem, part, weigh, priced=priced)
        ]
    mass_kg = weigh(bolt.log)
    most_kg = problem.mill.max_log_mass_kg
    fits = most_kg is None or mass_kg <= most_kg
    net = _net(here, priced=priced) if fits else None
    firewood = mass_kg * problem.prices.money.offcut_per_kg
    sawn = net is not None and net > firewood
    return [BoltWorth(bolt.member, length_m, mass_kg, net if sawn else None, net if sawn and net else firewood)]


def _equal_lengths(bolt: Bolt, count: int) -> list[Bolt]:
    each_m, parts, rest = bolt.log.length_m / count, [], bolt.log
    for _ in range(count - 1):
        try:
            ready = CutBack.of(rest, [stem_cut(rest, each_m)])
        except BuckError:
            break
        parts.append(ready.made_on(rest))
        (far, *_) = ready.bolts_of(rest)
        rest = far.log
    return [Bolt(bolt.member, part, bolt.log_to_bolt) for part in (*parts, rest)]


def _net(problem: Problem, *, priced: bool) -> float | None:
    """Return the best net that a coarse turn finds; None where nothing pays."""
    if problem.log.length_m - sum(problem.end_trim_m) < problem.prices.limits.min_length_m:
        return None
    stations = stations_of(problem.log, problem.end_trim_m, SPACING_M, problem.zones)
    best_net, best_deg = 0.0, 0.0
    for roll_deg in whole_turn_deg(ROLL_STEP_DEG):
        one = scouted_at(problem, stations, roll_deg, best_net)
        if one is not None and one.net > best_net:
            best_net, best_deg = one.net, roll_deg
    if best_net <= 0.0 or not priced:
        return best_net if best_net > 0.0 else None
    rolled = problem.supports.turned(best_deg)
    fine = scout(problem, problem.fine, rolled, rolled.resting_tilt_deg, exact=True)
    plan = price_scouted(problem, fine)
    plan = None if plan is None else problem.checked(plan)
    return plan.net if plan is not None and plan.net > 0.0 else None


def scouted_at(problem: Problem, stations: Stations, roll_deg: float, floor: float = 0.0) -> Scouted | None:
    """Return what scouting makes of a roll at its resting tilt (see scout); None where it does not fit the posts."""
    rolled = problem.supports.turned(roll_deg)
    if not problem.fits_between_posts(rolled):
        return None
    return scout(problem, stations, rolled, rolled.resting_tilt_deg, floor=floor)


def whole_turn_deg(step_deg: float) -> list[float]:
    """Return rolls so far apart, the whole turn. [deg]."""
    return [float(roll_deg) for roll_deg in np.arange(0.0, 360.0, step_deg)]


def numbered(worths: list[BoltWorth]) -> tuple[BoltWorth, ...]:
    """Return bolts with their ids, in the order in which they come off."""
    return tuple(replace(worth, id=f"bolt {k}") for k, worth in enumerate(worths, start=1))
