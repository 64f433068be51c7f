"""The heart strip seen in plan: the part of it between a slab's two faces, dropped onto the outline."""

from itertools import pairwise

import numpy as np
from shapely import MultiPoint, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from scans.log import FloatArray

CIRCLE_POINTS = 64
STEPS_ON_SEGMENT = 9


def heart_strip_in_plan(lines: list[FloatArray], radius_m: float, lower_m: float, upper_m: float) -> BaseGeometry:
    """Return the plan view of all wood within `radius_m` of the lines and between two heights.

    lines : (P, 3) each, bed frame. [m]

    Where a line stands d above or below the layer, the strip's half-width is sqrt(radius^2 - d^2). Round
    each segment the wood is a capsule; what two planes leave of it is convex, and so is its plan view:
    the hull of the discs along it.
    """
    angles = np.linspace(0.0, 2.0 * np.pi, CIRCLE_POINTS, endpoint=False)
    circle = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    hulls: list[Polygon] = []
    for line in lines:
        for a, b in pairwise(line):
            points = []
            for share in _places(a[2], b[2], radius_m, lower_m, upper_m):
                centre = a + share * (b - a)
                off = max(0.0, lower_m - centre[2], centre[2] - upper_m)
                if off < radius_m:
                    points.append(centre[:2] + np.sqrt(radius_m**2 - off**2) * circle)
            if points:
                hull = MultiPoint(np.concatenate(points)).convex_hull
                if isinstance(hull, Polygon):
                    hulls.append(hull)
    return union_all(hulls) if hulls else Polygon()


def _places(z0: float, z1: float, radius_m: float, lower_m: float, upper_m: float) -> list[float]:
    # Even steps, and wherever the line enters or leaves the layer or its neighbourhood.
    shares = set(np.linspace(0.0, 1.0, STEPS_ON_SEGMENT).tolist())
    if z1 != z0:
        for level in (lower_m - radius_m, lower_m, upper_m, upper_m + radius_m):
            share = float((level - z0) / (z1 - z0))
            if 0.0 < share < 1.0:
                shares.add(share)
    return sorted(shares)
