"""How much better another lay could be, in words."""

from math import ceil

from optimizer.plan import PlanDocument

_WHOLE = 1e-6
"""Rounding errors do not make a whole number the next one."""


def bound_said(document: PlanDocument) -> str:
    """Say how much better another lay could be; nothing where that is not proven."""
    # It speaks of the log as measured, for which the plan that ranks first in doubt need not be the best.
    best = max(plan.net for plan in document.plans)
    if document.bound is None or best <= 0.0:
        return ""
    upper = document.bound.upper_net
    percent = percent_more(1.0 - best / upper) if upper > best else "0"
    better = "be better" if percent == "0" else f"be more than {percent} % better"
    if document.doubt is None:
        return f"No lay can {better}: this is proven."
    return f"On the log as measured, no lay can {better}: this is proven."


def percent_more(gap: float) -> str:
    """Return by how many per cent of the best so far another lay could be better, never too few.

    gap : what the best is under the proven bound, as a share of the bound, under 1.
    """
    percent = 100.0 * gap / (1.0 - gap)
    return f"{ceil(percent - _WHOLE) if percent > 1.0 else ceil(10.0 * percent - _WHOLE) / 10.0:g}"
