"""How the log lies on the bed: roll, tilt and lift, and the shims that they ask for.

Bed frame: x along the bed, z = 0 on top of the bunks, z up, y left. log_to_bed = Tz(lift) Ry(-tilt)
Rx(roll): the roll is right-handed about +x (clockwise seen from the butt), a positive tilt raises the
top end, the lift sets the lowest point of the outer surface at z = 0.
"""

from dataclasses import dataclass
from functools import cached_property
from math import atan, cos, radians, sin

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import ConvexHull, QhullError

from scans.log import FloatArray, Log, Solid, moved

STEEPEST_TILT_DEG = 30.0
"""No lay is looked for beyond this tilt; shims allow a few degrees at most."""
GAP_TOLERANCE_M = 1e-9


@dataclass(frozen=True)
class Lay:
    """A roll and a tilt, lifted onto the bunks. Degrees, metres."""

    roll_deg: float
    tilt_deg: float
    lift_m: float

    @cached_property
    def log_to_bed(self) -> FloatArray:
        """The rigid 4x4 matrix from the log frame to the bed frame."""
        roll, tilt = radians(self.roll_deg), radians(self.tilt_deg)
        turn = np.array([[1.0, 0.0, 0.0], [0.0, cos(roll), -sin(roll)], [0.0, sin(roll), cos(roll)]])
        raise_top = np.array([[cos(tilt), 0.0, -sin(tilt)], [0.0, 1.0, 0.0], [sin(tilt), 0.0, cos(tilt)]])
        matrix = np.eye(4)
        matrix[:3, :3] = raise_top @ turn
        matrix[2, 3] = self.lift_m
        return matrix

    def to_bed(self, points_m: FloatArray) -> FloatArray:
        """Move (..., 3) points from the log frame to the bed frame. [m]."""
        return moved(points_m, self.log_to_bed)


@dataclass(frozen=True)
class Gap:
    """What a shim must fill in the butt third or the top third: where (log frame) and how high. [m]."""

    point_m: tuple[float, float, float]
    height_m: float


@dataclass(frozen=True, eq=False)
class Supports:
    """The points of the outer surface that it can rest on: hulls of the whole, the butt and the top third.

    Each (P, 3), log frame. [m]
    """

    whole: FloatArray
    butt: FloatArray
    top: FloatArray

    def turned(self, roll_deg: float) -> "Rolled":
        """Return the supports at a roll."""
        roll = radians(roll_deg)
        parts = []
        for points in (self.whole, self.butt, self.top):
            z = points[:, 1] * sin(roll) + points[:, 2] * cos(roll)
            parts.append(np.stack([points[:, 0], z], axis=1))
        y = self.whole[:, 1] * cos(roll) - self.whole[:, 2] * sin(roll)
        return Rolled(roll_deg, self, parts[0], parts[1], parts[2], float(y.max() - y.min()))


@dataclass(frozen=True, eq=False)
class Rolled:
    """The supports at a roll: (x, rolled z) of each part, and the overall width. [m]."""

    roll_deg: float
    supports: Supports
    whole: FloatArray
    butt: FloatArray
    top: FloatArray
    width_m: float

    def lay(self, tilt_deg: float) -> Lay:
        """Return the lay at a tilt, lifted so that its lowest point is at z = 0."""
        return Lay(self.roll_deg, float(tilt_deg), -_lowest(self.whole, tilt_deg)[0])

    def height_m(self, tilt_deg: float) -> float:
        """Return how high the log stands above the bunks. [m]."""
        t = radians(tilt_deg)
        z = self.whole[:, 0] * sin(t) + self.whole[:, 1] * cos(t)
        return float(z.max() - z.min())

    def gaps(self, tilt_deg: float) -> tuple[Gap, Gap]:
        """Return what shims must fill in the butt third and in the top third."""
        floor_m, _ = _lowest(self.whole, tilt_deg)
        found = []
        for part, points in ((self.butt, self.supports.butt), (self.top, self.supports.top)):
            low_m, index = _lowest(part, tilt_deg)
            x, y, z = (float(v) for v in points[index])
            found.append(Gap((x, y, z), max(0.0, low_m - floor_m)))
        return found[0], found[1]

    def _gap_difference(self, tilt_deg: float) -> float:
        return _lowest(self.butt, tilt_deg)[0] - _lowest(self.top, tilt_deg)[0]

    @cached_property
    def resting_tilt_deg(self) -> float:
        """The tilt at which both gaps are equal: 0 and 0, unless the belly is down. [deg]."""
        steep = STEEPEST_TILT_DEG
        if self._gap_difference(-steep) <= 0.0:
            return -steep
        if self._gap_difference(steep) >= 0.0:
            return steep
        tilt_deg = float(brentq(self._gap_difference, -steep, steep, xtol=1e-13, rtol=1e-15))
        # The root lies on two points; through them it is exact.
        b = self.butt[_lowest(self.butt, tilt_deg)[1]]
        t = self.top[_lowest(self.top, tilt_deg)[1]]
        if t[0] > b[0]:
            exact_deg = float(np.degrees(atan((b[1] - t[1]) / (t[0] - b[0]))))
            if abs(exact_deg - tilt_deg) < 1e-9:
                return exact_deg
        return tilt_deg

    def tilt_range_deg(self, max_shim_m: float) -> tuple[float, float] | None:
        """Return the least and greatest tilt that shims of this height allow; None where none is. [deg].

        Both gaps are at their least together at the resting tilt; from there each grows one way.
        """
        rest = self.resting_tilt_deg
        if max(gap.height_m for gap in self.gaps(rest)) > max_shim_m + GAP_TOLERANCE_M:
            return None
        limits = []
        for end, steep in ((0, -STEEPEST_TILT_DEG), (1, STEEPEST_TILT_DEG)):

            def over(tilt_deg: float, end: int = end) -> float:
                return self.gaps(tilt_deg)[end].height_m - max_shim_m

            if over(rest) >= 0.0 or max_shim_m == 0.0:
                limits.append(rest)
            elif over(steep) <= 0.0:
                limits.append(steep)
            else:
                # A hair inside, so that the shim never comes out a rounding too high.
                root = float(brentq(over, rest, steep, xtol=1e-10))
                limits.append(root - 1e-9 * float(np.sign(root - rest)))
        return float(limits[0]), float(limits[1])


def _lowest(points: FloatArray, tilt_deg: float) -> tuple[float, int]:
    t = radians(tilt_deg)
    z = points[:, 0] * sin(t) + points[:, 1] * cos(t)
    index = int(z.argmin())
    return float(z[index]), index


def supports_of(log: Log) -> Supports:
    """Find what the log can rest on: thirds in log x, the cuts between them included."""
    from_m, to_m = log.outer.bounds_m[0, 0], log.outer.bounds_m[1, 0]
    third_m = (to_m - from_m) / 3.0
    butt = _points_between(log.outer, from_m, from_m + third_m)
    top = _points_between(log.outer, to_m - third_m, to_m)
    return Supports(_hull(log.outer.vertices_m), _hull(butt), _hull(top))


def _points_between(solid: Solid, from_m: float, to_m: float) -> FloatArray:
    vertices = solid.vertices_m
    parts = [vertices[(vertices[:, 0] >= from_m) & (vertices[:, 0] <= to_m)]]
    edges = np.concatenate([solid.faces[:, [0, 1]], solid.faces[:, [1, 2]], solid.faces[:, [2, 0]]])
    a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
    for plane_m in (from_m, to_m):
        crosses = (a[:, 0] < plane_m) & (b[:, 0] > plane_m)
        share = (plane_m - a[crosses, 0]) / (b[crosses, 0] - a[crosses, 0])
        parts.append(a[crosses] + share[:, None] * (b[crosses] - a[crosses]))
    points: FloatArray = np.concatenate(parts)
    return points


def _hull(points: FloatArray) -> FloatArray:
    try:
        return np.ascontiguousarray(points[ConvexHull(points).vertices])
    except QhullError:  # flat: a third without thickness still rests on its own points
        return np.ascontiguousarray(points)


def widest_m(points: FloatArray) -> float:
    """Return the widest that (P, 3) points are across the x axis, over all rolls. [m]."""
    flat = points[:, 1:]
    flat = flat[ConvexHull(flat).vertices]
    return float(np.linalg.norm(flat[:, None, :] - flat[None, :, :], axis=2).max())
