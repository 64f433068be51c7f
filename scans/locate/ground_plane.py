"""The plane of the ground in a scan of unknown unit and up: scale-free, so that it can settle both."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.log import FloatArray, IntArray
from scans.neighbours import nearest

PLANE_VOXELS = 80
"""Voxels to the scan's diagonal: about 5 cm for a log of 3 m with ground round it."""

_MOST_POINTS = 400_000
_PROPOSALS = 400
_ALIKE = np.cos(np.radians(12.0))
"""Ground is where normals agree: a strip along a log whose normals do so holds a tenth of its points at most."""

_LEAST_SHARE = 0.12
_MOST_BELOW = 0.1
"""Share of the points off the plane that may lie under it."""

_MOST_CELLS = 1 << 20
"""Cells in each direction: their numbers must stay whole, and their product a number of 64 bits."""


@dataclass(frozen=True, eq=False)
class GroundPlane:
    """The plane {p : normal . p = offset}, in the units of the points that it was found in.

    normal : (3,) unit vector, pointing to the side that the other points are on.
    tolerance : half the thickness of the ground about it. share : of the scan's surface that is ground.
    """

    normal: FloatArray
    offset: float
    tolerance: float
    share: float

    def above(self, points: FloatArray) -> FloatArray:
        """Height (N,) of points (N, 3) above the plane."""
        return np.asarray(points @ self.normal - self.offset)


def thinned(points: FloatArray, most: int = _MOST_POINTS) -> FloatArray:
    """Return at most so many of the points (N, 3), evenly out of their order."""
    return points[:: max(1, -(-len(points) // most))]


def voxel_centroids(points: FloatArray, edge: float) -> tuple[FloatArray, IntArray]:
    """Centroids (V, 3) of the voxels that hold points (N, 3), and the voxel (N,) of each point."""
    origin = points.min(axis=0)
    if np.ptp(points, axis=0).max() >= _MOST_CELLS * edge:
        # What lies beyond all reckoning shares the outermost cells.
        origin = np.maximum(origin, np.median(points, axis=0) - 0.5 * _MOST_CELLS * edge)
    cells = np.clip(np.floor((points - origin) / edge), 0, _MOST_CELLS - 1).astype(np.int64)
    sizes = cells.max(axis=0) + 1
    keys = (cells[:, 0] * sizes[1] + cells[:, 1]) * sizes[2] + cells[:, 2]
    _, voxel_of, counts = np.unique(keys, return_inverse=True, return_counts=True)
    sums = np.stack([np.bincount(voxel_of, weights=points[:, k]) for k in range(3)], axis=1)
    return sums / counts[:, None], voxel_of


def robust_diagonal(points: FloatArray) -> float:
    """Diagonal of the box that holds all but the outermost half per cent each way, a little widened."""
    low, high = np.quantile(points, [0.005, 0.995], axis=0)
    return float(np.linalg.norm(high - low))


def surface_normals(points: FloatArray, neighbours: int = 14) -> FloatArray:
    """Return unit normals (N, 3) of either sign, from the nearest points to each."""
    near = nearest(cKDTree(points), points, neighbours)[1]
    about = points[near] - points[near].mean(axis=1, keepdims=True)
    return np.asarray(np.linalg.eigh(np.einsum("nki,nkj->nij", about, about))[1][:, :, 0])


def find_ground_plane(points: FloatArray) -> GroundPlane | None:
    """Return the ground of a scan, or None where there is none to speak of.

    points : (N, 3), any unit, any axes.

    The ground is the plane that most of the surface lies in, with like normals, and with the rest of
    the scan on one side. Deterministic.
    """
    few = thinned(points)
    diagonal = robust_diagonal(few)
    if len(few) < 100 or diagonal <= 0.0:
        return None
    centroids = voxel_centroids(few, diagonal / PLANE_VOXELS)[0]
    if len(centroids) < 100:
        return None
    normals = surface_normals(centroids)
    tolerance = diagonal / PLANE_VOXELS
    tried = np.linspace(0, len(centroids) - 1, min(_PROPOSALS, len(centroids))).astype(np.int64)
    best, most = None, 0
    for k in tried:
        on = _on_plane(centroids, normals, normals[k], float(centroids[k] @ normals[k]), tolerance)
        count = int(on.sum())
        if count > most:
            best, most = on, count
    if best is None or most < _LEAST_SHARE * len(centroids):
        return None
    on = best
    for _ in range(5):
        middle = centroids[on].mean(axis=0)
        normal = np.linalg.eigh(np.cov((centroids[on] - middle).T))[1][:, 0]
        offset = float(normal @ middle)
        on = _on_plane(centroids, normals, normal, offset, tolerance)
        if on.sum() < _LEAST_SHARE * len(centroids):
            return None
    heights = centroids @ normal - offset
    over, under = int((heights > 2.0 * tolerance).sum()), int((heights < -2.0 * tolerance).sum())
    if under > over:
        normal, offset, over, under = -normal, -offset, under, over
    if under > _MOST_BELOW * over:
        return None
    return GroundPlane(normal, offset, tolerance, float(on.mean()))


def _on_plane(
    centroids: FloatArray, normals: FloatArray, normal: FloatArray, offset: float, tolerance: float
) -> NDArray[np.bool_]:
    return np.asarray((np.abs(centroids @ normal - offset) < tolerance) & (np.abs(normals @ normal) > _ALIKE))
