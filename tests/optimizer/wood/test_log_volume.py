import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.wood.log_volume import (
    volume_cylinder_small_end,
    volume_frustum,
    volume_huber,
    volume_newton,
    volume_smalian,
)

lengths = st.floats(0.01, 30)
diameters = st.floats(0.01, 3)


@given(diameter=diameters, length=lengths)
def test_all_rules_agree_on_a_cylinder(diameter, length):
    cylinder = math.pi * diameter**2 / 4 * length

    assert [
        volume_smalian(diameter, diameter, length),
        volume_huber(diameter, length),
        volume_newton(diameter, diameter, diameter, length),
        volume_frustum(diameter, diameter, length),
        volume_cylinder_small_end(diameter, length),
    ] == pytest.approx([cylinder] * 5, rel=1e-12)


@given(ends=st.tuples(diameters, diameters), length=lengths)
def test_order_of_the_rules_on_a_straight_log(ends, length):
    small, large = sorted(ends)
    frustum = volume_frustum(large, small, length)
    slack = 1e-12 * frustum

    assert volume_cylinder_small_end(small, length) <= volume_huber((large + small) / 2, length) + slack
    assert volume_huber((large + small) / 2, length) <= frustum + slack
    assert frustum <= volume_smalian(large, small, length) + slack


@given(large=diameters, small=diameters, length=lengths)
def test_turning_the_log_round_changes_nothing(large, small, length):
    middle = (large + small) / 2

    assert volume_smalian(large, small, length) == pytest.approx(volume_smalian(small, large, length))
    assert volume_frustum(large, small, length) == pytest.approx(volume_frustum(small, large, length))
    assert volume_newton(large, middle, small, length) == pytest.approx(volume_newton(small, middle, large, length))


@pytest.mark.parametrize("wrong", [-0.1, float("nan"), float("inf")])
def test_refuses_what_is_no_length(wrong):
    with pytest.raises(ValueError, match="large_diameter_m must be a finite length of at least 0"):
        volume_smalian(wrong, 0.4, 3.0)
    with pytest.raises(ValueError, match="mid_diameter_m must be"):
        volume_huber(wrong, 3.0)
    with pytest.raises(ValueError, match="small_diameter_m must be"):
        volume_newton(0.5, 0.4, wrong, 3.0)
    with pytest.raises(ValueError, match="length_m must be"):
        volume_frustum(0.5, 0.4, wrong)
    with pytest.raises(ValueError, match="length_m must be"):
        volume_cylinder_small_end(0.4, wrong)
