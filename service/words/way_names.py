"""What the ways of a plan document are called."""

from optimizer.documents.plan import Plan, PlanDocument

STRAIGHT, PITH_LEVEL = "Straight through", "Pith level"
STRAIGHT_MEANS = "sawn as it lies, all one thickness"
PITH_LEVEL_MEANS = "butt and both limb piths at the same height, the usual setup for best crotch figure"


def way_name(document: PlanDocument, plan: Plan, first: str = "Plan 1") -> str:
    """Return what to call a way. first : what the first plan is called."""
    if plan is document.plain_way:
        return STRAIGHT
    if plan is document.hearts_level:
        return PITH_LEVEL
    return first if plan.rank == 1 else f"Plan {plan.rank}"
