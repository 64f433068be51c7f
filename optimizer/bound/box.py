"""The most that any lay of a box can be worth: the dynamic programming of one lay, each layer at its most.

A box is a range of rolls and a range of tilts. A plane that stands c above the middle of the log meets station x at
the rolled height s = (c - (x - middle) sin t) / cos t, so a range of tilts is a range of s, and the greatest width over
it bounds the face there. A layer's outline is no wider at any place than the narrower of its faces. Left out, as each
can only make a plan worth less: the lost shares of heart and marks, the bed, metal, where the blade height's
steps begin, the feed. A slab's area is taken off what its pass costs, as that pass saws the slab's whole upper face.

Sawn from below, a log upside down gives the same layers: one box bounds a lay, the lay upside down, and both with a
flip; the piece on the bunks after a flip, with no kerf under it, is an entry of its own.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.bound.widths import Widths
from scans.log import FloatArray, IntArray


class Rates(NamedTuple):
    """What layers bring. Money, metres.

    thick_rows, pitch_rows : (M,) thickness, and from a pass to the next, in rows, for each entry: the menu's, and those
        of the piece on the bunks after a flip. price, drying, feather, sawing : (M,) for m2. once : (M,) what an entry
        costs beside: the flip. slab_cost, pass_cost : for each.
    factor : greatest width factor of any width up to (k + 1) x FACTOR_UNITS units. worth : likewise a convex bound on
        width times factor, in units.
    min_units, max_units : the narrowest width sold, and up to which it counts. run_cells : how many cells the shortest
        slab needs. cell_m2 : area of a unit in a cell.
    """

    thick_rows: FloatArray
    pitch_rows: FloatArray
    price: FloatArray
    drying: FloatArray
    sawing: FloatArray
    feather: FloatArray
    once: FloatArray
    slab_cost: float
    pass_cost: float
    factor: FloatArray
    worth: FloatArray
    min_units: int
    max_units: int
    run_cells: int
    cell_m2: float


FACTOR_UNITS = 16
BLOCK = 4
TINY = 1e-9


@numba.njit(cache=True, nogil=True)
def faces_of(
    doubled: NDArray[np.uint16],  # see bound_widths.doubled
    zero_m: float,
    row_m: float,
    levels_m: FloatArray,
    shift_m: FloatArray,
) -> Widths:
    """Return (K, N): the greatest width of each cell over the rolled heights a row of planes can meet it at.

    levels_m : (K, 2) least and greatest c / cos(tilt). shift_m : (N, 2) least and greatest of what comes to it.
    """
    k_count, n = len(levels_m), len(shift_m)
    rows = doubled.shape[1]
    found = np.zeros((k_count, n), dtype=np.uint16)
    for k in range(k_count):
        for i in range(n):
            low = int(np.floor((levels_m[k, 0] + shift_m[i, 0] - zero_m) / row_m - TINY))
            high = int(np.floor((levels_m[k, 1] + shift_m[i, 1] - zero_m) / row_m + TINY))
            low, high = max(low, 0), min(high, rows - 1)
            if high < low:
                continue
            p, size = 0, 1
            while 2 * size <= high - low + 1:
                size *= 2
                p += 1
            found[k, i] = max(doubled[p, low, i], doubled[p, high - size + 1, i])
    return found


@numba.njit(cache=True, nogil=True)
def _area(face: Widths, rates: Rates) -> float:
    """Return the area of the runs of a face that are long enough. [m2]."""
    total, here, cells, n = 0, 0, 0, len(face)
    for i in range(n):
        width = int(face[i])
        if width >= rates.min_units:
            here += min(width, rates.max_units)
            cells += 1
        if width < rates.min_units or i == n - 1:
            if cells >= rates.run_cells:
                total += here
            here, cells = 0, 0
    return total * rates.cell_m2


@numba.njit(cache=True, nogil=True)
def _worth(upper: Widths, lower: Widths, rates: Rates, price: float, cost: float, factor: float) -> float:
    """Return what the runs that are long enough can bring, at a price and a cost for m2, and the greatest width factor.

    Two bounds hold for each run, and the lesser is taken: its area at the greatest factor; and what each width along
    it could bring by itself (see terms.worth_of_widths). Narrower wood brings less, or nothing, by either.
    """
    total, by_area, by_width, cells, n = 0.0, 0.0, 0.0, 0, len(upper)
    each = max(0.0, price * factor - cost)
    for i in range(n):
        width = min(int(upper[i]), int(lower[i]))
        if width >= rates.min_units:
            width = min(width, rates.max_units)
            by_area += width * each
            by_width += max(0.0, price * rates.worth[width // FACTOR_UNITS] - cost * width)
            cells += 1
        if width < rates.min_units or i == n - 1:
            if cells >= rates.run_cells:
                total += max(0.0, min(by_area, by_width) * rates.cell_m2 - rates.slab_cost)
            by_area, by_width, cells = 0.0, 0.0, 0
    return total


@numba.njit(cache=True, nogil=True)
def _factors(faces: Widths, rates: Rates) -> FloatArray:
    """Return the greatest width factor of any slab of each face: none is wider in the mean than the widest cells."""
    rows, n = faces.shape
    found = np.full(rows, rates.factor[len(rates.factor) - 1])
    if rates.factor[0] == rates.factor[len(rates.factor) - 1]:
        return found
    top = max(1, min(n, rates.run_cells - 1))
    for begin in range(0, rows, BLOCK):
        end = min(rows, begin + BLOCK)
        widest = np.zeros(n, dtype=np.uint16)
        for k in range(begin, end):
            widest = np.maximum(widest, faces[k])
        widest.sort()
        mean = 0.0
        for i in range(n - top, n):
            mean += min(int(widest[i]), rates.max_units)
        found[begin:end] = rates.factor[min(len(rates.factor) - 1, int(mean / top) // FACTOR_UNITS)]
    return found


@numba.njit(cache=True, nogil=True)
def _neighbours(rows_back: float) -> tuple[int, int]:
    """Return by how many rows a row may go back, as the first row may begin anywhere in its own."""
    near = int(np.floor(rows_back + TINY))
    return (near, near) if rows_back - near < TINY else (near, near + 1)


@numba.njit(cache=True, nogil=True)
def most_of_box(
    faces: Widths,
    rates: Rates,
    first_m: float,
    row_m: float,
    zones: FloatArray,
    allowed: IntArray,
    barred: NDArray[np.bool_],
) -> float:
    """Return an upper bound on the net of every lay whose faces are within `faces` (K, N); 0 at least.

    first_m : height of row 0. zones : (Z, 4) of figured wood: from and to where it stands, its area at most, how
    well it shows at most. allowed : (W, 2) ranges of rows, from and to, in one of which all passes are. barred : (K,)
    rows that no pass can be in.
    """
    rows = len(faces)
    factor = _factors(faces, rates)
    whole = np.zeros(rows)
    for k in range(rows):
        whole[k] = _area(faces[k], rates)
    best = 0.0
    for way in range(len(allowed)):
        from_k, to_k = allowed[way, 0], allowed[way, 1]
        best = max(best, _stack(faces, rates, first_m, row_m, zones, factor, whole, barred, from_k, to_k))
    return best


@numba.njit(cache=True, nogil=True)
def _stack(
    faces: Widths,
    rates: Rates,
    first_m: float,
    row_m: float,
    zones: FloatArray,
    factor: FloatArray,
    whole: FloatArray,
    barred: NDArray[np.bool_],
    least_k: int,
    most_k: int,
) -> float:
    after = np.full(len(faces), -np.inf)
    # Below the first row is no wood, so that nothing comes after a pass there.
    beyond = -rates.pass_cost if least_k <= 0 else -np.inf
    waste, best = -np.inf, 0.0
    for k in range(max(0, least_k), min(len(faces) - 1, most_k) + 1):
        if barred[k]:
            continue
        value = max(0.0, waste)
        for m in range(len(rates.price)):
            if whole[k] == 0.0:
                break
            near, far = _neighbours(rates.pitch_rows[m])
            onward = (
                max(
                    after[k - near] if k - near >= max(0, least_k) else beyond,
                    after[k - far] if k - far >= max(0, least_k) else beyond,
                )
                - rates.once[m]
            )
            near, far = _neighbours(rates.thick_rows[m])
            if k - near < 0 or onward == -np.inf:
                continue
            upper, lower = k - near, max(k - far, 0)
            # The lower face stands in one row or the other, as the first row may begin anywhere in its own.
            area_m2 = min(whole[k], max(whole[lower], whole[upper]))
            best_factor = min(factor[k], max(factor[lower], factor[upper]))
            price, cost = rates.price[m], rates.drying[m] + rates.sawing[m]
            each = max(0.0, price * best_factor - cost)
            figure = 0.0
            high_m, low_m = first_m + (k + 1) * row_m, first_m + (k - rates.thick_rows[m]) * row_m
            for z in range(len(zones)):
                # Half for each face that the zone may be in: a slab has the mean of what its faces show.
                faces_in = int(zones[z, 0] <= high_m and zones[z, 1] >= high_m - row_m)
                faces_in += int(zones[z, 0] <= low_m + row_m and zones[z, 1] >= low_m)
                figure += 0.5 * faces_in * rates.feather[m] * zones[z, 3] * min(area_m2, zones[z, 2])
            if onward + area_m2 * each + figure <= value:
                continue
            worth = _worth(faces[k], faces[lower], rates, price, cost, best_factor)
            if upper != lower:
                worth = max(worth, _worth(faces[k], faces[upper], rates, price, cost, best_factor))
            value = max(value, onward + worth + figure)
        after[k] = value - rates.pass_cost
        waste = max(waste, after[k])
        best = max(best, after[k])
    return best
