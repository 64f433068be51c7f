"""Why there is no plan: which limit, by how much, and what would help."""

from dataclasses import replace
from math import isfinite

import numpy as np

from optimizer.problem import Problem
from optimizer.search.lays import scout
from optimizer.stations.terms import REACH_MARGIN_M
from scans.messages import Refusal, long_length, mass, named, short_length

ROLL_STEP_DEG = 5.0
_UNDER_FORK = (0.0, 0.5, 1.0)
"""Where to crosscut, in stem diameters below where the bark parts: the stem swells towards the fork."""


class NoPlanError(Refusal):
    """No plan is possible; the message says why in one line."""


def check_log_fits(problem: Problem, mass_kg: float) -> None:
    """Refuse a log that no lay of the mill can take. Raises NoPlanError."""
    mill, log = problem.mill, problem.log
    if mill.max_log_mass_kg is not None and mass_kg > mill.max_log_mass_kg:
        over_kg = mass_kg - mill.max_log_mass_kg
        raise NoPlanError(
            f"the log is too heavy for the mill: about {mass(mass_kg)}, {mass(over_kg)} more than "
            f"{named('max_log_mass_kg')}, {mass(mill.max_log_mass_kg)}",
            "buck it, or rip it in half with a chainsaw first",
        )
    usable_m = log.length_m - sum(problem.end_trim_m)
    if (
        mill.bed_length_m is not None
        and mill.bed_length_m - sum(problem.end_trim_m) < problem.prices.limits.min_length_m
    ):
        raise NoPlanError(
            f"the bed is too short: your buyers want at least {long_length(problem.prices.limits.min_length_m)} "
            f"({named('limits.min_length')}), more than {named('bed_length')}, {long_length(mill.bed_length_m)}, less "
            "the "
            "end trim",
            "trim less, or lower that limit if you sell shorter",
        )
    if usable_m < problem.prices.limits.min_length_m:
        raise NoPlanError(
            f"the log is too short: {long_length(max(usable_m, 0.0))} is left after the end trim, and your buyers "
            "want at "
            f"least {long_length(problem.prices.limits.min_length_m)} ({named('limits.min_length')})",
            "trim less, or lower that limit if you sell shorter",
        )
    rolls = [problem.supports.turned(r) for r in np.arange(0.0, 360.0, ROLL_STEP_DEG)]
    posts_m = mill.between_posts_m
    if posts_m is not None and all(rolled.width_m > posts_m for rolled in rolls):
        least_m = min(rolled.width_m for rolled in rolls)
        raise NoPlanError(
            f"the log is too wide to pass between the posts: {short_length(least_m)} at its narrowest roll, "
            f"{short_length(least_m - posts_m)} more than {named('between_posts')}",
            "trim what sticks out, or rip it in half with a chainsaw first",
        )
    if all(problem.tilt_range_deg(rolled) is None for rolled in rolls):
        fitting = [rolled for rolled in rolls if posts_m is None or rolled.width_m <= posts_m]
        needed_m = min(max(rolled.gaps_m(rolled.resting_tilt_deg)) for rolled in fitting)
        highest_m = problem.supports.rules.highest_m
        if not isfinite(needed_m):
            raise NoPlanError(
                f"the log is too short for the bunks: no bunk lies under both its ends, "
                f"{short_length(problem.supports.rules.bunk_spacing_m)} apart; set the bunks closer (bunk_spacing)"
            )
        raise NoPlanError(
            f"the log has too much sweep for your blocks: it needs {short_length(needed_m)} at its best roll, "
            f"{short_length(needed_m - highest_m)} more than {named('max_prop')}",
            "allow taller blocks, or buck it at the bend",
        )


def explain_no_plan(problem: Problem) -> NoPlanError:
    """Say what keeps every lay from paying: the first limit whose lifting would give a plan."""
    mill = problem.mill
    best = _best_without(problem, {})
    relaxed: list[tuple[str, dict[str, float | None], str]] = [
        ("throat", {"throat_m": 10.0}, "a wider cut, or ripping the log in half with a chainsaw first"),
        ("throat_depth", {"throat_depth_m": None}, "more room above the blade, or trimming what stands up"),
        ("lowest_blade", {"lowest_blade_m": 0.0}, "a lower blade, or raising the log on higher bunks"),
        ("highest_blade", {"highest_blade_m": None}, "a blade that goes higher, or ripping the log in half first"),
        ("clamps_hold", {"clamps_hold": True}, "clamps that hold a log that would not stand by itself"),
    ]
    for name, change, help_text in relaxed:
        found = _best_without(problem, change)
        if found > max(best, 0.0):
            by = more = ""
            if name == "throat":
                width_m = problem.supports.turned(0.0).width_m
                by = (
                    f": the log is {short_length(width_m)} wide as it lay, the widest cut "
                    f"{short_length(mill.throat_m)} "
                    f"less {short_length(REACH_MARGIN_M)} to spare"
                )
                more = _shorter_helps(problem)
            return NoPlanError(
                f"no cut that pays is possible on this mill because of {named(name)}{by}",
                f"what would help: {help_text}{more}",
                field=name,
            )
    limits = problem.prices.limits
    no_size = _best_without(problem, {}, min_width_m=0.01, min_length_m=0.1)
    if no_size > 0.0:
        return NoPlanError(
            f"no slab is large enough for your buyers ({named('limits.min_width')} {short_length(limits.min_width_m)}, "
            f"{named('limits.min_length')} {long_length(limits.min_length_m)})",
            "what would help: buyers who take smaller slabs",
        )
    return NoPlanError(
        "no plan makes money: at these prices no slab pays for its own sawing, handling and drying",
        f"what would help: a better price, or a lower {named('pace.hourly_rate')}",
    )


def _shorter_helps(problem: Problem) -> str:
    """Say which crosscut leaves a length that gives slabs; nothing where none that was tried does.

    Under the fork, else in the middle: what is left is narrower where limbs spread, or where a long log is crooked.
    Places are told from the butt end of the log, of which `problem` may hold a stretch.
    """
    from_m, to_m = (float(x) for x in problem.log.outer.bounds_m[:, 0])
    if problem.log.forks:
        fork = min(problem.log.forks, key=lambda fork: float(fork.crotch_m[0]))
        for below in _UNDER_FORK:
            cut_m = float(fork.crotch_m[0]) - below * fork.diameter_m
            # Only where the stem alone gives slabs are the limbs known to be in the way.
            if _pays(problem, from_m, cut_m):
                under = f"bucking it below the crotch, at about {long_length(cut_m)} from the butt end"
                return f", cutting off a limb, or {under}"
        return ""
    middle_m = 0.5 * (from_m + to_m)
    if _pays(problem, from_m, middle_m) or _pays(problem, middle_m, to_m):
        return f", or bucking it, such as at {long_length(middle_m)} from the butt end"
    return ""


def _pays(problem: Problem, from_m: float, to_m: float) -> bool:
    """Whether the part of the log between two places along it gives slabs that pay, crosscut there. [m]."""
    if to_m - from_m - sum(problem.end_trim_m) < problem.prices.limits.min_length_m:
        return False
    start_m = float(problem.log.outer.bounds_m[0, 0])
    return _best_without(problem.stretch(from_m - start_m, to_m - start_m), {}) > 0.0


def _best_without(problem: Problem, mill_change: dict[str, float | None], **limits_change: float) -> float:
    prices = problem.prices
    if limits_change:
        limits = prices.limits.model_copy(update=limits_change)
        prices = prices.model_copy(update={"limits": limits})
    eased = replace(problem.on(**mill_change), prices=prices)
    best = 0.0
    for roll_deg in np.arange(0.0, 360.0, 4.0 * ROLL_STEP_DEG):
        rolled = eased.supports.turned(float(roll_deg))
        if eased.tilt_range_deg(rolled) is not None:
            best = max(best, scout(eased, problem.coarse, rolled, rolled.resting_tilt_deg).net)
    return best
