"""Lays of logs whose supports are known."""

import numpy as np
import pytest
import shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.bed.lay import Lay, supports_of, widest_m


@given(roll=st.floats(0, 360), tilt=st.floats(-20, 20))
def test_log_to_bed_is_rigid_and_moves_nothing_along_or_across(roll, tilt):
    matrix = Lay(roll, tilt, 0.4).log_to_bed

    assert np.allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3))
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    assert matrix[:3, 3].tolist() == [0.0, 0.0, 0.4]


def test_roll_is_clockwise_seen_from_the_butt():
    # At the butt, looking along +x, left is +y; clockwise takes left up.
    left = np.array([0.0, 1.0, 0.0])

    assert Lay(90.0, 0.0, 0.0).to_bed(left) == pytest.approx([0.0, 0.0, 1.0])


def test_positive_tilt_raises_the_top_end():
    top = np.array([2.0, 0.0, 0.0])

    assert Lay(0.0, 5.0, 0.0).to_bed(top)[2] == pytest.approx(2.0 * np.sin(np.radians(5.0)))


@pytest.mark.parametrize("roll", [0.0, 37.0, 180.0, 271.3])
def test_frustum_rests_on_its_side(roll):
    rolled = supports_of(shapes.frustum(0.35, 0.25, 3.0, points=360)).turned(roll)

    # The side slopes by 0.1 m over 3 m, so that the axis falls towards the top end.
    assert rolled.resting_tilt_deg == pytest.approx(-np.degrees(np.arctan(0.1 / 3.0)), abs=0.02)
    assert max(gap.height_m for gap in rolled.gaps(rolled.resting_tilt_deg)) < 1e-9


def test_shim_range_of_a_frustum_is_what_trigonometry_says():
    rolled = supports_of(shapes.frustum(0.35, 0.25, 3.0, points=360)).turned(0.0)

    low, high = rolled.tilt_range_deg(0.1)

    # Raised about the butt's lowest point, the gap in the top third is smallest where the third begins,
    # 2 m out: it grows by 2 m x sin of the turn.
    turn = np.degrees(np.arcsin(0.1 / 2.0))
    assert high - rolled.resting_tilt_deg == pytest.approx(turn, abs=0.05)
    assert rolled.gaps(high)[1].height_m == pytest.approx(0.1, abs=1e-6)
    assert rolled.gaps(high)[0].height_m == 0.0
    # Turned the other way it stands on the top end, and the butt third ends 2 m from there.
    assert rolled.resting_tilt_deg - low == pytest.approx(turn, abs=0.05)


def test_belly_down_asks_for_equal_shims_at_both_ends():
    log = shapes.bent(bow_m=0.10, radius_m=0.25, length_m=3.0, toward_deg=0.0)  # the middle stands up
    rolled = supports_of(log).turned(180.0)  # the middle hangs down

    butt, top = rolled.gaps(rolled.resting_tilt_deg)

    assert butt.height_m == pytest.approx(top.height_m, abs=1e-6)
    # A parabola: a third of the way in it hangs lower than its ends by 8/9 of the bow, so 1/9 is missing.
    assert butt.height_m == pytest.approx(0.10 / 9.0, abs=0.001)
    assert rolled.tilt_range_deg(0.005) is None
    assert rolled.tilt_range_deg(0.02) is not None


def test_hollow_down_rests_on_its_ends():
    rolled = supports_of(shapes.bent(bow_m=0.10, toward_deg=0.0)).turned(0.0)

    assert rolled.gaps(rolled.resting_tilt_deg)[0].height_m < 1e-9
    assert rolled.tilt_range_deg(0.0) == pytest.approx((rolled.resting_tilt_deg,) * 2)


def test_overall_width_follows_the_roll():
    supports = supports_of(shapes.ellipse(0.4, 0.25))

    assert supports.turned(0.0).width_m == pytest.approx(0.8, rel=1e-3)
    assert supports.turned(90.0).width_m == pytest.approx(0.5, rel=1e-3)
    assert widest_m(supports.whole) == pytest.approx(0.8, rel=1e-3)


@settings(max_examples=30)
@given(roll=st.floats(0, 360), share=st.floats(0, 1))
def test_every_tilt_within_the_range_keeps_the_shims(roll, share):
    rolled = supports_of(shapes.forked()).turned(roll)
    limits = rolled.tilt_range_deg(0.08)
    if limits is None:
        return
    tilt = limits[0] + share * (limits[1] - limits[0])

    assert max(gap.height_m for gap in rolled.gaps(tilt)) <= 0.08 + 1e-9
    assert rolled.lay(tilt).to_bed(rolled.supports.whole)[:, 2].min() == pytest.approx(0.0, abs=1e-12)
