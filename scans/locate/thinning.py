"""Work on some of very many points, and hand the answer on to all of them."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.log import FloatArray
from scans.neighbours import nearest

MOST_POINTS = 600_000
"""More points than this are looked at in part: 1 mm apart they say no more than 5 mm apart."""

_CHUNK = 1_000_000


def mask_from_some(points_m: FloatArray, some_m: FloatArray, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return for points (N, 3) what most of some of them (M, 3) in their voxel are marked (M,) as.

    The voxels are wide enough to hold some of the few nearly always. Points in a voxel without any of the few
    follow the nearest one.
    """
    low = points_m.min(axis=0)
    tree = cKDTree(some_m)
    few = some_m[:: max(1, len(some_m) // 2000)]
    edge = max(1.5 * float(np.median(nearest(tree, few, 16)[0][:, -1])), 1e-4)
    sizes = np.ceil((points_m.max(axis=0) - low) / edge).astype(np.int64) + 1
    keys, cell_of = np.unique(_keys(some_m, low, edge, sizes), return_inverse=True)
    share = np.bincount(cell_of, weights=mask) / np.bincount(cell_of)
    taken = np.empty(len(points_m), dtype=np.bool_)
    for start in range(0, len(points_m), _CHUNK):
        part = points_m[start : start + _CHUNK]
        wanted = _keys(part, low, edge, sizes)
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        answer = share[at] >= 0.5
        without = keys[at] != wanted
        if without.any():
            answer[without] = mask[nearest(tree, part[without], 1)[1][:, 0]]
        taken[start : start + _CHUNK] = answer
    return taken


def _keys(points_m: FloatArray, low: FloatArray, edge: float, sizes: NDArray[np.int64]) -> NDArray[np.int64]:
    cells = ((points_m - low) / edge).astype(np.int64)
    return np.asarray((cells[:, 0] * sizes[1] + cells[:, 1]) * sizes[2] + cells[:, 2])
