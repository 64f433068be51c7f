"""A slab ripped along its heart: two straight cuts, one to either side, that leave no wood of the heart strip between.

The cuts run along the straight line from where the heart enters the slab to where it leaves it, as far to either side
of that as the heart strays, and the heart's radius more.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from scans.log import FloatArray

LEAST_SHARE = 0.25
"""Where the heart runs inside a slab for a greater share of its span, it is a slab with heart."""
_HAIR_M = 1e-6
_FAR_M = 10.0
"""Farther across the bed than any log reaches."""


@dataclass(frozen=True, eq=False)
class HeartInside:
    """Where hearts run between a slab's faces and within it, seen in plan.

    share : of its span. points_m : (P, 2) of them, by rising x. is_one : whether two lie side by side nowhere.
    """

    share: float
    points_m: FloatArray
    is_one: bool


def heart_inside(lines: Sequence[FloatArray], lower_m: float, upper_m: float, sold: BaseGeometry) -> HeartInside:
    """Find where heart lines (P, 3), bed frame, run inside a slab, of which `sold` is the plan view. [m]."""
    inside = [_within(line, lower_m, upper_m, sold) for line in lines]
    spans = np.concatenate([np.zeros((0, 2)), *(points[:, :, 0] for points in inside)])
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    covered_m, overlap_m, reached = 0.0, 0.0, -np.inf
    for start, end in spans:
        covered_m += max(0.0, end - max(start, reached))
        overlap_m += max(0.0, min(end, reached) - start)
        reached = max(reached, end)
    points = np.concatenate([np.zeros((0, 2)), *(part.reshape(-1, 2) for part in inside)])
    span_m = sold.bounds[2] - sold.bounds[0]
    return HeartInside(covered_m / span_m, points[np.argsort(points[:, 0], kind="stable")], bool(overlap_m <= _HAIR_M))


def _within(line: FloatArray, lower_m: float, upper_m: float, sold: BaseGeometry) -> FloatArray:
    """Return the parts (Q, 2, 2) of a line between two heights and within a shape, each from its lower x."""
    a, b = line[:-1], line[1:]
    rise = b[:, 2] - a[:, 2]
    level = rise == 0.0
    slope = np.where(level, 1.0, rise)
    one, other = (lower_m - a[:, 2]) / slope, (upper_m - a[:, 2]) / slope
    between = (a[:, 2] >= lower_m) & (a[:, 2] <= upper_m)
    low = np.where(level, 0.0, np.clip(np.minimum(one, other), 0.0, 1.0))
    high = np.where(level, np.where(between, 1.0, 0.0), np.clip(np.maximum(one, other), 0.0, 1.0))
    held = high > low
    start, end = ((a + share[:, None] * (b - a))[held, :2] for share in (low, high))
    if len(start) == 0:
        return np.zeros((0, 2, 2))
    met = MultiLineString([LineString(pair) for pair in zip(start, end, strict=True)]).intersection(sold)
    found = [np.zeros((0, 2, 2))]
    for part in getattr(met, "geoms", [met]):
        if isinstance(part, LineString) and not part.is_empty:
            corners = shapely.get_coordinates(part)
            found.append(np.stack([corners[:-1], corners[1:]], axis=1))
    parts = np.concatenate(found)
    back = parts[:, 0, 0] > parts[:, 1, 0]
    parts[back] = parts[back][:, ::-1]
    return parts


def beside_heart(points_m: FloatArray, radius_m: float, span_m: tuple[float, float]) -> tuple[Polygon, Polygon]:
    """Return what lies to the left and to the right of the two rip cuts, within a span of the bed, seen in plan.

    points_m : (P, 2), by rising x, where the heart runs in the slab; two at least. radius_m : of the heart strip. [m]
    """
    first, last = points_m[0], points_m[-1]
    along = last[0] - first[0]
    slope = (last[1] - first[1]) / along if along > 0.0 else 0.0
    stray = points_m[:, 1] - first[1] - slope * (points_m[:, 0] - first[0])
    half_m = radius_m * hypot(1.0, slope)
    sides = []
    for off_m, far_m in ((stray.max() + half_m, _FAR_M), (stray.min() - half_m, -_FAR_M)):
        cut = [(x, first[1] + slope * (x - first[0]) + off_m) for x in span_m]
        sides.append(Polygon([*cut, (span_m[1], far_m), (span_m[0], far_m)]))
    return sides[0], sides[1]
