"""Which bunk a place on the bed is on, and how far from the butt end that is."""

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Plan
from optimizer.problem import support_rules


def bunk_number(mill: Mill, plan: Plan, x_m: float) -> int:
    """Return which bunk is nearest a place along the bed, from 1 at the butt end. x_m : bed frame."""
    rules = support_rules(mill)
    return max(0, round((x_m - plan.stretch_m[0] - rules.first_bunk_m) / rules.bunk_spacing_m)) + 1


def bunk_from_butt_m(mill: Mill, plan: Plan, x_m: float) -> float:
    """Return how far from the butt end, along the bed, that bunk is. [m].

    The bed's x is not that: where the log is tilted its end lies elsewhere, and bunks are counted from there.
    """
    rules = support_rules(mill)
    return rules.first_bunk_m + (bunk_number(mill, plan, x_m) - 1) * rules.bunk_spacing_m
