"""The mill and the price book as plain numbers and arrays, for the kernels."""

from typing import NamedTuple

import numpy as np

from optimizer.bed.ripping import LEAST_SHARE
from optimizer.bed.tally import ROUNDING_M
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
FACES = BOTH, NARROW, WIDE, MEAN_FACE = 0, 1, 2, 3
WIDTHS = MEAN_WIDTH, MIDDLE, THREE, LEAST = 0, 1, 2, 3
_FACE_CODES = dict(zip(("both", "narrow", "wide", "mean"), FACES, strict=True))
_WIDTH_CODES = dict(zip(("mean", "middle", "three", "least"), WIDTHS, strict=True))


class Counting(NamedTuple):
    """How buyers count slabs, and what they pay by the slab; see documents.prices.Tally. [m].

    plain : whether all of it is as it is where the book says nothing: then no kernel need ask for the rest.
    face, width : a code of FACES, of WIDTHS. shrinks_radial, shrinks_tangential : shares of a width, across the rings
        and along them. spare_width_m, spare_length_m : what sizes must have over a step, or a row's least, to count.
    least_width_m, least_length_m : the buyer's limits for what is counted.
    slab_with_heart : share of the whole price lost; heart_length_share : where the heart runs in more of the span.
    row_entry, row_price, row_width_m, row_length_m : (R,) of the menu; prices by the slab, and what they ask for.
    """

    plain: bool
    face: int
    width: int
    shrinks_radial: float
    shrinks_tangential: float
    round_width_m: float
    round_length_m: float
    spare_width_m: float
    spare_length_m: float
    least_width_m: float
    least_length_m: float
    slab_with_heart: float
    heart_length_share: float
    row_entry: IntArray
    row_price: FloatArray
    row_width_m: FloatArray
    row_length_m: FloatArray


class Terms(NamedTuple):
    """What a lay is priced by. Lengths in metres, money in the book's currency.

    drop_steps, bed_steps, board_feet_per_m2, price, feather_per_board_foot, drying_per_board_foot : (M,) for each
        thickness of the menu; bed_steps are those of the last pass over a slab that lies on the bunks, with no kerf
        below it; prices are what is left of them today, after drying and waiting; where the face is paid for by the
        square foot, and that pays more, `price` is what it comes to for a board foot.
    most_price : (M,) the most that a board foot can bring, before the width factor: by the slab, that may be more.
    width_at_m, width_factor : (W,) points of the width curve, at least one.
    worth_step_m, worth_m : widths so far apart, from 0, and a bound on width times the factor of any width up to
        there; see worth_of_widths. Where something is paid by the slab, the width itself at least.
    counting : how slabs are counted.
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
    most_price: FloatArray
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
    counting: Counting


def counting_for(prices: PriceBook, menu: tuple[MenuEntry, ...], spare: float) -> Counting:
    """Gather how slabs are counted; spare : 1 with margins, 0 without."""
    tally, limits = prices.tally, prices.limits
    shrinks = (menu[0].shrinks_radial, menu[0].shrinks_tangential) if menu else (0.0, 0.0)
    rows = [(m, row, entry.kept_share) for m, entry in enumerate(menu) for row in entry.slab_rows]
    is_rounded = tally.round_width_m > 0.0 or tally.round_length_m > 0.0
    is_plain = tally.face == "both" and tally.width == "mean" and shrinks == (0.0, 0.0) and not is_rounded
    return Counting(
        plain=is_plain and not rows and prices.deduct.slab_with_heart == 0.0,
        face=_FACE_CODES[tally.face],
        width=_WIDTH_CODES[tally.width],
        shrinks_radial=shrinks[0],
        shrinks_tangential=shrinks[1],
        round_width_m=tally.round_width_m,
        round_length_m=tally.round_length_m,
        spare_width_m=spare * WIDTH_MARGIN_M,
        spare_length_m=spare * LENGTH_MARGIN_M,
        least_width_m=limits.min_width_m,
        least_length_m=limits.min_length_m,
        slab_with_heart=prices.deduct.slab_with_heart,
        heart_length_share=LEAST_SHARE,
        row_entry=np.array([m for m, _, _ in rows], dtype=np.int64),
        row_price=np.array([row.price * kept for _, row, kept in rows]),
        row_width_m=np.array([row.least_width_m for _, row, _ in rows]),
        row_length_m=np.array([row.least_length_m for _, row, _ in rows]),
    )


def most_prices(counting: Counting, price: FloatArray, board_feet_per_m2: FloatArray) -> FloatArray:
    """Return (M,) the most that a tallied board foot of each entry can bring, before the width factor.

    A slab that is paid by a row is as wide and as long as that asks for, and as the buyer's limits do, at least.
    """
    wide_m = np.maximum(counting.row_width_m, counting.least_width_m) - ROUNDING_M
    long_m = np.maximum(counting.row_length_m, counting.least_length_m) - ROUNDING_M
    found = price.copy()
    per_foot = counting.row_price / (wide_m * long_m) / board_feet_per_m2[counting.row_entry]
    np.maximum.at(found, counting.row_entry, per_foot)
    return found


def terms_for(mill: Mill, prices: PriceBook, menu: tuple[MenuEntry, ...], *, margins: bool = True) -> Terms:
    """Gather the terms; with `margins` a run and a pass must stand with something to spare."""
    limits, pace = prices.limits, mill.pace
    spare = 1.0 if margins else 0.0
    curve = prices.width_factor
    width_at_m = np.array([point.at_m for point in curve] or [0.0])
    width_factor = np.array([point.factor for point in curve] or [1.0])
    worth_step_m, worth_m = worth_of_widths(width_at_m, width_factor)
    counting = counting_for(prices, menu, spare)
    if len(counting.row_entry):
        worth_m = np.maximum(worth_m, worth_step_m * np.arange(len(worth_m)))
    board_feet_per_m2 = np.array([entry.quarters / 4.0 / FOOT_M**2 for entry in menu])
    by_the_foot = [max(e.price_per_board_foot, e.price_per_square_foot * 4.0 / e.quarters) for e in menu]
    price = np.array([paid * entry.kept_share for paid, entry in zip(by_the_foot, menu, strict=True)])
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
        board_feet_per_m2=board_feet_per_m2,
        price=price,
        most_price=most_prices(counting, price, board_feet_per_m2),
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
        counting=counting,
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
