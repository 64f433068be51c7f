"""Logs at a roll, on bunks: how they rest, which tilts their supports allow, what it takes to set them."""

import numpy as np
import pytest
import shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.bed.lay import widest_m
from optimizer.standing.rolled import SPARE_M, Supports
from optimizer.standing.supports import SupportRules

BUNK_M = 0.25
"""From the butt end to the first bunk, and from one to the next."""


def supports(log, highest_m=0.1, **rules):
    fields = {"first_bunk_m": BUNK_M, "bunk_spacing_m": BUNK_M, "max_shim_m": highest_m, "max_prop_m": 0.0}
    return Supports(log, SupportRules(**{**fields, **rules}))


@pytest.mark.parametrize("roll", [0.0, 37.0, 180.0, 271.3])
def test_a_frustum_rests_on_its_side(roll):
    rolled = supports(shapes.frustum(0.35, 0.25, 3.0, points=360)).turned(roll)

    # The side slopes by 0.1 m over 3 m, so that the axis falls towards the top end.
    assert rolled.resting_tilt_deg == pytest.approx(-np.degrees(np.arctan(0.1 / 3.0)), abs=0.02)
    assert max(rolled.gaps_m(rolled.resting_tilt_deg)) < 1e-3


def test_the_tilts_of_a_frustum_are_what_trigonometry_says():
    rolled = supports(shapes.frustum(0.35, 0.25, 3.0, points=360)).turned(0.0)

    low, high = rolled.tilt_range_deg

    # Raised about the butt's lowest point: the first bunk of the top third lies 2 m out, or just short of it, and then
    # the next. Turned the other way it stands on the top end, and the last bunk of the butt third lies 2 m from there.
    allowed_m = 0.1 - SPARE_M
    for turn_deg in (high - rolled.resting_tilt_deg, rolled.resting_tilt_deg - low):
        reached_m = 2.0 * np.sin(np.radians(turn_deg))
        assert allowed_m - 0.003 <= reached_m * (1.0 + BUNK_M / 2.0)
        assert reached_m <= allowed_m + 0.003
    assert max(rolled.gaps_m(high)) == pytest.approx(allowed_m, abs=1e-5)
    assert max(rolled.gaps_m(low)) == pytest.approx(allowed_m, abs=1e-5)


def test_belly_down_asks_for_equal_shims_at_both_ends():
    log = shapes.bent(bow_m=0.10, radius_m=0.25, length_m=3.0, toward_deg=0.0)  # the middle stands up
    rolled = supports(log).turned(180.0)  # the middle hangs down

    butt_m, top_m = rolled.gaps_m(rolled.resting_tilt_deg)

    assert butt_m == pytest.approx(top_m, abs=1e-5)
    # A parabola: a bunk at share p of the length lies 4 x bow x (1/2 - p)^2 over its lowest point.
    assert butt_m == pytest.approx(0.10 / 9.0, abs=0.003)
    assert supports(log, 0.005).turned(180.0).tilt_range_deg is None
    assert supports(log, 0.02).turned(180.0).tilt_range_deg is not None
    assert supports(log, 0.005, max_prop_m=0.02).turned(180.0).tilt_range_deg is not None


def test_hollow_down_rests_on_its_ends():
    rolled = supports(shapes.bent(bow_m=0.10, toward_deg=0.0), 0.0, first_bunk_m=0.06, bunk_spacing_m=2.88).turned(0.0)

    assert max(rolled.gaps_m(rolled.resting_tilt_deg)) < 0.01


def test_overall_width_follows_the_roll():
    ellipse = supports(shapes.ellipse(0.4, 0.25))

    assert ellipse.turned(0.0).width_m == pytest.approx(0.8, rel=1e-3)
    assert ellipse.turned(90.0).width_m == pytest.approx(0.5, rel=1e-3)
    assert widest_m(ellipse.whole) == pytest.approx(0.8, rel=1e-3)


@settings(max_examples=30, deadline=None)
@given(roll=st.floats(0, 360), share=st.floats(0, 1))
def test_every_tilt_within_the_range_keeps_the_shims(roll, share):
    on = supports(shapes.forked(), 0.08)
    rolled = on.turned(roll)
    if rolled.tilt_range_deg is None:
        return
    low, high = rolled.tilt_range_deg
    tilt = low + share * (high - low)

    assert max(rolled.gaps_m(tilt)) <= 0.08 + 1e-9
    assert rolled.lay(tilt).to_bed(on.whole)[:, 2].min() == pytest.approx(0.0, abs=1e-12)


def test_a_turn_is_worked_out_once():
    on = supports(shapes.frustum())

    assert on.turned(33.0) is on.turned(33.0)


def test_a_round_log_takes_two_supports_and_a_log_on_bunks_none():
    # Its belly touches down between two bunks: it takes a wedge at both ends. A cylinder lies on every bunk.
    belly = supports(shapes.bent(bow_m=0.10, radius_m=0.25, toward_deg=0.0), bunk_spacing_m=0.6).turned(180.0)
    straight = supports(shapes.cylinder(0.3)).turned(0.0)

    assert belly.placed(belly.resting_tilt_deg) == 2
    assert straight.placed(0.0) == 0
