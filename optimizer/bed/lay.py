"""How the log lies on the bed: roll, tilt and lift.

Bed frame: x along the bed, z = 0 on top of the bunks, z up, y left. log_to_bed = Tz(lift) Ry(-tilt)
Rx(roll): the roll is right-handed about +x (clockwise seen from the butt), a positive tilt raises the
top end, the lift sets the lowest point of the outer surface at z = 0.
"""

from dataclasses import dataclass
from functools import cached_property
from math import cos, radians, sin

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from scans.log import FloatArray, Solid, moved

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


def hull_points(solid: Solid) -> FloatArray:
    """Return the points (P, 3) of a solid's convex hull. [m]."""
    points = solid.vertices_m
    try:
        return np.ascontiguousarray(points[ConvexHull(points).vertices])
    except QhullError:  # flat: it still has its own points
        return np.ascontiguousarray(points)


def widest_m(points: FloatArray) -> float:
    """Return the widest that (P, 3) points are across the x axis, over all rolls. [m]."""
    flat = points[:, 1:]
    flat = flat[ConvexHull(flat).vertices]
    return float(np.linalg.norm(flat[:, None, :] - flat[None, :, :], axis=2).max())
