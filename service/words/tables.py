"""A plan document as text that a sawyer reads in the yard."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from optimizer.documents.plan import Caution, LogFound, Mark, Plan, PlanDocument, Shim, Slab
from optimizer.report.cautions import LEVELS, PLAN_LINE, cautions_of, lift_kg
from optimizer.report.cuts_made import CROSSCUT_M
from optimizer.report.plain_way_stop import passes_before_metal
from scans.units import FOOT_M, INCH_M, feet_text
from service.words.doubt_text import chance_text, doubt_lines, face_range, likely_lines, likely_range, worth
from service.words.layout import PAGE_WIDTH, aligned, columns, paragraph, sums
from service.words.measures import Measures, board_feet_text, minutes_text, turn_deg, turn_text
from service.words.metal_text import metal_said
from service.words.proven import bound_said
from service.words.quantities import in_units
from service.words.slab_numbers import numbers_said
from service.words.units import Units
from service.words.worth import worth_inside

_TABLE_HEAD = ("Pass", "Blade at", "Gives", "Sold", "Green", "Width mean", "Length", "Board", "Mass/lift", "Price")

_MOST_THICKNESSES, _FEW_THICKNESSES = 20, 14
"""Letters that the column of slabs may take on a page 80 wide; and where the money takes more of it."""
LEAST_AREA_M2 = 5e-5
"""A smaller area of marks or feather is not worth a word."""
FLIP_LINE = "flip the log: half a turn onto its last sawn face; heights after the flip"
MOST_TIMES = 10.0
"""A difference of so many times the plain way's net is better told in money alone."""
_LEAST_FACE_M = 0.3
"""A first face shorter than this tells nothing."""


@dataclass(frozen=True)
class Assumed:
    """Where each thing that was assumed came from, in words."""

    mill: str
    prices: str
    species: str
    bark: str
    end_trim: str


def plan_text(document: PlanDocument, assumed: Assumed, units: Units, *, show_all: bool, title: str = "Plan 1") -> str:
    """Return what to print: the log, the plans beside the plain way, the best in full, the cautions.

    show_all : every plan in full, and what stands beside them, each of these with its own cautions, as those at the end
    are of the plans. title : what to call the first plan.
    """
    measures = Measures(units, document.mill, document.currency)
    lines = [*_log_lines(document.log, measures), *_assumed_lines(document, assumed, measures), ""]
    lines += _comparison(document, measures, title)
    shown = document.plans if show_all else document.plans[:1]
    for plan in shown:
        lines += ["", *_plan_lines(plan, document, measures, title if plan.rank == 1 else f"Plan {plan.rank}")]
    beside = (("the plain way", document.plain_way), ("hearts level", document.hearts_level)) if show_all else ()
    for name, way in beside:
        if way is not None:
            lines += ["", *_plan_lines(way, document, measures, name[0].upper() + name[1:]), ""]
            lines += _caution_lines(cautions_of(document, way), units, f"Cautions of {name}")
    if document.warnings:
        lines.append("")
    for warning in document.warnings:
        lines += paragraph(in_units(warning, units), first="Note: ", rest="  ")
    cautions = document.cautions if show_all else cautions_of(document, document.plans[0])
    head = "Cautions of the plans" if any(way is not None for _, way in beside) else "Cautions"
    lines += ["", *_caution_lines(cautions, units, head), "", *paragraph(PLAN_LINE)]
    return "\n".join(lines) + "\n"


def _log_lines(log: LogFound, measures: Measures) -> list[str]:
    forked = ", forked" if log.forks else ""
    bark = f"bark {measures.short(log.bark_thickness_m)} thick" if log.bark else "no bark"
    lines = [log.name]
    lines += paragraph(
        f"{log.species}{forked}, {bark}; {measures.long(log.length_m)} long; the wood "
        f"{measures.short(log.butt_diameter_m)} across at the butt end, "
        f"{measures.short(log.top_diameter_m)} at the top end",
        first="  ",
    )
    unit = measures.mass_unit
    with_bark = " with its bark" if log.bark else ""
    lines += paragraph(
        f"{measures.volume(log.volume_m3)} of wood, {measures.mass(log.mass_kg)} {unit} green{with_bark}; "
        f"plan lifting on {measures.mass(lift_kg(log.mass_kg))} {unit} (1.25 times that)",
        first="  ",
    )
    rules = log.log_rules
    shown = [
        f"{name} {board_feet:,.0f}"
        for name, board_feet in (
            ("Doyle", rules.doyle),
            ("Scribner Decimal C", rules.scribner_c),
            ("International 1/4-inch", rules.international),
        )
        if board_feet is not None
    ]
    if shown:
        size = f"{measures.short(rules.diameter_in * INCH_M)} x {measures.long(rules.length_ft * FOOT_M)}"
        lines += paragraph(
            f"as buyers scale it, {size}: {', '.join(shown)} board feet",
            first="  ",
        )
    marks = "; ".join(_mark_text(mark, measures) for mark in log.marks)
    return lines + (paragraph(f"marked: {marks}", first="  ") if marks else [])


def _mark_text(mark: Mark, measures: Measures) -> str:
    away = f"{mark.id} at {measures.long(max(0.0, mark.x_m))} from the butt"
    if mark.kind == "pith":
        return away
    return f"{away}, {measures.short(2.0 * mark.radius_m)} across and {measures.short(mark.depth_m)} deep"


def _assumed_lines(document: PlanDocument, assumed: Assumed, measures: Measures) -> list[str]:
    log = document.log
    butt_m, top_m = log.end_trim_m
    trim = measures.short(butt_m) if butt_m == top_m else f"{measures.short(butt_m)} and {measures.short(top_m)}"
    return paragraph(
        f"mill {document.mill.name} ({assumed.mill}), prices {document.prices.name} ({assumed.prices}), "
        f"species {log.species} ({assumed.species}), bark {'on' if log.bark else 'off'} ({assumed.bark}), "
        f"{trim} trimmed off each end ({assumed.end_trim})",
        first="Assumed: ",
        rest="  ",
    )


def _comparison(document: PlanDocument, measures: Measures, title: str) -> list[str]:
    plain = document.plain_way
    unit = measures.reading_unit
    currency = measures.amount_unit
    of_net = (
        (f"Net in\nthe mean\n{currency}".rstrip(), "Likely\nfrom-to", "Brings\nmost")
        if document.doubt is not None
        else ("Board\nfeet", f"Net\n{currency}", "Against\nplain")
    )
    header = (
        "Plan", "Roll\ndeg", f"Shim at\nbutt, {unit}", f"Shim at\ntop, {unit}", f"Blade 1\nat, {unit}", "Slabs",
        *of_net,
    )  # fmt: skip
    level = document.hearts_level
    compared = [*document.plans, *([level] if level else []), *([plain] if plain else [])]
    names = ["level" if plan is level else str(plan.rank) if plan.rank else "plain" for plan in compared]
    readings = aligned([measures.reading(plan.first_face.blade_height_m) for plan in compared])
    rows = [
        (
            name,
            f"{turn_deg(plan.roll_deg)}",
            _shims_at("butt", plan, measures),
            _shims_at("top", plan, measures),
            reading,
            _thicknesses(plan),
            *(
                (measures.amount(worth(plan)), likely_range(plan, measures), chance_text(plan))
                if document.doubt is not None
                else (
                    board_feet_text(plan.board_feet),
                    measures.amount(plan.net),
                    "" if plain is None or plan is plain else measures.difference(plan.net - plain.net),
                )
            ),
        )
        for name, plan, reading in zip(names, compared, readings, strict=True)
    ]
    lines = columns(header, rows, left=(0, 5))
    if max(map(len, lines)) > PAGE_WIDTH:
        short = [_thicknesses(plan, _FEW_THICKNESSES) for plan in compared]
        rows = [(*row[:5], thick, *row[6:]) for row, thick in zip(rows, short, strict=True)]
        lines = columns(header, rows, left=(0, 5))
    stretches: dict[str, list[str]] = {}
    for name, plan in zip(names, compared, strict=True):
        stretches.setdefault(_crosscut(plan, document, measures), []).append(name)
    texts = [f"{', '.join(of)} {text}" for text, of in stretches.items() if text]
    if texts:
        lines += paragraph(f"Crosscut, from the butt end: {'; '.join(texts)}.", first="  ")
    searched = f" {_how_searched(document)}" if document.kind == "searched" else ""
    lines += ["", *paragraph(f"{_worth_more(document, measures, title)}{searched}")]
    if level is not None:
        lines += paragraph(_level_text(level, document, measures))
    return lines + doubt_lines(document, measures)


def _level_text(level: Plan, document: PlanDocument, measures: Measures) -> str:
    apart = worth(level) - worth(document.plans[0])
    against = f"{measures.money(abs(apart))} {'more' if apart > 0.0 else 'less'} than plan 1"
    return f"Level puts butt heart and both limb hearts at one height, the usual way to the best feather: {against}."


def _crosscut(plan: Plan, document: PlanDocument, measures: Measures) -> str:
    """Say where a stretch is crosscut; nothing for the whole log."""
    from_m, to_m = plan.stretch_m
    cuts = [place_m for place_m in (from_m, to_m) if CROSSCUT_M < place_m < document.log.length_m - CROSSCUT_M]
    return " and ".join(f"at {measures.long(place_m)}" for place_m in cuts)


def _worth_more(document: PlanDocument, measures: Measures, title: str) -> str:
    plain = document.plain_way
    if plain is None:
        return "No plain way stands beside them."
    more = worth(document.plans[0]) - worth(plain)
    stops = _stops_text(document)
    if measures.money(more) == measures.money(0.0):
        return f"{title} is worth no more than the plain way: roll 0 and one thickness throughout.{stops}"
    base = worth(plain)
    tells = 0.0 < abs(more) < MOST_TIMES * base
    share = f" ({100.0 * abs(more) / base:.0f} %)" if tells else ""
    which = "more" if more > 0.0 else "less"
    mean = "" if document.plans[0].net_expected is None else ", in the mean,"
    brings = f"is worth{mean} {measures.money(abs(more))}{share} {which}"
    lies = "lies" if turn_deg(plain.roll_deg) == 0 else "goes with the least turn"
    return f"{title} {brings} than the plain way, which is to saw the log as it {lies}, all in one thickness.{stops}"


def _stops_text(document: PlanDocument) -> str:
    """Say where metal ends the plain way, which flatters what is compared with it; nothing where it does not."""
    made = passes_before_metal(document)
    if made is None:
        return ""
    passes = "1 pass" if made == 1 else f"{made} passes"
    return (
        f" The plain way stops at the metal after {passes}; a sawyer would go around it and may get more than that, so "
        "do not take the whole difference for granted."
    )


def _how_searched(document: PlanDocument) -> str:
    work = document.work
    why = {"lays": "", "gap": "", "time": ", when the time was up", "cancelled": ", when told to stop"}
    priced = f"{work.lays:,} lays were priced in {work.seconds:.0f} s{why[work.stopped_by]}"
    said = bound_said(document)
    if not said:
        return f"{priced}; how much better another lay could be is not proven."
    return f"{priced}. {said}"


def _shims_at(end: str, plan: Plan, measures: Measures) -> str:
    heights = [_shim_height(shim, measures) for shim in plan.shims if _shim_end(shim, plan) == end]
    return ", ".join(heights) or "none"


def _thicknesses(plan: Plan, most: int = _MOST_THICKNESSES) -> str:
    counts = Counter(slab.quarters for slab in plan.slabs)
    each = " ".join(f"{count}@{quarters}/4" for quarters, count in sorted(counts.items()))
    if not each:
        return "none"
    if len(each) <= most:
        return each
    mixed = f" in {len(counts)} thicknesses" if most >= _MOST_THICKNESSES else ", mixed"
    return f"{len(plan.slabs)}{mixed}"


def _shim_end(shim: Shim, plan: Plan) -> str:
    return "butt" if shim.x_m < sum(plan.stretch_m) / 2.0 else "top"


def _shim_height(shim: Shim, measures: Measures) -> str:
    return measures.short(shim.height_m).removesuffix(" in").removesuffix(" mm")


def _plan_lines(plan: Plan, document: PlanDocument, measures: Measures, title: str) -> list[str]:
    mill = document.mill
    mean = "" if plan.net_expected is None else " in the mean"
    lines = [f"{title}: net {measures.money(worth(plan))}{mean}", *likely_lines(plan, measures)]
    crosscut = _crosscut(plan, document, measures)
    if crosscut:
        lines += paragraph(f"crosscut {crosscut}, from the butt end", first="  Length ")
    lines += paragraph(turn_text(plan.roll_deg), first="  Roll   ")
    lines += paragraph(_shims_text(plan, document, measures), first="  Shims  ")
    hearts = ", ".join(f"{heart.end.replace('_', ' ')} {measures.short(heart.height_m)}" for heart in plan.hearts)
    if hearts:
        lines += paragraph(f"{hearts}, above the bunks", first="  Heart  ")
    for text in metal_said(plan, document.log, measures):
        lines += paragraph(text, first="  Metal  ")
    lines += paragraph(_first_face_text(plan, measures), first="  Check  ")
    zero_m = mill.scale_zero_m
    zero = (
        f"{measures.short(abs(zero_m))} {'above' if zero_m > 0.0 else 'below'} the bunks" if zero_m else "on the bunks"
    )
    lines += paragraph(f"heights as the mill's scale shows them, its 0 {zero}", first="  Blade  ")
    lines += ["", *_pass_table(plan, measures)]
    lines += ["  Mass is the mean of the species, and 1.25 times it to lift by."]
    lines += [*_inside_lines(plan, document, measures), ""]
    lines += _sum_lines(plan, document.log, measures)
    return lines


def _first_face_text(plan: Plan, measures: Measures) -> str:
    face = plan.first_face
    width, length = measures.width(face.max_width_m), measures.slab_length(face.length_m)
    if face.length_m < _LEAST_FACE_M:
        return "the first pass opens no face to measure"
    return (
        f"the first pass opens a face {width} {measures.reading_unit} wide and {length} "
        f"long{face_range(face, measures)}; if it is far off, "
        "measure again before you go on"
    )


def _shims_text(plan: Plan, document: PlanDocument, measures: Measures) -> str:
    if not plan.shims:
        return "none"
    texts = []
    for shim in plan.shims:
        from_butt_m = shim.x_m - plan.stretch_m[0]
        spacing_m = document.mill.bunk_spacing_m
        bunk = ""
        if spacing_m:
            number = floor((from_butt_m - document.mill.first_bunk_m) / spacing_m + 0.5) + 1
            bunk = f" on bunk {number},"
        side = f" at its {shim.side}" if shim.side else ""
        texts.append(
            f"{measures.short(shim.height_m)} under the {_shim_end(shim, plan)} end,{bunk} "
            f"{measures.long(from_butt_m)} from the butt{side}"
        )
    return "; ".join(texts)


def _pass_table(plan: Plan, measures: Measures) -> list[str]:
    unit = measures.reading_unit
    mass = measures.mass_unit
    width, length = f"(least-most) {unit}", "m" if measures.is_metric else ""
    subs = ("", unit, "", "as", unit, width, length, "feet", mass, measures.amount_unit)
    header = [f"{head}\n{sub}" for head, sub in zip(_TABLE_HEAD, subs, strict=True)]
    rows: list[list[str]] = []
    readings = aligned([measures.reading(cut.blade_height_m) for cut in plan.passes])
    layer, flip_at = 0, None
    for cut, reading in zip(plan.passes, readings, strict=True):
        if cut.flipped and flip_at is None:
            flip_at = len(rows)
            came_off = _offcut_rows(plan, "flipped", measures)
        elif cut.order == 1:
            came_off = _offcut_rows(plan, "first", measures)
        else:
            layer += 1
            came_off = _layer_rows(plan, layer, measures)
        head = [str(cut.order), reading]
        for row in came_off or [["nothing", *[""] * 7]]:
            rows.append([*head, *row])
            head = ["", ""]
    rows += [["", "", *row] for row in _layer_rows(plan, layer + 1, measures)]
    rows += [["", "", *row] for row in _offcut_rows(plan, "last", measures)]
    lines = columns(header, rows, left=(2,))
    if flip_at is not None:
        lines.insert(len(lines) - len(rows) + flip_at, f"     {FLIP_LINE}")
    return lines


def _inside_lines(plan: Plan, document: PlanDocument, measures: Measures) -> list[str]:
    """Say what heart, marks and feather in the slabs cost or brought; else how much of them there is."""
    marked, figured = (
        {slab.id: area for slab in plan.slabs if (area := getattr(slab, what)) and area >= LEAST_AREA_M2}
        for what in ("marked_area_m2", "figure_area_m2")
    )
    left = [slab.id for slab in plan.slabs if slab.flipped and slab.lower_face_m == 0.0]
    numbers = numbers_said(plan)
    lines = paragraph(numbers, first="  ") if numbers else []
    if left:
        lines += paragraph(f"What is left on the bunks at the end is slab {', '.join(left)}.", first="  ")
    worth = worth_inside(plan, document)
    if worth is None:
        held = (("marks", marked), ("feather", figured))
        texts = [
            f"{name} in slab {', '.join(f'{slab} {measures.area(area)}' for slab, area in areas.items())}"
            for name, areas in held
            if areas
        ]
    else:
        flaws = f"heart and marks (in {', '.join(marked)})" if marked else "the heart"
        feather = f"the feather (in {', '.join(figured)})"
        texts = [
            f"{what} {verb} {measures.money(amount)}"
            for what, verb, amount in (
                (flaws, "cost" if marked else "costs", worth.lost),
                (feather, "brings", worth.brought),
            )
            if measures.money(amount) != measures.money(0.0)
        ]
    return lines + (paragraph(f"In these prices: {'; '.join(texts)}.", first="  ") if texts else [])


def _offcut_rows(plan: Plan, where: str, measures: Measures) -> list[list[str]]:
    name = "stays" if where == "last" else "offcut"
    return [
        [name, "", "", "", "", "", measures.mass_and_lift(offcut.mass_kg), ""]
        for offcut in plan.offcuts
        if offcut.where == where and measures.mass(offcut.mass_kg) != "0"
    ]


def _layer_rows(plan: Plan, layer: int, measures: Measures) -> list[list[str]]:
    rows = [_slab_row(slab, measures) for slab in plan.slabs if slab.layer == layer]
    rows += [
        ["waste", "", "", "", "", "", measures.mass_and_lift(waste.mass_kg), ""]
        for waste in plan.waste
        if waste.layer == layer and measures.mass(waste.mass_kg) != "0"
    ]
    return rows


def _slab_row(slab: Slab, measures: Measures) -> list[str]:
    least, most = measures.whole_width(slab.min_width_m), measures.whole_width(slab.max_width_m)
    return [
        slab.id,
        f"{slab.quarters}/4",
        measures.thickness(slab.green_thickness_m),
        f"{measures.width(slab.mean_width_m)} ({least}-{most})",
        _tight(measures.slab_length(slab.length_m)),
        board_feet_text(slab.board_feet),
        measures.mass_and_lift(slab.mass_kg),
        measures.amount(slab.price),
    ]


def _tight(length: str) -> str:
    return length.replace(" ft", "'").replace(" in", '"').removesuffix(" m")


def _sum_lines(plan: Plan, log: LogFound, measures: Measures) -> list[str]:
    minutes = sum(cut.minutes for cut in plan.passes)
    flip = " and a flip" if plan.flipped_log_to_bed is not None else ""
    share = f"{100.0 * plan.recovery:.0f} % of the wood"
    slabs = f"{len(plan.slabs)} slabs, {board_feet_text(plan.board_feet)} board feet, {share}"
    rows = [
        ("Slabs sell for", measures.money(plan.gross), slabs),
        (
            "Sawing",
            measures.money(-plan.sawing_cost),
            f"{len(plan.passes)} passes{flip}, {minutes_text(minutes)} at the blade, and handling",
        ),
        ("Drying", measures.money(-plan.drying_cost), ""),
    ]
    if plan.net_expected is None:
        rows.append(("Net", measures.money(plan.net), ""))
    else:
        rows.append(("Net as given", measures.money(plan.net), "on the log exactly as given, as all above"))
        rows.append(("Net", measures.money(plan.net_expected), "in the mean"))
    net = worth(plan)
    if log.cost:
        rows.append(("The log cost", measures.money(-log.cost), f"which leaves {measures.money(net - log.cost)}"))
    rows.append(("Break-even", measures.money(plan.break_even_log_price), "the most that the log may cost"))
    return sums(rows)


def _caution_lines(cautions: Sequence[Caution], units: Units, head: str) -> list[str]:
    lines = [head]
    for level in LEVELS:
        of_level = [caution for caution in cautions if caution.level == level]
        for caution in of_level:
            reason = f" [{in_units(caution.reason, units)}]" if level != "note" else ""
            lines += paragraph(f"{caution.line}{reason}", first=f"  {level.upper():7} ", rest=" " * 10)
    return lines


def solid_text(name: str, length_m: float, volume_m3: float, faces: int, out: str, units: Units) -> str:
    """Return what to print when a closed mesh was written."""
    length = f"{length_m:.2f} m" if units is Units.METRIC else feet_text(length_m)
    volume = f"{volume_m3:.3f} m3" if units is Units.METRIC else f"{volume_m3 / FOOT_M**3:.1f} ft3"
    return f"{out}: {name}, a closed mesh of {faces:,} triangles in metres, {length} long, {volume}\n"
