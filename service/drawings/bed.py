"""Drawings of a log on the bed: from the butt end, with every pass, and from the side, with bunks and shims."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point, Polygon, affinity, box, unary_union
from shapely.geometry.base import BaseGeometry

from optimizer.bed.buck_cuts import BuckCut
from optimizer.documents.plan import Holding, Plan, PlanDocument, SupportPlaced
from optimizer.planning import BestSoFar
from optimizer.problem import support_rules
from optimizer.report.bunk_places import bunk_number
from optimizer.report.cuts_made import cuts_made
from optimizer.report.metal_cautions import metal_on_bed
from scans.log import FloatArray, moved
from service.drawings.bucked import is_kept
from service.drawings.log_shape import LogShape, on_cut, shape_found, silhouette
from service.drawings.svg import Drawing, spread
from service.drawings.turn_mark import TITLE_HIGH, draw_turn
from service.drawings.under_log import draw_key, draw_pith, draw_under, draw_weight
from service.words.cut_words import made_before
from service.words.measures import Measures
from service.words.money_words import cuts_words
from service.words.support_words import supports_short
from service.words.turn_words import turn_in_full

WIDTH = 340.0
_FAR = 1e3
_READING, _FIRST_READINGS = 15.0, (20.0, 17.0)
"""How large readings are written: the first ones from a step away."""
_APART = 1.08
"""Of its size, how far a reading stands from the one above."""
_LETTER = 0.58
"""Of its size, how wide a letter of a reading is, about."""
_FOR_READINGS = 138.0
_MOST_HIGH = 205.0
_BUNK_M = 0.05
_END_FACE_M = 0.2
"""A limb is cut across so far before its end, whose face leans."""


def end_on_bed(document: PlanDocument, plan: Plan, measures: Measures, *, flipped: bool = False) -> str:
    """Draw the log as it lies on the bunks, seen from the butt end, with the passes at their readings.

    flipped : after the flip, with what was sawn before it gone.
    """
    matrix = plan.flipped_log_to_bed if flipped else plan.log_to_bed
    made = made_before(document, plan)
    lies = _Lying(
        shape=shape_found(document.log), log_to_bed=np.array(matrix), stretch_m=plan.stretch_m, roll_deg=plan.roll_deg,
        bucked=cuts_made(plan, document.log.length_m),
        cuts=tuple((cut.order, cut.blade_height_m) for cut in plan.passes if cut.flipped is flipped),
        made=0 if flipped else made, is_turned=made > 0, flipped=flipped,
    )  # fmt: skip
    return _end_on_bed(lies, measures, (document, plan))


def best_on_bed(shape: LogShape, best: BestSoFar, measures: Measures) -> str:
    """Draw the best plan that a search has so far, as far as it is known: nothing of what the log is set on."""
    cuts = tuple(enumerate(best.blade_heights_m, start=1))
    lies = _Lying(shape, best.log_to_bed, best.stretch_m, best.roll_deg, best.buck_cuts, cuts)
    return _end_on_bed(lies, measures, None)


@dataclass(frozen=True, eq=False)
class _Lying:
    """A log on the bed. bucked : how it was before. cuts : orders and blade heights. made : how many are sawn. [m]."""

    shape: LogShape
    log_to_bed: FloatArray
    stretch_m: tuple[float, float]
    roll_deg: float
    bucked: Sequence[BuckCut]
    cuts: tuple[tuple[int, float], ...]
    made: int = 0
    is_turned: bool = False
    flipped: bool = False


def _end_on_bed(lies: _Lying, measures: Measures, known: tuple[PlanDocument, Plan] | None) -> str:
    """Draw it. known : the plan, where there is one, with what the log is set on, its slabs, its weight and metal."""
    shape, matrix, flipped = lies.shape, lies.log_to_bed, lies.flipped
    whole, end = _seen_from_butt(lies)
    if flipped:
        above = box(-_FAR, 0.0, _FAR, _FAR)
        whole, end = whole & above, end & above
    left, low, far, high = whole.bounds
    high = max(high, lies.cuts[0][1] if lies.cuts else high)
    low = min(low, 0.0)
    most = WIDTH - _FOR_READINGS
    scale = min(most / max(far - left, 1e-6), _MOST_HIGH / max(high - low, 1e-6))
    sizes = _reading_sizes(len(lies.cuts), lies.made)
    # Many cuts through a flat log need more height for their readings than the log has.
    title = 0.0 if flipped else TITLE_HIGH
    top = title + max(12.0, _APART * sum(sizes) - high * scale)
    middle = 12.0 + 0.5 * (far - left) * scale
    floor = top + high * scale

    def placed(found: BaseGeometry) -> BaseGeometry:
        shift = middle - 0.5 * (left + far) * scale
        return affinity.affine_transform(found, [scale, 0, 0, -scale, shift, floor])

    when = "after the flip" if flipped else f"rolled {turn_in_full(lies.roll_deg)}"
    drawing = Drawing(
        f"The log on the bunks, looking at the butt, {when}, with {cuts_words(len(lies.cuts))}", "end-on-bed"
    )
    drawing.polygon(placed(whole).simplify(0.4), "pale", 1.2)
    drawing.polygon(placed(end).simplify(0.4), "wood", 1.6)
    if known is not None:
        _slab_layers(drawing, known[1], whole, placed, flipped=flipped)
    tops = [end_there for end_there in _tops(lies, known) if not end_there.face.is_empty]
    for end_there in tops:
        drawing.polygon(placed(end_there.face).simplify(0.4), "limb", 1.6, stroke_dasharray="5 3")
    edge = middle + 0.5 * (far - left) * scale
    drawing.shape("rect", "bunk", x=4.0, y=floor, width=edge + 4.0, height=10.0)

    def across(one: SupportPlaced | Holding) -> float:
        y_m = one.y_m if one.y_m is not None else 0.0
        return placed(Point(-y_m, 0.0)).x

    below = floor + 12.0
    if known is not None:
        below = draw_under(
            drawing, *known, measures, flipped=flipped, across=across, floor=floor, scale=scale, width=WIDTH,
            bunk_named=True,
        )  # fmt: skip
        for _, corners in metal_on_bed(known[0].log, known[1], flipped=flipped):
            rod = placed(Polygon(np.column_stack([-corners[:, 1], corners[:, 2]])).convex_hull)
            drawing.polygon(rod, "metal", 1.0)
    _blade_lines(drawing, lies.cuts, sizes, floor, scale, edge, measures, title)
    butt, heart = placed(end), _heart(shape, lies.stretch_m, matrix)
    pith = None if heart is None or (flipped and heart[1] < 0.0) else _at(placed, heart)
    if not flipped:
        middle_of_end = (butt.centroid.x, butt.centroid.y)
        low_x, low_y, high_x, high_y = butt.bounds
        reach = 0.5 * min(high_x - low_x, high_y - low_y)
        draw_turn(drawing, lies.roll_deg, pith or middle_of_end, reach, is_done=lies.is_turned)
    for end_there in tops:
        face = placed(end_there.face)
        at = (face.centroid.x, face.centroid.y + 0.22 * (face.bounds[3] - face.bounds[1]) + 5.0)
        drawing.text(at, end_there.name, "label-on", _READING, text_anchor="middle")
    piths = [place for place in (pith, *(_at(placed, one.heart) for one in tops if one.heart)) if place is not None]
    weight_m = None if known is None or flipped else known[1].mass_centre_m
    if weight_m is not None:
        draw_weight(drawing, _at(placed, (-weight_m[1], weight_m[2])))
    for place in piths:
        draw_pith(drawing, place)
    below = draw_key(drawing, below, has_weight=weight_m is not None, has_pith=bool(piths))
    return drawing.svg(WIDTH, below + 4.0)


def _at(placed: Callable[[BaseGeometry], BaseGeometry], place: tuple[float, float]) -> tuple[float, float]:
    there = placed(Point(place))
    return there.x, there.y


def _seen_from_butt(lies: _Lying) -> tuple[BaseGeometry, BaseGeometry]:
    """Return all that shows of the stretch, and its butt end: to the right, and up. [m]."""
    shape, matrix, bucked = lies.shape, lies.log_to_bed, lies.bucked
    from_m, to_m = lies.stretch_m
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


@dataclass(frozen=True)
class _End:
    """An end away from the butt, cut across: to the right, and up. heart : where it is there. [m]."""

    name: str
    face: BaseGeometry
    heart: tuple[float, float] | None


def _tops(lies: _Lying, known: tuple[PlanDocument, Plan] | None) -> list[_End]:
    """Return each limb cut across over the last support under it, else at its end; of a stem its top end."""
    supports = () if known is None else tuple(one for one in known[1].supports if one.flipped is lies.flipped)
    limbs = [_end(lies, supports, number) for number in range(1, len(lies.shape.hearts))]
    found = [limb for limb in limbs if not limb.face.is_empty]
    return found or ([_end(lies, supports, 0)] if lies.shape.hearts else [])


def _end(lies: _Lying, supports: Sequence[SupportPlaced], member: int) -> _End:
    shape, matrix, (from_m, to_m) = lies.shape, lies.log_to_bed, lies.stretch_m
    name, line = f"limb {member}" if member else "top end", shape.hearts[member]
    held_m = [one.x_m for one in supports if member and one.member == f"limb_{member}"]
    x_m = min(max(held_m, default=float(line[-1, 0]) - _END_FACE_M), to_m)
    cuts = [cut for cut in shape.cuts if cut.outer and from_m <= cut.x_m <= to_m]
    if not cuts or line[0, 0] > x_m:
        return _End(name, Polygon(), None)  # it is not on the bed
    cut = min(cuts, key=lambda cut: abs(cut.x_m - x_m))
    heart = line[np.argmin(abs(line[:, 0] - cut.x_m))]
    part = min(cut.outer, key=lambda part: part.distance(Point(heart[1:])))
    face = Polygon(moved(on_cut(part, cut.x_m), matrix)[:, 1:] * [-1.0, 1.0]).buffer(0)
    _, y, z = moved(heart[None, :], matrix)[0]
    return _End(name, face & box(-_FAR, 0.0, _FAR, _FAR), None if z < 0.0 else (float(-y), float(z)))


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


def _heart(shape: LogShape, stretch_m: tuple[float, float], matrix: FloatArray) -> tuple[float, float] | None:
    if not shape.hearts or not len(shape.hearts[0]):
        return None
    line = shape.hearts[0]
    start = line[np.argmin(abs(line[:, 0] - stretch_m[0]))]
    _, y, z = moved(start[None, :], matrix)[0]
    return float(-y), float(z)


def _reading_sizes(count: int, made: int) -> list[float]:
    """Return how large each reading is written: those that are sawn next are read from a step away."""
    large = dict(enumerate(_FIRST_READINGS, start=made))
    return [large.get(at, _READING) for at in range(count)]


def _blade_lines(
    drawing: Drawing, cuts: Sequence[tuple[int, float]], sizes: list[float], floor: float, scale: float, edge: float,
    measures: Measures, title: float,
) -> None:  # fmt: skip
    heights = [floor - height_m * scale for _, height_m in cuts]
    # Readings of any size keep apart as those of none do, each moved by what stands above it.
    above = [_APART * sum(sizes[1 : at + 1]) for at in range(len(sizes))]
    moved_up = [height + 0.35 * size - high for height, size, high in zip(heights, sizes, above, strict=True)]
    first = title + 0.7 * (sizes[0] if sizes else 0.0)
    labels = spread(moved_up, 0.0, first, floor + 8.0 - (above[-1] if above else 0.0))
    for at, ((order, height_m), height) in enumerate(zip(cuts, heights, strict=True)):
        words, size, label = f"{order}: {measures.reading(height_m)}", sizes[at], labels[at] + above[at]
        css, is_large = "blade", size > _READING
        drawing.line((6.0, height), (edge + 10.0, height), css, 2.6 if is_large else 1.4)
        # Above the log there is room for a long one further left.
        left = min(edge + 23.0, WIDTH - 2.0 - _LETTER * size * len(words))
        drawing.line((edge + 10.0, height), (left - 3.0, label - 0.35 * size), css, 1.6 if is_large else 1.0)
        drawing.text((left, label), words, "label-blade", size, font_weight=800 if is_large else 700)


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
    drawing.text((6.0, below), "butt end", size=_READING)
    drawing.text((WIDTH - 6.0, below), "top end", size=_READING, text_anchor="end")
    if plan.mass_centre_m is not None:
        x_m, _, z_m = plan.mass_centre_m
        draw_weight(drawing, (shift + x_m * scale, floor - z_m * scale))
    below = draw_key(drawing, below, has_weight=plan.mass_centre_m is not None, has_pith=False)
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
