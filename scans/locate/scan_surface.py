"""Points all over the faces of a mesh, so that a mesh shows its shape as a cloud does."""

import numpy as np

from scans.log import FloatArray, IntArray


def points_on_faces(vertices: FloatArray, faces: IntArray, count: int) -> FloatArray:
    """Return points (count, 3) spread over faces (F, 3) by area, always the same.

    Faces without area get none; where none has any, the corners are returned.
    """
    return points_and_values_on_faces(vertices, vertices, faces, count)[0]


def points_and_values_on_faces(
    vertices: FloatArray, values: FloatArray, faces: IntArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Return points as `points_on_faces` does, and there what goes over straight between values (V, K) at corners."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    total = float(areas.sum())
    if not 0.0 < total < np.inf:
        return np.asarray(vertices[faces.ravel()]), np.asarray(values[faces.ravel()])
    rng = np.random.default_rng(0)
    # Evenly spaced along the sum of areas, so that each large face gets its share.
    at = (np.arange(count) + rng.random(count)) / count * total
    chosen = np.minimum(np.searchsorted(np.cumsum(areas), at), len(faces) - 1)
    u, v = rng.random((2, count, 1))
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    points, worths = (
        np.asarray(
            at[faces[chosen, 0]]
            + u * (at[faces[chosen, 1]] - at[faces[chosen, 0]])
            + v * (at[faces[chosen, 2]] - at[faces[chosen, 0]])
        )
        for at in (vertices, values)
    )
    return points, worths


def merged_corners(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return vertices (V, 3) and faces (F, 3) with corners at the very same place made one."""
    if len(faces) == 0:
        return vertices, faces
    places, place_of = np.unique(vertices, axis=0, return_inverse=True)
    return places, place_of.reshape(-1)[faces]
