"""How far off a plan's numbers may be, in words: likely from where to where, why, and what would make it surer."""

from typing import Protocol

from optimizer.documents.plan import Doubt, FirstFace, Plan, PlanDocument
from optimizer.doubt.possible_logs import BARK, BLADE, HEART, MARKS, ROLL, SHIMS, SIZE, SURFACE, UNSEEN
from service.words.layout import paragraph
from service.words.measures import Measures, board_feet_text
from service.words.quantities import in_units

SOURCE_WORDS = {
    UNSEEN: "the side that was not seen",
    SURFACE: "the surface",
    SIZE: "the size of the whole",
    BARK: "the bark's thickness",
    HEART: "where the heart lies",
    MARKS: "where the marks lie",
    ROLL: "how it is rolled",
    SHIMS: "the shims",
    BLADE: "the blade's height",
}
"""What a source of doubt is called in a sentence; others are called by their own name."""


class _HasNet(Protocol):
    """A plan, or a line of one."""

    @property
    def net(self) -> float: ...

    @property
    def net_expected(self) -> float | None: ...


def worth(plan: _HasNet) -> float:
    """Return the net that a plan is ranked by: in the mean over possible logs.

    On the log exactly as given where doubt was not weighed.
    """
    return plan.net if plan.net_expected is None else plan.net_expected


def likely_range(plan: Plan, measures: Measures) -> str:
    """Return `$2,790-3,200` for a column, or nothing."""
    if plan.net_p10 is None or plan.net_p90 is None:
        return ""
    high = measures.amount(plan.net_p90)
    return f"{measures.amount(plan.net_p10)}-{high.lstrip('$') if plan.net_p10 >= 0.0 else high}"


def chance_text(plan: Plan) -> str:
    """Return the chance to be the best of those shown as a column shows it, or nothing."""
    return "" if plan.chance_best is None else f"{100.0 * plan.chance_best:.0f} %"


def likely_lines(plan: Plan, measures: Measures) -> list[str]:
    """Say what a plan is likely to bring; nothing where doubt was not weighed."""
    if plan.net_p10 is None or plan.net_p90 is None:
        return []
    feet = ""
    if plan.board_feet_p10 is not None and plan.board_feet_p90 is not None:
        feet = f"; {board_feet_text(plan.board_feet_p10)} to {board_feet_text(plan.board_feet_p90)} board feet"
    return paragraph(
        f"from {measures.money(plan.net_p10)} to {measures.money(plan.net_p90)}{feet}",
        first="  Likely ",
    )


def face_range(face: FirstFace, measures: Measures) -> str:
    """Say between what sizes a first face likely is; nothing where doubt was not weighed."""
    width = (face.max_width_m_p10, face.max_width_m_p90)
    length = (face.length_m_p10, face.length_m_p90)
    if width[0] is None or width[1] is None or length[0] is None or length[1] is None:
        return ""
    return (
        f", likely {measures.width(width[0])} to {measures.width(width[1])} {measures.reading_unit} and "
        f"{measures.slab_length(length[0])} to {measures.slab_length(length[1])}"
    )


def doubt_lines(document: PlanDocument, measures: Measures) -> list[str]:
    """Say how sure the first plan is, where its doubt comes from, and what would pay to be surer."""
    doubt = document.doubt
    if doubt is None or not document.plans:
        return []
    several = document.plans[0].chance_best is not None and len(document.plans) > 1
    text = (
        f"Net in the mean is the average over {doubt.samples} logs that this one may turn out to be"
        f"{', and plans are ranked by it' if several else ''}. Likely means four times in five of them."
    )
    if several:
        text += (
            " Brings most says on how many of them a plan brings more than the others shown; plans that lie much alike "
            "take it from each other."
        )
    lines = ["", *paragraph(f"{text}{_sources_text(doubt)}")]
    rate = document.mill.pace.hourly_rate
    for way in doubt.would_pay:
        cost = f", {measures.money(way.minutes * rate / 60.0)}" if rate else ""
        lines += paragraph(
            f"{in_units(way.action, measures.units)}: a better choice "
            f"would bring {measures.money(way.gain)} more in the mean, for about "
            f"{way.minutes:.0f} minutes{cost}.",
            first="To be surer: ",
            rest="  ",
        )
    return lines


def _sources_text(doubt: Doubt) -> str:
    if not doubt.sources:
        return ""
    shares = [f"{SOURCE_WORDS.get(s.source, s.source)} {100.0 * s.share:.0f} %" for s in doubt.sources]
    return f" Where the doubt comes from: {', '.join(shares)}."
