"""The ways of a plan document by the name that addresses give them, and the steps of each that a cut list ticks off."""

from optimizer.documents.plan import Plan, PlanDocument

PLAIN, LEVEL = "plain", "level"
_LAYING = ("stop", "roll", "sweep", "face")


def ways_by_key(document: PlanDocument) -> dict[str, Plan]:
    """Return every way: the plans by their rank, hearts level, the plain way."""
    beside = {LEVEL: document.hearts_level, PLAIN: document.plain_way}
    return {str(plan.rank): plan for plan in document.plans} | {
        key: plan for key, plan in beside.items() if plan is not None
    }


def steps_of(plan: Plan) -> frozenset[str]:
    """Return the steps of a way that may be ticked off.

    shim-0 stands for no shims, sweep-3 for the sweep for metal before pass 3, face for the face that is measured.
    """
    shims = (f"shim-{k}" for k in range(len(plan.placed()) + 1))
    bucks = (f"buck-{k}" for k in range(1, max(len(plan.buck_cuts), 2) + 1))
    passes = (f"{step}-{cut.order}" for cut in plan.passes for step in ("sweep", "pass"))
    return frozenset((*_LAYING, *bucks, *shims, *passes))
