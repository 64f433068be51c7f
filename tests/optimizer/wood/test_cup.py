"""Cup and thickness strain, against closed forms.

The values are for faces square over the heart, h and w in inches: c = r0 (1 - S_R) cos(k atan(a / h)) - h (1 - S_R),
with the shrinkage of the Wood Handbook (FPL-GTR-282, Table 4-3) brought to 8 % moisture by its Eq. 4-9: times 22 / 30.
"""

from math import atan, pi

import numpy as np
import pytest

from optimizer.wood.cup import cup_m, mean_thickness_strain
from optimizer.wood.moisture import shrinkage_pct


def to_8_pct(*totals):
    return [shrinkage_pct(total, 8.0) / 100.0 for total in totals]


def over_heart(h, w):
    return np.array([-w / 2.0]), np.array([w / 2.0]), np.array([h])


@pytest.mark.parametrize(
    ("radial", "tangential", "h", "w", "cup"),
    [
        (4.0, 8.6, 4.0, 10.0, 0.1492),  # northern red oak
        (4.0, 8.6, 2.0, 10.0, 0.1990),
        (4.0, 8.6, 8.0, 20.0, 0.2985),
        (5.6, 10.5, 4.0, 10.0, 0.1588),  # white oak
        (5.5, 7.8, 8.0, 20.0, 0.1502),  # black walnut
        (5.0, 8.4, 8.0, 20.0, 0.2213),  # sycamore
        (4.2, 6.6, 8.0, 20.0, 0.1567),  # honeylocust
    ],
)
def test_cup_square_over_the_heart(radial, tangential, h, w, cup):
    (found,) = cup_m(*over_heart(h, w), *to_8_pct(radial, tangential))

    assert found == pytest.approx(cup, abs=5e-5)
    # The small-strain form: (S_T - S_R) a atan(a / h), within 1.5 % or so.
    r, t = to_8_pct(radial, tangential)
    assert found == pytest.approx((t - r) * w / 2.0 * atan(w / 2.0 / h), rel=0.016)


def test_a_face_below_the_heart_cups_as_one_above_it():
    left, right, off = over_heart(4.0, 10.0)

    assert cup_m(left, right, -off, 0.03, 0.06) == pytest.approx(cup_m(left, right, off, 0.03, 0.06))


def test_a_face_beside_the_heart_is_quarter_sawn_and_stays_flat():
    level = np.array([1e-9])

    assert cup_m(np.array([3.0]), np.array([9.0]), level, 0.03, 0.06) == pytest.approx(0.0, abs=1e-9)
    # The V of a face just off the heart: towards (S_T - S_R) a pi / 2.
    assert cup_m(*over_heart(1e-6, 10.0), 0.03, 0.06) == pytest.approx(0.03 * 5.0 * pi / 2.0, rel=0.02)


def test_a_face_off_to_one_side_is_that_part_of_the_whole_arc():
    """By brute force: points of the face moved one by one, the edges joined, the farthest point from that line."""
    left, right, h, radial, tangential = 2.0, 14.0, 5.0, 0.0293, 0.0631
    y = np.linspace(left, right, 20001)
    r, angle = np.hypot(y, h) * (1.0 - radial), np.arctan2(y, h) * (1.0 - tangential) / (1.0 - radial)
    points = np.stack([r * np.sin(angle), r * np.cos(angle)], axis=1)
    way = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
    off = np.abs((points - points[0]) @ np.array([-way[1], way[0]])).max()

    (found,) = cup_m(np.array([left]), np.array([right]), np.array([h]), radial, tangential)
    assert found == pytest.approx(off, rel=2e-3)
    assert found < cup_m(*over_heart(h, 2.0 * right), radial, tangential)[0]


def test_wood_that_shrinks_alike_both_ways_does_not_cup():
    assert cup_m(*over_heart(4.0, 10.0), 0.05, 0.05) == pytest.approx(0.0, abs=1e-12)


def test_thickness_strain_is_what_width_strain_leaves_of_both():
    """Mean width strain S_R + (S_T - S_R) (2h / w) atan(w / 2h): 6.5464 % for red oak, w = 20, h = 5 (by hand)."""
    (strain,) = mean_thickness_strain(*over_heart(5.0, 20.0), 0.04, 0.086)

    assert strain == pytest.approx(0.04 + 0.086 - 0.065464, abs=1e-6)
    assert mean_thickness_strain(*over_heart(1e6, 20.0), 0.04, 0.086)[0] == pytest.approx(0.04, abs=1e-6)
    assert mean_thickness_strain(*over_heart(0.0, 20.0), 0.04, 0.086)[0] == pytest.approx(0.086, abs=1e-6)
    # Off to one side: the mean of S_R cos^2 + S_T sin^2 over the points themselves.
    y = np.linspace(2.0, 14.0, 100_001)
    local = (0.04 * 25.0 + 0.086 * y**2) / (y**2 + 25.0)
    (beside,) = mean_thickness_strain(np.array([2.0]), np.array([14.0]), np.array([5.0]), 0.04, 0.086)
    assert beside == pytest.approx(local.mean(), rel=1e-4)
