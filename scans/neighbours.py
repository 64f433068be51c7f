"""The nearest of many points, as plain arrays."""

import numpy as np
from scipy.spatial import cKDTree

from scans.log import FloatArray, IntArray


def nearest(tree: cKDTree, points: FloatArray, count: int, reach: float = float("inf")) -> tuple[FloatArray, IntArray]:
    """Distances (M, count) from points (M, 3) to the nearest in a tree, and their rows (M, count).

    Where fewer are within reach the distance is infinite and the row the number of points in the tree; a
    tree of fewer than `count` points gives as many columns as it has points.
    """
    ranks = np.arange(1, min(count, tree.n) + 1)
    distances, rows = tree.query(points, k=ranks, distance_upper_bound=reach, workers=2)
    return np.asarray(distances, dtype=np.float64), np.asarray(rows, dtype=np.int64)
