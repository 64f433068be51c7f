"""What each of several walks saw of the log that is made of all their points."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from scans.fit.scanned_log import SEEN_WITHIN_M
from scans.log import FloatArray, Log, moved
from scans.neighbours import nearest


def seen_shares(log: Log, points_m: Sequence[FloatArray]) -> list[float]:
    """Return the share of the log's outer surface that each walk saw.

    points_m : of each walk (N, 3), in the frame that `log.scan_to_log` leads from. [m]
    """
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    shares = []
    for own in points_m:
        tree = cKDTree(moved(own, log.scan_to_log))
        is_seen = np.asarray(nearest(tree, middles, 1, SEEN_WITHIN_M)[0][:, 0] <= SEEN_WITHIN_M)
        shares.append(1.0 - (replace(log, face_seen=is_seen).not_seen_share or 0.0))
    return shares
