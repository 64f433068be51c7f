"""How much wood lies between two heights, and where its centre is: from the mesh alone, without cutting a body.

By the divergence theorem the volume of a solid is the flux of (x, 0, 0) through its surface, and the moments about the
origin are the fluxes of (x^2 / 2, 0, 0), (x y, 0, 0) and (x z, 0, 0). None of them flows through a level plane, so
that the faces that two planes cut need not be made: the triangles clipped between the planes are enough.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numba
import numpy as np

from optimizer.bed.joined import root_of
from scans.log import FloatArray, IntArray, Solid


class LayerMass(NamedTuple):
    """What lies between two heights.

    volume_m3 : of it. centre_m : its centre of volume. parts : how many connected parts its surface has; one means that
    it is one piece of wood.
    """

    volume_m3: float
    centre_m: tuple[float, float, float]
    parts: int


@dataclass(frozen=True, eq=False)
class SurfaceNeighbours:
    """A closed surface with, for each face, the faces beyond its edges 01, 12 and 20. faces, beyond : (F, 3)."""

    faces: IntArray
    beyond: IntArray


def neighbours_of(solid: Solid) -> SurfaceNeighbours:
    """Find the faces beside each face of a closed solid."""
    faces = solid.faces
    count = len(faces)
    edges = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1), axis=-1).reshape(-1, 2)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    # Where more than two faces meet at an edge they are taken in pairs; each edge lies in an even number of them.
    beyond = np.zeros(3 * count, dtype=np.int64)
    beyond[order[0::2]], beyond[order[1::2]] = order[1::2] // 3, order[0::2] // 3
    return SurfaceNeighbours(faces, beyond.reshape(-1, 3))


def layer_mass(points_m: FloatArray, surface: SurfaceNeighbours, lower_m: float, upper_m: float) -> LayerMass:
    """Return what of a closed surface's inside lies between two heights.

    points_m : (V, 3) the surface's points where z is up. Nothing there: no volume, the centre not a number.
    """
    origin = points_m.mean(axis=0)  # near the body, so that differences stay exact
    low, high = lower_m - float(origin[2]), upper_m - float(origin[2])
    volume, x, y, z, parts = _flux(points_m - origin, surface.faces, surface.beyond, low, high)
    centre = origin + np.array([x, y, z]) / volume if volume > 0.0 else np.full(3, np.nan)
    return LayerMass(volume, (float(centre[0]), float(centre[1]), float(centre[2])), parts)


@numba.njit(cache=True, nogil=True)
def _clip(corners: FloatArray, count: int, height: float, sign: float, kept: FloatArray) -> int:
    # Keep of a polygon what lies above a height (sign 1) or below it (sign -1).
    n = 0
    for k in range(count):
        a, b = corners[k], corners[(k + 1) % count]
        from_m, to_m = sign * (a[2] - height), sign * (b[2] - height)
        if from_m >= 0.0:
            kept[n] = a
            n += 1
        if (from_m >= 0.0) != (to_m >= 0.0):
            kept[n] = a + (b - a) * (from_m / (from_m - to_m))
            kept[n, 2] = height
            n += 1
    return n


@numba.njit(cache=True, nogil=True)
def _flux(
    points: FloatArray, faces: IntArray, beyond: IntArray, low: float, high: float
) -> tuple[float, float, float, float, int]:
    volume, moment_x, moment_y, moment_z = 0.0, 0.0, 0.0, 0.0
    corners, above, within = np.zeros((3, 3)), np.zeros((8, 3)), np.zeros((8, 3))
    parent = np.full(len(faces), -1, dtype=np.int64)
    for f in range(len(faces)):
        z0, z1, z2 = points[faces[f, 0], 2], points[faces[f, 1], 2], points[faces[f, 2], 2]
        if max(z0, z1, z2) <= low or min(z0, z1, z2) >= high:
            continue
        parent[f] = f
        for k in range(3):
            corners[k] = points[faces[f, k]]
        n = _clip(corners, 3, low, 1.0, above)
        n = _clip(above, n, high, -1.0, within)
        for k in range(1, n - 1):
            a, b, c = within[0], within[k], within[k + 1]
            # Twice the area, times the normal's x.
            flow = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
            x, y, z = a[0] + b[0] + c[0], a[1] + b[1] + c[1], a[2] + b[2] + c[2]
            volume += flow * x / 6.0
            # The mean over a triangle of u v is (sum u sum v + the sum of the corners' u v) / 12.
            moment_x += flow * (x * x + a[0] * a[0] + b[0] * b[0] + c[0] * c[0]) / 48.0
            moment_y += flow * (x * y + a[0] * a[1] + b[0] * b[1] + c[0] * c[1]) / 24.0
            moment_z += flow * (x * z + a[0] * a[2] + b[0] * b[2] + c[0] * c[2]) / 24.0
    parts = 0
    for f in range(len(faces)):
        if parent[f] < 0:
            continue
        parts += 1
        for k in range(3):
            other = beyond[f, k]
            if parent[other] < 0 or other > f:
                continue
            # Only an edge that passes through the layer joins the two faces there.
            from_z, to_z = points[faces[f, k], 2], points[faces[f, (k + 1) % 3], 2]
            if max(from_z, to_z) <= low or min(from_z, to_z) >= high:
                continue
            root, other_root = root_of(parent, f), root_of(parent, other)
            if root != other_root:
                parent[max(root, other_root)] = min(root, other_root)
                parts -= 1
    return volume, moment_x, moment_y, moment_z, parts
