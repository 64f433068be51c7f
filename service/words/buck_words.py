"""Where the log is bucked before it goes on the bed, in words, and what becomes of each piece cut off."""

from dataclasses import dataclass

import numpy as np

from optimizer.bed.buck_cuts import BuckCut
from optimizer.documents.plan import BoltFound, LogFound, Plan, PlanDocument
from optimizer.report.cuts_made import cuts_made, past_crotch_m, tape_m
from optimizer.report.loads import lift_kg
from service.words.measures import Measures

SIDES_WORDS = "Left, right, upper and lower are as the log was measured, looking at the butt."
_OFF = {"butt": "Off the butt", "stem": "Off the top"}


@dataclass(frozen=True)
class PieceOff:
    """A piece that is cut off. name : what it is off. size : its length and weights. brings : what becomes of it."""

    name: str
    size: str
    brings: str

    @property
    def line(self) -> str:
        """All of it: `Off limb 1: 3 ft 2 in long, 210 lb, lift at 263 lb; firewood: $8`."""
        return f"{self.name}: {self.size}; {self.brings}"


def is_bucked(document: PlanDocument, plan: Plan) -> bool:
    """Tell whether the log is bucked at all."""
    return bool(cuts_made(plan, document.log.length_m))


def cut_words(document: PlanDocument, plan: Plan, measures: Measures) -> list[str]:
    """Say where each cut goes: `Limb 1 (the left one): 2 ft 4 in past the crotch, square to the limb`."""
    return [_cut_words(document.log, cut, measures) for cut in cuts_made(plan, document.log.length_m)]


def _cut_words(log: LogFound, cut: BuckCut, measures: Measures) -> str:
    if cut.limb is None:
        return f"{measures.long(cut.at_m)} from the butt, square to the log"
    side = _side(log, cut.limb)
    which = f"Limb {cut.limb} (the {side} one)" if side else f"Limb {cut.limb}"
    tape = measures.long(tape_m(log, cut))
    return (
        f"{which}: {measures.long(past_crotch_m(log, cut))} past the crotch, square to the limb; {tape} from the butt"
    )


def cuts_short(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Say the same in a few words: `limb 1: 2 ft 4 in past the crotch`; nothing for the whole log."""
    cuts = cuts_made(plan, document.log.length_m)
    limbs = ", ".join(
        f"limb {cut.limb}: {measures.long(past_crotch_m(document.log, cut))}" for cut in cuts if cut.limb is not None
    )
    stem = " and ".join(measures.long(cut.at_m) for cut in cuts if cut.limb is None)
    return ", ".join([*([f"{limbs} past the crotch"] if limbs else []), *([f"{stem} from the butt"] if stem else [])])


def kept_words(document: PlanDocument, plan: Plan) -> str:
    """Say which piece of a bucked log goes on the bed; nothing for the whole log."""
    members = {cut.member for cut in cuts_made(plan, document.log.length_m)}
    if not members:
        return ""
    if any(member.startswith("limb_") for member in members):
        return "keep the piece with the crotch for the bed"
    if members >= {"butt", "stem"}:
        return "keep the middle piece for the bed"
    if "butt" in members:
        return "keep the top piece for the bed"
    return "keep the butt piece for the bed"


def sides_words(document: PlanDocument, plan: Plan) -> str:
    """Say what left and right mean; nothing where no limb is cut."""
    cuts = cuts_made(plan, document.log.length_m)
    return SIDES_WORDS if any(cut.limb is not None and _side(document.log, cut.limb) for cut in cuts) else ""


def pieces_off(plan: Plan, measures: Measures) -> list[PieceOff]:
    """Return what is cut off, in the order of the cuts."""
    return [_piece_off(plan, bolt, measures) for bolt in plan.bolts]


def _piece_off(plan: Plan, bolt: BoltFound, measures: Measures) -> PieceOff:
    like = [other.id for other in plan.bolts if other.member == bolt.member]
    name = _OFF.get(bolt.member, f"Off {bolt.member.replace('_', ' ')}")
    if len(like) > 1:
        name += f", piece {like.index(bolt.id) + 1} of {len(like)}"
    lift = measures.mass(lift_kg(bolt.mass_kg))
    unit = measures.mass_unit
    size = f"{measures.long(bolt.length_m)} long, {measures.mass(bolt.mass_kg)} {unit}, lift at {lift} {unit}"
    worth = measures.money(bolt.worth)
    if worth == measures.money(0.0):
        return PieceOff(name, size, "no sale")
    return PieceOff(
        name, size, f"firewood: {worth}" if bolt.net is None else f"saw it as a log of its own: about {worth}"
    )


def _side(log: LogFound, limb: int) -> str:
    """Return where a limb leans beside the others, looking at the butt; nothing where nobody could tell."""
    if limb >= len(log.hearts) or len(log.hearts) < 3:
        return ""
    tips = np.array([line[-1] for line in log.hearts[1:]])
    away = tips[limb - 1] - np.delete(tips, limb - 1, axis=0).mean(axis=0)
    if abs(away[1]) >= abs(away[2]):
        return "left" if away[1] > 0.0 else "right"
    return "upper" if away[2] > 0.0 else "lower"
