"""Ovals across a log, and the body lofted through rings of them."""

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from scans.log import FloatArray
from scans.solids.bodies import body_from_mesh
from scans.tape.curves import through_stations

RING_POINTS = 96
"""Points around a ring."""

RING_STEP_M = 0.03
"""Distance from ring to ring. [m]."""

_EQUAL_AREA = float(1.0 / np.sqrt(RING_POINTS / (2.0 * np.pi) * np.sin(2.0 * np.pi / RING_POINTS)))
"""A ring's corners lie this much outside its oval, so that their areas agree."""


@dataclass(frozen=True, eq=False)
class Ovals:
    """N ovals: half axes `mean + stretch` and `mean - stretch`, the long one leaning.

    mean_m : (N,) half the sum of the half axes. [m]
    stretch_m : (N, 2) half their difference times the cosine and the sine of twice the lean of the
        long one, from upright, clockwise seen from the butt. [m]

    In these numbers a round section has no lean to be wrong about, and lean and shape pass from one
    section to the next without a jump.
    """

    mean_m: FloatArray
    stretch_m: FloatArray

    @classmethod
    def measured(cls, wide_m: FloatArray, narrow_m: FloatArray, wide_deg: FloatArray) -> "Ovals":
        """Ovals from full diameters (N,) and the wide one's lean (N,). [deg]."""
        twice = np.radians(2.0 * wide_deg)
        quarter = (wide_m - narrow_m) / 4.0
        return cls((wide_m + narrow_m) / 4.0, quarter[:, None] * np.stack([np.cos(twice), np.sin(twice)], axis=1))

    def between(self, at_m: FloatArray, wanted_m: FloatArray) -> "Ovals":
        """Ovals at `wanted_m` (M,) of a log with these ovals at `at_m` (N,)."""
        stretch = np.stack([through_stations(at_m, self.stretch_m[:, k], wanted_m) for k in range(2)], axis=1)
        mean = np.maximum(through_stations(at_m, self.mean_m, wanted_m), 0.5 * self.mean_m.min())
        length = np.linalg.norm(stretch, axis=1)
        held = np.minimum(1.0, 0.8 * mean / np.maximum(length, 1e-12))
        return Ovals(mean, stretch * held[:, None])

    def scaled(self, factor: float | FloatArray) -> "Ovals":
        """Return the ovals scaled about their centres by one factor, or by (N,) factors."""
        factors = np.broadcast_to(np.asarray(factor, dtype=np.float64), self.mean_m.shape)
        return Ovals(self.mean_m * factors, self.stretch_m * factors[:, None])

    def reach_m(self, toward_deg: float) -> FloatArray:
        """How far each reaches from its centre towards an angle clockwise from upright, (N,). [m]."""
        size = np.linalg.norm(self.stretch_m, axis=1)
        lean = 0.5 * np.arctan2(self.stretch_m[:, 1], self.stretch_m[:, 0])
        angle = np.radians(toward_deg) - lean
        return np.hypot((self.mean_m + size) * np.cos(angle), (self.mean_m - size) * np.sin(angle))

    def diameter_m(self) -> FloatArray:
        """Diameter of the circle of equal area, (N,). [m]."""
        return np.asarray(2.0 * np.sqrt(self.mean_m**2 - (self.stretch_m**2).sum(axis=1)))

    def offsets_m(self) -> FloatArray:
        """Corners of the rings from their centres: (N, RING_POINTS, 2), up and right. [m].

        Corner j stands at the same angle on every ring, so that a loft through them has no twist.
        """
        angle = np.arange(RING_POINTS) * (2.0 * np.pi / RING_POINTS)
        cosine, sine = np.cos(angle), np.sin(angle)
        mean, along, across = self.mean_m[:, None], self.stretch_m[:, :1], self.stretch_m[:, 1:]
        up = (mean + along) * cosine + across * sine
        right = (mean - along) * sine + across * cosine
        return _EQUAL_AREA * np.stack([up, right], axis=2)


def stations_between(start_m: float, end_m: float, kept_m: FloatArray) -> FloatArray:
    """Places of the rings from start to end, every 3 cm or so, those in `kept_m` among them."""
    step = max(RING_STEP_M, (end_m - start_m) / 300.0)
    count = max(2, round((end_m - start_m) / step) + 1)
    even = np.linspace(start_m, end_m, count)
    inside = kept_m[(kept_m > start_m + 1e-3) & (kept_m < end_m - 1e-3)]
    far = even[np.abs(even[:, None] - inside).min(axis=1) > 0.3 * step] if len(inside) else even
    return np.unique(np.concatenate([far, inside, [start_m, end_m]]))


def lofted(rings: FloatArray) -> Manifold:
    """Return the body through (N, RING_POINTS, 3) rings, its ends closed flat.

    Each ring runs clockwise seen from the first ring.
    """
    count = len(rings)
    here = np.arange(RING_POINTS)
    onward = np.roll(here, -1)
    base = (np.arange(count - 1) * RING_POINTS)[:, None]
    a, b = (base + here).ravel(), (base + onward).ravel()
    c, d = b + RING_POINTS, a + RING_POINTS
    first, last = count * RING_POINTS, count * RING_POINTS + 1
    top = (count - 1) * RING_POINTS
    faces = np.concatenate(
        [
            np.stack([a, b, c], axis=1),
            np.stack([a, c, d], axis=1),
            np.stack([np.full(RING_POINTS, first), onward, here], axis=1),
            np.stack([np.full(RING_POINTS, last), top + here, top + onward], axis=1),
        ],
    )
    ends = rings[[0, -1]].mean(axis=1)
    return body_from_mesh(np.concatenate([rings.reshape(-1, 3), ends]), faces)
