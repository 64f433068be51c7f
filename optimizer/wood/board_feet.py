"""Board feet, surface measure, and the quarters that a thickness is sold by.

A board foot is 144 cubic inches. Nothing here is rounded except surface measure, which the hardwood
grading rules round by definition.
"""

import math

from scans.units import FOOT_M, INCH_M


def quarters_thickness_m(quarters: int) -> float:
    """Return the nominal thickness of a count of quarters: 8 (8/4) is 2 in. [m].

    Raises ValueError for a count under 1.
    """
    if quarters < 1:
        raise ValueError(f"quarters must be at least 1, got {quarters:g}: write 8 for 8/4")
    return quarters * INCH_M / 4.0


def board_feet(area_m2: float, quarters: int) -> float:
    """Return the board feet of a face area sold at a nominal thickness, not rounded.

    Area in square feet times nominal inches; no standard says how the area of a live-edge slab is
    measured (common practice, no source): here it is the true area of the outline.

    area_m2 : at least 0. [m2]
    quarters : nominal thickness in quarters of an inch, at least 1.
    """
    if not area_m2 >= 0.0:
        raise ValueError(f"area_m2 must be at least 0, got {area_m2:g}")
    return area_m2 / FOOT_M**2 * quarters_thickness_m(quarters) / INCH_M


def surface_measure_ft2(width_in: float, length_ft: float, *, half_up: bool = True) -> int:
    """Return the surface measure of an edged board: width x length / 12, to the whole square foot.

    The length counts in whole feet only, rounded down (NHLA rules, as summed up by the American
    Hardwood Export Council). An exact half goes up, or down if `half_up` is false: tallies alternate
    (from memory).

    width_in : above 0. [in]
    length_ft : at least 1. [ft]
    """
    if not width_in > 0.0:
        raise ValueError(f"width_in must be above 0, got {width_in:g}")
    if not length_ft >= 1.0:
        raise ValueError(f"length_ft must be at least 1 (only whole feet count), got {length_ft:g}")
    measure = width_in * math.floor(length_ft) / 12.0
    return math.floor(measure + 0.5) if half_up else math.ceil(measure - 0.5)


def board_feet_of_board(thickness_in: float, width_in: float, length_ft: float) -> float:
    """Return the board feet of an edged board: T x W x L / 12, not rounded.

    Under 1 in of thickness counts as 1 in (hardwood custom).
    """
    for name, value in (("thickness_in", thickness_in), ("width_in", width_in), ("length_ft", length_ft)):
        if not value > 0.0:
            raise ValueError(f"{name} must be above 0, got {value:g}")
    return max(thickness_in, 1.0) * width_in * length_ft / 12.0
