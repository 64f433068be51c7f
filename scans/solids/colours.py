"""The colours of a scan's points on the closed surface that was made of them.

They are painted last, from the log's own points within 3 cm of a vertex; what no point tells is marked, not invented.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.log import FloatArray, Log, SurfaceColours
from scans.neighbours import nearest

REACH_M = 0.03
"""A vertex takes its colour from points no farther off: what is farther was not seen. [m]"""

NEUTRAL = 128
"""Red, green and blue where no point tells a colour."""

_BLENDED = 6
_SHARP_M = 0.001
_MOST_POINTS = 1_500_000


def coloured(log: Log, points_m: FloatArray, colours: NDArray[np.uint8] | None) -> Log:
    """Return the log with each vertex of its outer surface in the blended colours of the points nearest to it.

    points_m : (N, 3) of the log alone, in the frame that `scan_to_log` leads from. [m] colours : (N, 3) red, green and
    blue; None leaves the log as it is. A vertex at the very place of a point takes its colour unblended.
    """
    if colours is None or len(points_m) == 0:
        return log
    every = -(-len(points_m) // _MOST_POINTS)
    there = points_m[::every] @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    apart, rows = nearest(cKDTree(there), log.outer.vertices_m, _BLENDED, REACH_M)
    near = apart <= REACH_M
    weights = np.where(near, 1.0 / (_SHARP_M**2 + np.where(near, apart, 0.0) ** 2), 0.0)
    # No vertex of a closed mesh is moved by more than rounding on its way here.
    weights[:, 1:] *= (apart[:, :1] > 1e-6) & near[:, 1:]
    own = colours[::every][np.minimum(rows, len(there) - 1)].astype(np.float64)
    known = near[:, 0]
    blend = np.einsum("vk,vkc->vc", weights, own) / np.maximum(weights.sum(axis=1), 1e-12)[:, None]
    rgb = np.where(known[:, None], np.round(blend), NEUTRAL).astype(np.uint8)
    return replace(log, colours=SurfaceColours(rgb, known))
