"""Grass against a log: thin, ragged points near the ground."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.log import FloatArray

TALLEST_M = 0.45
"""Grass that leans on a log is no taller. [m]."""

_REACH_M = 0.03
_THIN_SHARE, _FOR_ROUGH, _SMOOTH, _FOR_TURNED = 0.09, 1.0, 0.03, 0.3
"""A point with less than the first of these of the usual number of neighbours is grass. The rougher its
place than the third, the more it takes; most where its own normal is not the surface's. Found on invented scans."""


def is_grass(
    points_m: FloatArray,
    heights_m: FloatArray,
    roughness: FloatArray,
    turned: NDArray[np.bool_],
    spacing_m: float,
) -> NDArray[np.bool_]:
    """Which points (N,) of those taken for a log are grass.

    heights_m : (N,) over the ground. roughness : (N,) of the place that each is in, `normals_and_roughness`.
    turned : (N,) whether its own normal differs from its place's. spacing_m : usual, between points.
    """
    reach = max(_REACH_M, 4.0 * spacing_m)
    counts = cKDTree(points_m).query_ball_point(points_m, reach, return_length=True, workers=2)
    least = _THIN_SHARE + _FOR_ROUGH * np.maximum(roughness - _SMOOTH, 0.0) + _FOR_TURNED * turned
    return np.asarray((heights_m < TALLEST_M) & (counts < least * np.median(counts)))
