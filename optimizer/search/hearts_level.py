"""Hearts level: butt heart and both limb hearts at one height, the way to the best feather; or what is in its way."""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

from optimizer.bed.pricing import Priced
from optimizer.problem import Problem
from optimizer.search.lays import price_scouted, scout
from optimizer.search.level import level_lays
from optimizer.standing.rolled import Rolled

InTheWay = Literal["posts", "shim", "prop", "stands", "throat"]
_WORST_FIRST: tuple[InTheWay, ...] = ("posts", "shim", "prop", "stands", "throat")
_WIDE_M = 10.0
"""Wider than any log."""


@dataclass(frozen=True)
class LevelWhy:
    """What keeps a log from being sawn with its hearts level, and by how much it is over; None: by all. [m].

    kind : posts: too wide between them. shim, prop: a third needs a higher one than the mill's highest. stands: the
    mass centre lies so much too near the edge of what holds it, or outside. throat: passes reach over it.
    """

    kind: InTheWay
    over_m: float | None


def hearts_level(problem: Problem) -> tuple[Priced | None, LevelWhy | None]:
    """Return the better of the two lays that put the three hearts level, or what is in its way.

    Of two things in the way the one that comes nearest to being possible. Neither
    for a log without a fork of two limbs whose hearts are known, or where it pays nothing.
    """
    found: list[Priced] = []
    whys: list[LevelWhy] = []
    for rolled, tilt_deg in level_lays(problem):
        why = _in_the_way(problem, rolled, tilt_deg)
        if why is None:
            priced = price_scouted(problem, scout(problem, problem.fine, rolled, tilt_deg, exact=True))
            checked = None if priced is None else problem.checked(priced)
            if checked is not None:
                found.append(checked)
                continue
            why = _not_held(problem, priced) if priced is not None else _throat(problem, rolled, tilt_deg)
        whys += [why] if why is not None else []
    best = max(found, key=lambda priced: priced.net, default=None)
    nearest = max(whys, key=lambda why: _WORST_FIRST.index(why.kind), default=None)
    return best, nearest if best is None else None


def _in_the_way(problem: Problem, rolled: Rolled, tilt_deg: float) -> LevelWhy | None:
    posts_m, rules = problem.mill.between_posts_m, problem.supports.rules
    if posts_m is not None and rolled.width_m > posts_m:
        return LevelWhy("posts", rolled.width_m - posts_m)
    gap_m = max(rolled.gaps_m(tilt_deg))
    if gap_m > rules.highest_m:
        kind: InTheWay = "prop" if rules.max_prop_m >= rules.max_shim_m else "shim"
        return LevelWhy(kind, gap_m - rules.highest_m if isfinite(gap_m) else None)
    if not rolled.stands(tilt_deg):
        short_m = -float(rolled.stands_at(tilt_deg).spare_m[-1])
        return LevelWhy("stands", short_m if isfinite(short_m) else None)
    return None


def _not_held(problem: Problem, priced: Priced) -> LevelWhy:
    short_m = -problem.standing(priced).worst.spare_m
    return LevelWhy("stands", short_m if isfinite(short_m) else None)


def _throat(problem: Problem, rolled: Rolled, tilt_deg: float) -> LevelWhy | None:
    eased = problem.on(throat_m=_WIDE_M)
    priced = price_scouted(eased, scout(eased, eased.fine, eased.supports.turned(rolled.roll_deg), tilt_deg))
    if priced is None or priced.net <= 0.0:
        return None
    over_m = max(cut.reach_m for cut in priced.passes) - problem.mill.throat_m
    return LevelWhy("throat", over_m) if over_m > 0.0 else None
