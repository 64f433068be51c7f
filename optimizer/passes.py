"""The best passes of one lay, exactly: dynamic programming over the height steps.

V(k), the most that can still come once the pass at row k is made, is the greatest of: nothing more; a
layer of a thickness of the menu, its lower pass paid, and V below it; waste of any height, likewise. n
layers take n + 1 passes, all charged. No layer is thicker than the wood that fits above the blade.
"""

from dataclasses import dataclass
from math import ceil, cos, radians, sin

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.chords import Chords, chord_table, reach_by_row, reach_of_chords, turn_rings, wood_by_row
from optimizer.lay import Lay
from optimizer.layers import Hearts, layer_value, room_for, width_factor
from optimizer.stations import Stations
from optimizer.terms import Terms
from scans.log import FloatArray, IntArray

BoolArray = NDArray[np.bool_]
STOP, WASTE = -1, -2
"""What follows a pass, beside an entry of the menu."""


@dataclass(frozen=True)
class Cuts:
    """Passes from the top down, as whole numbers of height steps, and what each layer is.

    rows : (n + 1,) passes; empty where nothing is worth sawing. entries : (n,) of the menu, or WASTE.
    net : what the search makes of it, margins included.
    """

    rows: tuple[int, ...]
    entries: tuple[int, ...]
    net: float


@dataclass(frozen=True, eq=False)
class LayTable:
    """What each row of a lay meets; row r stands for the height (lowest_row + r) x step.

    upper, lower : chord tables at the passes and a kerf above them, where the layers' lower faces are: that
    of the pass at row r is row r + lower_shift of `lower`. usable_m2 : the most that
    runs can hold on either face; widest_m : the widest wood there. cell_m : length of a usable cell along the bed.
    """

    lowest_row: int
    possible: BoolArray
    pass_cost: FloatArray
    upper: Chords
    lower: Chords
    lower_shift: int
    usable_m2: tuple[FloatArray, FloatArray]
    widest_m: tuple[FloatArray, FloatArray]
    hearts: Hearts
    cell_m: float


def lay_table(
    stations: Stations, lay: Lay, height_m: float, terms: Terms, reach_m: FloatArray | None = None
) -> LayTable:
    """Meet every blade height with the wood.

    height_m : how high the log stands above the bunks. reach_m : (rows,) the exact reach of each row
    where it is known; else it is taken at the stations.
    """
    lowest = lowest_row(terms)
    rows = row_count(height_m, terms)
    roll, tilt = radians(lay.roll_deg), radians(lay.tilt_deg)
    zero_m = lowest * terms.step_m
    wood = turn_rings(
        stations.wood.offsets, stations.wood.segments, stations.x_m, roll, tilt, lay.lift_m, zero_m, terms.step_m
    )
    # Where the kerf is a whole number of steps, the lower faces are rows of the same table.
    kerf_steps = terms.kerf_m / terms.step_m
    shared = abs(kerf_steps - round(kerf_steps)) < 1e-9
    shift = round(kerf_steps) if shared else 0
    upper = chord_table(stations.wood.offsets, wood, rows + shift, 0.0)
    lower = upper if shared else chord_table(stations.wood.offsets, wood, rows, kerf_steps)
    if reach_m is None and stations.outer is stations.wood:
        reach_m = reach_of_chords(upper, rows)
    elif reach_m is None:
        rings = stations.outer
        reach_m = reach_by_row(
            turn_rings(rings.offsets, rings.segments, stations.x_m, roll, tilt, lay.lift_m, zero_m, terms.step_m), rows
        )
    # A run's length is along the bed, a little more than along the log.
    least_m = terms.min_length_m * cos(tilt)
    measure = (stations.cell_m, stations.first, stations.last, terms.min_width_m, least_m)
    measured = wood_by_row(upper, *measure)
    area, length, usable_upper, widest_upper = (values[:rows] for values in measured)
    if not shared:
        measured = wood_by_row(lower, *measure)
    _, _, usable_lower, widest_lower = (values[shift:] for values in measured)
    cost = terms.pass_cost + np.maximum(terms.cost_per_m * length, terms.cost_per_m2 * area) / cos(tilt)
    heights = zero_m + terms.step_m * np.arange(rows)
    possible = (reach_m > 0.0) & (reach_m <= terms.widest_reach_m)
    if terms.all_depths:
        possible &= height_m - heights <= terms.throat_depth_m
    return LayTable(
        lowest_row=lowest,
        possible=possible,
        pass_cost=cost,
        upper=upper,
        lower=lower,
        lower_shift=shift,
        usable_m2=(usable_upper / cos(tilt), usable_lower / cos(tilt)),
        widest_m=(widest_upper, widest_lower),
        hearts=_turned_hearts(stations, lay, terms),
        cell_m=float(stations.cell_m[stations.first]) / cos(tilt),
    )


def _turned_hearts(stations: Stations, lay: Lay, terms: Terms) -> Hearts:
    roll, tilt = radians(lay.roll_deg), radians(lay.tilt_deg)
    turn = np.array([[cos(roll), sin(roll)], [-sin(roll), cos(roll)]])
    crossings = np.concatenate([stations.hearts[:, :2] @ turn, stations.hearts[:, 2:] @ turn], axis=1)
    rise_m = stations.x_m * sin(tilt) + lay.lift_m
    low_m, high_m = np.inf, -np.inf
    if len(crossings):
        owner = np.repeat(np.arange(len(stations.x_m)), np.diff(stations.heart_offsets))
        heights_m = rise_m[owner] + crossings[:, 1] * cos(tilt)
        # Aslant, the strip's section stands higher than its radius.
        top_m = terms.heart_radius_m * np.sqrt(
            (1.0 - crossings[:, 2] ** 2) / (1.0 - crossings[:, 2] ** 2 - crossings[:, 3] ** 2)
        )
        low_m, high_m = float((heights_m - top_m).min()), float((heights_m + top_m).max())
    return Hearts(stations.heart_offsets, crossings, rise_m, cos(tilt), low_m, high_m)


def lowest_row(terms: Terms) -> int:
    """Return the lowest pass that the mill can make, in height steps."""
    return max(1, ceil(terms.lowest_blade_m / terms.step_m - 1e-9))


def row_count(height_m: float, terms: Terms) -> int:
    """Return how many rows reach the top of a log that stands so high."""
    return max(0, int(height_m / terms.step_m) + 1 - lowest_row(terms) + 1)


def best_cuts(stations: Stations, lay: Lay, height_m: float, terms: Terms, reach_m: FloatArray | None = None) -> Cuts:
    """Find the passes of one lay that are worth the most, by the search's own measure."""
    table = lay_table(stations, lay, height_m, terms, reach_m)
    rows = len(table.possible)
    if rows == 0:
        return Cuts((), (), 0.0)
    first_above_m = (table.lowest_row + np.arange(rows)) * terms.step_m
    may_be_first = height_m - first_above_m <= terms.throat_depth_m
    net, first, choice, below = _best(
        terms,
        table.possible,
        may_be_first,
        table.pass_cost,
        table.upper,
        table.lower,
        table.lower_shift,
        *table.usable_m2,
        *table.widest_m,
        table.lowest_row,
        stations.first,
        stations.last,
        table.cell_m,
        table.hearts,
    )
    if first < 0:
        return Cuts((), (), 0.0)
    made, entries, k = [table.lowest_row + first], [], first
    while choice[k] != STOP:
        entries.append(int(choice[k]))
        k = int(below[k])
        made.append(table.lowest_row + k)
    return Cuts(tuple(int(row) for row in made), tuple(entries), float(net))


def value_of_layer(
    stations: Stations, table: LayTable, terms: Terms, entry: int, upper_row: int, lower_row: int
) -> float:
    """Return what the layer between two passes (in height steps) brings as one entry of the menu."""
    count = stations.last - stations.first
    slots = max(table.upper.most, table.lower.most)
    return float(
        layer_value(
            terms,
            entry,
            table.upper,
            upper_row - table.lowest_row,
            table.lower,
            lower_row - table.lowest_row + table.lower_shift,
            stations.first,
            stations.last,
            table.cell_m,
            False,
            table.hearts,
            lower_row * terms.step_m + terms.kerf_m,
            upper_row * terms.step_m,
            room_for(count, slots, len(table.hearts.crossings)),
        )
    )


@numba.njit(cache=True, nogil=True)
def _best_factor_up_to(terms: Terms, width_m: float) -> float:
    """Return the greatest width factor that any mean width up to this can have."""
    best = width_factor(terms, width_m)
    for k in range(len(terms.width_at_m)):
        if terms.width_at_m[k] <= width_m or k == 0:
            best = max(best, terms.width_factor[k])
    return best


@numba.njit(cache=True, nogil=True)
def _simple_rows(table: Chords, first: int, last: int) -> BoolArray:
    """Tell which rows have one interval of wood at most at every usable station."""
    rows = len(table.counts)
    simple = np.ones(rows, dtype=np.bool_)
    if table.most > 2:
        for r in range(rows):
            for i in range(first, last):
                if table.counts[r, i] > 2:
                    simple[r] = False
                    break
    return simple


@numba.njit(cache=True, nogil=True)
def _best(
    terms: Terms,
    possible: BoolArray,
    may_be_first: BoolArray,
    pass_cost: FloatArray,
    upper: Chords,
    lower: Chords,
    lower_shift: int,
    usable_upper: FloatArray,
    usable_lower: FloatArray,
    widest_upper: FloatArray,
    widest_lower: FloatArray,
    lowest_row: int,
    first: int,
    last: int,
    cell_m: float,
    hearts: Hearts,
) -> tuple[float, int, IntArray, IntArray]:
    rows = len(possible)
    menu = len(terms.drop_steps)
    value = np.zeros(rows)
    choice = np.full(rows, -1, dtype=np.int64)
    below = np.full(rows, -1, dtype=np.int64)
    # V(j) - cost(j), and a queue of the rows where it is greatest so far: its head is the best place for waste to
    # end. Rows leave it where the layer would be thicker than the wood that fits above the blade.
    after = np.full(rows, -np.inf)
    queue = np.zeros(rows, dtype=np.int64)
    head, tail = 0, 0
    most_drop = rows if np.isinf(terms.throat_depth_m) else int(np.floor(terms.throat_depth_m / terms.step_m + 1e-9))
    # A layer holds wood, so waste too drops by more than the kerf.
    least_waste = int(np.floor(terms.kerf_m / terms.step_m + 1e-9)) + 1
    room = room_for(last - first, max(upper.most, lower.most), len(hearts.crossings))
    simple_upper, simple_lower = _simple_rows(upper, first, last), _simple_rows(lower, first, last)
    for k in range(rows):
        # The row that a waste layer may now just reach.
        j = k - least_waste
        if j >= 0 and possible[j]:
            while tail > head and after[queue[tail - 1]] <= after[j]:
                tail -= 1
            queue[tail] = j
            tail += 1
        while tail > head and queue[head] < k - most_drop:
            head += 1
        if possible[k]:
            if tail > head and after[queue[head]] > value[k]:
                value[k], choice[k], below[k] = after[queue[head]], -2, queue[head]
            for m in range(menu):
                j = k - terms.drop_steps[m]
                if j < 0 or not possible[j] or terms.drop_steps[m] > most_drop:
                    continue
                rest = after[j]
                # No slab can be larger than the wood on either face.
                area = min(usable_upper[k], usable_lower[j])
                if area == 0.0:
                    continue
                widest = min(widest_upper[k], widest_lower[j])
                price = terms.price[m] * _best_factor_up_to(terms, min(widest, terms.max_width_m))
                most = area * terms.board_feet_per_m2[m] * max(0.0, price - terms.drying_per_board_foot)
                if rest + most - terms.slab_cost <= value[k]:
                    continue
                lower_m = (lowest_row + j) * terms.step_m + terms.kerf_m
                upper_m = (lowest_row + k) * terms.step_m
                found = rest + layer_value(
                    terms,
                    m,
                    upper,
                    k,
                    lower,
                    j + lower_shift,
                    first,
                    last,
                    cell_m,
                    simple_upper[k] and simple_lower[j + lower_shift],
                    hearts,
                    lower_m,
                    upper_m,
                    room,
                )
                if found > value[k]:
                    value[k], choice[k], below[k] = found, m, j
            after[k] = value[k] - pass_cost[k]
    best, best_k = 0.0, -1
    for k in range(rows):
        if possible[k] and may_be_first[k] and after[k] > best:
            best, best_k = after[k], k
    return best, best_k, choice, below
