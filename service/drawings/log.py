"""Drawings of a log by itself: lying in the yard, and its butt end with the clock that marks are told by."""

from math import cos, radians, sin

import numpy as np
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from scans.log import FloatArray
from service.drawings.log_shape import LogShape, on_cut, silhouette, towards
from service.drawings.svg import Drawing

PICTURE_WIDTH = 340.0
_TURN, _RISE = radians(28.0), radians(14.0)
_EDGE = 8.0
_RINGS = (0.82, 0.62, 0.42, 0.22)
MARK_CSS = {"metal": "metal", "pith": "pith"}


def log_picture(shape: LogShape, says: str, most_height: float = 190.0) -> str:
    """Draw a log as it lies, seen from its right side and a little from the butt end, with what is marked on it."""
    right = np.array([cos(_TURN), -sin(_TURN), 0.0])
    up = np.array([sin(_TURN) * sin(_RISE), cos(_TURN) * sin(_RISE), cos(_RISE)])
    onto = np.zeros((2, 4))
    onto[0, :3], onto[1, :3] = right, -up
    body = silhouette(shape.cuts, onto)
    butt = shape.butt
    face = _projected(butt.outer[0], butt.x_m, onto)
    left, top, far, bottom = body.union(face).bounds
    scale = min((PICTURE_WIDTH - 2 * _EDGE) / max(far - left, 1e-6), most_height / max(bottom - top, 1e-6))

    def placed(found: BaseGeometry) -> BaseGeometry:
        # First moved so that its corner is at 0, then sized.
        return affinity.affine_transform(found, [scale, 0, 0, scale, _EDGE - left * scale, _EDGE - top * scale])

    drawing = Drawing(says, "log-picture")
    drawing.polygon(placed(body).simplify(0.4), "bark", 1.5)
    for cut in shape.cuts:
        for part in cut.outer:
            ring = placed(_projected(part, cut.x_m, onto)).simplify(0.6)
            drawing.polygon(ring, "contour", 0.8, fill="none", stroke="#4d3622", stroke_opacity=0.35)
    end = placed(face).simplify(0.4)
    drawing.polygon(end, "wood", 1.5)
    middle = end.centroid
    if shape.hearts and len(shape.hearts[0]):
        at = onto[:, :3] @ shape.hearts[0][0]
        seen = placed(affinity.translate(Polygon([(0, 0), (1e-9, 0), (0, 1e-9)]), at[0], at[1])).centroid
        middle = seen if end.contains(seen) else middle
    for share in _RINGS:
        ring = affinity.scale(end, share, share, origin=middle)
        drawing.polygon(ring.simplify(0.5), "ring", 0.9, fill="none")
    drawing.shape("circle", "heart", cx=middle.x, cy=middle.y, r=2.5)
    for mark in shape.marks:
        x, y = onto[:, :3] @ np.array([mark.x_m, mark.y_m, mark.z_m])
        place = (_EDGE + (x - left) * scale, _EDGE + (y - top) * scale)
        css = MARK_CSS.get(mark.kind, "flaw")
        drawing.shape("circle", css, cx=place[0], cy=place[1], r=5.0, stroke_width=1.5)
    return drawing.svg(2 * _EDGE + (far - left) * scale, 2 * _EDGE + (bottom - top) * scale)


def _projected(part: Polygon, x_m: float, onto: FloatArray) -> BaseGeometry:
    points = on_cut(part, x_m) @ onto[:, :3].T
    found: BaseGeometry = Polygon(points).buffer(0)
    return found


def butt_clock(shape: LogShape) -> str:
    """Draw the butt end as one sees it, with the angles that say where on the girth something is."""
    width, height = 270.0, 220.0
    middle, reach = (width / 2, height / 2), 72.0
    part = shape.butt.outer[0]
    size = max(abs(bound) for bound in affinity.translate(part, -part.centroid.x, -part.centroid.y).bounds)
    scale = reach / size
    # y is to the left, z up.
    end = affinity.affine_transform(
        part, [-scale, 0, 0, -scale, middle[0] + scale * part.centroid.x, middle[1] + scale * part.centroid.y]
    )
    drawing = Drawing("Looking at the butt: 0 degrees is up, 90 right, 180 down, 270 left", "clock")
    drawing.polygon(end.simplify(0.4), "wood", 2.5)
    for share in _RINGS:
        drawing.polygon(affinity.scale(end, share, share).simplify(0.5), "ring", 0.9, fill="none")
    for turn_deg in range(0, 360, 30):
        y, z = towards(turn_deg)
        inner, outer = 80.0, 86.0 if turn_deg % 90 else 90.0
        drawing.line(
            (middle[0] - inner * y, middle[1] - inner * z), (middle[0] - outer * y, middle[1] - outer * z), "axis", 2.0
        )
        if turn_deg % 90 == 0:
            drawing.text(
                (middle[0] - 110.0 * y, middle[1] - 100.0 * z + 5.0), f"{turn_deg}°", size=14, text_anchor="middle",
                font_weight=700,
            )  # fmt: skip
    return drawing.svg(width, height)
