"""Convex zones inside the log that change what wood is worth: marks as rods, the feather under a fork.

A zone is the hull of its corners. What two planes leave of it is convex too, and so is its view in plan.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from math import cos, pi, radians, sin, sqrt

import numba
import numpy as np
from scipy.spatial import ConvexHull, QhullError
from shapely import MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry

from scans.log import FloatArray, Fork, IntArray

CIRCLE_POINTS = 32
FEATHER_OFF_PLANE = 0.15
FEATHER_OFF_LINE = 0.5
"""How far the figured wood reaches from the fork plane and from the fork's middle line, in stem diameters
(common practice, no source)."""
_FLAT = 1.0 - 1e-9
"""Cosine of the turn between two faces of a hull that are one."""
FLATTEST_FIGURE_DEG = 30.0
"""A slab this far off the fork plane shows no feather (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Zone:
    """A convex part of the log; log frame.

    corners_m : (P, 3) points whose hull it is. [m]
    share : share of the price lost on it; 0 for a feather. feather : whether it is figured wood.
    normal : (3,) of the fork plane, for a feather. hides_figure : whether no figure shows where it is: bark grown in.
    """

    corners_m: FloatArray
    share: float
    feather: bool = False
    normal: FloatArray | None = None
    hides_figure: bool = False


def rod(start_m: FloatArray, end_m: FloatArray, radius_m: float, share: float) -> Zone:
    """Return a round rod from one point to another, its ends square, as a prism of the circle's own area."""
    axis = (end_m - start_m) / np.linalg.norm(end_m - start_m)
    first = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    angle = 2.0 * pi * np.arange(CIRCLE_POINTS) / CIRCLE_POINTS
    radius_m *= sqrt(2.0 * pi / CIRCLE_POINTS / sin(2.0 * pi / CIRCLE_POINTS))
    ring = radius_m * (np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second)
    return Zone(np.concatenate([start_m + ring, end_m + ring]), share)


def feather(fork: Fork) -> Zone:
    """Return the figured wood under a fork.

    Within 0.15 stem diameters of the fork plane and 0.5 of the middle line, from `below_m` under the
    crotch to `above_m` over it.
    """
    across = np.cross(fork.direction, fork.normal)
    off_plane_m, off_line_m = FEATHER_OFF_PLANE * fork.diameter_m, FEATHER_OFF_LINE * fork.diameter_m
    angle = 2.0 * pi * np.arange(4 * CIRCLE_POINTS) / (4 * CIRCLE_POINTS)
    disc = Polygon(off_line_m * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    cut = disc.intersection(box(-off_line_m, -off_plane_m, off_line_m, off_plane_m))
    outline = np.asarray(cut.exterior.coords)[:-1]
    ring = outline[:, :1] * across + outline[:, 1:] * fork.normal
    ends = [fork.crotch_m - fork.below_m * fork.direction, fork.crotch_m + fork.above_m * fork.direction]
    return Zone(np.concatenate([end + ring for end in ends]), 0.0, feather=True, normal=fork.normal)


def alignment(normal: FloatArray, fork_normal: FloatArray) -> float:
    """Return how well a slab shows the feather: max(0, (|n . m| - cos 30) / (1 - cos 30))."""
    flattest = cos(radians(FLATTEST_FIGURE_DEG))
    return max(0.0, (abs(float(normal @ fork_normal)) - flattest) / (1.0 - flattest))


def cut_hull(corners: FloatArray, axis: int, low: float, high: float) -> FloatArray:
    """Return points (Q, 3) whose hull is the part of a hull between two values of one coordinate.

    The corners of a convex body cut by a plane are its own and where its edges meet the plane; lines
    between any two corners stay inside, so that all pairs may stand for the edges.
    """
    values = corners[:, axis]
    parts = [corners[(values >= low) & (values <= high)]]
    for level in dict.fromkeys((low, high)):
        below, above = corners[values < level], corners[values > level]
        if len(below) and len(above) and np.isfinite(level):
            share = (level - below[:, None, axis]) / (above[None, :, axis] - below[:, None, axis])
            points = below[:, None, :] + share[..., None] * (above[None, :, :] - below[:, None, :])
            parts.append(points.reshape(-1, corners.shape[1]))
    found: FloatArray = np.concatenate(parts)
    return found


def clipped(zone: Zone, from_m: float, to_m: float) -> Zone | None:
    """Return the part of a zone between two places along the log; None where they do not meet. [m]."""
    x = zone.corners_m[:, 0]
    if from_m <= x.min() and x.max() <= to_m:
        return zone
    corners = cut_hull(zone.corners_m, 0, from_m, to_m)
    try:
        return replace(zone, corners_m=corners[ConvexHull(corners).vertices])
    except (QhullError, ValueError):  # beyond, or it touches the cut and no more
        return None


def clipped_behind(zone: Zone, point_m: FloatArray, normal: FloatArray) -> Zone | None:
    """Return the part of a zone behind a plane, the normal pointing away from it; None where there is none. [m]."""
    beyond = (zone.corners_m - point_m) @ normal
    if beyond.max() <= 0.0:
        return zone
    corners = cut_hull(np.column_stack([zone.corners_m, beyond]), 3, -np.inf, 0.0)[:, :3]
    try:
        return replace(zone, corners_m=corners[ConvexHull(corners).vertices])
    except (QhullError, ValueError):  # beyond, or it touches the plane and no more
        return None


def in_plan(corners_m: FloatArray, lower_m: float, upper_m: float) -> BaseGeometry:
    """Return the view in plan of the part of a zone between two heights, its section where they are one.

    corners_m : (P, 3), bed frame. [m]
    """
    points = cut_hull(corners_m, 2, lower_m, upper_m)
    if len(points) < 3:
        return Polygon()
    hull = MultiPoint(points[:, :2]).convex_hull
    return hull if isinstance(hull, Polygon) else Polygon()


def sections(zone: Zone, x_m: FloatArray) -> list[FloatArray]:
    """Return the zone's section (Q, 2) of (y, z) at each x, anticlockwise; empty where it is not met. [m]."""
    nothing = np.zeros((0, 2))
    try:
        start, end = _edges(zone.corners_m)
    except QhullError:  # as flat as a board: it holds no wood
        return [nothing] * len(x_m)
    offsets, points = _sections(start, end, np.ascontiguousarray(x_m))
    return [points[a:b] for a, b in pairwise(offsets)]


@numba.njit(cache=True, nogil=True)
def _sections(start: FloatArray, end: FloatArray, x_m: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return (N + 1,) offsets and the points (S, 2) of a hull's sections at each x, its edges given by both ends."""
    offsets = np.zeros(len(x_m) + 1, dtype=np.int64)
    found = np.empty((len(x_m) * len(start), 2))
    turn = np.empty(len(start))
    n = 0
    for i in range(len(x_m)):
        x, first = x_m[i], n
        # Where the hull's edges meet the plane is the section's own edge, so that its points need only be put in order.
        for e in range(len(start)):
            if (start[e, 0] < x) != (end[e, 0] < x):
                share = (x - start[e, 0]) / (end[e, 0] - start[e, 0])
                found[n, 0] = start[e, 1] + share * (end[e, 1] - start[e, 1])
                found[n, 1] = start[e, 2] + share * (end[e, 2] - start[e, 2])
                n += 1
        if n - first < 3:
            n = first
        elif n > first:
            points = found[first:n].copy()
            y_m, z_m = points[:, 0].mean(), points[:, 1].mean()
            for k in range(len(points)):
                turn[k] = np.arctan2(points[k, 1] - z_m, points[k, 0] - y_m)
            found[first:n] = points[np.argsort(turn[: len(points)], kind="mergesort")]
        offsets[i + 1] = n
    return offsets, found[:n].copy()


def _edges(corners_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return both ends (E, 3) of the edges of the hull of points, none of them across a flat face."""
    hull = ConvexHull(corners_m)
    face, away = np.indices(hull.neighbors.shape)
    beside = hull.neighbors
    turn = np.einsum("ik,ijk->ij", hull.equations[:, :3], hull.equations[beside][:, :, :3])
    face, away = (kept[(face < beside) & (turn < _FLAT)] for kept in (face, away))
    # An edge lies across from the corner that its face has away from the neighbour.
    ends = [hull.simplices[face, (away + k) % 3] for k in (1, 2)]
    return corners_m[ends[0]], corners_m[ends[1]]
