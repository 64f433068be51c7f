"""Drawings of a log on the bed: from the butt end, with every pass, and from the side, with bunks and shims."""

from collections.abc import Callable, Sequence
from math import cos, radians, sin

import numpy as np
from shapely import Point, Polygon, affinity, box, unary_union
from shapely.geometry.base import BaseGeometry

from optimizer.bed.buck_cuts import BuckCut
from optimizer.documents.plan import Holding, Pass, Plan, PlanDocument, SupportPlaced
from optimizer.problem import support_rules
from optimizer.report.bunk_places import bunk_number
from optimizer.report.cuts_made import cuts_made
from optimizer.report.metal_cautions import metal_on_bed
from scans.log import FloatArray, moved
from service.drawings.bucked import is_kept
from service.drawings.log_shape import LogShape, on_cut, shape_found, silhouette
from service.drawings.svg import Drawing, spread
from service.drawings.under_log import draw_under, draw_weight
from service.words.measures import Measures
from service.words.money_words import cuts_words
from service.words.support_words import supports_short
from service.words.turn_words import turn_and_side, turn_in_full, turn_words

WIDTH = 340.0
_FAR = 1e3
_LABEL_APART = 15.0
_BUNK_M = 0.05
_END_FACE_M = 0.2
"""A limb is cut across so far before its end, whose face leans."""
_HALF_LETTER = 5.4
"""Half as wide as a letter of the title, about."""


def end_on_bed(document: PlanDocument, plan: Plan, measures: Measures, *, flipped: bool = False) -> str:
    """Draw the log as it lies on the bunks, seen from the butt end, with the passes at their readings.

    flipped : after the flip, with what was sawn before it gone.
    """
    shape = shape_found(document.log)
    matrix = np.array(plan.flipped_log_to_bed if flipped else plan.log_to_bed)
    whole, end = _seen_from_butt(shape, plan, matrix, cuts_made(plan, document.log.length_m))
    if flipped:
        above = box(-_FAR, 0.0, _FAR, _FAR)
        whole, end = whole & above, end & above
    passes = [cut for cut in plan.passes if cut.flipped is flipped]
    left, low, far, high = whole.bounds
    high = max(high, passes[0].blade_height_m if passes else high)
    low = min(low, 0.0)
    most = WIDTH - 122.0
    scale = min(most / max(far - left, 1e-6), 250.0 / max(high - low, 1e-6))
    # Many cuts through a flat log need more height for their readings than the log has.
    readings = _LABEL_APART * len(passes) - high * scale
    top = max(34.0 if not flipped else 12.0, readings)
    middle = 12.0 + 0.5 * (far - left) * scale
    floor = top + high * scale

    def placed(found: BaseGeometry) -> BaseGeometry:
        shift = middle - 0.5 * (left + far) * scale
        return affinity.affine_transform(found, [scale, 0, 0, -scale, shift, floor])

    when = "after the flip" if flipped else f"rolled {turn_in_full(plan.roll_deg)}"
    drawing = Drawing(
        f"The log on the bunks, looking at the butt, {when}, with {cuts_words(len(passes))}", "end-on-bed"
    )
    drawing.polygon(placed(whole).simplify(0.4), "pale", 1.2)
    drawing.polygon(placed(end).simplify(0.4), "wood", 1.6)
    _slab_layers(drawing, plan, whole, placed, flipped=flipped)
    limbs = [limb & box(-_FAR, 0.0, _FAR, _FAR) for limb in _limbs(shape, plan, matrix, flipped=flipped)]
    for limb in limbs:
        drawing.polygon(placed(limb).simplify(0.4), "limb", 1.6, stroke_dasharray="5 3")
    edge = middle + 0.5 * (far - left) * scale
    drawing.shape("rect", "bunk", x=4.0, y=floor, width=edge + 4.0, height=10.0)

    def across(one: SupportPlaced | Holding) -> float:
        y_m = one.y_m if one.y_m is not None else 0.0
        return placed(Point(-y_m, 0.0)).x

    below = draw_under(
        drawing, document, plan, measures, flipped=flipped, across=across, floor=floor, scale=scale, width=WIDTH,
        bunk_named=True,
    )  # fmt: skip
    heart = _heart(shape, plan, matrix)
    if heart is not None and not (flipped and heart[1] < 0.0):
        place = placed(Polygon([heart, (heart[0] + 1e-9, heart[1]), heart])).centroid
        drawing.shape("circle", "heart", cx=place.x, cy=place.y, r=4.0)
    for _, corners in metal_on_bed(document.log, plan, flipped=flipped):
        rod = placed(Polygon(np.column_stack([-corners[:, 1], corners[:, 2]])).convex_hull)
        drawing.polygon(rod, "metal", 1.0)
    _blade_lines(drawing, passes, floor, scale, edge, measures)
    if not flipped:
        middle_of_end = placed(end.centroid)
        low_x, low_y, high_x, high_y = placed(end).bounds
        reach = 0.36 * min(high_x - low_x, high_y - low_y)
        _turn_arc(drawing, plan, (middle_of_end.x, middle_of_end.y), reach, (middle, top - 20.0))
    for number, limb in enumerate(limbs, start=1):
        if not limb.is_empty:
            at = placed(limb).centroid
            drawing.text((at.x, at.y + 4.0), f"limb {number}", "label-on", 12.5, text_anchor="middle")
    if plan.mass_centre_m is not None and not flipped:
        at = placed(Point(-plan.mass_centre_m[1], plan.mass_centre_m[2]))
        below = draw_weight(drawing, (at.x, at.y), below)
    return drawing.svg(WIDTH, below + 4.0)


def _seen_from_butt(
    shape: LogShape, plan: Plan, matrix: FloatArray, bucked: Sequence[BuckCut]
) -> tuple[BaseGeometry, BaseGeometry]:
    """Return all that shows of the stretch, and its butt end: to the right, and up. [m]."""
    from_m, to_m = plan.stretch_m
    cuts = [cut for cut in shape.cuts if cut.outer and from_m - 0.13 <= cut.x_m <= to_m + 0.13] or list(shape.cuts)
    limbs = [cut for cut in bucked if cut.limb is not None]
    seen = [
        [
            Polygon(moved(points, matrix)[:, 1:] * [-1.0, 1.0]).buffer(0)
            for part in cut.outer
            if is_kept(points := on_cut(part, cut.x_m), limbs, shape.hearts)
        ]
        for cut in cuts
    ]
    largest = max(unary_union(parts).area for parts in seen[:3])
    end = next(parts for parts in seen if unary_union(parts).area > 0.6 * largest)
    return unary_union([part for parts in seen for part in parts]), unary_union(end)


def _limbs(shape: LogShape, plan: Plan, matrix: FloatArray, *, flipped: bool) -> list[BaseGeometry]:
    """Return each limb cut across over the last support under it, else at its end: to the right, and up. [m]."""
    found = []
    for number, line in enumerate(shape.hearts[1:], start=1):
        held_m = [one.x_m for one in plan.supports if one.member == f"limb_{number}" and one.flipped is flipped]
        x_m = min(max(held_m, default=float(line[-1, 0]) - _END_FACE_M), plan.stretch_m[1])
        cuts = [cut for cut in shape.cuts if cut.outer and plan.stretch_m[0] <= cut.x_m <= plan.stretch_m[1]]
        if not cuts or line[0, 0] > x_m:
            found.append(Polygon())  # it is not on the bed
            continue
        cut = min(cuts, key=lambda cut: abs(cut.x_m - x_m))
        heart = Point(line[np.argmin(abs(line[:, 0] - cut.x_m)), 1:])
        part = min(cut.outer, key=lambda part: part.distance(heart))
        found.append(Polygon(moved(on_cut(part, cut.x_m), matrix)[:, 1:] * [-1.0, 1.0]).buffer(0))
    return found


def _slab_layers(
    drawing: Drawing, plan: Plan, whole: BaseGeometry, placed: Callable[[BaseGeometry], BaseGeometry], *, flipped: bool
) -> None:
    """Shade every other slab, so that layers are told apart."""
    seen: set[int] = set()
    for slab in plan.slabs:
        if slab.flipped is not flipped or slab.layer in seen:
            continue
        seen.add(slab.layer)
        if slab.layer % 2:
            band = whole & box(-_FAR, slab.lower_face_m, _FAR, slab.upper_face_m)
            drawing.polygon(placed(band).simplify(0.4), "layer", 0.0, fill="#6b4423", fill_opacity=0.16)


def _heart(shape: LogShape, plan: Plan, matrix: FloatArray) -> tuple[float, float] | None:
    if not shape.hearts or not len(shape.hearts[0]):
        return None
    line = shape.hearts[0]
    start = line[np.argmin(abs(line[:, 0] - plan.stretch_m[0]))]
    _, y, z = moved(start[None, :], matrix)[0]
    return float(-y), float(z)


def _blade_lines(
    drawing: Drawing, passes: list[Pass], floor: float, scale: float, edge: float, measures: Measures
) -> None:
    heights = [floor - cut.blade_height_m * scale for cut in passes]
    labels = spread(heights, _LABEL_APART, 6.0, floor + 4.0)
    for cut, at, label in zip(passes, heights, labels, strict=True):
        drawing.line((6.0, at), (edge + 10.0, at), "blade", 1.6)
        drawing.line((edge + 10.0, at), (edge + 20.0, label), "blade", 1.0)
        words = f"{cut.order}: {measures.reading(cut.blade_height_m)}"
        drawing.text((edge + 23.0, label + 4.5), words, "label-blade", 13.5, font_weight=700)


def _turn_arc(
    drawing: Drawing, plan: Plan, middle: tuple[float, float], reach: float, title: tuple[float, float]
) -> None:
    """Show on the butt end where the side that was up has gone: an arc, with a dot at its end."""
    turn, side = turn_and_side(plan.roll_deg)
    shown = turn if side == "clockwise" else -turn
    words = turn_words(plan.roll_deg)
    half = _HALF_LETTER * len(words)
    place = (min(max(title[0], half), WIDTH - half), title[1])
    drawing.text(place, words, size=15, text_anchor="middle", font_weight=700)
    if turn == 0:
        return
    x, y = middle
    end = (x + reach * sin(radians(shown)), y - reach * cos(radians(shown)))
    sweep = 1 if shown > 0 else 0
    path = f"M{x:.1f} {y - reach:.1f}A{reach:.1f} {reach:.1f} 0 0 {sweep} {end[0]:.1f} {end[1]:.1f}"
    drawing.shape("path", "halo", d=path, fill="none", stroke="#ffffff", stroke_width=6.0)
    drawing.shape("path", "turn", d=path, stroke_width=3.0)
    drawing.shape("circle", "turn-tip", cx=end[0], cy=end[1], r=7.0, stroke="#ffffff", stroke_width=2.0)


def side_on_bed(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Draw the log on the bunks from its right side, butt end left, with bunks, shims and the passes."""
    shape = shape_found(document.log)
    onto = np.array(plan.log_to_bed)[[0, 2]]
    from_m, to_m = plan.stretch_m
    bucked = cuts_made(plan, document.log.length_m)
    body = silhouette(shape.cuts, onto, bucked, shape.hearts) & box(from_m - 0.02, -_FAR, to_m + 0.02, _FAR)
    left, _, far, high = body.bounds
    scale = min((WIDTH - 20.0) / max(far - left, 1e-6), 170.0 / max(high, 1e-6))
    floor, shift = 8.0 + high * scale, 10.0 - left * scale

    def placed(found: BaseGeometry) -> BaseGeometry:
        return affinity.affine_transform(found, [scale, 0, 0, -scale, shift, floor])

    said = f"The log on the bunks from the side, butt end left; {supports_short(plan, measures)}"
    drawing = Drawing(said, "side")
    drawing.polygon(placed(body).simplify(0.5), "bark", 1.4)
    for cut in plan.passes:
        if not cut.flipped:
            at = floor - cut.blade_height_m * scale
            drawing.line((shift + left * scale - 4.0, at), (shift + far * scale + 4.0, at), "blade", 1.1)
    for bunk_m in _bunks_m(document, plan):
        drawing.shape(
            "rect", "bunk", x=shift + (bunk_m - _BUNK_M) * scale, y=floor, width=2 * _BUNK_M * scale, height=14.0
        )
    below = draw_under(
        drawing, document, plan, measures, flipped=False, across=lambda one: shift + one.x_m * scale, floor=floor,
        scale=scale, width=WIDTH, bunk_named=False,
    )  # fmt: skip
    below += 16.0
    drawing.text((6.0, below), "butt end", size=13)
    drawing.text((WIDTH - 6.0, below), "top end", size=13, text_anchor="end")
    if plan.mass_centre_m is not None:
        x_m, _, z_m = plan.mass_centre_m
        below = draw_weight(drawing, (shift + x_m * scale, floor - z_m * scale), below)
    return drawing.svg(WIDTH, below + 4.0)


def _bunks_m(document: PlanDocument, plan: Plan) -> list[float]:
    mill = document.mill
    from_m, to_m = plan.stretch_m
    if mill.bunk_spacing_m is None and plan.gaps_m is None:  # kept from when bunks could stand anywhere
        return [one.x_m for one in plan.placed()] or [from_m + 0.2 * (to_m - from_m), to_m - 0.2 * (to_m - from_m)]
    rules = support_rules(mill)
    on_first = (one.x_m - (bunk_number(mill, plan, one.x_m) - 1) * rules.bunk_spacing_m for one in plan.supports)
    first_m = next(on_first, from_m + rules.first_bunk_m)
    return [float(x_m) for x_m in rules.bunks_m(first_m - rules.first_bunk_m, to_m)]
