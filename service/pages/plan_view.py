"""A plan document as pages show it: what to call each way, its shims, its passes line by line, its cautions."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import floor

from optimizer.documents.plan import Caution, Plan, PlanDocument, Shim, Slab, Waste
from optimizer.report.cautions import LEVELS, lift_kg
from optimizer.report.cuts_made import CROSSCUT_M
from optimizer.report.plain_way_stop import passes_before_metal
from optimizer.standing.supports import BEARS_M
from service.contract.refusals import NotFoundError
from service.contract.ways import LEVEL, PLAIN, ways_by_key
from service.typed.way import own_way_name
from service.words.doubt_text import SOURCE_WORDS, face_range, worth
from service.words.measures import Measures, turn_deg
from service.words.slab_numbers import may_be_sold, numbered
from service.words.tables import LEAST_AREA_M2

_TELLS = 10.0
"""A difference of so many times the plain way's net is better told in money alone."""


@dataclass(frozen=True)
class Shown:
    """One way to saw the log. key : how addresses name it."""

    key: str
    label: str
    plan: Plan


@dataclass(frozen=True)
class Piece:
    """What comes off at a pass: a slab, or what is not sold."""

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
    """A pass. reading : what the scale shows. starts_flip : whether the log is turned over before it."""

    order: int
    reading: str
    pieces: tuple[Piece, ...]
    starts_flip: bool


@dataclass(frozen=True)
class Notes:
    """What a plan's reader is told first. said : in full; folded : how the log was read, for whoever asks."""

    said: tuple[str, ...]
    folded: tuple[str, ...]


def notes_of(document: PlanDocument, of_reading: Collection[str]) -> Notes:
    """Part what bears on the plan from what reading the log found ordinary.

    of_reading : what reading found. Of that, what doubts the plan itself is told in full.
    """
    folded = tuple(note for note in document.warnings if note in of_reading and _DOUBTED not in note)
    return Notes(tuple(note for note in document.warnings if note not in folded), folded)


_DOUBTED = "the plan"
"""In notes of reading, which know no plan yet, it stands where the log is not what it should be for one."""


def no_longer_kept(document: PlanDocument, *, mill_is_kept: bool, prices_are_kept: bool) -> tuple[str, ...]:
    """Say which of a plan's mill and prices were changed or removed since it was made.

    mill_is_kept, prices_are_kept : whether the same are kept still, in all that they say.
    """
    mill = f"This is planned on the mill {document.mill.name} as it was then; it was changed or removed since. "
    what_to_do = "Before you saw, make sure that your mill, its scale and blade above all, is as the plan has it."
    prices = f"This is planned at the prices {document.prices.name} as they were then; changed or removed since."
    return (() if mill_is_kept else (mill + what_to_do,)) + (() if prices_are_kept else (prices,))


def is_own_way(document: PlanDocument) -> bool:
    """Whether the first plan is what somebody chose, and no plan was searched for."""
    return document.kind != "searched"


def ways(document: PlanDocument, made: int = 0) -> list[Shown]:
    """Return every way of a document: the plans, hearts level, the plain way.

    made : how many passes of somebody's own way were sawn when the rest was planned.
    """
    labels = {LEVEL: "Hearts level", PLAIN: "Plain way"} | ({"1": own_way_name(made)} if is_own_way(document) else {})
    return [Shown(key, labels.get(key, f"Plan {key}"), plan) for key, plan in ways_by_key(document).items()]


def way_of(document: PlanDocument, key: str, made: int = 0) -> Shown:
    """Return one of them. Raises NotFoundError."""
    for shown in ways(document, made):
        if shown.key == key:
            return shown
    raise NotFoundError(f"this plan has no way called {key[:20]}")


def shims_said(document: PlanDocument, plan: Plan, measures: Measures) -> list[str]:
    """Return where each shim goes, in words."""
    return [_shim_said(document, plan, shim, measures) for shim in plan.shims]


def _shim_said(document: PlanDocument, plan: Plan, shim: Shim, measures: Measures) -> str:
    from_butt_m = shim.x_m - plan.stretch_m[0]
    spacing_m = document.mill.bunk_spacing_m
    bunk = ""
    if spacing_m:
        bunk = f", on bunk {floor((from_butt_m - document.mill.first_bunk_m) / spacing_m + 0.5) + 1}"
    side = f", at its {shim.side}" if shim.side else ""
    end = "butt" if shim.x_m < sum(plan.stretch_m) / 2.0 else "top"
    return (
        f"{measures.short(shim.height_m)} under the {end} end{bunk}{side}, {measures.long(from_butt_m)} from the butt"
    )


def shim_at(plan: Plan, end: str) -> float:
    """Return how high the shim under an end is: the lowest gap over its bunks. [m]."""
    if plan.gaps_m is not None:
        return plan.gaps_m[0 if end == "butt" else 1]
    middle = sum(plan.stretch_m) / 2.0
    return max((shim.height_m for shim in plan.shims if (shim.x_m < middle) is (end == "butt")), default=0.0)


def shims_short(plan: Plan, measures: Measures) -> str:
    """Return the shims in a few words."""
    ends = [(end, shim_at(plan, end)) for end in ("butt", "top")]
    placed = [f"{measures.short(height_m)} under the {end}" for end, height_m in ends if height_m > BEARS_M]
    return ", ".join(placed) or "none"


def roll_said(plan: Plan) -> str:
    """Return the roll as the smaller turn."""
    turn = turn_deg(plan.roll_deg)
    if turn == 0:
        return "as it lay"
    return f"{turn}° clockwise" if turn <= 180 else f"{360 - turn}° anticlockwise"


def lay_short(plan: Plan, measures: Measures) -> str:
    """Return in a line how the log lies and what it gives, to choose between ways by."""
    shims = shims_short(plan, measures)
    return f"{roll_said(plan)}, {'no shims' if shims == 'none' else shims}; {thicknesses(plan)}"


def thicknesses(plan: Plan) -> str:
    """Return how many slabs of each thickness there are."""
    counts = Counter(slab.quarters for slab in plan.slabs)
    return ", ".join(f"{count}\u00a0×\u00a0{quarters}/4" for quarters, count in sorted(counts.items())) or "no slab"


def crosscuts_said(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Return where the log is crosscut first; nothing for the whole log."""
    cuts = [at for at in plan.stretch_m if CROSSCUT_M < at < document.log.length_m - CROSSCUT_M]
    return " and ".join(measures.long(at) for at in cuts)


def lines_of(plan: Plan, measures: Measures) -> list[Line]:
    """Return the passes in sawing order, each with what it gives."""
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
    """Return what is left on the bunks after the last pass."""
    layers = sum(1 for cut in plan.passes if cut.order > 1) - (1 if any(cut.flipped for cut in plan.passes) else 0)
    return [*_of_layer(plan, layers + 1), *_offcuts(plan, "last")]


def _of_layer(plan: Plan, layer: int) -> list[Piece]:
    slabs = [Piece("slab", slab.id, slab, slab.mass_kg) for slab in plan.slabs if slab.layer == layer]
    rest = [waste for waste in plan.waste if waste.layer == layer]
    return slabs + [Piece("waste", _waste(plan, waste), None, waste.mass_kg) for waste in rest]


def _waste(plan: Plan, waste: Waste) -> str:
    return f"waste, unless it makes {waste.quarters}/4" if may_be_sold(plan, waste) else "waste"


def _offcuts(plan: Plan, where: str) -> list[Piece]:
    return [Piece("offcut", "offcut", None, offcut.mass_kg) for offcut in plan.offcuts if offcut.where == where]


def cautions_by_level(cautions: Sequence[Caution]) -> list[tuple[str, list[Caution]]]:
    """Return cautions by level, the gravest first; levels with none are left out."""
    at = {level: number for number, level in enumerate(LEVELS)}
    ordered = sorted(cautions, key=lambda caution: at[caution.level])
    return [(level, list(of)) for level, of in groupby(ordered, key=lambda caution: caution.level)]


def net_said(plan: Plan) -> str:
    """Say what the net shown large is."""
    return "net" if plan.net_expected is None else "net in the mean"


def against_plain(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Say how much more or less than the plain way a way brings; nothing where there is no plain way."""
    plain = document.plain_way
    if plain is None or plan is plain:
        return ""
    more, base = worth(plan) - worth(plain), worth(plain)
    if measures.money(more) == measures.money(0.0):
        return "no more than the plain way"
    share = f" ({100.0 * abs(more) / base:.0f} %)" if 0.0 < abs(more) < _TELLS * base else ""
    return f"{measures.money(abs(more))}{share} {'more' if more > 0.0 else 'less'} than the plain way"


def stop_said(document: PlanDocument) -> str:
    """Say where metal ends the plain way; nothing where it does not."""
    made = passes_before_metal(document)
    if made is None:
        return ""
    passes = "1 pass" if made == 1 else f"{made} passes"
    return (
        f"The plain way stops at the metal after {passes}. A sawyer would go around it and may get more than that, so "
        "do not take the whole difference for granted."
    )


def likely_said(plan: Plan, measures: Measures) -> str:
    """Say between what amounts the net likely lies; nothing where doubt was not weighed."""
    if plan.net_p10 is None or plan.net_p90 is None:
        return ""
    return f"likely from {measures.money(plan.net_p10)} to {measures.money(plan.net_p90)}"


def chance_said(document: PlanDocument, plan: Plan) -> str:
    """Say how often a way is the best of those shown; nothing where doubt was not weighed.

    Plans that lie much alike take that chance from each other, so they are told together.
    """
    if plan.chance_best is None:
        return ""
    alike = [other for other in document.plans if _are_alike(plan, other)] if plan in document.plans else []
    own = f"on {100.0 * plan.chance_best:.0f} of 100 logs that this may be"
    if len(alike) < 2:
        return own
    ranks = [other.rank for other in alike if other is not plan]
    lie = "lies" if len(ranks) == 1 else "lie"
    together = sum(other.chance_best or 0.0 for other in alike)
    return f"{own}. With {numbered('plan', ranks)}, which {lie} much like it: on {100.0 * together:.0f}"


def _are_alike(one: Plan, other: Plan) -> bool:
    """Whether one would hardly tell two plans' lays apart (our own rule, no source)."""
    turn_deg = abs(one.roll_deg - other.roll_deg) % 360.0
    return min(turn_deg, 360.0 - turn_deg) <= _ALIKE_DEG


_ALIKE_DEG = 15.0


def sources_said(document: PlanDocument) -> list[tuple[str, str]]:
    """Return what the doubt comes from, and its share, the greatest first; shares under 1 % are left out."""
    sources = () if document.doubt is None else document.doubt.sources
    return [
        (SOURCE_WORDS.get(each.source, each.source), f"{100.0 * each.share:.0f} %")
        for each in sources
        if each.share >= 0.01
    ]


def first_face_said(plan: Plan, measures: Measures, *, likely: bool = True) -> str:
    """Say what the first pass should open, and likely may; nothing where it opens no face to measure."""
    face = plan.first_face
    if face.length_m < 0.3:
        return ""
    width = f"{measures.width(face.max_width_m)} {measures.reading_unit}"
    return f"{width} wide and {measures.slab_length(face.length_m)} long{face_range(face, measures) if likely else ''}"


def holds(slab: Slab) -> list[str]:
    """Return what lies in a slab that changes its price."""
    inside = (("heart", slab.heart_area_m2), ("mark", slab.marked_area_m2), ("feather", slab.figure_area_m2))
    return [name for name, area in inside if (area or 0.0) >= LEAST_AREA_M2]


def slab_words(slab: Slab, measures: Measures) -> str:
    """Return a slab's size in a line: width mean (least to most), length."""
    least, most = measures.whole_width(slab.min_width_m), measures.whole_width(slab.max_width_m)
    return f"{least} to {most} {measures.reading_unit} wide, {measures.slab_length(slab.length_m)} long"
