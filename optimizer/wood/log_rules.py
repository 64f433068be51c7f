"""Board feet that the log rules give a log: Doyle, Scribner Decimal C, International 1/4-inch.

They are what logs are bought and sold by. All three count 1-inch boards, so none of them says what
slabs a log will give.

Each rule takes the small-end diameter inside the bark and the nominal length, trim left out. Sources:
Briggs DG 1994, Forest Products Measurements and Conversion Factors, University of Washington, Institute
of Forest Resources Contribution 75, Appendix 3 Table 1 (Doyle, International); USDA Forest Service,
National Volume Estimator Library, scrib.f (Scribner factors and exceptions).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from scans.units import FOOT_M, INCH_M

# fmt: off
# Board feet per foot of length for 1 to 60 in, in thousandths: whole numbers, so that no rounding of a
# float can move a cell.
_SCRIBNER_FACTORS = (
    0, 143, 390, 676, 1070, 1160, 1400, 1501, 2084, 3126,
    3749, 4900, 6043, 7140, 8880, 10000, 11528, 13290, 14990, 17499,
    18990, 20880, 23510, 25218, 28677, 31249, 34220, 36376, 38040, 41060,
    44376, 45975, 48990, 50000, 54688, 57660, 64319, 66730, 70000, 75240,
    79480, 83910, 87190, 92501, 94990, 99075, 103501, 107970, 112292, 116990,
    121650, 126525, 131510, 136510, 141610, 146912, 152210, 157710, 163288, 168990,
)
# The same for 6 to 11 in, by length: 16 to 31 ft, and 32 to 40 ft.
_SCRIBNER_FACTORS_16_FT = (1249, 1608, 1854, 2410, 3542, 4167)
_SCRIBNER_FACTORS_32_FT = (1570, 1800, 2200, 2900, 3815, 4499)
# By length: diameters at which the table has 10 board feet more (+) or less (-) than the factors give. Those
# above 60 in belong to the source's list, though its factors end there.
_SCRIBNER_EXCEPTIONS = {
    8: (24, 29, 38, -64, -66, 67, -69, 71, 77, -79, 83),
    9: (29, 43, 51, 61, 74),
    10: (9, -23, 71, -74, 77, 83, -96, 107),
    11: (9, -25, 58, 61, 64, 73),
    12: (-10,),
    13: (-6, -47, 52, 61, 66, 69, -77, -99),
    14: (-6, -44, -80),
    15: (-6, -28, 45, 51, 61, 74, 80),
    17: (46, 61, 64, 75, 80),
    18: (-44, 70, -71, -77, 81, -83, 91, 93, 95, 98, 100, 107, 111),
    19: (-8, -9, 13),
    20: (-8, -9, 62, 64, 66, -67, 69, -71, -77, 79),
}

_INTERNATIONAL_LENGTHS_FT = (6, 8, 10, 12, 14, 16)
# By diameter, at these lengths. The formula misses three of the cells by 5.
_INTERNATIONAL_TABLE = {
    6: (5, 10, 10, 15, 15, 20),
    7: (10, 10, 15, 20, 25, 30),
    8: (10, 15, 20, 25, 35, 40),
    9: (15, 20, 30, 35, 45, 50),
    10: (20, 30, 35, 45, 55, 65),
    11: (25, 35, 45, 55, 70, 80),
    12: (30, 45, 55, 70, 85, 95),
    13: (40, 55, 70, 85, 100, 115),
    14: (45, 65, 80, 100, 115, 135),
    15: (55, 75, 95, 115, 135, 160),
    16: (60, 85, 110, 130, 155, 180),
    17: (70, 95, 125, 150, 180, 205),
    18: (80, 110, 140, 170, 200, 230),
    19: (90, 125, 155, 190, 225, 260),
    20: (100, 135, 175, 210, 250, 290),
    21: (115, 155, 195, 235, 280, 320),
    22: (125, 170, 215, 260, 305, 355),
    23: (140, 185, 235, 285, 335, 390),
    24: (150, 205, 255, 310, 370, 425),
    25: (165, 220, 280, 340, 400, 460),
    26: (180, 240, 305, 370, 435, 500),
    27: (195, 260, 330, 400, 470, 540),
    28: (210, 280, 355, 430, 510, 585),
    29: (225, 305, 385, 465, 545, 630),
    30: (245, 325, 410, 495, 585, 675),
}
# fmt: on


class OutsideRuleError(ValueError):
    """A log too small or too large for a rule."""


@dataclass(frozen=True)
class LogScale:
    """A log's board feet by each rule; None where a rule does not reach.

    diameter_in : small end inside the bark, in whole inches.
    length_ft : nominal length, in whole feet.
    """

    diameter_in: int
    length_ft: int
    doyle: int | None
    scribner_c: int | None
    international: int | None


def board_feet_doyle(diameter_in: float, length_ft: float) -> int:
    """Return the Doyle scale, (D - 4)^2 L / 16, rounded half up; 0 up to 4 in. [board feet].

    Valid for diameters above 0 to 120 in and lengths above 0 to 40 ft (bounds of sense: the formula has
    none; printed tables run to 36 in and 20 ft). Raises ValueError outside.
    """
    _check("Doyle", diameter_in, length_ft, (0.0, 120.0), (0.0, 40.0))
    return math.floor(max(diameter_in - 4.0, 0.0) ** 2 * length_ft / 16.0 + 0.5)


def board_feet_scribner_c(diameter_in: int, length_ft: int) -> int:
    """Return the Scribner Decimal C scale: a table, in tens. [board feet].

    Valid for whole inches from 1 to 60 and whole feet from 8 to 40, the lengths for which the source
    gives exceptions and factors. Raises ValueError outside. At 6 and 7 in copies of the table differ.
    """
    for name, value in (("diameter_in", diameter_in), ("length_ft", length_ft)):
        if value != int(value):
            raise ValueError(f"the Scribner Decimal C scale is a table of whole numbers: round {name}, got {value:g}")
    _check("Scribner Decimal C", diameter_in, length_ft, (1, 60), (8, 40))
    diameter, length = int(diameter_in), int(length_ft)
    factor = _SCRIBNER_FACTORS[diameter - 1]
    if 6 <= diameter <= 11 and length >= 16:
        factor = (_SCRIBNER_FACTORS_16_FT if length < 32 else _SCRIBNER_FACTORS_32_FT)[diameter - 6]
    exceptions = _SCRIBNER_EXCEPTIONS.get(length, ())
    units = (length * factor + 5000) // 10000 + (diameter in exceptions) - (-diameter in exceptions)
    return 10 * units


def board_feet_international(diameter_in: float, length_ft: float) -> int:
    """Return the International 1/4-inch scale, to the nearest 5. [board feet].

    The published table where it has a cell (6 to 30 in; 6, 8 .. 16 ft), else the formula it comes from.
    Valid for diameters from 4 in, under which the formula fades to nothing, to 120 in, and lengths from 4 to
    40 ft (120 and 40: bounds of sense). Raises ValueError outside.
    """
    _check("International 1/4-inch", diameter_in, length_ft, (4.0, 120.0), (4.0, 40.0))
    if diameter_in in _INTERNATIONAL_TABLE and length_ft in _INTERNATIONAL_LENGTHS_FT:
        return _INTERNATIONAL_TABLE[int(diameter_in)][_INTERNATIONAL_LENGTHS_FT.index(int(length_ft))]
    return 5 * math.floor(international_formula(diameter_in, length_ft) / 5.0 + 0.5)


def international_formula(diameter_in: float, length_ft: float) -> float:
    """Return the International 1/4-inch formula, not rounded. [board feet].

    The sum over 4-ft cylinders of 0.905 (0.22 d^2 - 0.71 d), d growing by 1/2 in from each to the next
    towards the butt; what is left of the length counts by its share of the next cylinder.
    """
    whole, left_ft = divmod(length_ft, 4.0)
    total = sum(_cylinder(diameter_in + 0.5 * k) for k in range(int(whole)))
    return 0.905 * (total + left_ft / 4.0 * _cylinder(diameter_in + 0.5 * whole))


def scale_log(small_end_diameter_m: float, length_m: float, trim_m: float = 0.0) -> LogScale:
    """Scale a log by all three rules.

    The diameter is rounded to the nearest inch, a half up; the length less the trim is rounded down to
    whole feet (scaling custom, from memory). A millionth is forgiven, so that 12 ft in metres is 12 ft.

    small_end_diameter_m : inside the bark, above 0. [m]
    length_m : the whole log's, above 0. [m]
    trim_m : length that does not count, both ends together, at least 0. [m]
    """
    for name, value in (("small_end_diameter_m", small_end_diameter_m), ("length_m", length_m)):
        if not 0.0 < value < math.inf:
            raise ValueError(f"{name} must be a finite length above 0, got {value:g}")
    if not trim_m >= 0.0:
        raise ValueError(f"trim_m must be at least 0, got {trim_m:g}")
    diameter_in = math.floor(small_end_diameter_m / INCH_M + 0.5 + 1e-6)
    length_ft = max(math.floor((length_m - trim_m) / FOOT_M + 1e-6), 0)
    return LogScale(
        diameter_in,
        length_ft,
        _or_none(board_feet_doyle, diameter_in, length_ft),
        _or_none(board_feet_scribner_c, diameter_in, length_ft),
        _or_none(board_feet_international, diameter_in, length_ft),
    )


def _cylinder(diameter_in: float) -> float:
    return 0.22 * diameter_in**2 - 0.71 * diameter_in


def _or_none(rule: Callable[[int, int], int], diameter_in: int, length_ft: int) -> int | None:
    try:
        return rule(diameter_in, length_ft)
    except OutsideRuleError:
        return None


def _check(
    rule: str,
    diameter_in: float,
    length_ft: float,
    diameters_in: tuple[float, float],
    lengths_ft: tuple[float, float],
) -> None:
    for name, value, (low, high) in (
        ("diameter_in", diameter_in, diameters_in),
        ("length_ft", length_ft, lengths_ft),
    ):
        above = value >= low if low > 0.0 else value > low
        if not (above and value <= high):
            bounds = f"from {low:g}" if low > 0.0 else f"above {low:g}"
            raise OutsideRuleError(f"{name} must be {bounds} to {high:g} for the {rule} scale, got {value:g}")
