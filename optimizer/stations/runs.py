"""What a run brings: its slab, or its slabs where it must be crosscut."""

from typing import NamedTuple

import numba
import numpy as np

from optimizer.stations.fast_loops import FAST
from optimizer.stations.terms import Terms
from scans.log import FloatArray


class Sold(NamedTuple):
    """What slabs of one entry of the menu are sold by; see Terms. Few numbers, as kernels hand them on."""

    min_width_m: float
    max_width_m: float
    min_length_m: float
    max_length_m: float
    board_feet_per_m2: float
    price: float
    feather_per_board_foot: float
    drying_per_board_foot: float
    slab_cost: float
    width_at_m: FloatArray
    width_factor: FloatArray


@numba.njit(cache=True, nogil=True)
def sold_as(terms: Terms, entry: int) -> Sold:
    """Return what slabs of an entry of the menu are sold by."""
    return Sold(
        terms.min_width_m,
        terms.max_width_m,
        terms.min_length_m,
        terms.max_length_m,
        terms.board_feet_per_m2[entry],
        terms.price[entry],
        terms.feather_per_board_foot[entry],
        terms.drying_per_board_foot[entry],
        terms.slab_cost,
        terms.width_at_m,
        terms.width_factor,
    )


@numba.njit(cache=True, nogil=True)
def width_factor(sold: Sold, mean_width_m: float) -> float:
    """Return the width factor: straight lines between the book's points, flat outside."""
    at, factor = sold.width_at_m, sold.width_factor
    if mean_width_m <= at[0]:
        return factor[0]
    for k in range(1, len(at)):
        if mean_width_m <= at[k]:
            share = (mean_width_m - at[k - 1]) / (at[k] - at[k - 1])
            return factor[k - 1] + share * (factor[k] - factor[k - 1])
    return factor[len(at) - 1]


@numba.njit(cache=True, nogil=True)
def slab_value(
    sold: Sold, length_m: float, area_m2: float, uncapped_m2: float, lost_m2: float, figured_m2: float
) -> float:
    """Return what a slab brings after its own drying and handling; 0 where that is not above 0.

    lost_m2, figured_m2 : area times the share of the price lost on it, and of the premium that it brings.
    """
    if length_m <= 0.0 or uncapped_m2 <= 0.0:
        return 0.0
    board_feet = area_m2 * sold.board_feet_per_m2
    price = board_feet * sold.price * width_factor(sold, area_m2 / length_m)
    price *= max(0.0, 1.0 - lost_m2 / uncapped_m2)
    price += figured_m2 * sold.board_feet_per_m2 * sold.feather_per_board_foot
    return max(0.0, price - board_feet * sold.drying_per_board_foot - sold.slab_cost)


@numba.njit(cache=True, nogil=True)
def _at(cumulated: FloatArray, places: FloatArray, count: int, x: float) -> float:
    # Linear between the places of a cumulated sum; places rise.
    if x <= places[0]:
        return cumulated[0]
    low, high = 0, count - 1
    if x >= places[high]:
        return cumulated[high]
    while high - low > 1:
        mid = (low + high) // 2
        if places[mid] <= x:
            low = mid
        else:
            high = mid
    share = (x - places[low]) / (places[high] - places[low])
    return cumulated[low] + share * (cumulated[high] - cumulated[low])


@numba.njit(cache=True, nogil=True)
def _crosscut_value(
    sold: Sold,
    places: FloatArray,
    area: FloatArray,
    uncapped: FloatArray,
    lost: FloatArray,
    figured: FloatArray,
    count: int,
) -> float:
    """Return what a run brings that is longer than buyers take, crosscut.

    places, area, uncapped, lost, figured : places along the run and the sums up to them, the first `count`.
    """
    start, end = places[0], places[count - 1]
    length = end - start
    parts = int(np.ceil(length / sold.max_length_m - 1e-12))
    if length / parts >= sold.min_length_m:
        total = 0.0
        for p in range(parts):
            x0, x1 = start + length * p / parts, start + length * (p + 1) / parts
            total += slab_value(
                sold,
                x1 - x0,
                _at(area, places, count, x1) - _at(area, places, count, x0),
                _at(uncapped, places, count, x1) - _at(uncapped, places, count, x0),
                _at(lost, places, count, x1) - _at(lost, places, count, x0),
                _at(figured, places, count, x1) - _at(figured, places, count, x0),
            )
        return total
    best_x, best_area = start, -1.0
    for k in range(2 * count):
        # The part of maximum length with the greatest area begins, or ends, at a place.
        x0 = places[k] if k < count else places[k - count] - sold.max_length_m
        if x0 < start or x0 + sold.max_length_m > end:
            continue
        found = _at(area, places, count, x0 + sold.max_length_m) - _at(area, places, count, x0)
        if found > best_area:
            best_x, best_area = x0, found
    x1 = best_x + sold.max_length_m
    return slab_value(
        sold,
        sold.max_length_m,
        best_area,
        _at(uncapped, places, count, x1) - _at(uncapped, places, count, best_x),
        _at(lost, places, count, x1) - _at(lost, places, count, best_x),
        _at(figured, places, count, x1) - _at(figured, places, count, best_x),
    )


@numba.njit(cache=True, nogil=True)
def piece_value(
    sold: Sold,
    width: FloatArray,
    something: bool,
    lost: FloatArray,
    figured: FloatArray,
    low: int,
    high: int,
    count: int,
    cell_m: float,
    scratch: FloatArray,
) -> float:
    """Return what the runs of one piece bring.

    width, lost, figured : (count,) wood across the piece at each usable station; the share of the price lost, and
    that of the premium brought, summed across it. [m]
    something : whether anything is lost or figured at all. low, high : the piece lies on stations low .. high.
    cell_m : length of a cell along the bed. [m]
    scratch : (5, count + 2).

    Between stations the width goes straight; beyond the piece's own ends it falls to 0 in a cell,
    but at a trim the wood goes on to the plane, half a cell away.
    """
    least, most = sold.min_width_m, sold.max_width_m
    total = 0.0
    i = low
    while i <= high:
        if width[i] < least:
            i += 1
            continue
        j = i
        while j + 1 <= high and width[j + 1] >= least:
            j += 1
        first, last = width[i], width[j]
        first_reach, first_edge = 0.5 * cell_m, first
        if i > 0:
            before = width[i - 1] if i > low else 0.0
            first_reach, first_edge = cell_m * (first - least) / (first - before), least
        last_reach, last_edge = 0.5 * cell_m, last
        if j < count - 1:
            after = width[j + 1] if j + 1 <= high else 0.0
            last_reach, last_edge = cell_m * (last - least) / (last - after), least
        length = (j - i) * cell_m + first_reach + last_reach
        if length > sold.max_length_m:
            if not something:
                lost[i : j + 1] = figured[i : j + 1] = 0.0
            ends = (first_reach, first_edge, last_reach, last_edge)
            total += _long_run_value(sold, width, lost, figured, i, j, cell_m, ends, scratch)
        elif length >= sold.min_length_m:
            widths, capped = _sums(width[i : j + 1], most)
            ends = (first_reach, first_edge, last_reach, last_edge)
            area, uncapped = run_areas(widths, capped, first, last, most, cell_m, ends)
            lost_m2 = figured_m2 = 0.0
            if something:
                lost_m2 = over_run(lost[i : j + 1], cell_m, first_reach, last_reach)
                figured_m2 = over_run(figured[i : j + 1], cell_m, first_reach, last_reach)
            total += slab_value(sold, length, area, uncapped, lost_m2, figured_m2)
        i = j + 1
    return total


@numba.njit(cache=True, nogil=True)
def _long_run_value(
    sold: Sold,
    width: FloatArray,
    lost: FloatArray,
    figured: FloatArray,
    first: int,
    last: int,
    cell_m: float,
    ends: tuple[float, float, float, float],
    scratch: FloatArray,
) -> float:
    """Return what a run to be crosscut brings: stations first .. last; see piece_value, and run_areas for `ends`."""
    most = sold.max_width_m
    first_reach, first_edge, last_reach, last_edge = ends
    places, area, uncapped, lost_sum, figured_sum = scratch[0], scratch[1], scratch[2], scratch[3], scratch[4]
    centre, w = (first + 0.5) * cell_m, width[first]
    area[0] = uncapped[0] = lost_sum[0] = figured_sum[0] = 0.0
    places[0], places[1] = centre - first_reach, centre
    area[1] = first_reach * 0.5 * (min(w, most) + min(first_edge, most))
    uncapped[1] = first_reach * 0.5 * (w + first_edge)
    lost_sum[1] = first_reach * lost[first]
    figured_sum[1] = first_reach * figured[first]
    n = 2
    for j in range(first + 1, last + 1):
        places[n] = places[n - 1] + cell_m
        area[n] = area[n - 1] + 0.5 * cell_m * (min(width[j - 1], most) + min(width[j], most))
        uncapped[n] = uncapped[n - 1] + 0.5 * cell_m * (width[j - 1] + width[j])
        lost_sum[n] = lost_sum[n - 1] + 0.5 * cell_m * (lost[j - 1] + lost[j])
        figured_sum[n] = figured_sum[n - 1] + 0.5 * cell_m * (figured[j - 1] + figured[j])
        n += 1
    w = width[last]
    places[n] = places[n - 1] + last_reach
    area[n] = area[n - 1] + last_reach * 0.5 * (min(w, most) + min(last_edge, most))
    uncapped[n] = uncapped[n - 1] + last_reach * 0.5 * (w + last_edge)
    lost_sum[n] = lost_sum[n - 1] + last_reach * lost[last]
    figured_sum[n] = figured_sum[n - 1] + last_reach * figured[last]
    return _crosscut_value(sold, places, area, uncapped, lost_sum, figured_sum, n + 1)


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def _sums(width: FloatArray, most: float) -> tuple[float, float]:
    """Return the sum of widths, and that of them up to `most`."""
    widths, capped = 0.0, 0.0
    for i in range(len(width)):
        widths += width[i]
        capped += min(width[i], most)
    return widths, capped


@numba.njit(cache=True, nogil=True, fastmath=FAST)
def over_run(values: FloatArray, cell_m: float, first_reach: float, last_reach: float) -> float:
    """Return the area under values at a run's stations, straight between them, level at its ends. [m2]."""
    total = 0.0
    for i in range(len(values)):
        total += values[i]
    first, last = values[0], values[len(values) - 1]
    return cell_m * (total - 0.5 * (first + last)) + first_reach * first + last_reach * last


@numba.njit(cache=True, nogil=True)
def run_areas(
    widths: float,
    capped: float,
    first: float,
    last: float,
    most: float,
    cell_m: float,
    ends: tuple[float, float, float, float],
) -> tuple[float, float]:
    """Return the area of a run, counted up to the width `most`, and all of it. [m2].

    widths, capped : sums over its stations; first, last : widths at the outer ones. ends : how far the run reaches
    beyond its first station and how wide it is there, and beyond its last.
    """
    first_reach, first_edge, last_reach, last_edge = ends
    uncapped = cell_m * (widths - 0.5 * (first + last))
    uncapped += first_reach * 0.5 * (first + first_edge) + last_reach * 0.5 * (last + last_edge)
    area = cell_m * (capped - 0.5 * (min(first, most) + min(last, most)))
    area += first_reach * 0.5 * (min(first, most) + min(first_edge, most))
    area += last_reach * 0.5 * (min(last, most) + min(last_edge, most))
    return area, uncapped
