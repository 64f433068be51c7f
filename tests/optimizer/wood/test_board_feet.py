import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.wood.board_feet import (
    board_feet,
    board_feet_of_board,
    quarters_thickness_m,
    surface_measure_ft2,
)
from scans.units import FOOT_M, INCH_M


@given(width_in=st.floats(1, 60), length_ft=st.floats(1, 20), quarters=st.integers(4, 24))
def test_slab_and_board_count_alike(width_in, length_ft, quarters):
    of_board = board_feet_of_board(quarters / 4, width_in, length_ft)

    assert board_feet(width_in * INCH_M * length_ft * FOOT_M, quarters) == pytest.approx(of_board, rel=1e-12)


@given(area_m2=st.floats(0, 10), quarters=st.integers(1, 24))
def test_board_foot_is_a_volume_of_nominal_thickness(area_m2, quarters):
    # A board foot is 144 in3.
    volume_in3 = area_m2 * quarters_thickness_m(quarters) / INCH_M**3

    assert board_feet(area_m2, quarters) == pytest.approx(volume_in3 / 144, rel=1e-12)


@given(width_eighths=st.integers(8, 480), length_ft=st.integers(1, 20))
def test_surface_measure_is_the_nearest_whole(width_eighths, length_ft):
    """Widths as a tape gives them; halves told apart in whole numbers of 1/96 ft2."""
    up = surface_measure_ft2(width_eighths / 8, length_ft)
    down = surface_measure_ft2(width_eighths / 8, length_ft, half_up=False)

    assert abs(96 * up - width_eighths * length_ft) <= 48
    assert up - down == (1 if width_eighths * length_ft % 96 == 48 else 0)


def test_no_area_is_no_board_foot():
    assert board_feet(0.0, 8) == 0.0


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: quarters_thickness_m(0), "quarters must be at least 1, got 0: write 8 for 8/4"),
        (lambda: board_feet(-1.0, 8), "area_m2 must be at least 0, got -1"),
        (lambda: board_feet(float("nan"), 8), "area_m2"),
        (lambda: surface_measure_ft2(0, 8), "width_in must be above 0, got 0"),
        (lambda: surface_measure_ft2(6, 0.9), "length_ft must be at least 1"),
        (lambda: board_feet_of_board(0, 6, 8), "thickness_in must be above 0, got 0"),
        (lambda: board_feet_of_board(2, -6, 8), "width_in must be above 0, got -6"),
        (lambda: board_feet_of_board(2, 6, 0), "length_ft must be above 0, got 0"),
    ],
)
def test_refuses(call, line):
    with pytest.raises(ValueError, match=line):
        call()
