"""When a plan's money comes, and what drying and waiting take of it, in words."""

from datetime import date
from itertools import groupby

from optimizer.documents.plan import Plan, PlanDocument
from optimizer.documents.prices import PriceBook
from service.words.measures import Measures

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def drying_words(plan: Plan, prices: PriceBook, measures: Measures) -> str:
    """Say what the drying cost is made of: drying, what is lost in it, and the wait; nothing where it is drying alone.

    Loss and wait are shares of the price, the wait of what is left after the loss. What both take of a pair's premium
    is in the document's sum alone, and is parted as the slabs' own is.
    """
    dried = lost = waited = 0.0
    for slab in plan.slabs:
        drying = prices.drying_of(slab.quarters)
        dried += slab.board_feet * drying.cost_per_board_foot
        lost += slab.price * drying.lost
        waited += slab.price * (1.0 - drying.lost - prices.kept_share(drying))
    if not lost + waited > 0.0:
        return ""
    share = (plan.drying_cost - dried) / (lost + waited)
    told = [
        f"{measures.money(amount)} {what}"
        for amount, what in ((dried, "to dry"), (lost * share, "lost in drying"), (waited * share, "for the wait"))
        if measures.money(amount) != measures.money(0.0)
    ]
    return ", ".join(told)


def first_money_words(plan: Plan, document: PlanDocument) -> str:
    """Say in a sentence when the first money comes, counted from the plan's day, and how long each thickness takes.

    Nothing where the price book tells no months, or nothing is sold.
    """
    months = _months(plan, document.prices)
    if not months:
        return ""
    each = [f"{quarters}/4 takes {_long(after)}" for quarters, after in months.items()]
    if len(months) == 1:
        return f"Money about {first_month(plan, document)}: {each[0]} from the saw to the sale."
    return f"First money about {first_month(plan, document)}: {', '.join(each)} from the saw to the sale."


def first_month(plan: Plan, document: PlanDocument) -> str:
    """Return the month in which the first slabs are sold; nothing where no months are told."""
    months = _months(plan, document.prices)
    return _when(document, min(months.values())) if months else ""


def _months(plan: Plan, prices: PriceBook) -> dict[int, float]:
    """Return months from the saw to the sale by quarters, the thinnest first; nothing where none are told."""
    months = {quarters: prices.drying_of(quarters).months for quarters in sorted({s.quarters for s in plan.slabs})}
    return months if any(months.values()) else {}


def stack_words(plan: Plan, document: PlanDocument) -> str:
    """Say which slabs to stack together and when each stack is sold; nothing where no months are told."""
    months = _months(plan, document.prices)
    if not months:
        return ""
    slabs = sorted(plan.slabs, key=lambda slab: slab.quarters)
    stacks = [
        f"{quarters}/4 (slab {', '.join(slab.id for slab in of)}), sold about {_when(document, months[quarters])}"
        for quarters, of in groupby(slabs, key=lambda slab: slab.quarters)
    ]
    return f"Stack by thickness: {'; '.join(stacks)}."


def _long(months: float) -> str:
    whole = round(months)
    return "under a month" if whole < 1 else f"{whole} month{'' if whole == 1 else 's'}"


def _when(document: PlanDocument, months: float) -> str:
    """Return the month that lies so many after the one in which a plan was made: `March 2028`."""
    made = date.fromisoformat(document.made_at[:10])
    years, month = divmod(made.month - 1 + round(months), 12)
    return f"{_MONTHS[month]} {made.year + years}"


def left_words(seconds: float | None) -> str:
    """Say about how long something takes yet, never to the second; nothing where nobody can tell."""
    if seconds is None:
        return ""
    if seconds < 10.0:
        return "a few seconds left"
    if seconds < 90.0:
        return f"about {10 * max(1, round(seconds / 10.0))} seconds left"
    return f"about {round(seconds / 60.0)} minutes left"
