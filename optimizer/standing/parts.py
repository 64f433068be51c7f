"""A log's members at stations, and where they come down onto the bunks, for lays by the thousand."""

from dataclasses import dataclass
from math import pi, sqrt
from typing import NamedTuple

import numba
import numpy as np
import shapely
from manifold3d import Manifold
from scipy.spatial import ConvexHull

from optimizer.bed.bodies import polygons_of
from optimizer.standing.supports import BESIDE_M, LEAST_RADIUS_M, LEVEL_M, REACH_SHARE, STEEPEST_SLOPE, upended
from scans.log import FloatArray, IntArray

_THINNED_M = 0.001
"""Rings lose corners that move them by no more than this."""
_FARTHEST = 1.5
"""A member's lowest point is followed past the neighbouring station by half a spacing at most."""


@dataclass(frozen=True, eq=False)
class Parts:
    """A bolt cut across its axis at stations, log frame.

    x_m, cell_m : (N,) of the stations, rising, and how long each is. offsets, segments : rings of all parts, as of
    stations.Rings. part_offsets : (N + 1,) station i owns the members part_offsets[i] .. part_offsets[i + 1] - 1.
    corner_offsets, corners : (P + 1,), (C, 2) the corners (y, z) of each member's convex hull. circle_m : (P,) radius
    of the circle of its area. hull_m : (H, 3) the whole bolt's convex hull.
    """

    x_m: FloatArray
    cell_m: FloatArray
    offsets: IntArray
    segments: FloatArray
    part_offsets: IntArray
    corner_offsets: IntArray
    corners: FloatArray
    circle_m: FloatArray
    hull_m: FloatArray


class Lows(NamedTuple):
    """Where each member (P,) is lowest at a roll: rolled y and z; and from where to where a support holds it. [m].

    box_m : (P, 4) its least and greatest y, its least and greatest z.
    """

    y_m: FloatArray
    z_m: FloatArray
    from_m: FloatArray
    to_m: FloatArray
    box_m: FloatArray


class Touches(NamedTuple):
    """Where members cross bunks, (K,) each: bunk, station next to it, y, gap, and from where to where it holds. [m]."""

    bunk: IntArray
    station: IntArray
    y_m: FloatArray
    gap_m: FloatArray
    from_m: FloatArray
    to_m: FloatArray


def parts_of(outer: Manifold, spacing_m: float) -> Parts:
    """Cut a bolt's outer surface at stations about `spacing_m` apart, a station in the middle of each cell."""
    standing = upended(outer, np.eye(4))
    box = standing.bounding_box()
    from_m, to_m = float(box[2]), float(box[5])
    count = max(2, int(np.ceil((to_m - from_m) / spacing_m - 1e-9)))
    cell_m = (to_m - from_m) / count
    x_m = np.asarray(from_m + cell_m * (np.arange(count) + 0.5), dtype=np.float64)
    segments, corners, circle_m = [], [], []
    offsets, part_offsets = [0], [0]
    for x in x_m:
        parts = polygons_of(standing.slice(float(x)))
        for part in parts:
            thin = shapely.simplify(part, _THINNED_M)
            for ring in (thin.exterior, *thin.interiors):
                points = shapely.get_coordinates(ring)
                segments.append(np.concatenate([points[:-1], points[1:]], axis=1))
            circle = sqrt(shapely.Polygon(part.exterior).area / pi)
            if circle >= LEAST_RADIUS_M:
                corners.append(shapely.get_coordinates(part.convex_hull.exterior)[:-1])
                circle_m.append(circle)
        offsets.append(sum(len(segment) for segment in segments))
        part_offsets.append(len(corners))
    hull = np.asarray(outer.hull().to_mesh64().vert_properties)[:, :3]
    return Parts(
        x_m=x_m,
        cell_m=np.full(count, cell_m),
        offsets=np.array(offsets, dtype=np.int64),
        segments=np.concatenate([np.zeros((0, 4)), *segments]),
        part_offsets=np.array(part_offsets, dtype=np.int64),
        corner_offsets=np.cumsum([0, *(len(part) for part in corners)]).astype(np.int64),
        corners=np.concatenate([np.zeros((0, 2)), *corners]),
        circle_m=np.array(circle_m),
        hull_m=np.ascontiguousarray(hull[ConvexHull(hull).vertices]),
    )


def lows_of(parts: Parts, roll_rad: float) -> Lows:
    """Find where each member is lowest at a roll."""
    return Lows(*_lows(parts.corner_offsets, parts.corners, parts.circle_m, roll_rad))


def touches_of(parts: Parts, lows: Lows, bunks_m: FloatArray, tilt_rad: float, lift_m: float) -> Touches:
    """Find where members come down onto bunks at bed x (B,), at a tilt and a lift.

    A tilt is a shear of the stations.
    """
    return Touches(*_touches(parts.x_m, parts.part_offsets, *lows, bunks_m, tilt_rad, lift_m))


@numba.njit(cache=True, nogil=True)
def _lows(
    corner_offsets: IntArray, corners: FloatArray, circle_m: FloatArray, roll: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    count = len(circle_m)
    box_m = np.zeros((count, 4))
    y_m, z_m, from_m, to_m = np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count)
    c, s = np.cos(roll), np.sin(roll)
    for p in range(count):
        z_m[p], left, right, high = np.inf, np.inf, -np.inf, -np.inf
        for k in range(corner_offsets[p], corner_offsets[p + 1]):
            y, z = corners[k, 0] * c - corners[k, 1] * s, corners[k, 0] * s + corners[k, 1] * c
            left, right, high = min(left, y), max(right, y), max(high, z)
            z_m[p] = min(z_m[p], z)
        from_m[p], to_m[p] = np.inf, -np.inf
        for k in range(corner_offsets[p], corner_offsets[p + 1]):
            if corners[k, 0] * s + corners[k, 1] * c <= z_m[p] + LEVEL_M:
                y = corners[k, 0] * c - corners[k, 1] * s
                from_m[p], to_m[p] = min(from_m[p], y), max(to_m[p], y)
        y_m[p] = 0.5 * (from_m[p] + to_m[p])
        reach = REACH_SHARE * min(circle_m[p], 0.5 * (right - left), 0.5 * (high - z_m[p]))
        from_m[p], to_m[p] = min(from_m[p], y_m[p] - reach), max(to_m[p], y_m[p] + reach)
        box_m[p, 0], box_m[p, 1], box_m[p, 2], box_m[p, 3] = left, right, z_m[p], high
    return y_m, z_m, from_m, to_m, box_m


@numba.njit(cache=True, nogil=True)
def _goes_on(part_offsets: IntArray, box_m: FloatArray, p: int, station: int, along_m: float, tilt: float) -> bool:
    # Whether a member's underside goes on to a station, so far along the log from its own.
    if not 0 <= station < len(part_offsets) - 1:
        return False
    c, s = np.cos(tilt), np.sin(tilt)
    for q in range(part_offsets[station], part_offsets[station + 1]):
        across = box_m[q, 0] <= box_m[p, 1] and box_m[p, 0] <= box_m[q, 1]
        upward = box_m[q, 2] <= box_m[p, 3] and box_m[p, 2] <= box_m[q, 3]
        rise = along_m * s + (box_m[q, 2] - box_m[p, 2]) * c
        if across and upward and abs(rise) <= STEEPEST_SLOPE * abs(along_m):
            return True
    return False


@numba.njit(cache=True, nogil=True)
def _touches(
    x_m: FloatArray,
    part_offsets: IntArray,
    y_m: FloatArray,
    z_m: FloatArray,
    from_m: FloatArray,
    to_m: FloatArray,
    box_m: FloatArray,
    bunks_m: FloatArray,
    tilt: float,
    lift_m: float,
) -> tuple[IntArray, IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    n = len(x_m)
    spacing = x_m[1] - x_m[0]
    c, s = np.cos(tilt), np.sin(tilt)
    most = 0
    for i in range(n):
        most = max(most, part_offsets[i + 1] - part_offsets[i])
    size = most * len(bunks_m)
    bunk, station = np.zeros(size, dtype=np.int64), np.zeros(size, dtype=np.int64)
    y, gap, low, high = np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size)
    count = 0
    for b in range(len(bunks_m)):
        i = min(n - 1, max(0, int((bunks_m[b] / c - x_m[0]) / spacing + 0.5)))
        if part_offsets[i + 1] > part_offsets[i]:
            # The bunk's plane leans against the stations: what it meets lies farther along where it is higher.
            lowest = z_m[part_offsets[i] : part_offsets[i + 1]].min()
            i = min(n - 1, max(0, int(((bunks_m[b] + lowest * s) / c - x_m[0]) / spacing + 0.5)))
        for p in range(part_offsets[i], part_offsets[i + 1]):
            at = (bunks_m[b] + z_m[p] * s) / c
            other = i + 1 if at > x_m[i] else i - 1
            y_here, z_here, low_here, high_here = y_m[p], z_m[p], from_m[p], to_m[p]
            if 0 <= other < n:
                beside, nearest = -1, 0.5 * (to_m[p] - from_m[p]) / REACH_SHARE
                for q in range(part_offsets[other], part_offsets[other + 1]):
                    apart = np.hypot(y_m[q] - y_m[p], z_m[q] - z_m[p])
                    if apart < nearest:
                        beside, nearest = q, apart
                if beside >= 0:
                    share = min(_FARTHEST, abs(at - x_m[i]) / spacing)
                    y_here += share * (y_m[beside] - y_m[p])
                    z_here += share * (z_m[beside] - z_m[p])
                    low_here += share * (from_m[beside] - from_m[p])
                    high_here += share * (to_m[beside] - to_m[p])
            at = (bunks_m[b] + z_here * s) / c
            goes_on = True
            for way in (-1.0, 1.0):
                far = int(np.floor((at + way * BESIDE_M - x_m[0]) / spacing + 0.5))
                goes_on &= _goes_on(part_offsets, box_m, p, far, (far - i) * spacing, tilt)
            if not goes_on:
                continue
            bunk[count], station[count] = b, i
            y[count], gap[count] = y_here, at * s + z_here * c + lift_m
            low[count], high[count] = min(low_here, y_here), max(high_here, y_here)
            count += 1
    return bunk[:count], station[:count], y[:count], gap[:count], low[:count], high[:count]
