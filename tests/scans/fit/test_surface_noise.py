"""The roughness and drift that possible surfaces are drawn with."""

import numpy as np
import pytest

from scans.fit.surface_noise import DRIFT_LENGTH_M, DRIFT_M, ROUGH_LENGTH_M, ROUGH_M, noise_modes_m


@pytest.mark.parametrize("apart_m", [0.0, 0.015, 0.06, 0.3, 1.0])
def test_places_go_together_as_their_distance_says(apart_m):
    points = np.random.default_rng(1).uniform(-1.0, 1.0, (4000, 3))
    way = np.array([0.6, 0.0, 0.8])
    here, there = (noise_modes_m(places, 400).astype(float) for places in (points, points + apart_m * way))

    # The kernel whose random Fourier features these are (Rahimi and Recht 2007).
    expected = sum(
        spread**2 * np.exp(-0.5 * (apart_m / length) ** 2)
        for spread, length in ((ROUGH_M, ROUGH_LENGTH_M), (DRIFT_M, DRIFT_LENGTH_M))
    )
    assert np.einsum("nk,nk->n", here, there).mean() == pytest.approx(expected, abs=0.1 * (ROUGH_M**2 + DRIFT_M**2))


def test_the_same_points_move_the_same_and_few_ways_as_far_as_many():
    points = np.random.default_rng(1).uniform(-1.0, 1.0, (500, 3))
    few, many = noise_modes_m(points, 48), noise_modes_m(points, 400)

    assert np.array_equal(few, noise_modes_m(points, 48))
    assert (few**2).sum(axis=1).mean() == pytest.approx((many**2).sum(axis=1).mean(), rel=0.1)
