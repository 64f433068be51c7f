"""Scribner Decimal C against the USDA Forest Service's table.

National Volume Estimator Library, scrib.f (factors, exceptions, and the 175 cells that follow).
"""

from decimal import Decimal

import pytest

from optimizer.wood.log_rules import board_feet_scribner_c

LENGTHS_FT = (8, 10, 12, 14, 16)
TABLE = {
    6: (10, 10, 10, 10, 20),
    7: (10, 10, 20, 20, 30),
    8: (10, 20, 20, 20, 30),
    9: (20, 30, 30, 30, 40),
    10: (30, 30, 30, 40, 60),
    11: (30, 40, 40, 50, 70),
    12: (40, 50, 60, 70, 80),
    13: (50, 60, 70, 80, 100),
    14: (60, 70, 90, 100, 110),
    15: (70, 90, 110, 120, 140),
    16: (80, 100, 120, 140, 160),
    17: (90, 120, 140, 160, 180),
    18: (110, 130, 160, 190, 210),
    19: (120, 150, 180, 210, 240),
    20: (140, 170, 210, 240, 280),
    21: (150, 190, 230, 270, 300),
    22: (170, 210, 250, 290, 330),
    23: (190, 230, 280, 330, 380),
    24: (210, 250, 300, 350, 400),
    25: (230, 290, 340, 400, 460),
    26: (250, 310, 370, 440, 500),
    27: (270, 340, 410, 480, 550),
    28: (290, 360, 440, 510, 580),
    29: (310, 380, 460, 530, 610),
    30: (330, 410, 490, 570, 660),
    31: (360, 440, 530, 620, 710),
    32: (370, 460, 550, 640, 740),
    33: (390, 490, 590, 690, 780),
    34: (400, 500, 600, 700, 800),
    35: (440, 550, 660, 770, 880),
    36: (460, 580, 690, 810, 920),
    37: (510, 640, 770, 900, 1030),
    38: (540, 670, 800, 930, 1070),
    39: (560, 700, 840, 980, 1120),
    40: (600, 750, 900, 1050, 1200),
}
# Board feet per foot of length, as printed, for 1 to 60 in.
# fmt: off
FACTORS = [
    "0.000", "0.143", "0.390", "0.676", "1.070", "1.160", "1.400", "1.501", "2.084", "3.126",
    "3.749", "4.900", "6.043", "7.140", "8.880", "10.000", "11.528", "13.290", "14.990", "17.499",
    "18.990", "20.880", "23.510", "25.218", "28.677", "31.249", "34.220", "36.376", "38.040", "41.060",
    "44.376", "45.975", "48.990", "50.000", "54.688", "57.660", "64.319", "66.730", "70.000", "75.240",
    "79.480", "83.910", "87.190", "92.501", "94.990", "99.075", "103.501", "107.970", "112.292", "116.990",
    "121.650", "126.525", "131.510", "136.510", "141.610", "146.912", "152.210", "157.710", "163.288", "168.990",
]
# fmt: on

CELLS = [
    (diameter, length, board_feet)
    for diameter, row in TABLE.items()
    for length, board_feet in zip(LENGTHS_FT, row, strict=True)
]


def test_table_is_whole():
    assert len(CELLS) == 175


@pytest.mark.parametrize(("diameter_in", "length_ft", "board_feet"), CELLS)
def test_cell(diameter_in, length_ft, board_feet):
    assert board_feet_scribner_c(diameter_in, length_ft) == board_feet


def test_other_copies():
    # Bailey LH, Farm and Garden Rule-Book, 1911: 30 in x 16 ft is 66 tens.
    assert board_feet_scribner_c(30, 16) == 660
    # Reference page on the rule: a 10-inch log holds 30 board feet from 8 to 12 ft.
    assert [board_feet_scribner_c(10, length_ft) for length_ft in range(8, 13)] == [30] * 5


def test_small_logs_of_which_copies_differ_by_order_only():
    # Bailey prints 5 board feet for 6 in x 8 ft, the table above 10: no number is asserted from it.
    assert board_feet_scribner_c(6, 8) <= board_feet_scribner_c(8, 8) <= board_feet_scribner_c(8, 16)


@pytest.mark.parametrize(
    ("diameter_in", "length_ft", "board_feet"),
    [
        (29, 9, 350),  # +29: 38.04 alone gives INT((342.36 + 5) / 10) = 34
        (47, 13, 1340),  # -47: 103.501 alone gives INT((1345.513 + 5) / 10) = 135
        (13, 19, 120),  # +13: 6.043 alone gives INT((114.817 + 5) / 10) = 11
        (11, 16, 70),  # the factor for 16 ft and up, 4.167; 3.749 would give 60
        (11, 31, 130),  # still 4.167
        (11, 32, 140),  # 4.499 from 32 ft; 4.167 would give 130
        (12, 32, 160),  # 4.900: no such factor from 12 in
    ],
)
def test_factors_and_exceptions_by_hand(diameter_in, length_ft, board_feet):
    """Worked by hand from the published factors: INT((L x factor + 5) / 10), and the exception."""
    assert board_feet_scribner_c(diameter_in, length_ft) == board_feet


@pytest.mark.parametrize("diameter_in", [*range(1, 6), *range(12, 61)])
def test_factors_at_lengths_without_exceptions(diameter_in):
    """INT((L x factor + 5) / 10) in exact decimals, from 21 ft up; 6 to 11 in have factors of their own there."""
    factor = Decimal(FACTORS[diameter_in - 1])

    for length_ft in range(21, 41):
        units = int((length_ft * factor + 5) / 10)
        assert board_feet_scribner_c(diameter_in, length_ft) == 10 * units
