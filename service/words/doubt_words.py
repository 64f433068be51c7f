"""How sure a plan is, in words: how often it is the best, what we are least sure of, and what would firm it up."""

from optimizer.documents.plan import Plan, PlanDocument, WouldPay
from optimizer.doubt.possible_logs import BARK, BLADE, HEART, MARKS, ROLL, SHIMS, SIZE, SURFACE, UNSEEN
from service.words.measures import Measures
from service.words.money_words import percent_words
from service.words.slab_words import numbered

SOURCE_WORDS = {
    UNSEEN: "the side that wasn't seen",
    SURFACE: "the surface",
    SIZE: "overall size",
    BARK: "bark thickness",
    HEART: "where the pith runs",
    MARKS: "where the marks are",
    ROLL: "how far you roll it",
    SHIMS: "the shims",
    BLADE: "the blade height",
    "readings": "tape readings",
    "form between the sections": "the shape between the places you measured",
    "lean of the limbs": "limb angle",
    "ridges under the calipers": "lumps under the calipers",
}
"""What a source of doubt is called; others are called by their own name."""
RANGE_WORDS = "4 times out of 5 it should land in this range"
LEAST_SHARE = 0.01
_ALIKE_DEG = 15.0


def average_words(document: PlanDocument) -> str:
    """Say what the average net is."""
    ranked = ", and plans are ranked by it" if is_contest(document) else ""
    versions = "versions of your log, each a little different inside what you measured"
    return f"Average net is what you clear on average over {versions}{ranked}."


def is_contest(document: PlanDocument) -> bool:
    """Tell whether it is known how often each of several plans is the best."""
    return len(document.plans) > 1 and document.plans[0].chance_best is not None


BEST_PICK_WORDS = "Best pick is how often a plan beats the others; plans that are nearly the same split the vote."


def best_pick(document: PlanDocument, plan: Plan) -> str:
    """Say how often a way is the best of those shown; nothing where doubt was not weighed.

    Plans that are set up much alike take that chance from each other, so they are told together.
    """
    if plan.chance_best is None:
        return ""
    alike = [other for other in document.plans if _are_alike(plan, other)] if plan in document.plans else []
    own = f"{100.0 * plan.chance_best:.0f}% of the time"
    if len(alike) < 2:
        return own
    ranks = [other.rank for other in alike if other is not plan]
    together = sum(other.chance_best or 0.0 for other in alike)
    return f"{own}; with {numbered('plan', ranks)}, nearly the same setup, {100.0 * together:.0f}%"


def _are_alike(one: Plan, other: Plan) -> bool:
    """Whether one would hardly tell two plans' setups apart (our own rule, no source)."""
    turn_deg = abs(one.roll_deg - other.roll_deg) % 360.0
    return min(turn_deg, 360.0 - turn_deg) <= _ALIKE_DEG


def sources_words(document: PlanDocument) -> list[tuple[str, str]]:
    """Return what we are least sure of, and its share, the greatest first; shares under 1% are left out."""
    sources = () if document.doubt is None else document.doubt.sources
    return [
        (SOURCE_WORDS.get(each.source, each.source), percent_words(each.share))
        for each in sources
        if each.share >= LEAST_SHARE
    ]


def pays_words(document: PlanDocument, way: WouldPay, measures: Measures) -> str:
    """Say what it would bring to measure something more, and what it takes."""
    rate = document.mill.pace.hourly_rate
    cost = f" ({measures.money(way.minutes * rate / 60.0)} of your time)" if rate else ""
    minutes = "1 minute's" if round(way.minutes) == 1 else f"{way.minutes:.0f} minutes'"
    return f"worth about {measures.money(way.gain)} on average for {minutes} work{cost}"
