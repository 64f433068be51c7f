"""What the search tried, and how much better another setup could be, in words."""

from math import ceil

from optimizer.documents.plan import PlanDocument

_WHOLE = 1e-6
"""Rounding errors do not make a whole number the next one."""


def bound_said(document: PlanDocument) -> str:
    """Say how much better another setup could be; nothing where that is not proven."""
    if document.bound is None or document.bound.gap >= 1.0:
        return ""
    percent = percent_more(document.bound.gap)
    by = "" if percent == "0" else f" by more than {percent}%"
    if document.doubt is None:
        return f"We checked: no setup could beat this{by}."
    # The best on the log as measured need not be among the plans that are shown, which do best in doubt.
    return f"We checked: if the log is exactly as measured, no setup could beat the best one for it{by}."


_ENDED = {"lays": "", "gap": "", "time": ", when the time was up", "cancelled": ", when told to stop"}


def search_said(document: PlanDocument) -> str:
    """Say how many setups were tried; of a search alone."""
    work = document.work
    tried = f"Tried {work.lays:,} {'setup' if work.lays == 1 else 'setups'} in {work.seconds:.0f} s"
    open_ = "" if bound_said(document) else " We did not work out how much better another setup could be."
    return f"{tried}{_ENDED[work.stopped_by]}.{open_}"


def percent_more(gap: float) -> str:
    """Return by how many per cent of the best so far another setup could be better, never too few.

    gap : what the best is under the proven bound, as a share of the bound, under 1.
    """
    percent = 100.0 * gap / (1.0 - gap)
    return f"{ceil(percent - _WHOLE) if percent > 1.0 else ceil(10.0 * percent - _WHOLE) / 10.0:g}"
