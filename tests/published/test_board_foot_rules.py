"""Board foot and surface measure after the NHLA rules.

American Hardwood Export Council, Illustrated Guide to American Hardwood Lumber Grades; an importer's page
after the NHLA rules; a hardwood dealer's page of terms (under 1 in counts as 1 in). Metric sizes: Denig J,
Wengert EM, Simpson WT 2000, Drying Hardwood Lumber, FPL-GTR-118.
"""

import pytest

from optimizer.wood.board_feet import (
    board_feet,
    board_feet_of_board,
    quarters_thickness_m,
    surface_measure_ft2,
)
from scans.units import FOOT_M, INCH_M


@pytest.mark.parametrize(
    ("width_in", "length_ft", "surface_measure"),
    [
        (6.25, 8, 4),  # AHEC: 4.17
        (6.5, 8, 4),  # 4 1/3
        (8, 12, 8),
        (10, 13, 11),  # 10 10/12
        (5, 8.5, 3),  # AHEC: a length of 8 1/2 ft counts as 8; 5 x 8 / 12 = 3 1/3
        (7, 11.9, 6),  # likewise: 7 x 11 / 12 = 6.42, where 7 x 11.9 / 12 = 6.94 would give 7
    ],
)
def test_surface_measure(width_in, length_ft, surface_measure):
    assert surface_measure_ft2(width_in, length_ft) == surface_measure


def test_two_inch_board_of_surface_measure_four():
    # AHEC: 2 in x 6 1/4 in x 8 ft tallies 4 ft2 of surface, 8 board feet.
    assert surface_measure_ft2(6.25, 8) * 2 == 8
    # Unrounded, 2 x 6.25 x 8 / 12.
    assert board_feet_of_board(2, 6.25, 8) == pytest.approx(100 / 12, rel=1e-12)


def test_exact_half_goes_either_way_from_memory():
    # 6 3/4 in x 8 ft = 4.5: tallies alternate (from memory), so both must be to be had.
    assert surface_measure_ft2(6.75, 8) == 5
    assert surface_measure_ft2(6.75, 8, half_up=False) == 4
    assert surface_measure_ft2(6.25, 8, half_up=False) == 4


def test_thin_board_counts_as_an_inch():
    assert board_feet_of_board(0.5, 6, 10) == board_feet_of_board(1, 6, 10) == 5.0


def test_board_foot_is_a_square_foot_an_inch_thick():
    assert board_feet(FOOT_M**2, 4) == pytest.approx(1.0, rel=1e-12)
    # The definition T(in) x W(in) x L(ft) / 12, at 2 x 15 in x 8 ft = 20.
    assert board_feet(15 * INCH_M * 8 * FOOT_M, 8) == pytest.approx(20.0, rel=1e-12)


@pytest.mark.parametrize(
    ("quarters", "millimetres"), [(4, 25), (5, 32), (6, 38), (8, 51), (10, 64), (12, 76), (16, 102)]
)
def test_metric_sizes_of_the_quarters(quarters, millimetres):
    # Printed to the whole millimetre; 10/4 is 63.5 mm exactly.
    assert quarters_thickness_m(quarters) * 1000 == pytest.approx(millimetres, abs=0.5 + 1e-9)
