"""Where the hearts lie: their mean place, and their strip in plan, the part between a slab's faces on the outline."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon, union_all
from shapely.geometry.base import BaseGeometry

from scans.log import FloatArray

CIRCLE_POINTS = 64
STEPS_ON_SEGMENT = 9


def mean_heart_m(lines: Sequence[FloatArray], from_m: float, to_m: float) -> FloatArray:
    """Return the mean place (3,) of heart lines between two places along the log, each weighted by its length along it.

    lines : (P, 3) each, log frame; x rises along them. All nan where no line comes there. [m]

    A lay moves the mean place as it moves the lines, so that the mean height of the hearts is that of this place.
    """
    total, weight_m = np.zeros(3), 0.0
    for line in lines:
        a, b = line[:-1], line[1:]
        a, b = a[b[:, 0] > a[:, 0]], b[b[:, 0] > a[:, 0]]
        low, high = np.maximum(a[:, 0], from_m), np.minimum(b[:, 0], to_m)
        held = high > low
        middle = 0.5 * (low + high)[held]
        share = (middle - a[held, 0]) / (b[held, 0] - a[held, 0])
        along = (high - low)[held]
        total += along @ (a[held] + share[:, None] * (b[held] - a[held]))
        weight_m += float(along.sum())
    found: FloatArray = total / weight_m if weight_m > 0.0 else np.full(3, np.nan)
    return found


def heart_strip_in_plan(lines: list[FloatArray], radius_m: float, lower_m: float, upper_m: float) -> BaseGeometry:
    """Return the plan view of all wood within `radius_m` of the lines and between two heights.

    lines : (P, 3) each, bed frame. [m]

    Where a line stands d above or below the layer, the strip's half-width is sqrt(radius^2 - d^2). Round
    each segment the wood is a capsule; what two planes leave of it is convex, and so is its plan view:
    the hull of the discs along it.
    """
    if not lines:
        return Polygon()
    angles = np.linspace(0.0, 2.0 * np.pi, CIRCLE_POINTS, endpoint=False)
    circle = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    a = np.concatenate([line[:-1] for line in lines])
    b = np.concatenate([line[1:] for line in lines])
    centres = a[:, None, :] + _places(a[:, 2], b[:, 2], radius_m, lower_m, upper_m)[:, :, None] * (b - a)[:, None, :]
    off_m = np.maximum(0.0, np.maximum(lower_m - centres[:, :, 2], centres[:, :, 2] - upper_m))
    segment, place = np.nonzero(off_m < radius_m)
    if len(segment) == 0:
        return Polygon()
    half_m = np.sqrt(radius_m**2 - off_m[segment, place] ** 2)
    points = centres[segment, place, None, :2] + half_m[:, None, None] * circle
    # One line through all the points of a segment: its hull is theirs, and it is made at once.
    owner = np.unique(np.repeat(segment, CIRCLE_POINTS), return_inverse=True)[1]
    hulls = shapely.convex_hull(shapely.linestrings(points.reshape(-1, 2), indices=owner))
    return union_all([hull for hull in hulls if isinstance(hull, Polygon)])


def _places(z0: FloatArray, z1: FloatArray, radius_m: float, lower_m: float, upper_m: float) -> FloatArray:
    # Even steps, and wherever the line enters or leaves the layer or its neighbourhood; (S, P) shares of each segment.
    even = np.broadcast_to(np.linspace(0.0, 1.0, STEPS_ON_SEGMENT), (len(z0), STEPS_ON_SEGMENT))
    levels = np.array([lower_m - radius_m, lower_m, upper_m, upper_m + radius_m])
    rise = np.where(z1 == z0, np.inf, z1 - z0)
    crossed = np.clip((levels - z0[:, None]) / rise[:, None], 0.0, 1.0)
    return np.concatenate([even, crossed], axis=1)
