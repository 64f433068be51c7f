import pytest

from optimizer.wood.log_rules import (
    _SCRIBNER_EXCEPTIONS,
    _SCRIBNER_FACTORS,
    LogScale,
    OutsideRuleError,
    board_feet_doyle,
    board_feet_international,
    board_feet_scribner_c,
    scale_log,
)
from scans.units import FOOT_M, INCH_M


def test_scribner_data_is_whole():
    assert len(_SCRIBNER_FACTORS) == 60
    assert list(_SCRIBNER_FACTORS) == sorted(_SCRIBNER_FACTORS)
    assert sum(len(diameters) for diameters in _SCRIBNER_EXCEPTIONS.values()) == 80


def test_scale_of_a_log_in_metres():
    # The published cells for 20 in x 16 ft: 256, 280, 290.
    assert scale_log(20 * INCH_M, 16 * FOOT_M) == LogScale(20, 16, doyle=256, scribner_c=280, international=290)


@pytest.mark.parametrize(("diameter_in", "whole_in"), [(19.49, 19), (19.5, 20), (20.49, 20), (20.5, 21), (11.5, 12)])
def test_diameter_to_the_whole_inch(diameter_in, whole_in):
    # Scaling custom, from memory.
    assert scale_log(diameter_in * INCH_M, 16 * FOOT_M).diameter_in == whole_in


@pytest.mark.parametrize("inches", range(1, 60))
def test_half_inches_in_metres_go_up(inches):
    assert scale_log((inches + 0.5) * INCH_M, 3.0).diameter_in == inches + 1
    assert scale_log(round((inches + 0.5) * 0.0254, 4), 3.0).diameter_in == inches + 1


@pytest.mark.parametrize(
    ("length_ft", "trim_ft", "whole_ft"),
    [(16.0, 0.0, 16), (16.99, 0.0, 16), (16.5, 0.5, 16), (16.4, 0.5, 15), (8.0, 8.5, 0)],
)
def test_length_to_whole_feet_after_trim(length_ft, trim_ft, whole_ft):
    # Scaling custom, from memory.
    assert scale_log(0.5, length_ft * FOOT_M, trim_ft * FOOT_M).length_ft == whole_ft


@pytest.mark.parametrize("length_ft", range(1, 41))
def test_whole_feet_in_metres_lose_none(length_ft):
    assert scale_log(0.5, length_ft * FOOT_M).length_ft == length_ft
    assert scale_log(0.5, (length_ft * 12 + 4) * INCH_M, 4 * INCH_M).length_ft == length_ft


def test_rule_that_does_not_reach_is_none():
    long_log = scale_log(20 * INCH_M, 41 * FOOT_M)
    short_log = scale_log(20 * INCH_M, 7 * FOOT_M)
    wide_log = scale_log(61 * INCH_M, 10 * FOOT_M)

    assert (long_log.doyle, long_log.scribner_c, long_log.international) == (None, None, None)
    assert short_log.scribner_c is None
    assert short_log.doyle == 112
    assert short_log.international is not None
    assert wide_log.scribner_c is None
    assert wide_log.doyle is not None
    assert scale_log(0.01, 0.2) == LogScale(0, 0, None, None, None)


@pytest.mark.parametrize("rule", [board_feet_doyle, board_feet_scribner_c, board_feet_international])
def test_more_log_never_scales_less(rule):
    for diameter in range(8, 60):
        for length in range(8, 40):
            assert rule(diameter, length) <= rule(diameter + 1, length), (diameter, length)
            # The factors for 16 ft and for 32 ft do not all rise, so lengths are compared within them.
            if length + 1 not in {16, 32}:
                assert rule(diameter, length) <= rule(diameter, length + 1), (diameter, length)


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: board_feet_doyle(0, 8), "diameter_in must be above 0 to 120 for the Doyle scale, got 0"),
        (lambda: board_feet_doyle(20, 41), "length_ft must be above 0 to 40 for the Doyle scale, got 41"),
        (lambda: board_feet_doyle(float("nan"), 8), "diameter_in"),
        (lambda: board_feet_scribner_c(61, 8), "diameter_in must be from 1 to 60 for the Scribner Decimal C"),
        (lambda: board_feet_scribner_c(20, 7), "length_ft must be from 8 to 40 for the Scribner Decimal C"),
        (lambda: board_feet_international(3.9, 8), "diameter_in must be from 4 to 120 for the International"),
        (lambda: board_feet_international(20, 3), "length_ft must be from 4 to 40 for the International"),
    ],
)
def test_outside_a_rule(call, line):
    with pytest.raises(OutsideRuleError, match=line):
        call()


def test_scribner_table_has_whole_numbers_only():
    with pytest.raises(ValueError, match=r"round diameter_in, got 20\.5"):
        board_feet_scribner_c(20.5, 8)
    with pytest.raises(ValueError, match=r"round length_ft, got 8\.5"):
        board_feet_scribner_c(20, 8.5)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ((0.0, 3.0), "small_end_diameter_m must be a finite length above 0, got 0"),
        ((0.5, float("nan")), "length_m must be a finite length above 0, got nan"),
        ((0.5, 3.0, -0.1), "trim_m must be at least 0, got -0.1"),
    ],
)
def test_scale_log_refuses(arguments, line):
    with pytest.raises(ValueError, match=line):
        scale_log(*arguments)
