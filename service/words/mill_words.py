"""What to do at the mill, one step at a time: what it asks for, what comes off, who lifts it, what to take care of."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Literal

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Caution, Pass, Plan, PlanDocument
from optimizer.report.cautions import GEAR_LIFT_KG, PERSON_LIFT_KG
from optimizer.report.loads import bundle_kg, lift_kg
from service.words import buck_words, support_words
from service.words.cut_words import FirstFace, Line, Piece, face_to_measure, lines_of
from service.words.measures import Measures
from service.words.slab_words import holds_figure
from service.words.turn_words import LOOKING, turn_and_side

AS_IT_LIES = "Do not roll it: saw it as it lies."
HANDS_WORDS = "Before hands go near the blade: engine off, key out, blade still."
_CARE = {
    "buck": ("crosscut_metal", "chainsaw", "fork_tension"),
    "roll": ("log_rolls", "near_throat", "loader_limit"),
    "support": ("shims", "tilted_log"),
    "sweep": ("metal_known", "log_clamped", "lockout"),
    "turn": ("flip",),
}
"""Cautions by the step that they are about, by the names of their rules."""

Kind = Literal["stop", "buck", "roll", "support", "sweep"]


@dataclass(frozen=True)
class MillStep:
    """A step at the mill, but for a cut. tick : names it among the ticks. said : what to do. care : cautions."""

    kind: Kind
    tick: str
    said: str
    care: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lifted:
    """What comes off at a cut. who : who or what lifts it; empty where nobody has to. care : cautions."""

    piece: Piece
    who: str
    care: tuple[str, ...] = ()


@dataclass(frozen=True)
class CutStep:
    """A cut at the mill.

    line : the cut as the list has it. sweep : the tick of the sweep for metal before it; empty where a step before asks
    for it. drop : how far down from the last cut, without the unit; empty for the first. next_reading : what the scale
    shows for the next cut; empty for the last. turned : what to do before it where the log is turned over.
    stays_on : whether what it cuts stays on the log. bundle : what then comes off all at once, after the last cut.
    """

    line: Line
    tick: str
    sweep: str
    drop: str
    next_reading: str
    lifted: tuple[Lifted, ...]
    stays_on: bool = False
    bundle: str = ""
    turned: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    kind: Literal["pass"] = "pass"


@dataclass(frozen=True)
class FaceStep:
    """The check of a face. face : what to measure."""

    face: FirstFace
    tick: str = "face"
    kind: Literal["face"] = "face"


Step = MillStep | CutStep | FaceStep


def who_lifts(load_kg: float, mill: Mill, measures: Measures) -> str:
    """Say who or what lifts a load. load_kg : the mass to plan lifting on.

    By the limits of the cautions: one person's at best, and where gear begins; shared evenly, as no source says better.
    """
    if mill.loader_limit_kg is not None and load_kg > mill.loader_limit_kg:
        most = f"{measures.mass(mill.loader_limit_kg)} {measures.mass_unit}"
        return f"a bigger machine: your loader lifts {most}"
    if load_kg > GEAR_LIFT_KG:
        return "a machine"
    if load_kg > PERSON_LIFT_KG:
        return f"{ceil(load_kg / PERSON_LIFT_KG)} people at least, or a machine"
    return "one person"


def side_up_words(roll_deg: float) -> str:
    """Say which side of the log comes to lie on top, as a clock shows it; nothing where it is not rolled."""
    degrees, _ = turn_and_side(roll_deg)
    hour = round(-roll_deg % 360.0 / 30.0) % 12 or 12
    return f"The side now at about {hour} o'clock, {LOOKING}, goes on top." if degrees else ""


def steps_of(
    document: PlanDocument, plan: Plan, measures: Measures, cautions: Sequence[Caution], made: int
) -> list[Step]:
    """Return all steps in the order in which they are done. made : how many cuts are made already."""
    care = {caution.id: caution.line for caution in cautions}
    return [*_set_up(document, plan, measures, cautions, care), *_sawing(document, plan, measures, care, made)]


def _set_up(
    document: PlanDocument, plan: Plan, measures: Measures, cautions: Sequence[Caution], care: dict[str, str]
) -> Iterator[MillStep]:
    stops = tuple(caution.line for caution in cautions if caution.level == "stop")
    if stops:
        yield MillStep("stop", "stop", "Read this first", stops)
    if buck_words.is_bucked(document, plan):
        for k, text in enumerate(buck_words.cut_words(document, plan, measures), start=1):
            yield MillStep("buck", f"buck-{k}", text, _care("buck", care) if k == 1 else ())
    yield MillStep("roll", "roll", side_up_words(plan.roll_deg) or AS_IT_LIES, _care("roll", care))
    supports = support_words.supports_words(document, plan, measures)
    for k, text in enumerate(supports, start=1):
        yield MillStep("support", f"shim-{k}", text, _care("support", care))
    if not supports:
        yield MillStep("support", "shim-0", support_words.NO_SHIMS)
    yield MillStep("sweep", "sweep", "Chock it. Clamp it low. Sweep it for metal.", _care("sweep", care))


def _care(step: str, care: dict[str, str]) -> tuple[str, ...]:
    return tuple(care[name] for name in _CARE[step] if name in care)


def _sawing(
    document: PlanDocument, plan: Plan, measures: Measures, care: dict[str, str], made: int
) -> Iterator[CutStep | FaceStep]:
    lines = lines_of(plan, measures)
    face = face_to_measure(plan, measures)
    mill = document.mill
    for k, (line, cut) in enumerate(zip(lines, plan.passes, strict=True)):
        above = plan.passes[k - 1] if k else None
        below = lines[k + 1] if k + 1 < len(lines) and not lines[k + 1].starts_flip else None
        is_last = k + 1 == len(lines) or lines[k + 1].starts_flip
        turned: tuple[str, ...] = ()
        if line.starts_flip:
            turned = (*support_words.supports_words(document, plan, measures, flipped=True), *_care("turn", care))
        bundle_lift_kg = lift_kg(bundle_kg(mill, plan))
        yield CutStep(
            line=line,
            tick=f"pass-{line.order}",
            sweep="" if line.order == 1 else f"sweep-{line.order}",
            drop=_drop(above, cut, measures),
            next_reading=below.reading if below else "",
            lifted=tuple(_lifted(piece, mill, measures, care) for piece in line.pieces),
            stays_on=mill.slabs_stay_on,
            bundle=who_lifts(bundle_lift_kg, mill, measures) if mill.slabs_stay_on and is_last else "",
            turned=turned,
            care=(care["bundle"],) if mill.slabs_stay_on and is_last and "bundle" in care else (),
        )
        if face and face.order == line.order and face.order > made:
            yield FaceStep(face)


def _drop(above: Pass | None, cut: Pass, measures: Measures) -> str:
    if above is None or above.flipped is not cut.flipped:
        return ""
    return measures.drop(above.blade_height_m - cut.blade_height_m)


def _lifted(piece: Piece, mill: Mill, measures: Measures, care: dict[str, str]) -> Lifted:
    if measures.mass(piece.mass_kg) == "0":
        return Lifted(piece, "")
    names = []
    if piece.kind == "offcut":
        names.append("offcut_falls")
    if piece.slab is not None and holds_figure(piece.slab):
        names.append("bark_inclusion")
    return Lifted(piece, who_lifts(piece.lift_kg, mill, measures), tuple(care[name] for name in names if name in care))
