"""Board foot after the NHLA rules.

American Hardwood Export Council, Illustrated Guide to American Hardwood Lumber Grades. Metric sizes: Denig J,
Wengert EM, Simpson WT 2000, Drying Hardwood Lumber, FPL-GTR-118.
"""

import pytest

from optimizer.wood.board_feet import (
    board_feet,
    quarters_thickness_m,
)
from scans.units import FOOT_M, INCH_M


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
