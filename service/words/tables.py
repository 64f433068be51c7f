"""A plan document as text that a sawyer reads in the yard: its layout; other modules here say it."""

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.documents.plan import Caution, LogFound, Mark, Plan, PlanDocument, Slab
from optimizer.report.cautions import PLAN_LINE, as_shown, cautions_of
from optimizer.report.loads import lift_kg
from optimizer.report.tally_said import is_of_before
from scans.units import FOOT_M, INCH_M, feet_text
from service.words.buck_words import cut_words, cuts_short, is_bucked, kept_words, pieces_off, sides_words
from service.words.cut_words import (
    FLIP_WORDS,
    NOTHING,
    Line,
    Piece,
    face_to_measure,
    figure_words,
    last_slabs_words,
    left_on_bed,
    lines_of,
    no_sale_words,
    scale_words,
    weight_words,
)
from service.words.doubt_words import (
    BEST_PICK_WORDS,
    RANGE_WORDS,
    average_words,
    is_contest,
    pays_words,
    sources_words,
)
from service.words.finish_words import finish_words
from service.words.lay_words import metal_words, pith_words
from service.words.layout import PAGE_WIDTH, aligned, columns, paragraph, sums
from service.words.measures import Measures, board_feet_text
from service.words.messages import COMMAND_LINE, said
from service.words.money_words import (
    OLD_BOOK,
    compared_words,
    feet_range_words,
    inside_words,
    more_than_straight,
    net_words,
    one_thickness_words,
    range_words,
    set_words,
    sum_rows,
    worth,
)
from service.words.proven import bound_said, search_said
from service.words.quantities import in_units
from service.words.slab_words import NO_SLAB, as_sawn_words, numbers_said, ripped_words, thicknesses
from service.words.support_words import BUTT, NO_SHIMS, TOP, shim_at, stands_words, supports_words
from service.words.time_words import first_money_words
from service.words.turn_words import COLUMN_KEY, turn_column, turn_in_full
from service.words.units import Units
from service.words.way_names import PITH_LEVEL, PITH_LEVEL_MEANS, STRAIGHT, level_in_the_way, straight_lies, way_name
from service.words.wood_names import wood_said

_MOST_THICKNESSES, _FEW_THICKNESSES = 20, 14
"""Letters that the column of slabs may take on a page 80 wide; and where the money takes more of it."""
FLIP_LINE = f"Turn the log over: {FLIP_WORDS}"


@dataclass(frozen=True)
class Assumed:
    """Where each thing that was assumed came from, in words."""

    mill: str
    prices: str
    species: str
    bark: str
    end_trim: str


def plan_text(
    document: PlanDocument, assumed: Assumed, units: Units, *, show_all: bool, verbose: bool = False,
    title: str = "Plan 1",
) -> str:  # fmt: skip
    """Return what to print: the log, the plans beside sawing straight through, the best in full, the cautions.

    show_all : every plan in full, and what stands beside them, each of these with its own cautions, as those at the end
    are of the plans. verbose : how the plans were found, too. title : what to call the first plan.
    """
    measures = Measures(units, document.mill, document.currency)
    lines = [*head_lines(document, assumed, measures), ""]
    cautions = document.cautions if show_all else cautions_of(document, document.plans[0])
    lines += _stop_lines(cautions, units)
    lines += _comparison(document, measures, title)
    lines += _doubt_lines(document, measures)
    if verbose:
        lines += _search_lines(document)
    shown = document.plans if show_all else document.plans[:1]
    for plan in shown:
        lines += ["", *_plan_lines(plan, document, measures, way_name(document, plan, title))]
    beside = ((STRAIGHT, document.plain_way), (PITH_LEVEL, document.hearts_level)) if show_all else ()
    for name, way in beside:
        if way is not None:
            lines += ["", *_plan_lines(way, document, measures, name), ""]
            lines += _caution_lines(cautions_of(document, way), units, f"Cautions: {name.lower()}", more=True)
    if document.warnings:
        lines.append("")
    for warning in document.warnings:
        lines += paragraph(said(warning, units, COMMAND_LINE), first="Note: ", rest="  ")
    head = "Cautions: the plans" if any(way is not None for _, way in beside) else "Cautions"
    lines += ["", *_caution_lines(cautions, units, head, more=show_all)]
    lines += _standing_lines(cautions, show_all=show_all)
    lines += ["", *paragraph(PLAN_LINE)]
    return "\n".join(lines) + "\n"


def head_lines(document: PlanDocument, assumed: Assumed, measures: Measures) -> list[str]:
    """Return what the log is, what was assumed, and how slabs are counted."""
    return [*_log_lines(document.log, measures), *_assumed_lines(document, assumed, measures)]


def _log_lines(log: LogFound, measures: Measures) -> list[str]:
    forked = ", crotch log" if log.forks else ""
    bark = f"bark {measures.short(log.bark_thickness_m)} thick" if log.bark else "no bark"
    lines = [log.name]
    lines += paragraph(
        f"{wood_said(log.species)}{forked}, {bark}; {measures.long(log.length_m)} long; "
        f"{measures.short(log.butt_diameter_m)} diameter inside bark at the butt, "
        f"{measures.short(log.top_diameter_m)} at the top",
        first="  ",
    )
    unit = measures.mass_unit
    with_bark = " with its bark" if log.bark else ""
    lines += paragraph(
        f"{measures.volume(log.volume_m3)} of wood, about {measures.mass(log.mass_kg)} {unit} green{with_bark}; "
        f"rig for {measures.mass(lift_kg(log.mass_kg))} {unit} (25% extra)",
        first="  ",
    )
    lines += _scale_lines(log, measures)
    marks = "; ".join(_mark_text(mark, measures) for mark in log.marks)
    return lines + (paragraph(f"Marked: {marks}", first="  ") if marks else [])


def _scale_lines(log: LogFound, measures: Measures) -> list[str]:
    """Return what log rules give; they are for one round piece, so not for a crotch log."""
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
    if not shown or log.forks:
        return []
    size = f"small end {measures.short(rules.diameter_in * INCH_M)}, {measures.long(rules.length_ft * FOOT_M)}"
    return paragraph(f"Log scale ({size}): {', '.join(shown)} board feet", first="  ")


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
        f"{wood_said(log.species)} ({assumed.species}), bark {'on' if log.bark else 'off'} ({assumed.bark}), "
        f"{trim} trimmed off each end ({assumed.end_trim})",
        first="Using: ",
        rest="  ",
    ) + _tally_lines(document, measures)


def _tally_lines(document: PlanDocument, measures: Measures) -> list[str]:
    """Say how slabs are counted, and of a book from before it could say more, that there is more to say."""
    lines = paragraph(said(document.tally, measures.units, COMMAND_LINE), rest="  ") if document.tally else []
    if document.tally and is_of_before(document.prices):
        lines += paragraph(f"{OLD_BOOK} pithline init FOLDER writes one that does.", first="Note: ", rest="  ")
    return lines


def _comparison(document: PlanDocument, measures: Measures, title: str) -> list[str]:
    unit, currency = measures.reading_unit, measures.amount_unit
    weighed = document.doubt is not None
    level, plain = document.hearts_level, document.plain_way
    compared = [*document.plans, *([level] if level else []), *([plain] if plain else [])]
    of_net = f"Average\nnet\n{currency}".rstrip(), "Likely\nrange", "Best\npick"
    if not weighed:
        held = any(more_than_straight(document, plan) is not None for plan in compared)
        of_net = "Board\nfeet", f"Net\n{currency}", "More than\nstraight" if held else ""
    header = (
        "Plan", "Roll", f"Shim,\nbutt\n{unit}", f"Shim,\ntop\n{unit}", f"Cut 1\nat\n{unit}", "Slabs",
        *(name for name in of_net if name),
    )  # fmt: skip
    names = ["level" if plan is level else str(plan.rank) if plan.rank else "straight" for plan in compared]
    readings = aligned([measures.reading(plan.first_face.blade_height_m) for plan in compared])

    def rows_of(most_letters: int) -> list[list[str]]:
        return [
            [
                name, turn_column(plan.roll_deg), _shim_at(BUTT, plan, measures), _shim_at(TOP, plan, measures),
                reading, _thicknesses(plan, most_letters),
                *(_in_doubt(plan, measures) if weighed else _as_measured(document, plan, measures)),
            ][: len(header)]
            for name, plan, reading in zip(names, compared, readings, strict=True)
        ]  # fmt: skip

    lines = columns(header, rows_of(_MOST_THICKNESSES), left=(0, 5))
    if max(map(len, lines)) > PAGE_WIDTH:
        lines = columns(header, rows_of(_FEW_THICKNESSES), left=(0, 5))
    lines += paragraph(f"Roll: {COLUMN_KEY}.", first="  ")
    if plain:
        lines += paragraph(f"Straight: sawn {straight_lies(document, plain)}, all one thickness.", first="  ")
    if level:
        lines += paragraph(f"Level: {PITH_LEVEL_MEANS}; {_apart(level, document, measures)}.", first="  ")
    elif why := level_in_the_way(document, measures):
        lines += paragraph(why, first="  ")
    lines += _buck_lines(compared, names, document, measures)
    beside = (set_words(document, measures), one_thickness_words(document, measures))
    said = " ".join(words for words in (compared_words(document, measures, title), *beside) if words)
    return [*lines, "", *paragraph(said)]


def _in_doubt(plan: Plan, measures: Measures) -> tuple[str, str, str]:
    likely = ""
    if plan.net_p10 is not None and plan.net_p90 is not None:
        high = measures.amount(plan.net_p90)
        likely = f"{measures.amount(plan.net_p10)}-{high.lstrip('$') if plan.net_p10 >= 0.0 else high}"
    chance = "" if plan.chance_best is None else f"{100.0 * plan.chance_best:.0f}%"
    return measures.amount(worth(plan)), likely, chance


def _as_measured(document: PlanDocument, plan: Plan, measures: Measures) -> tuple[str, str, str]:
    more = more_than_straight(document, plan)
    return (
        board_feet_text(plan.board_feet), measures.amount(plan.net), "" if more is None else measures.difference(more),
    )  # fmt: skip


def _buck_lines(
    compared: Sequence[Plan], names: Sequence[str], document: PlanDocument, measures: Measures
) -> list[str]:
    """Say where the log is bucked; plans that are bucked alike together."""
    places: dict[str, list[str]] = {}
    for name, plan in zip(names, compared, strict=True):
        places.setdefault(cuts_short(document, plan, measures), []).append(name)
    texts = [
        f"{place} ({'all plans' if len(of) == len(compared) else ', '.join(of)})"
        for place, of in places.items()
        if place
    ]
    return paragraph(f"Buck the log first: {'; '.join(texts)}.", first="  ") if texts else []


def _apart(level: Plan, document: PlanDocument, measures: Measures) -> str:
    apart = worth(level) - worth(document.plans[0])
    return f"{measures.money(abs(apart))} {'more' if apart > 0.0 else 'less'} than plan 1"


def _doubt_lines(document: PlanDocument, measures: Measures) -> list[str]:
    """Say how sure the first plan is, what we are least sure of, and what would firm it up."""
    doubt = document.doubt
    if doubt is None or not document.plans:
        return []
    text = f"{average_words(document)} Likely range: {RANGE_WORDS}."
    if is_contest(document):
        text += f" {BEST_PICK_WORDS}"
    lines = ["", *paragraph(text)]
    sources = ", ".join(f"{source} {share}" for source, share in sources_words(document))
    if sources:
        lines += paragraph(f"{sources}.", first="What we're least sure of: ", rest="  ")
    for way in doubt.would_pay:
        lines += paragraph(
            f"{in_units(way.action, measures.units)}: {pays_words(document, way, measures)}.",
            first="To firm it up: ",
            rest="  ",
        )
    return lines


def _search_lines(document: PlanDocument) -> list[str]:
    texts = [search_said(document), bound_said(document)] if document.kind == "searched" else []
    if document.doubt is not None:
        texts.append(f"Averages are over {document.doubt.samples} versions of your log.")
    return ["", *paragraph(" ".join(text for text in texts if text))] if any(texts) else []


def _shim_at(end: str, plan: Plan, measures: Measures) -> str:
    height = measures.short(shim_at(plan, end))
    return "none" if height == measures.short(0.0) else height.removesuffix(" in").removesuffix(" mm")


def _thicknesses(plan: Plan, most: int) -> str:
    counts = thicknesses(plan)
    each = " ".join(f"{count}@{quarters}/4" for count, quarters in counts)
    if not each or len(each) <= most:
        return each or NO_SLAB
    mixed = f" in {len(counts)} thicknesses" if most >= _MOST_THICKNESSES else ", mixed"
    return f"{len(plan.slabs)}{mixed}"


def _plan_lines(plan: Plan, document: PlanDocument, measures: Measures, title: str) -> list[str]:
    lines = [f"{title}: {net_words(plan)} {measures.money(worth(plan))}"]
    likely = ", ".join(text for text in (range_words(plan, measures), feet_range_words(plan)) if text)
    told = [("4 times out of 5: ", likely)]
    if is_bucked(document, plan):
        told += [("" if k else "Buck", text) for k, text in enumerate(cut_words(document, plan, measures))]
        told.append(("", " ".join(_sentences(kept_words(document, plan), sides_words(document, plan)))))
        told += [("", piece.line) for piece in pieces_off(plan, measures)]
    told += [
        ("Roll", turn_in_full(plan.roll_deg)),
        *(
            ("" if at else "Set", text)
            for at, text in enumerate(supports_words(document, plan, measures) or [NO_SHIMS])
        ),
        ("Stands", stands_words(document, plan, measures)),
        ("Pith", f"{pith_words(plan, measures)} off the bunks" if plan.hearts else ""),
        *(("Metal", text) for text in metal_words(plan, document.log, measures)),
        ("Check", _check_words(plan, measures)),
        ("Blade", scale_words(measures)),
    ]
    for first, text in told:
        if text:
            lines += paragraph(text, first=f"  {first:7}")
    lines += ["", *_cut_table(plan, document, measures)]
    told_below = (
        as_sawn_words(document.prices), weight_words(plan, document.log), no_sale_words(plan), numbers_said(plan),
        last_slabs_words(plan),
        inside_words(plan, document, measures), figure_words(plan, document), *finish_words(plan, measures),
        *(ripped_words(slab, measures) for slab in plan.slabs),
    )  # fmt: skip
    for text in told_below:
        if text:
            lines += paragraph(text, first="  ")
    return [*lines, "", *sums(sum_rows(plan, document, measures)), *_when_lines(plan, document)]


def _when_lines(plan: Plan, document: PlanDocument) -> list[str]:
    when = first_money_words(plan, document)
    return ["", *paragraph(when, first="  ")] if when else []


def _sentences(*texts: str) -> list[str]:
    return [f"{text[:1].upper()}{text[1:].removesuffix('.')}." for text in texts if text]


def _check_words(plan: Plan, measures: Measures) -> str:
    face = face_to_measure(plan, measures)
    if face is None:
        return "no cut opens a face large enough to measure"
    return f"after cut {face.order} measure the face: about {face.size}. {face.off}? Stop and re-measure the log."


def _cut_table(plan: Plan, document: PlanDocument, measures: Measures) -> list[str]:
    unit, currency = measures.reading_unit, measures.amount_unit
    header = [
        "Cut", f"Blade at\n{unit}", "Slab", "Sold\nas", f"Sawn\n{unit}", f"Width avg\n(min-max) {unit}",
        "Length\nm" if measures.is_metric else "Length", "Board\nfeet", f"Weight/\nlift at\n{measures.mass_unit}",
        f"Price\n{currency}".rstrip(),
    ]  # fmt: skip
    lines = lines_of(plan, measures)
    readings = aligned([line.reading for line in lines])
    rows: list[list[str | None]] = []
    flip_at = None
    for line, reading in zip(lines, readings, strict=True):
        if line.starts_flip:
            flip_at = len(rows)
        rows += _rows_of_cut(line, reading, measures)
    rows += [["", "", *_piece_row(piece, measures)] for piece in left_on_bed(plan) if _is_shown(piece, measures)]
    table = columns(header, rows, left=(2,))
    if flip_at is not None:
        at = len(table) - len(rows) + flip_at
        after = supports_words(document, plan, measures, flipped=True)
        table[at:at] = [f" {FLIP_LINE}", *(line for text in after for line in paragraph(text, first="  ", rest="    "))]
    return table


def _rows_of_cut(line: Line, reading: str, measures: Measures) -> list[list[str | None]]:
    pieces = [_piece_row(piece, measures) for piece in line.pieces if _is_shown(piece, measures)]
    first, *others = pieces or [[NOTHING, None, None, None, None, None, "", ""]]
    return [[str(line.order), reading, *first], *(["", "", *row] for row in others)]


def _is_shown(piece: Piece, measures: Measures) -> bool:
    return piece.slab is not None or measures.mass(piece.mass_kg) != "0"


def _piece_row(piece: Piece, measures: Measures) -> list[str | None]:
    weight = measures.mass_and_lift(piece.mass_kg)
    if piece.slab is None:
        return [piece.name, None, None, None, None, None, weight, ""]
    slab: Slab = piece.slab
    least, most = measures.whole_width(slab.min_width_m), measures.whole_width(slab.max_width_m)
    return [
        slab.id,
        f"{slab.quarters}/4",
        measures.thickness(slab.green_thickness_m),
        f"{measures.width(slab.mean_width_m)} ({least}-{most})",
        _tight(measures.slab_length(slab.length_m)),
        board_feet_text(slab.board_feet),
        weight,
        measures.amount(slab.price),
    ]


def _tight(length: str) -> str:
    return length.replace(" ft", "'").replace(" in", '"').removesuffix(" m")


def _caution_lines(cautions: Sequence[Caution], units: Units, head: str, *, more: bool) -> list[str]:
    """Return what a log and its plan call for. more : the less grave and less particular ones too."""
    shown = as_shown(cautions)
    called_for = (*shown.with_plan, *(shown.more if more else ()))
    return [head, *(line for caution in called_for for line in _caution(caution, units))]


def _caution(caution: Caution, units: Units) -> list[str]:
    reason = f" [{in_units(caution.reason, units)}]" if caution.level != "note" else ""
    return paragraph(f"{caution.line}{reason}", first=f"  {caution.level.upper():7} ", rest=" " * 10)


def _stop_lines(cautions: Sequence[Caution], units: Units) -> list[str]:
    """Return what has to be seen to before anything else: it stands over the plan, and among its cautions again."""
    lines = [line for caution in cautions if caution.level == "stop" for line in _caution(caution, units)]
    return [*lines, ""] if lines else []


def _standing_lines(cautions: Sequence[Caution], *, show_all: bool) -> list[str]:
    """Return the rules that always hold; unless all is shown, how many lines are left out."""
    shown = as_shown(cautions)
    if not show_all:
        left = len(shown.more) + len(shown.standing)
        return paragraph(f"{left} more, rules that always hold among them, with --all", first="  ") if left else []
    rules = [line for caution in shown.standing for line in paragraph(caution.line, first="  ", rest="    ")]
    return ["", "Rules that always hold", *rules] if rules else []


def solid_text(name: str, length_m: float, volume_m3: float, out: str, units: Units) -> str:
    """Return what to print when a log was written as a mesh."""
    length = f"{length_m:.2f} m" if units is Units.METRIC else feet_text(length_m)
    volume = f"{volume_m3:.3f} m3" if units is Units.METRIC else f"{volume_m3 / FOOT_M**3:.1f} cubic feet"
    return f"wrote {out}: {name}, {length} long, {volume}. The file is in meters.\n"
