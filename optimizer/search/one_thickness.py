"""The best plan's log sawn in one thickness alone: what choosing among several is worth."""

from collections.abc import Callable

from optimizer.bed.pricing import Priced
from optimizer.problem import Problem
from optimizer.stations.passes import Cuts
from optimizer.stations.ruled_passes import best_ruled_cuts
from optimizer.stations.rules import Rules, only


def in_one_thickness(problem: Problem, plan: Priced, best_cuts: Callable[[Rules], Cuts] | None = None) -> Priced | None:
    """Return the best way to saw a log in one thickness, laid as a plan lays it; None where nothing pays so.

    None too where the plan has one thickness itself. best_cuts : returns the best cuts of that lay under rules; by
    default those on the log as given.
    """
    if len({slab.quarters for slab in plan.slabs}) <= 1:
        return None
    lay = plan.lay
    if best_cuts is None:
        table = problem.table(problem.fine, problem.supports.turned(lay.roll_deg), lay.tilt_deg, exact=True)

        def best_cuts(rules: Rules) -> Cuts:
            return best_ruled_cuts(table, problem.terms, rules)

    ways = [best_cuts(only(entry, problem.rules)) for entry in range(len(problem.menu))]
    for cuts in sorted(ways, key=lambda cuts: -cuts.net):
        priced = problem.checked(problem.price(lay, cuts)) if cuts.rows else None
        if priced is not None and priced.slabs:
            return priced
    return None
