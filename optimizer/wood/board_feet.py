"""Board feet, and the quarters that a thickness is sold by. A board foot is 144 cubic inches; nothing is rounded."""

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
