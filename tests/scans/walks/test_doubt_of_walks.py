"""The doubt of a log that several walks show."""

import numpy as np
import pytest

from scans.log import SurfaceDoubt
from scans.walks.doubt import OFF_TO_MISFIT, doubt_of_walks

POINTS_M = np.random.default_rng(0).random((400, 3)) * [3.0, 0.6, 0.6]
WAYS = np.tile([0.0, 0.0, 1.0], (len(POINTS_M), 1))
MODES_M = (np.random.default_rng(1).normal(size=(len(POINTS_M), 48)) * 0.002 / np.sqrt(48.0)).astype(np.float32)


@pytest.mark.parametrize("is_taped", [True, False])
def test_what_walks_lie_apart_adds_to_the_doubt_and_their_scales_mend_each_other(is_taped: bool) -> None:
    before = SurfaceDoubt(WAYS, MODES_M, WAYS, MODES_M.copy(), 0.006)

    after = doubt_of_walks(before, POINTS_M, POINTS_M, 0.004, 2, is_taped=is_taped)

    square = [np.mean(doubt.outer_error_m() ** 2) for doubt in (before, after)]
    assert square[1] - square[0] == pytest.approx((OFF_TO_MISFIT * 0.004) ** 2, rel=0.15)
    assert after.wood_modes_m == pytest.approx(after.outer_modes_m)
    assert after.scale_spread == pytest.approx(0.006 if is_taped else 0.006 / np.sqrt(2.0))
    # What drifts moves places together that are near one another.
    near = POINTS_M + np.array([0.01, 0.0, 0.0])
    there = doubt_of_walks(before, near, near, 0.004, 2, is_taped=is_taped)
    assert there.outer_modes_m == pytest.approx(after.outer_modes_m, abs=2e-4)


def test_a_log_without_bark_keeps_one_set_of_modes() -> None:
    after = doubt_of_walks(
        SurfaceDoubt(WAYS, MODES_M, WAYS, MODES_M, 0.006), POINTS_M, POINTS_M, 0.004, 3, is_taped=False
    )

    assert after.wood_modes_m is after.outer_modes_m
