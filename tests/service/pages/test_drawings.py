"""Drawings: well-formed, of the numbers that they are made from, for any log; a flipped plan is drawn flipped."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from kept_pages import Pages, Planned, keep_plan

from optimizer.bed.bodies import flip_matrix
from optimizer.documents.plan import Plan, PlanDocument, Slab, SupportPlaced
from service.drawings.bed import end_on_bed, side_on_bed
from service.drawings.log import butt_clock, log_picture
from service.drawings.log_shape import clock_place, shape_found, shape_of, taped
from service.drawings.roll_chart import roll_chart
from service.drawings.slabs import slab_drawing, units_per_m
from service.drawings.svg import Drawing, areas_of, spread
from service.drawings.under_log import WEIGHT
from service.pages.plan_view import way_of
from service.pages.rendering import measures_in
from service.words.cut_words import LAST_PIECE, NO_SALE, ROUND_TOP, left_on_bed, lines_of
from service.words.support_words import supports_short, supports_words
from service.words.turn_words import turn_told
from service.words.units import Units

SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg: str) -> ET.Element:
    root = ET.fromstring(svg)  # noqa: S314 - made here
    assert root.tag == f"{SVG}svg"
    assert root.get("aria-label")
    _, _, width, height = (float(part) for part in (root.get("viewBox") or "").split())
    for text in root.iter(f"{SVG}text"):
        assert 0.0 <= float(text.get("x") or -1) <= width
        assert 0.0 <= float(text.get("y") or -1) <= height + 1.0
    return root


def flipped(document: PlanDocument) -> PlanDocument:
    """Return a document whose best plan flips before its last two passes (heights made up)."""
    best = document.plans[0]
    face_m = best.passes[-3].blade_height_m
    turned = tuple(tuple(float(v) for v in row) for row in flip_matrix(face_m) @ np.array(best.log_to_bed))
    last = [
        cut.model_copy(update={"flipped": True, "blade_height_m": height_m})
        for cut, height_m in zip(best.passes[-2:], (0.3, 0.2), strict=True)
    ]
    plan = best.model_copy(update={"passes": (*best.passes[:-2], *last), "flipped_log_to_bed": turned})
    return document.model_copy(update={"plans": (plan, *document.plans[1:])})


@pytest.mark.parametrize("count", [11, 18, 30])
def test_readings_of_many_cuts_stay_in_the_drawing_and_apart(planned: Planned, count: int) -> None:
    document = planned.document
    first = document.plans[0].passes[0]
    heights = np.linspace(first.blade_height_m, 0.05, count)
    passes = tuple(
        first.model_copy(update={"order": k, "blade_height_m": float(height_m)})
        for k, height_m in enumerate(heights, start=1)
    )
    plan = document.plans[0].model_copy(update={"passes": passes})

    told = drawn(end_on_bed(document, plan, measures_in(Units.IMPERIAL, document.currency, document.mill)))

    places = [float(text.get("y") or 0) for text in told.iter(f"{SVG}text") if text.get("class") == "label-blade"]
    assert len(places) == count
    assert min(places) > 12.0  # the letters stand on it
    assert min(b - a for a, b in pairwise(sorted(places))) > 14.0


@pytest.mark.parametrize(("count", "said"), [(1, "with 1 cut"), (2, "with 2 cuts")])
def test_a_drawing_counts_its_cuts(planned: Planned, count: int, said: str) -> None:
    document = planned.document
    plan = document.plans[0].model_copy(update={"passes": document.plans[0].passes[:count]})
    told = end_on_bed(document, plan, measures_in(Units.IMPERIAL, document.currency, document.mill))

    assert f"{said}<" in told or f'{said}"' in told


@pytest.mark.parametrize("units", Units)
def test_all_of_a_plan_is_drawn(planned: Planned, units: Units) -> None:
    document = planned.document
    measures = measures_in(units, document.currency, document.mill)
    shape = shape_found(document.log)
    marked = drawn(log_picture(shape, "a log"))
    assert {"metal", "flaw"} <= {circle.get("class") for circle in marked.iter(f"{SVG}circle")}
    drawn(butt_clock(shape))
    for plan in (*document.plans, document.plain_way):
        assert plan is not None
        end = drawn(end_on_bed(document, plan, measures))
        told = [text.text or "" for text in end.iter(f"{SVG}text")]
        for cut in plan.passes:
            assert f"{cut.order}: {measures.reading(cut.blade_height_m)}" in told
        side = drawn(side_on_bed(document, plan, measures))
        assert turn_told(plan.roll_deg) in told
        for view in (end, side):
            blocks = [one for one in view.iter(f"{SVG}rect") if one.get("class") in {"shim", "prop"}]
            assert len(blocks) == len(plan.placed()) > 0
            labels = [text.text or "" for text in view.iter(f"{SVG}text")]
            for one in plan.placed():
                assert any(label.endswith(measures.short(one.height_m)) for label in labels)
            assert WEIGHT in labels
    best = document.plans[0]
    chart = drawn(roll_chart(document, measures))
    told = [text.text for text in chart.iter(f"{SVG}text")]
    assert measures.money(best.net) in told
    assert [text for text in told if text in {"180", "90", "0"}] == ["180", "90", "0", "90", "180"]


@pytest.mark.parametrize(("roll_deg", "share"), [(0.0, 0.5), (90.0, 0.75), (270.0, 0.25), (181.8, 0.005)])
def test_the_chart_of_rolls_has_as_it_lies_in_its_middle_and_clockwise_to_the_right(
    planned: Planned, roll_deg: float, share: float
) -> None:
    best = planned.document.plans[0].model_copy(update={"roll_deg": roll_deg})
    document = planned.document.model_copy(update={"plans": (best,)})
    chart = drawn(roll_chart(document, measures_in(Units.IMPERIAL, document.currency, document.mill)))
    ticks = {text.text: float(text.get("x") or 0) for text in chart.iter(f"{SVG}text")}
    (dot,) = (circle for circle in chart.iter(f"{SVG}circle") if circle.get("class") == "best")
    # Ticks that stand twice are kept as the last, to the right.
    width = 2.0 * (ticks["180"] - ticks["0"])
    assert float(dot.get("cx") or 0) == pytest.approx(ticks["180"] - width * (1.0 - share), abs=0.5)


def test_a_shim_that_a_tape_shows_as_nothing_is_none(planned: Planned) -> None:
    document, best = planned.document, planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    x_m = best.stretch_m[0] + 0.2
    thin = SupportPlaced(x_m=x_m, y_m=0.0, member="stem", kind="shim", height_m=0.0011)
    hair = best.model_copy(update={"supports": (thin,)})
    assert supports_words(document, hair, measures) == []
    assert supports_short(hair, measures) == "no shims"
    side = drawn(side_on_bed(document, hair, measures))
    assert [one for one in side.iter(f"{SVG}rect") if one.get("class") == "shim"] == []


def test_slabs_are_drawn_at_one_scale(planned: Planned) -> None:
    document, plan = planned.document, planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    scale = units_per_m(plan)
    for slab in plan.slabs:
        start_m = min(x for x, _ in slab.outline_m[0])
        root = drawn(slab_drawing(slab, start_m, scale, measures))
        lengths = [line for line in root.iter(f"{SVG}line") if line.get("class") == "measure"]
        across = max(float(line.get("x2") or 0) - float(line.get("x1") or 0) for line in lengths)
        assert across == pytest.approx(slab.length_m * scale, abs=0.2)
        told = [text.text for text in root.iter(f"{SVG}text")]
        assert measures.slab_length(slab.length_m) in told
        kinds = {path.get("class") for path in root.iter(f"{SVG}path")}
        assert ("heart" in kinds) == (slab.heart_area_m2 > 1e-6)


def test_widths_of_a_slab_stand_clear_of_its_outline_and_in_the_drawing(planned: Planned) -> None:
    document, plan = planned.document, planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    seen = 0
    for slab in plan.slabs:
        start_m = min(x for x, _ in slab.outline_m[0])
        root = drawn(slab_drawing(slab, start_m, units_per_m(plan), measures))
        whole = next(path for path in root.iter(f"{SVG}path") if path.get("class") == "pale")
        corners = [
            (float(x), float(y))
            for ring in (whole.get("d") or "").split("M")[1:]
            for x, y in (corner.split() for corner in ring.removesuffix("Z").split("L"))
        ]
        foot = max(y for _, y in corners)
        for text in root.iter(f"{SVG}text"):
            x, y = float(text.get("x") or -1), float(text.get("y") or -1)
            if y > foot:
                continue  # its length
            seen += 1
            half = 0.3 * float(text.get("font-size") or 0) * len(text.text or "")
            assert y > 0.7 * float(text.get("font-size") or 0)
            assert all(y < corner_y for corner_x, corner_y in corners if abs(corner_x - x) < half)
    assert seen >= len(plan.slabs)


def test_crotch_figure_is_drawn_dark_on_the_upper_face_and_pale_on_the_lower(planned: Planned) -> None:
    document, plan = planned.document, planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    slab = plan.slabs[0]
    low, high = slab.span_m

    def ring(share: float) -> tuple[tuple[tuple[float, float], ...], ...]:
        x0, x1 = low + 0.1 * (high - low), low + share * (high - low)
        return (((x0, -0.02), (x1, -0.02), (x1, 0.02), (x0, 0.02)),)

    both = slab.model_copy(update={"figure_m": ring(0.3), "figure_below_m": ring(0.5)})
    lower_alone = slab.model_copy(update={"figure_m": (), "figure_below_m": ring(0.5)})

    def opacities(one: Slab) -> list[str | None]:
        root = drawn(slab_drawing(one, low, units_per_m(plan), measures))
        return [path.get("fill-opacity") for path in root.iter(f"{SVG}path") if path.get("class") == "figure"]

    assert opacities(both) == ["0.3", "0.8"]
    assert opacities(lower_alone) == ["0.3"]


def test_a_flip_is_drawn_and_told(client: Pages, log_id: str, planned: Planned) -> None:
    document = flipped(planned.document)
    plan = document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    before, after = (drawn(end_on_bed(document, plan, measures, flipped=turned)) for turned in (False, True))
    blades = [[line for line in root.iter(f"{SVG}line") if line.get("class") == "blade"] for root in (before, after)]
    assert [len(lines) // 2 for lines in blades] == [len(plan.passes) - 2, 2]
    whole = client.get(f"/plans/{keep_plan(client, log_id, document)}/1/cut-list").text
    at_the_mill, _, text = whole.partition('<div class="first">')
    assert at_the_mill.count("Turn the log over") == text.count("Turn the log over") == 1
    assert (
        text.index('data-tick="pass-1"')
        < text.index("Turn the log over")
        < text.index(f'data-tick="pass-{len(plan.passes)}"')
    )


def test_every_piece_comes_off_once(planned: Planned) -> None:
    document = planned.document
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)

    def pieces(plan: Plan) -> list[str]:
        lines = lines_of(plan, measures)
        return [piece.name for line in lines for piece in line.pieces] + [piece.name for piece in left_on_bed(plan)]

    for plan in document.plans:
        names = pieces(plan)
        assert [name for name in names if name not in {NO_SALE, ROUND_TOP, LAST_PIECE}] == [
            slab.id for slab in plan.slabs
        ]
        assert names.count(NO_SALE) == len(plan.waste)
        assert names.count(ROUND_TOP) + names.count(LAST_PIECE) == len(plan.offcuts)
    assert way_of(document, "plain").plan is document.plain_way


def test_a_mark_is_told_where_it_was_taped(planned: Planned) -> None:
    # The sheet says 300 and 100 degrees; limbs turn the log frame from the stem's by a little.
    shape = shape_found(planned.document.log)
    turns = [clock_place(shape, mark) for mark in shape.marks]
    assert turns == [pytest.approx(300.0, abs=4.0), pytest.approx(100.0, abs=4.0)]


def test_the_tape_finds_what_was_taped(planned: Planned) -> None:
    # The sheet: 31 by 28 1/2 in at 2 ft 6 in.
    shape = shape_of(planned.read.log, 0.1, ())
    cut = min(shape.cuts, key=lambda cut: abs(cut.x_m - 0.762))
    size = taped(cut)
    assert size is not None
    assert (size.wide_m, size.narrow_m) == (
        pytest.approx(31 * 0.0254, rel=0.02),
        pytest.approx(28.5 * 0.0254, rel=0.02),
    )


@given(st.lists(st.floats(0.0, 200.0), min_size=1, max_size=9))
def test_labels_keep_apart_where_there_is_room(wanted: list[float]) -> None:
    places = spread(sorted(wanted), 20.0, 0.0, 200.0)
    assert all(below - above >= 20.0 - 1e-9 for above, below in pairwise(places))
    assert places[-1] <= 200.0


def test_rings_in_rings_are_holes() -> None:
    square = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]
    hole = [(1.0, 1.0), (2.0, 1.0), (2.0, 2.0), (1.0, 2.0)]
    assert areas_of([square, hole]).area == pytest.approx(15.0)


def test_words_in_a_drawing_are_escaped() -> None:
    drawing = Drawing('<a "b">', "any")
    drawing.text((1.0, 2.0), "<script>")
    root = drawn(drawing.svg(10.0, 10.0))
    assert [text.text for text in root.iter(f"{SVG}text")] == ["<script>"]
    assert root.get("aria-label") == '<a "b">'
