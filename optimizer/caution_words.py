"""How cautions name plans and slabs, and count things."""

from typing import Literal

from optimizer.plan import Plan, Slab

Level = Literal["note", "warning", "stop"]
Verdict = tuple[Level, str] | None
"""Level and reason of a caution that shows."""
YOUR_WAY = "your way"


def count_text(number: int, noun: str) -> str:
    """Return a number of things: "1 place", "2 places"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def plan_name(plan: Plan, *, own_way: bool) -> str:
    """Return what to call a plan. own_way : whether the first is what somebody chose, and no plan was searched for."""
    if plan.rank == 0:
        return "the plain way"
    return YOUR_WAY if own_way else f"plan {plan.rank}"


def slab_name(plan: Plan, slab: Slab, *, own_way: bool) -> str:
    """Return what to call a slab of a plan."""
    return f"slab {slab.id} of {plan_name(plan, own_way=own_way)}"
