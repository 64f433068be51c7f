"""Drawings of slabs in plan, all of a plan at one scale."""

import numpy as np
from shapely import LineString, affinity, box
from shapely.geometry.base import BaseGeometry

from optimizer.bed.outlines import width_profile
from optimizer.documents.plan import Plan, Slab
from service.drawings.svg import Drawing, areas_of, polygon_of
from service.words.measures import Measures

WIDTH = 340.0
_EDGE = 6.0
_SIZE, _HALF_LETTER = 15.0, 5.0
"""Of labels: how large they are written, and half as wide as a letter is, about."""
_FAR = 1e3


def units_per_m(*plans: Plan) -> float:
    """Return a scale at which the longest piece of these plans fits the drawing's width."""
    lengths = [
        max(x for x, _ in ring) - min(x for x, _ in ring)
        for plan in plans
        for slab in plan.slabs
        for ring in slab.outline_m[:1]
    ]
    return (WIDTH - 2 * _EDGE) / max(lengths, default=1.0)


def slab_drawing(slab: Slab, start_m: float, units_a_m: float, measures: Measures) -> str:
    """Draw a slab from above, butt end left: what is sold, what falls off, heart, figure and marks within.

    Figure is pale where the lower face shows it, and dark over that where the upper face does.

    start_m : bed x at the drawing's left edge. units_a_m : of the drawing, see `units_per_m`.
    """
    whole = polygon_of(slab.outline_m)
    _, low, _, high = whole.bounds
    top = 24.0

    def placed(found: BaseGeometry) -> BaseGeometry:
        return affinity.affine_transform(
            found, [units_a_m, 0, 0, -units_a_m, _EDGE - start_m * units_a_m, top + high * units_a_m]
        )

    band = box(slab.span_m[0], -_FAR, slab.span_m[1], _FAR)
    sold = whole & band
    height = top + (high - low) * units_a_m + 28.0
    unit = measures.reading_unit
    drawing = Drawing(
        f"Slab {slab.id} from above: {measures.slab_length(slab.length_m)} long, {measures.width(slab.min_width_m)} to "
        f"{measures.width(slab.max_width_m)} {unit} wide",
        "slab",
    )
    drawing.polygon(placed(whole).simplify(0.3), "pale", 1.0, stroke_dasharray="4 3")
    drawing.polygon(placed(sold).simplify(0.3), "wood", 1.8)
    for css, rings, opacity in (
        ("figure", slab.figure_below_m, 0.3), ("figure", slab.figure_m, 0.75), ("heart", slab.heart_m, 0.75),
        ("flaw", slab.marked_m, 0.75),
    ):  # fmt: skip
        inside = areas_of(rings or ()) & sold
        drawing.polygon(placed(inside).simplify(0.3), css, 0.8, fill_opacity=opacity)
    labels: list[tuple[float, float, str]] = []
    for at_m, width_m in _widths(sold, slab):
        across = sold & LineString([(at_m, low - 1.0), (at_m, high + 1.0)])
        if across.is_empty:
            continue
        line = placed(across).bounds
        for part in getattr(placed(across), "geoms", [placed(across)]):
            _, upper, _, lower = part.bounds
            drawing.line((line[0], upper), (line[0], lower), "across", 1.4)
        labels.append((line[0], line[1], f"{measures.width(width_m)} {unit}"))
    outline = placed(whole)
    for x, y, words in _apart(labels):
        half = _HALF_LETTER * len(words)
        # The outline may be higher beside the line than at it: letters stand clear of all that is under them.
        under = (outline & box(x - half, -_FAR, x + half, _FAR)).bounds
        drawing.text(
            (x, (min(y, under[1]) if under else y) - 5.0), words, size=_SIZE, text_anchor="middle", font_weight=700
        )
    left, right = (_EDGE + (x - start_m) * units_a_m for x in slab.span_m)
    foot = height - 12.0
    drawing.line((left, foot), (right, foot), "measure", 1.2)
    for x in (left, right):
        drawing.line((x, foot - 5.0), (x, foot + 5.0), "measure", 1.2)
    words = measures.slab_length(slab.length_m)
    half = _HALF_LETTER * len(words)
    middle = 0.5 * (left + right)
    drawing.shape("rect", "paper", x=middle - half, y=foot - 9.0, width=2 * half, height=18.0, fill="#ffffff")
    drawing.text((middle, foot + 5.0), words, size=_SIZE, text_anchor="middle", font_weight=700)
    return drawing.svg(WIDTH, height)


def _apart(labels: list[tuple[float, float, str]]) -> list[tuple[float, float, str]]:
    """Move labels (x of their middle, y, words) sideways, so that they stay in the drawing and off each other."""
    ordered = sorted(labels)
    halves = [_HALF_LETTER * len(words) for _, _, words in ordered]
    xs = [min(max(x, half), WIDTH - half) for (x, _, _), half in zip(ordered, halves, strict=True)]
    for k in range(1, len(xs)):
        gap = halves[k - 1] + halves[k] + _HALF_LETTER
        over = gap - (xs[k] - xs[k - 1])
        if over > 0.0:
            xs[k] = min(xs[k] + over / 2.0, WIDTH - halves[k])
            xs[k - 1] = max(xs[k] - gap, halves[k - 1])
    return [(x, y, words) for x, (_, y, words) in zip(xs, ordered, strict=True)]


def _widths(sold: BaseGeometry, slab: Slab) -> list[tuple[float, float]]:
    """Return where a slab is narrowest and where it is widest, with the widths; far enough apart to be read. [m]."""
    parts = [part for part in getattr(sold, "geoms", [sold]) if part.geom_type == "Polygon"]
    if not parts:
        return []
    profile = width_profile(max(parts, key=lambda part: part.area)).clipped(*slab.span_m)
    inset = 0.03 * slab.length_m
    places = np.concatenate([profile.x_m[:-1], profile.x_m[1:]])
    widths = np.concatenate([profile.left_m, profile.right_m])
    most, least = int(np.argmax(widths)), int(np.argmin(widths))
    found = [(float(places[most]), float(widths[most]))]
    if abs(places[most] - places[least]) > 0.2 * slab.length_m:
        found.append((float(places[least]), float(widths[least])))
    low, high = slab.span_m[0] + inset, slab.span_m[1] - inset
    return [(min(max(at, low), high), width) for at, width in found]
