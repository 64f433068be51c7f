"""The cuts of a plan one by one, in words: what the scale reads, what comes off, what to measure after the first."""

from dataclasses import dataclass

from optimizer.bed.sawn_layers import layers_between
from optimizer.documents.plan import LogFound, Plan, PlanDocument, Slab, Waste
from optimizer.report.loads import lift_kg
from service.words.measures import Measures
from service.words.slab_words import holds_figure, may_be_sold, numbered

FLIP_WORDS = "half a turn onto its last sawn face; heights now from there"
WEIGHT_WORDS = "Weight is the average for the species; plan your lifting on the second figure (25% more)."
BARK_WORDS = "Weight includes bark."
ROUND_TOP, LAST_PIECE, NO_SALE = "round top", "last piece on the bed", "no sale"
NO_SALE_WORDS = "No sale: too narrow, too short, or no thickness that your buyers take."
MORE_THAN_A_TENTH = "More than a tenth off"
NOTHING, NEXT_TO_NOTHING = "nothing", "next to nothing"
LEAST_FACE_M = 0.3
"""A first face shorter than this tells nothing."""
LEAST_FACE_WIDTH_M = 0.1
"""A narrower face, 4 in, is bark ridges and flare more than the log (our own rule, no source)."""


@dataclass(frozen=True)
class Piece:
    """What comes off at a cut: a slab, or what is not sold. name : what it is called; of a slab, its number."""

    kind: str
    name: str
    slab: Slab | None
    mass_kg: float

    @property
    def lift_kg(self) -> float:
        """What to choose lifting gear by. [kg]."""
        return lift_kg(self.mass_kg)


@dataclass(frozen=True)
class Line:
    """A cut. reading : what the scale shows. starts_flip : whether the log is turned over before it."""

    order: int
    reading: str
    pieces: tuple[Piece, ...]
    starts_flip: bool


def lines_of(plan: Plan, measures: Measures) -> list[Line]:
    """Return the cuts in sawing order, each with what it gives."""
    lines: list[Line] = []
    layer = 0
    was_flipped = False
    for cut in plan.passes:
        starts_flip = cut.flipped and not was_flipped
        was_flipped = cut.flipped
        if cut.order == 1:
            pieces = _offcuts(plan, "first")
        elif starts_flip:
            pieces = _offcuts(plan, "flipped")
        else:
            layer += 1
            pieces = _of_layer(plan, layer)
        lines.append(Line(cut.order, measures.reading(cut.blade_height_m), tuple(pieces), starts_flip))
    return lines


def left_on_bed(plan: Plan) -> list[Piece]:
    """Return what is left on the bunks after the last cut."""
    layers = sum(1 for cut in plan.passes if cut.order > 1) - (1 if any(cut.flipped for cut in plan.passes) else 0)
    return [*_of_layer(plan, layers + 1), *_offcuts(plan, "last")]


def _of_layer(plan: Plan, layer: int) -> list[Piece]:
    slabs = [Piece("slab", slab.id, slab, slab.mass_kg) for slab in plan.slabs if slab.layer == layer]
    rest = [waste for waste in plan.waste if waste.layer == layer]
    return slabs + [Piece("waste", _waste(plan, waste), None, waste.mass_kg) for waste in rest]


def _waste(plan: Plan, waste: Waste) -> str:
    return f"no sale, unless it makes {waste.quarters}/4" if may_be_sold(plan, waste) else NO_SALE


def _offcuts(plan: Plan, where: str) -> list[Piece]:
    name = LAST_PIECE if where == "last" else ROUND_TOP
    return [Piece("offcut", name, None, offcut.mass_kg) for offcut in plan.offcuts if offcut.where == where]


def weight_words(plan: Plan, log: LogFound) -> str:
    """Say what the weights of a plan are."""
    return f"{WEIGHT_WORDS} {bark_words(plan, log)}".rstrip()


def bark_words(plan: Plan, log: LogFound) -> str:
    """Say that the weights include bark; nothing where the log has none, or a plan kept from before leaves it out."""
    return BARK_WORDS if log.bark and plan.kerf_mass_kg is not None else ""


def no_sale_words(plan: Plan) -> str:
    """Say why a piece is not sold; nothing where all are."""
    return NO_SALE_WORDS if plan.waste else ""


def figure_words(plan: Plan, document: PlanDocument) -> str:
    """Say which cut is the first to open crotch figure; nothing where no slab shows any."""
    faces = {layer.number: layer for layer in layers_between(plan.passes, document.mill.kerf_m)}
    opening = [
        cut
        for slab in plan.slabs
        if holds_figure(slab)
        for cut, shown in (
            (faces[slab.layer].upper_pass, slab.figure_m),
            (faces[slab.layer].lower_pass, slab.figure_below_m),
        )
        if shown and cut is not None
    ]
    return f"Cut {plan.passes[min(opening)].order} opens the crotch figure." if opening else ""


def last_slabs_words(plan: Plan) -> str:
    """Say which slabs lie on the bunks at the end, after a flip; nothing where none does."""
    left = [slab.id for slab in plan.slabs if slab.flipped and slab.lower_face_m == 0.0]
    if not left:
        return ""
    return f"The last piece on the bed is {numbered('slab', left)}."


def scale_words(measures: Measures) -> str:
    """Say what blade heights are read on."""
    zero_m = measures.mill.scale_zero_m
    zero = "top of bunks"
    if zero_m:
        zero = f"{measures.short(abs(zero_m))} {'above' if zero_m > 0.0 else 'below'} the bunks"
    return f"heights read on your mill's scale (0 = {zero})"


@dataclass(frozen=True)
class FirstCut:
    """The cut that is sawn next. which : `First cut`. reading : what the scale shows, with its unit."""

    which: str
    reading: str


def made_before(document: PlanDocument, plan: Plan) -> int:
    """Return how many cuts of a way were made before it was planned: none of those that it is only compared with."""
    return document.made if plan.rank else 0


def first_cut_words(document: PlanDocument, plan: Plan, measures: Measures) -> FirstCut | None:
    """Return the first cut that is not made yet; None where all are."""
    made = made_before(document, plan)
    left = plan.passes[made:]
    if not left:
        return None
    which = "First cut" if not made else f"Next, cut {left[0].order}"
    return FirstCut(which, f"{measures.reading(left[0].blade_height_m)} {measures.reading_unit}")


@dataclass(frozen=True)
class FirstFace:
    """What to measure after a cut.

    size : about how large the face is. off : what tells that something is wrong. order : after which cut.
    """

    size: str
    off: str
    order: int = 1


def first_face(plan: Plan, measures: Measures) -> FirstFace | None:
    """Return the face that the first cut should open; None where it is too short to tell anything."""
    face = plan.first_face
    if face.length_m < LEAST_FACE_M:
        return None
    size = _size(face.max_width_m, face.length_m, measures)
    widths, lengths = (face.max_width_m_p10, face.max_width_m_p90), (face.length_m_p10, face.length_m_p90)
    if widths[0] is None or widths[1] is None or lengths[0] is None or lengths[1] is None:
        return FirstFace(size, MORE_THAN_A_TENTH)
    wide, long = f"{measures.width(widths[1])} {measures.reading_unit} wide", measures.slab_length(lengths[1])
    if lengths[0] < LEAST_FACE_M:
        return FirstFace(size, f"Over {wide} or {long} long")
    least = measures.slab_length(lengths[0])
    return FirstFace(size, f"Outside {measures.width(widths[0])} to {wide} or {least} to {long} long")


def face_to_measure(plan: Plan, measures: Measures) -> FirstFace | None:
    """Return the first face that is wide and long enough to measure; None where none before a flip is."""
    for cut in plan.passes:
        width_m, length_m = (cut.face_width_m, cut.face_length_m)
        if cut.order == 1 and (width_m is None or length_m is None):
            width_m, length_m = plan.first_face.max_width_m, plan.first_face.length_m  # a plan kept from before
        if cut.flipped or width_m is None or length_m is None:
            return None
        if width_m < LEAST_FACE_WIDTH_M or length_m < LEAST_FACE_M:
            continue
        if cut.order == 1:
            return first_face(plan, measures)
        return FirstFace(_size(width_m, length_m, measures), MORE_THAN_A_TENTH, cut.order)
    return None


def _size(width_m: float, length_m: float, measures: Measures) -> str:
    return f"{measures.width(width_m)} {measures.reading_unit} x {measures.slab_length(length_m)}"
