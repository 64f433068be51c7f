"""What a way brings, in words: its net, how it stands beside sawing straight through, and the sums behind it."""

from typing import Protocol

from optimizer.documents.plan import Plan, PlanDocument
from optimizer.report.plain_way_stop import passes_before_metal
from scans.messages import counted
from service.words.log_price_words import log_cost_rows
from service.words.measures import Measures, board_feet_text, minutes_text
from service.words.slab_words import LEAST_AREA_M2, numbered
from service.words.time_words import drying_words
from service.words.way_names import straight_lies
from service.words.worth import worth_inside

MOST_TIMES = 10.0
"""A difference of so many times the net that it is held against is better told in money alone."""


OLD_BOOK = (
    "New in price books: how buyers measure, months and losses in drying, slabs with pith in them, pairs. Yours "
    "does not say."
)


class _HasNet(Protocol):
    """A plan, or a line of one."""

    @property
    def net(self) -> float: ...

    @property
    def net_expected(self) -> float | None: ...


def worth(plan: _HasNet) -> float:
    """Return the net that a plan is ranked by: the average over possible logs.

    On the log exactly as measured where doubt was not weighed.
    """
    return plan.net if plan.net_expected is None else plan.net_expected


def net_words(plan: _HasNet) -> str:
    """Say what the net shown large is."""
    return "net" if plan.net_expected is None else "average net"


def range_words(plan: Plan, measures: Measures) -> str:
    """Say between what amounts the net should land; nothing where doubt was not weighed."""
    if plan.net_p10 is None or plan.net_p90 is None:
        return ""
    return f"{measures.money(plan.net_p10)} to {measures.money(plan.net_p90)}"


def feet_range_words(plan: Plan) -> str:
    """Say between how many board feet it should give; nothing where doubt was not weighed."""
    if plan.board_feet_p10 is None or plan.board_feet_p90 is None:
        return ""
    return f"{board_feet_text(plan.board_feet_p10)} to {board_feet_text(plan.board_feet_p90)} board feet"


def is_comparable(document: PlanDocument) -> bool:
    """Tell whether ways can be held against sawing straight through.

    Not where the mill cannot take the log so, where it stops early, which flatters all others, and where some of the
    cuts are made already.
    """
    stops = document.plain_way_why is not None or passes_before_metal(document) is not None
    return document.plain_way is not None and document.kind != "rest" and not stops


def more_than_straight(document: PlanDocument, plan: Plan) -> float | None:
    """Return by how much a way nets more than sawing straight through; None where the two cannot be compared."""
    if document.plain_way is None or plan is document.plain_way or not is_comparable(document):
        return None
    return worth(plan) - worth(document.plain_way)


def against_words(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Say `$117 (5%) more than sawing it as it lies`; nothing where the two cannot be compared."""
    more = more_words(document, plan, measures)
    if not more or document.plain_way is None:
        return ""
    return f"{more} than sawing it {straight_lies(document, document.plain_way)}"


def more_words(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Say `$117 (5%) more`, than sawing straight through; nothing where the two cannot be compared."""
    more = more_than_straight(document, plan)
    if more is None or document.plain_way is None:
        return ""
    if measures.money(more) == measures.money(0.0):
        return "no more"
    base = worth(document.plain_way)
    share = f" ({percent_words(abs(more) / base)})" if 0.0 < abs(more) < MOST_TIMES * base else ""
    return f"{measures.money(abs(more))}{share} {'more' if more > 0.0 else 'less'}"


def compared_words(document: PlanDocument, measures: Measures, title: str) -> str:
    """Say in a sentence what the first way should net beside sawing straight through, or why that is not said."""
    best = document.plans[0]
    if document.kind == "rest":
        cuts = cuts_words(document.made)
        return f"With the {cuts} you've made, the log should net about {measures.money(worth(best))} in all."
    said = against_words(document, best, measures)
    if not said:
        return not_compared_words(document)
    return f"{title} should net {said if said.startswith('no ') else f'about {said}'}."


def not_compared_words(document: PlanDocument) -> str:
    """Say why ways are not held against sawing straight through; nothing where they are."""
    if document.plain_way is None:
        return "Can't compare with sawing it as it lies: your mill can't take it that way."
    if document.kind == "rest":
        return ""
    lies = straight_lies(document, document.plain_way)
    made = passes_before_metal(document)
    if made is None and document.plain_way_why is not None:
        cuts = cuts_words(len(document.plain_way.passes))
        return (
            f"Can't compare with sawing it {lies}: that stops after {cuts}, as {_STOPS[document.plain_way_why.kind]}."
        )
    if made is None:
        return ""
    return (
        f"Can't compare with sawing it {lies}: the metal stops that after {cuts_words(made)}. "
        "A sawyer would go around it and may get more."
    )


_STOPS = {
    "stands": "the rest would turn over",
    "throat": "the next cut is too wide for the mill",
    "throat_depth": "too much wood would stand above the blade",
    "metal": "metal is in the way",
    "lowest_blade": "the blade goes no lower",
    "highest_blade": "the blade goes no higher",
    "wood": "it gives no slab to sell",
}
"""What stops sawing straight through, by the kind of PlainWhy."""


def percent_words(share: float) -> str:
    """Write a share: `5%`."""
    return f"{100.0 * share:.0f}%" if share >= 0.005 or share == 0.0 else "under 1%"


def cuts_words(count: int) -> str:
    """Write how many cuts: `1 cut`, `2 cuts`."""
    return counted(count, "cut")


def sum_rows(plan: Plan, document: PlanDocument, measures: Measures) -> list[tuple[str, str, str]]:
    """Return the sums from what the slabs sell for to what is left: what, how much, and a remark."""
    flip = ", a flip" if plan.flipped_log_to_bed is not None else ""
    minutes = minutes_text(sum(cut.minutes for cut in plan.passes))
    slabs = counted(len(plan.slabs), "slab")
    sold = (
        f"{slabs}, {board_feet_text(plan.board_feet)} board feet, {percent_words(plan.recovery)} of the wood is in them"
    )
    bucked = f", {counted(len(plan.buck_cuts), 'buck cut')}" if plan.buck_cuts else ""
    sawn = f"{cuts_words(len(plan.passes))}{flip}, {minutes} sawing, plus handling{bucked}{_worn(document, measures)}"
    rows = [
        ("Slabs sell for", measures.money(plan.gross), sold),
        *pair_rows(plan, measures),
        ("Sawing", measures.money(-plan.sawing_cost), sawn),
        ("Drying", measures.money(-plan.drying_cost), drying_words(plan, document.prices, measures)),
    ]  # fmt: skip
    if plan.bolts:
        bolts = measures.money(sum(bolt.worth for bolt in plan.bolts))
        rows.append(("Bucked off", bolts, counted(len(plan.bolts), "piece")))
    if plan.net_expected is None:
        rows.append(("Net", measures.money(plan.net), ""))
    else:
        rows.append(("Net if exactly as measured", measures.money(plan.net), "what these cuts give"))
        rows.append(("Net to plan on", measures.money(plan.net_expected), "the average: no log is exactly as measured"))
    return rows + log_cost_rows(plan, document.log, worth(plan), measures)


def _worn(document: PlanDocument, measures: Measures) -> str:
    """Say what else sawing costs: blades, and metal that nobody marked."""
    mill = document.mill
    metal = (
        f", {measures.money(mill.metal.cost_per_log)} set aside for hidden metal"
        if mill.metal.cost_per_log >= 0.5
        else ""
    )
    return f"{', blades' if mill.pace.blade_cost_per_m2 else ''}{metal}"


def pair_rows(plan: Plan, measures: Measures) -> list[tuple[str, str, str]]:
    """Return what pairs bring on top, as a row of sums; none where a plan has no pairs."""
    if not plan.pairs:
        return []
    named = ", ".join(f"{one} and {other}" for one, other in plan.pairs)
    return [("Sold in pairs", measures.money(plan.pairs_premium), f"more for slabs {named}, if you sell them so")]


def set_words(document: PlanDocument, measures: Measures) -> str:
    """Say what a set that was asked for costs against the best plan without; nothing where none was asked for."""
    asked = document.set_
    if asked is None:
        return ""
    has_doubt = document.plans[0].net_expected is not None and asked.net_without_expected is not None
    without = asked.net_without_expected if has_doubt and asked.net_without_expected is not None else asked.net_without
    less = without - worth(document.plans[0])
    slabs = f"{counted(asked.count, 'slab')} of {asked.quarters}/4"
    if measures.money(less) == measures.money(0.0):
        return f"Getting {slabs} costs you nothing: the best plan has them."
    return f"Getting {slabs} costs you {measures.money(less)} against the best plan without them."


def one_thickness_words(document: PlanDocument, measures: Measures) -> str:
    """Say what the log would bring in one thickness alone; nothing where that was not worked out."""
    one = document.one_thickness
    if one is None:
        return ""
    best = document.plans[0]
    has_doubt = best.net_expected is not None and one.net_expected is not None
    net, base = (one.net_expected, best.net_expected) if has_doubt else (one.net, best.net)
    less = (base or 0.0) - (net or 0.0)
    if measures.money(less) == measures.money(0.0):
        return f"All in {one.quarters}/4 would net the same."
    return f"All in {one.quarters}/4 would net {measures.money(abs(less))} {'less' if less > 0.0 else 'more'}."


def inside_words(plan: Plan, document: PlanDocument, measures: Measures) -> str:
    """Say what pith, marks and crotch figure changed in the prices; else how much of them there is; or nothing."""
    marked, figured = (
        {slab.id: area for slab in plan.slabs if (area := getattr(slab, what)) and area >= LEAST_AREA_M2}
        for what in ("marked_area_m2", "figure_area_m2")
    )
    found = worth_inside(plan, document)
    if found is None:
        texts = [
            f"{name} in slab {', '.join(f'{slab} {measures.area(area)}' for slab, area in areas.items())}"
            for name, areas in (("marks", marked), ("crotch figure", figured))
            if areas
        ]
        return f"These prices count {'; '.join(texts)}." if texts else ""
    flaws = f"Pith and marks (in {numbered('slab', list(marked))})" if marked else "Pith/heart"
    figure = f"Crotch figure (in {numbered('slab', list(figured))})" if figured else "Crotch figure"
    texts = [
        f"{what} {verb} {measures.money(amount)} {where} these prices."
        for what, verb, amount, where in (
            (flaws, "knocked", found.lost, "off"), (figure, "added", found.brought, "to"),
        )
        if measures.money(amount) != measures.money(0.0)
    ]  # fmt: skip
    return " ".join(texts)
