import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.wood.board_feet import (
    board_feet,
    quarters_thickness_m,
)
from scans.units import INCH_M


@given(area_m2=st.floats(0, 10), quarters=st.integers(1, 24))
def test_board_foot_is_a_volume_of_nominal_thickness(area_m2, quarters):
    # A board foot is 144 in3.
    volume_in3 = area_m2 * quarters_thickness_m(quarters) / INCH_M**3

    assert board_feet(area_m2, quarters) == pytest.approx(volume_in3 / 144, rel=1e-12)


def test_no_area_is_no_board_foot():
    assert board_feet(0.0, 8) == 0.0


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: quarters_thickness_m(0), "quarters must be at least 1, got 0: write 8 for 8/4"),
        (lambda: board_feet(-1.0, 8), "area_m2 must be at least 0, got -1"),
        (lambda: board_feet(float("nan"), 8), "area_m2"),
    ],
)
def test_refuses(call, line):
    with pytest.raises(ValueError, match=line):
        call()
