"""Exact widths, runs and crosscuts against shapely and arithmetic."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.bed.outlines import crosscut, width_profile


def blob(seed, holes=True):
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = np.stack([2.0 * np.cos(angle), 0.5 * np.sin(angle)], axis=1) * rng.uniform(0.6, 1.2, (40, 1))
    shape = shapely.Polygon(ring).buffer(0)
    if holes:
        shape = shape.difference(shapely.Point(0.4, 0.05).buffer(0.12))
    shape = max(getattr(shape, "geoms", [shape]), key=lambda p: p.area)
    return shapely.geometry.polygon.orient(shape)


@given(seed=st.integers(0, 10_000), x=st.floats(-1.9, 1.9))
def test_width_is_the_length_of_the_line_across(seed, x):
    piece = blob(seed)
    low, _, high, _ = piece.bounds
    if not low + 1e-6 < x < high - 1e-6:
        return
    across = piece.intersection(shapely.LineString([(x, -9), (x, 9)])).length

    assert width_profile(piece).clipped(x, x + 1e-9).left_m[0] == pytest.approx(across, abs=1e-6)


@given(seed=st.integers(0, 10_000))
def test_area_is_the_polygons(seed):
    piece = blob(seed)

    assert width_profile(piece).area_m2() == pytest.approx(piece.area, rel=1e-9)


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000), most=st.floats(0.05, 1.5), a=st.floats(-1.0, 0.0), b=st.floats(0.1, 1.0))
def test_capped_area_of_a_part(seed, most, a, b):
    piece = blob(seed)
    part = width_profile(piece).clipped(a, b)
    x = np.linspace(a, b, 4001)
    middle = 0.5 * (x[:-1] + x[1:])
    lines = shapely.linestrings([[(m, -9), (m, 9)] for m in middle])
    widths = np.minimum(shapely.length(shapely.intersection(lines, piece)), most)

    assert part.area_m2(most) == pytest.approx(widths.mean() * (b - a), rel=2e-3)


def test_a_gap_between_two_limbs_is_no_width():
    fork = shapely.Polygon([(0, 0), (3, -1), (3, -0.8), (1, 0), (3, 0.8), (3, 1)])

    assert width_profile(fork).clipped(2.9, 2.95).left_m[0] < 0.5


def test_runs_of_a_taper_end_where_arithmetic_says():
    taper = shapely.Polygon([(0, 0), (4, 0), (4, 0.2), (0, 0.6)])  # 0.6 to 0.2 m wide over 4 m

    assert width_profile(taper).runs(0.3, 1.0) == [pytest.approx((0.0, 3.0))]
    assert width_profile(taper).runs(0.3, 3.01) == []
    assert width_profile(taper).runs(0.7, 0.1) == []


def test_a_neck_splits_a_run():
    dumbbell = shapely.union_all([shapely.box(0, 0, 1, 0.5), shapely.box(1, 0.2, 2, 0.25), shapely.box(2, 0, 4, 0.5)])

    assert width_profile(dumbbell).runs(0.3, 0.5) == [pytest.approx((0.0, 1.0)), pytest.approx((2.0, 4.0))]
    assert width_profile(dumbbell).runs(0.3, 1.5) == [pytest.approx((2.0, 4.0))]


def test_crosscut_takes_the_fewest_equal_lengths():
    plank = width_profile(shapely.box(0, 0, 5, 0.5))

    spans = crosscut(plank, (0.0, 5.0), 1.0, 2.0, np.inf)

    assert np.array(spans) == pytest.approx(np.array([(0, 5 / 3), (5 / 3, 10 / 3), (10 / 3, 5)]))
    assert crosscut(plank, (0.0, 5.0), 1.0, 5.0, np.inf) == [(0.0, 5.0)]


def test_crosscut_takes_the_widest_part_where_equal_lengths_would_be_too_short():
    taper = width_profile(shapely.Polygon([(0, 0), (2.2, 0), (2.2, 0.8), (0, 0.4)]))

    assert crosscut(taper, (0.0, 2.2), 1.5, 2.0, np.inf) == [pytest.approx((0.2, 2.2))]
