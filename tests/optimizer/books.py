"""Mills and price books for tests. Invented."""

from optimizer.documents.mill import Mill, Pace
from optimizer.documents.prices import (
    Deduct,
    Drying,
    FigurePremium,
    Finish,
    Limits,
    Money,
    PriceBook,
    PricePerBoardFoot,
    WidthFactor,
    menu_for,
)
from optimizer.problem import Problem
from optimizer.wood.woods import find_wood
from scans.units import INCH_M

__all__ = [
    "Deduct",
    "Drying",
    "FigurePremium",
    "Limits",
    "Money",
    "Pace",
    "PricePerBoardFoot",
    "WidthFactor",
    "mill",
    "prices",
    "problem",
]


def mill(**changes):
    fields = {
        "throat_m": 1.42,
        "kerf_m": INCH_M / 16,
        "height_step_m": INCH_M / 16,
        "lowest_blade_m": 1.25 * INCH_M,
        "max_shim_m": 4 * INCH_M,
        "pace": Pace(
            sawing_rate_m2_per_min=0.5, feed_max_m_per_min=3.0, minutes_per_pass=3, minutes_per_slab=8, hourly_rate=60
        ),
    }
    return Mill(**{**fields, **changes})


def prices(quarters=(4, 8, 12), amounts=(5.0, 7.0, 8.0), heart=0.4, flat=False, **changes):
    rows = tuple(PricePerBoardFoot(species="any", quarters=q, price=p) for q, p in zip(quarters, amounts, strict=True))
    curve = () if flat else (WidthFactor(at_m=0.3, factor=0.9), WidthFactor(at_m=0.6, factor=1.3))
    fields = {
        "per_board_foot": rows,
        "width_factor": curve,
        "deduct": Deduct(heart=heart),
        "limits": Limits(min_width_m=0.15, min_length_m=1.2),
        "finish": Finish(moisture_pct=8.0, allowance_m=INCH_M / 8),
        "drying": Drying(cost_per_board_foot=0.8),
    }
    return PriceBook(**{**fields, **changes})


def problem(log, mill_=None, prices_=None, species="ash, white", end_trim_m=(0.05, 0.05)):
    mill_, prices_ = mill_ or mill(), prices_ or prices()
    return Problem(log, mill_, prices_, menu_for(prices_, find_wood(species), mill_), end_trim_m)
