"""Log volume by the named rules.

Smalian with 0.002727 (D^2 + d^2) L ft3: USDA Forest Service, National Volume Estimator Library source;
0.005454 D^2 ft2: Briggs DG 1994, Table 2-1. The frustum is geometry. Huber and Newton are from memory
(standard forest mensuration): they are held here by identities of geometry, not by printed numbers.
"""

import math

import pytest

from optimizer.wood.log_volume import (
    volume_cylinder_small_end,
    volume_frustum,
    volume_huber,
    volume_newton,
    volume_smalian,
)
from scans.units import FOOT_M, INCH_M

LARGE_M, MID_M, SMALL_M, LENGTH_M = 24 * INCH_M, 22 * INCH_M, 20 * INCH_M, 10 * FOOT_M


def cubic_feet(volume_m3):
    return volume_m3 / FOOT_M**3


def test_smalian_in_cubic_feet():
    # 0.00272708 is pi / 1152 to six digits: relative rounding under 2e-6.
    published = 0.00272708 * (24**2 + 20**2) * 10

    assert cubic_feet(volume_smalian(LARGE_M, SMALL_M, LENGTH_M)) == pytest.approx(published, rel=2e-6)


def test_cylinder_on_the_small_end_in_cubic_feet():
    # 0.005454 has four digits: relative rounding under 1e-4.
    assert cubic_feet(volume_cylinder_small_end(SMALL_M, LENGTH_M)) == pytest.approx(0.005454 * 20**2 * 10, rel=1e-4)


@pytest.mark.parametrize(
    ("volume_m3", "expected_ft3"),
    [
        (volume_smalian(LARGE_M, SMALL_M, LENGTH_M), 26.6163),
        (volume_huber(MID_M, LENGTH_M), 26.3981),
        (volume_newton(LARGE_M, MID_M, SMALL_M, LENGTH_M), 26.4708),
        (volume_frustum(LARGE_M, SMALL_M, LENGTH_M), 26.4708),
    ],
)
def test_worked_log(volume_m3, expected_ft3):
    """D 24 in, d 20 in, m 22 in, L 10 ft, worked from the formulas in feet to four decimals."""
    assert cubic_feet(volume_m3) == pytest.approx(expected_ft3, abs=5e-5)


@pytest.mark.parametrize(("large_m", "small_m", "length_m"), [(0.6, 0.5, 3.0), (1.1, 0.3, 2.4), (0.4, 0.4, 5.0)])
def test_straight_log_identities(large_m, small_m, length_m):
    """Smalian - frustum = pi L (D - d)^2 / 24, Huber - frustum = -half of it, Newton = frustum (algebra)."""
    frustum = volume_frustum(large_m, small_m, length_m)
    mid_m = (large_m + small_m) / 2
    excess = math.pi * length_m * (large_m - small_m) ** 2 / 24

    assert volume_smalian(large_m, small_m, length_m) - frustum == pytest.approx(excess, abs=1e-12)
    assert volume_huber(mid_m, length_m) - frustum == pytest.approx(-excess / 2, abs=1e-12)
    assert volume_newton(large_m, mid_m, small_m, length_m) == pytest.approx(frustum, rel=1e-12)


@pytest.mark.parametrize(("power", "exact_rules"), [(0.5, 3), (1.5, 1)])
def test_solids_of_revolution(power, exact_rules):
    """r = x^p from x = 1 to 3: V = pi (3^(2p+1) - 1) / (2p+1).

    Paraboloid (p = 1/2): Smalian, Huber and Newton exact. Neiloid (p = 3/2): Newton alone, and Smalian too much,
    as on a flared butt.
    """
    exact = math.pi * (3 ** (2 * power + 1) - 1) / (2 * power + 1)
    large, mid, small = 2 * 3**power, 2 * 2**power, 2.0

    assert volume_newton(large, mid, small, 2.0) == pytest.approx(exact, rel=1e-12)
    if exact_rules == 3:
        assert volume_smalian(large, small, 2.0) == pytest.approx(exact, rel=1e-12)
        assert volume_huber(mid, 2.0) == pytest.approx(exact, rel=1e-12)
    else:
        assert volume_smalian(large, small, 2.0) > exact > volume_huber(mid, 2.0)
