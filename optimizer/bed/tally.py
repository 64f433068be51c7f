"""A slab counted as the buyer counts it, and what it sells for so, before flaws and figure. On the mesh."""

from dataclasses import dataclass
from math import floor, inf
from typing import Literal

from optimizer.bed.outlines import WidthProfile
from optimizer.documents.prices import MenuEntry, PriceBook
from optimizer.wood.board_feet import board_feet
from optimizer.wood.width_shrinkage import width_shrinkage
from scans.units import FOOT_M

FROM_END_M = FOOT_M
"""How far from an end the outer two of three widths are taken; in a slab of less than twice this, at its middle."""
ROUNDING_M = 1e-9
"""A size that is so little under a whole number of steps, or a limit, is at it."""

PricedBy = Literal["board_foot", "square_foot", "slab"]


@dataclass(frozen=True)
class Counted:
    """What a buyer counts of a slab, and pays for it without flaws and figure. [m, m2]."""

    width_m: float
    length_m: float
    area_m2: float
    board_feet: float
    price: float
    priced_by: PricedBy


def rounded_down(size_m: float, step_m: float) -> float:
    """Return the greatest whole number of steps that a size holds, to 1e-9 m; the size itself for a step of 0. [m]."""
    return floor((size_m + ROUNDING_M) / step_m) * step_m if step_m > 0.0 else size_m


def counted_slab(part: WidthProfile, entry: MenuEntry, prices: PriceBook, off_heart_m: float) -> Counted | None:
    """Count a slab by its green widths on the face that counts; None where it is under the buyer's limits so.

    part : from end to end of it. off_heart_m : how far its middle is from the heart's height; nan: none is known. [m]
    """
    tally, limits = prices.tally, prices.limits
    from_m, to_m = float(part.x_m[0]), float(part.x_m[-1])
    span_m = to_m - from_m
    kept = 1.0 - width_shrinkage(entry.shrinks_radial, entry.shrinks_tangential, off_heart_m, part.area_m2() / span_m)
    most_m = limits.max_width_m or inf
    area_m2 = kept * part.area_m2(most_m / kept)
    if tally.width == "mean":
        width_m = area_m2 / span_m
    elif tally.width == "least":
        width_m = min(kept * part.least_m(), most_m)
    else:
        in_m = min(FROM_END_M, 0.5 * span_m)
        places = [0.5 * (from_m + to_m), from_m + in_m, to_m - in_m][: 1 if tally.width == "middle" else 3]
        width_m = sum(min(kept * part.at_m(x), most_m) for x in places) / len(places)
    width_m, length_m = rounded_down(width_m, tally.round_width_m), rounded_down(span_m, tally.round_length_m)
    if width_m < limits.min_width_m - ROUNDING_M or length_m < limits.min_length_m - ROUNDING_M:
        return None
    if tally.width != "mean" or tally.round_width_m > 0.0 or tally.round_length_m > 0.0:
        area_m2 = width_m * length_m
    feet = board_feet(area_m2, entry.quarters)
    price, priced_by = _best_form(entry, prices, width_m, length_m, area_m2, feet)
    return Counted(width_m, length_m, area_m2, feet, price, priced_by)


def _best_form(
    entry: MenuEntry, prices: PriceBook, width_m: float, length_m: float, area_m2: float, feet: float
) -> tuple[float, PricedBy]:
    """Return what the form of price that pays most brings, and which it is; of equal ones the first."""
    factor = prices.width_factor_at(width_m)
    offers: list[tuple[float, PricedBy]] = []
    if entry.price_per_board_foot > 0.0:
        offers.append((feet * entry.price_per_board_foot * factor, "board_foot"))
    if entry.price_per_square_foot > 0.0:
        offers.append((area_m2 / FOOT_M**2 * entry.price_per_square_foot * factor, "square_foot"))
    offers += [
        (row.price, "slab")
        for row in entry.slab_rows
        if width_m >= row.least_width_m - ROUNDING_M and length_m >= row.least_length_m - ROUNDING_M
    ]
    return max(offers, key=lambda offer: offer[0], default=(0.0, "board_foot"))
