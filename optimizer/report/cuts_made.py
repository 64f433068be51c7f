"""The buck cuts of a plan document, as cuts."""

import numpy as np

from optimizer.bed.buck_cuts import BuckCut, from_butt_m, leaves_m
from optimizer.documents.plan import LogFound, Plan

CROSSCUT_M = 0.01
"""A stretch that ends so much before the log does is crosscut there."""


def cuts_made(plan: Plan, length_m: float) -> tuple[BuckCut, ...]:
    """Return how a plan bucks its log. length_m : of the log.

    Documents from before cuts were told name the stretch alone.
    """
    if plan.buck_cuts:
        return tuple(BuckCut(cut.member, cut.at_m, cut.point_m, cut.normal) for cut in plan.buck_cuts)
    from_m, to_m = plan.stretch_m
    found = []
    if from_m > CROSSCUT_M:
        found.append(BuckCut("butt", from_m, (from_m, 0.0, 0.0), (-1.0, 0.0, 0.0)))
    if to_m < length_m - CROSSCUT_M:
        found.append(BuckCut("stem", to_m, (to_m, 0.0, 0.0), (1.0, 0.0, 0.0)))
    return tuple(found)


def past_crotch_m(log: LogFound, cut: BuckCut) -> float:
    """Return how far along its limb a cut is past where it first runs clear of the crotch. [m]."""
    crotches = [np.array(fork.crotch_m) for fork in log.forks]
    return cut.at_m - leaves_m(np.array(log.hearts[cut.limb or 0]), crotches)


def tape_m(log: LogFound, cut: BuckCut) -> float:
    """Return how far a cut is from the butt end by a tape along the stem's heart, and then along the limb's. [m]."""
    return from_butt_m([np.array(line) for line in log.hearts], cut)
