"""What the ways of a plan document are called."""

from optimizer.documents.plan import Plan, PlanDocument
from service.words.measures import Measures, turn_deg

STRAIGHT, PITH_LEVEL = "Straight through", "Pith level"
PITH_LEVEL_MEANS = "butt and both limb piths at the same height, the usual setup for best crotch figure"


def way_name(document: PlanDocument, plan: Plan, first: str = "Plan 1") -> str:
    """Return what to call a way. first : what the first plan is called."""
    if plan is document.plain_way:
        return STRAIGHT
    if plan is document.hearts_level:
        return PITH_LEVEL
    return first if plan.rank == 1 else f"Plan {plan.rank}"


def straight_lies(document: PlanDocument, plain: Plan) -> str:
    """Say how the log lies that is sawn straight through."""
    if turn_deg(plain.roll_deg) == 0:
        return "as it lies"
    return "straight through with its limbs flat" if document.log.forks else "straight through with the least turn"


def level_in_the_way(document: PlanDocument, measures: Measures) -> str:
    """Say what keeps a crotch log from being sawn with its piths level; nothing where it can be."""
    why = document.hearts_level_why
    if document.hearts_level is not None or why is None:
        return ""
    by = "" if why.over_m is None else f" {measures.short(why.over_m)}"
    return f"{PITH_LEVEL} does not work here: {_IN_THE_WAY[why.kind].format(by=by)}"


_IN_THE_WAY = {
    "posts": "the log is{by} too wide for your posts that way. Shorter limbs may allow it.",
    "throat": "the cuts are{by} too wide for your mill that way. Shorter limbs may allow it.",
    "shim": "a shim must be{by} higher than your highest. Shorter limbs may allow it.",
    "prop": "blocks must be{by} higher than your highest. Shorter limbs may allow it.",
    "stands": "the log turns over that way, as its weight lies{by} too far out. Blocks elsewhere may hold it.",
}
"""What keeps piths from being level, by the kind of LevelWhy, and what may help."""
