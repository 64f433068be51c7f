"""What buck cuts leave of the parts that drawings put a log together from."""

from collections.abc import Sequence

import numpy as np

from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.bucking import is_of_member
from scans.log import FloatArray


def kept_of_hull(points_m: FloatArray, cuts: Sequence[BuckCut], hearts: Sequence[FloatArray]) -> FloatArray:
    """Return points (K, 3) whose hull is what cuts leave of the hull of others (N, 3); none where nothing is left."""
    kept = points_m
    for cut in cuts:
        if not len(kept) or not _is_cut(kept, cut, hearts):
            continue
        beyond_m = cut.beyond_m(kept)
        behind, before = kept[beyond_m <= 0.0], kept[beyond_m > 0.0]
        if not len(behind):
            return behind
        # Where the lines from all that stays to all that goes meet the cut: their hull is the new end.
        low, high = -beyond_m[beyond_m <= 0.0][:, None, None], beyond_m[beyond_m > 0.0][None, :, None]
        on_cut = behind[:, None] + low / (low + high) * (before[None] - behind[:, None])
        kept = np.concatenate([behind, on_cut.reshape(-1, 3)])
    return kept


def is_kept(points_m: FloatArray, cuts: Sequence[BuckCut], hearts: Sequence[FloatArray]) -> bool:
    """Tell whether any of a part's points (N, 3) stays."""
    return all((cut.beyond_m(points_m) <= 0.0).any() for cut in cuts if _is_cut(points_m, cut, hearts))


def _is_cut(points_m: FloatArray, cut: BuckCut, hearts: Sequence[FloatArray]) -> bool:
    beyond = (cut.beyond_m(points_m) > 0.0).any()
    return bool(beyond) and is_of_member(points_m.mean(axis=0), cut, hearts)
