"""The Doyle rule against its published tables.

Briggs DG 1994, Forest Products Measurements and Conversion Factors, Appendix 3 Table 1; and a custom
mill's printed table (8 to 36 in, 8 to 20 ft).
"""

import pytest

from optimizer.wood.log_rules import board_feet_doyle, board_feet_international, board_feet_scribner_c


@pytest.mark.parametrize(
    ("diameter_in", "length_ft", "board_feet"),
    [
        (12, 16, 64),
        (16, 12, 108),
        (20, 12, 192),
        (20, 16, 256),
        (24, 10, 250),
        (30, 16, 676),
        (36, 16, 1024),
    ],
)
def test_printed_cells(diameter_in, length_ft, board_feet):
    assert board_feet_doyle(diameter_in, length_ft) == board_feet


def test_nothing_up_to_four_inches():
    assert board_feet_doyle(4, 16) == 0
    assert board_feet_doyle(2, 16) == 0


def test_sixteen_foot_log_scales_the_square_of_diameter_less_four():
    # The rule's own shorthand: at 16 ft the formula is (D - 4)^2.
    assert [board_feet_doyle(d, 16) for d in range(5, 40)] == [(d - 4) ** 2 for d in range(5, 40)]


def test_half_is_rounded_up():
    # (6 - 4)^2 x 14 / 16 = 3.5, and (6 - 4)^2 x 6 / 16 = 1.5; rounded half up all 150 cells of Briggs' table
    # are matched.
    assert board_feet_doyle(6, 14) == 4
    assert board_feet_doyle(6, 6) == 2


def test_three_rules_on_one_log():
    # Briggs' and the Forest Service's tables, 20 in x 16 ft.
    scales = board_feet_doyle(20, 16), board_feet_scribner_c(20, 16), board_feet_international(20, 16)

    assert scales == (256, 280, 290)
