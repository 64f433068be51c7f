"""The mill and the price book as plain numbers and arrays, for the kernels."""

from typing import NamedTuple

import numpy as np

from optimizer.documents.mill import Mill
from optimizer.documents.prices import MenuEntry, PriceBook
from scans.log import FloatArray, IntArray
from scans.units import FOOT_M

WIDTH_MARGIN_M = 0.001
LENGTH_MARGIN_M = 0.005
REACH_MARGIN_M = 0.005
"""The search counts a run, or a pass, only where it would stand with so much to spare."""
REACH_SPARE_M = 0.015
"""A pass fails on a possible log from so far under the throat: stubs, bumps and flare that nobody saw. Of 24 plans
chosen in doubt without it two were 1 and 7 mm over the throat on the true log (our measurement, seeds 100-111 and
744-755 of tests/benchmarks/doubt.py); it cost next to nothing on the others."""
_WORTH_COUNT = 257


class Terms(NamedTuple):
    """What a lay is priced by. Lengths in metres, money in the book's currency.

    drop_steps, bed_steps, board_feet_per_m2, price, feather_per_board_foot, drying_per_board_foot : (M,) for each
        thickness of the menu; bed_steps are those of the last pass over a slab that lies on the bunks, with no kerf
        below it; prices are what is left of them today, after drying and waiting.
    width_at_m, width_factor : (W,) points of the width curve, at least one.
    worth_step_m, worth_m : widths so far apart, from 0, and a bound on width times the factor of any width up to
        there; see worth_of_widths.
    highest_blade_m : inf without. widest_reach_m : the throat less its margin; inf without.
    throat_depth_m, all_depths : how much wood may stand above the first pass, or above every pass.
    """

    step_m: float
    kerf_m: float
    lowest_blade_m: float
    highest_blade_m: float
    widest_reach_m: float
    throat_depth_m: float
    all_depths: bool
    min_width_m: float
    max_width_m: float
    min_length_m: float
    max_length_m: float
    drop_steps: IntArray
    bed_steps: IntArray
    board_feet_per_m2: FloatArray
    price: FloatArray
    width_at_m: FloatArray
    width_factor: FloatArray
    worth_step_m: float
    worth_m: FloatArray
    feather_per_board_foot: FloatArray
    drying_per_board_foot: FloatArray
    slab_cost: float
    pass_cost: float
    cost_per_m: float
    cost_per_m2: float
    blade_cost_per_m2: float
    can_flip: bool
    flip_cost: float


def terms_for(mill: Mill, prices: PriceBook, menu: tuple[MenuEntry, ...], *, margins: bool = True) -> Terms:
    """Gather the terms; with `margins` a run and a pass must stand with something to spare."""
    limits, pace = prices.limits, mill.pace
    spare = 1.0 if margins else 0.0
    curve = prices.width_factor
    width_at_m = np.array([point.at_m for point in curve] or [0.0])
    width_factor = np.array([point.factor for point in curve] or [1.0])
    worth_step_m, worth_m = worth_of_widths(width_at_m, width_factor)
    return Terms(
        step_m=mill.height_step_m,
        kerf_m=mill.kerf_m,
        lowest_blade_m=mill.lowest_blade_m,
        highest_blade_m=np.inf if mill.highest_blade_m is None else mill.highest_blade_m,
        widest_reach_m=mill.throat_m - spare * REACH_MARGIN_M,
        throat_depth_m=np.inf if mill.throat_depth_m is None else mill.throat_depth_m,
        all_depths=mill.slabs_stay_on,
        min_width_m=limits.min_width_m + spare * WIDTH_MARGIN_M,
        max_width_m=np.inf if limits.max_width_m is None else limits.max_width_m,
        min_length_m=limits.min_length_m + spare * LENGTH_MARGIN_M,
        max_length_m=np.inf if limits.max_length_m is None else limits.max_length_m,
        drop_steps=np.array([entry.drop_steps for entry in menu], dtype=np.int64),
        bed_steps=np.array([entry.bed_steps for entry in menu], dtype=np.int64),
        board_feet_per_m2=np.array([entry.quarters / 4.0 / FOOT_M**2 for entry in menu]),
        price=np.array([entry.price_per_board_foot * entry.kept_share for entry in menu]),
        width_at_m=width_at_m,
        width_factor=width_factor,
        worth_step_m=worth_step_m,
        worth_m=worth_m,
        feather_per_board_foot=np.array([prices.figure.feather_per_board_foot * entry.kept_share for entry in menu]),
        drying_per_board_foot=np.array([entry.drying_per_board_foot for entry in menu]),
        slab_cost=mill.money(pace.minutes_per_slab),
        pass_cost=mill.money(pace.minutes_per_pass),
        cost_per_m=mill.money(1.0 / pace.feed_max_m_per_min) if pace.feed_max_m_per_min else 0.0,
        cost_per_m2=mill.money(1.0 / pace.sawing_rate_m2_per_min) if pace.sawing_rate_m2_per_min else 0.0,
        blade_cost_per_m2=pace.blade_cost_per_m2,
        can_flip=mill.can_flip,
        flip_cost=mill.money(pace.minutes_per_flip),
    )


def sawing_cost(terms: Terms, length_m: FloatArray, area_m2: FloatArray) -> FloatArray:
    """Return what the way of the blade through wood costs: the slower of feed and sawing rate, and the blade."""
    slower = np.maximum(terms.cost_per_m * length_m, terms.cost_per_m2 * area_m2)
    return slower + terms.blade_cost_per_m2 * area_m2


def worth_of_widths(width_at_m: FloatArray, width_factor: FloatArray) -> tuple[float, FloatArray]:
    """Return a step and, at its multiples, a convex rising bound on width times width factor; beyond, go straight on.

    A run is priced by its length times w f(w), w its mean width. A convex bound c on w f(w) makes that no more than
    the sum of c(width) along the run (Jensen), nor than the same sum over any wood that holds the run. [m]
    """
    reach_m = max(float(width_at_m[-1]), 0.1)
    at_m = np.linspace(0.0, reach_m, _WORTH_COUNT)
    step_m = float(at_m[1])
    places = np.unique(np.concatenate([at_m, width_at_m[width_at_m < reach_m]]))
    factor = np.maximum.accumulate(np.interp(places, width_at_m, width_factor))
    # The slope of w f(w) is f + w f', and no more than this anywhere between two places.
    slope = factor[1:] + places[1:] * np.diff(factor) / np.diff(places)
    steepest = np.zeros(_WORTH_COUNT - 1)
    np.maximum.at(steepest, np.minimum((places[:-1] / step_m + 1e-9).astype(np.int64), _WORTH_COUNT - 2), slope)
    steepest = np.maximum.accumulate(steepest)
    return step_m, np.concatenate([[0.0], np.cumsum(steepest * step_m)])
