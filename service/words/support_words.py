"""What a log is set on, in words: its shims and blocks, where each goes, and how safely the log then stands."""

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Plan, PlanDocument, SupportPlaced
from optimizer.report.bunk_places import bunk_from_butt_m, bunk_number
from service.words.measures import Measures

BUTT, TOP = "butt", "top"
NO_SHIMS = "No shims"


def supports_set(plan: Plan, measures: Measures, *, flipped: bool = False) -> list[SupportPlaced]:
    """Return the shims and blocks that somebody can set: one that a tape shows as 0 is none."""
    return [one for one in plan.placed(flipped=flipped) if is_set(one, measures)]


def is_set(support: SupportPlaced, measures: Measures) -> bool:
    """Whether a support is a shim or blocks, and no hair of a gap over a bunk."""
    return support.kind != "bears" and measures.short(support.height_m) != measures.short(0.0)


def shim_at(plan: Plan, end: str) -> float:
    """Return the lowest gap under an end third; in a plan that knows no gaps, its highest shim there. [m]."""
    if plan.gaps_m is not None:
        return plan.gaps_m[(BUTT, TOP).index(end)]
    middle_m = sum(plan.stretch_m) / 2.0
    return max((one.height_m for one in plan.placed() if (one.x_m < middle_m) is (end == BUTT)), default=0.0)


def supports_words(document: PlanDocument, plan: Plan, measures: Measures, *, flipped: bool = False) -> list[str]:
    """Say of each shim and of all blocks how high they are, under what, and where. flipped : after the flip."""
    return [_words(document.mill, plan, one, measures) for one in supports_set(plan, measures, flipped=flipped)]


def _words(mill: Mill, plan: Plan, support: SupportPlaced, measures: Measures) -> str:
    is_blocks = support.kind == "prop"
    is_old = support.y_m is None
    from_butt_m = support.x_m - plan.stretch_m[0] if is_old else bunk_from_butt_m(mill, plan, support.x_m)
    said = [
        f"{'Blocks' if is_blocks else 'Shim'} {measures.short(support.height_m)} under {member_words(plan, support)}",
        f"on bunk {bunk_number(mill, plan, support.x_m)}" if mill.bunk_spacing_m else "",
        f"{measures.long(from_butt_m)} from the butt",
        _side(support.y_m, measures),
    ]
    told = ", ".join(part for part in said if part)
    load = "" if support.load_kg is None or not is_blocks else measures.about_mass(support.load_kg)
    return f"{told}; they carry about {load}" if load else told


def member_words(plan: Plan, support: SupportPlaced) -> str:
    """Say what of the log a support holds: `the butt`, `limb 2`."""
    if support.member != "stem":
        return support.member.replace("_", " ")
    from_m, to_m = plan.stretch_m
    share = (support.x_m - from_m) / (to_m - from_m)
    return f"the {BUTT}" if share < 1.0 / 3.0 else f"the {TOP}" if share > 2.0 / 3.0 else "the trunk"


def _side(y_m: float | None, measures: Measures) -> str:
    if y_m is None:
        return ""
    away = measures.short(abs(y_m))
    return "at center" if away == measures.short(0.0) else f"{away} {'left' if y_m > 0.0 else 'right'} of center"


def supports_short(plan: Plan, measures: Measures) -> str:
    """Say what is set in a few words: `1 in under the butt, blocks 11 in under limb 2`."""
    first, then = (
        ", ".join(
            f"{'blocks ' if one.kind == 'prop' else ''}{measures.short(one.height_m)} under {member_words(plan, one)}"
            for one in supports_set(plan, measures, flipped=flipped)
        )
        for flipped in (False, True)
    )
    return (first or NO_SHIMS.lower()) + (f"; after the flip {then}" if then else "")


def stands_words(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Say how safely the log stands, after the word `Stands`; nothing in a plan that does not know."""
    over = plan.overturning
    if over is not None:
        if document.mill.clamps_hold and over.outside_m is not None:
            return "only as long as the clamps hold it; read the cautions before you set it up"
        return "no: read the stop before you set it up"
    by = stands_short(plan, measures)
    return f"{by}: through every cut its weight stays that far inside what holds it" if by else ""


def stands_short(plan: Plan, measures: Measures) -> str:
    """Say the same in a word or two: `by 2 3/4 in`."""
    if plan.overturning is not None:
        return "no"
    return "" if plan.stands_by_m is None else f"by {measures.short(plan.stands_by_m)}"
