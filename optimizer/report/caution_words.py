"""How cautions name plans and slabs."""

from typing import Literal

from optimizer.documents.plan import Plan, Slab

Level = Literal["note", "warning", "stop"]
Verdict = tuple[Level, str] | None
"""Level and reason of a caution that shows."""


def of_plan(plan: Plan, *, named: bool) -> str:
    """Return of which plan something is: " of plan 2"; nothing where one alone is judged.

    named : whether several are, all of them ranked.
    """
    return f" of plan {plan.rank}" if named else ""


def slab_name(plan: Plan, slab: Slab, *, named: bool) -> str:
    """Return what to call a slab. named : see `of_plan`."""
    return f"slab {slab.id}{of_plan(plan, named=named)}"
