"""How much better another lay could be, in words."""

from math import ceil

from optimizer.documents.plan import PlanDocument

_WHOLE = 1e-6
"""Rounding errors do not make a whole number the next one."""


def bound_said(document: PlanDocument) -> str:
    """Say how much better another lay could be; nothing where that is not proven."""
    if document.bound is None or document.bound.gap >= 1.0:
        return ""
    percent = percent_more(document.bound.gap)
    better = "be better" if percent == "0" else f"be more than {percent} % better"
    if document.doubt is None:
        return f"No lay can {better}: this is proven."
    # The best on the log as given need not be among the plans that are shown, which do best in doubt.
    return f"On the log exactly as given, no lay can {better} than the best found for it: this is proven."


def percent_more(gap: float) -> str:
    """Return by how many per cent of the best so far another lay could be better, never too few.

    gap : what the best is under the proven bound, as a share of the bound, under 1.
    """
    percent = 100.0 * gap / (1.0 - gap)
    return f"{ceil(percent - _WHOLE) if percent > 1.0 else ceil(10.0 * percent - _WHOLE) / 10.0:g}"
