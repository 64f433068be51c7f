"""Polygons in space cut into triangles: fans where they are convex, else ears."""

import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray, IntArray

_FLAT = 1e-9


def triangles_of(points: FloatArray, corners: IntArray, counts: IntArray) -> tuple[IntArray, IntArray, int]:
    """Return the triangles of polygons, the polygon of each triangle, and how many polygons cross themselves.

    points : (N, 3). corners : (K,) rows of `points`, polygon after polygon, all within range.
    counts : (P,) corners of each polygon; those with fewer than three give no triangle.

    A convex polygon becomes a fan about its first corner. Another is laid flat along its own normal (Newell's)
    and cut by ears; where it crosses itself, so that no ears can be had, it becomes a fan all the same, and counts.
    Triangles come in the order of their polygons, wound as they are.
    """
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64) if len(counts) else np.zeros(0, np.int64)
    pieces, owners, crossed = [np.zeros((0, 3), dtype=np.int64)], [np.zeros(0, dtype=np.int64)], 0
    for size in np.unique(counts[counts >= 3]):
        polygons = np.nonzero(counts == size)[0]
        rings = corners[starts[polygons][:, None] + np.arange(size)]
        fans = np.stack([np.repeat(rings[:, :1], size - 2, axis=1), rings[:, 1:-1], rings[:, 2:]], axis=2)
        if size > 3:
            for row in np.nonzero(~_is_convex(points, rings))[0]:
                ears = _ears(points[rings[row]])
                if ears is None:
                    crossed += 1
                else:
                    fans[row] = rings[row][ears]
        pieces.append(fans.reshape(-1, 3))
        owners.append(np.repeat(polygons, size - 2))
    owner = np.concatenate(owners)
    order = np.argsort(owner, kind="stable")
    return np.concatenate(pieces)[order], owner[order], crossed


def _normals(places: FloatArray) -> FloatArray:
    """Return twice the area vectors of polygons (P, n, 3), by Newell's formula."""
    centred = places - places[:, :1]
    return np.cross(centred, np.roll(centred, -1, axis=1)).sum(axis=1)


def _is_convex(points: FloatArray, rings: IntArray) -> NDArray[np.bool_]:
    """Tell whether each ring's corners all turn its own way, and turn but once around."""
    places = points[rings]
    normal = _normals(places)
    size = np.linalg.norm(normal, axis=1)
    unit = normal / np.where(size > 0.0, size, 1.0)[:, None]
    sides = np.roll(places, -1, axis=1) - places
    after = np.roll(sides, -1, axis=1)
    turns = (np.cross(sides, after) * unit[:, None]).sum(axis=2)
    ahead = (sides * after).sum(axis=2)
    around = np.arctan2(turns, ahead).sum(axis=1)
    return (turns >= -_FLAT * size[:, None]).all(axis=1) & (around < 3.0 * np.pi)


def _ears(ring: FloatArray) -> IntArray | None:
    """Return the (n - 2, 3) triangles of one polygon, as its corner numbers; None where it crosses itself."""
    import manifold3d  # noqa: PLC0415 - compiled, and few scans hold such polygons

    normal = _normals(ring[None])[0]
    if not np.linalg.norm(normal) > 0.0:
        return None
    across = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    across /= np.linalg.norm(across)
    along = np.cross(normal / np.linalg.norm(normal), across)
    flat = np.stack([(ring - ring[0]) @ across, (ring - ring[0]) @ along], axis=1)
    cut = np.asarray(manifold3d.triangulate([flat]), dtype=np.int64).reshape(-1, 3)
    if len(cut) != len(ring) - 2:
        return None
    first, second, third = flat[cut[:, 0]], flat[cut[:, 1]], flat[cut[:, 2]]
    one, other = second - first, third - first
    areas = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    # Ears that overlap add up to more than the polygon.
    whole = float(np.linalg.norm(normal))
    return cut if abs(np.abs(areas).sum() - whole) <= 1e-6 * whole else None
