"""How high the ground lies under a scan whose z is up: a plane, and a smooth departure from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from scans.log import FloatArray

CELL_M = 0.08
_LOW_QUANTILE = 0.1
_FLAT_M = 0.05
"""A cell most of whose points lie within this above its low quantile may be ground."""

_OPEN_M = 0.15
_STEEPEST = np.tan(np.radians(30.0))
_ON_PLANE_M, _UNDER_PLANE_M = 0.05, 0.10
_OFF_PLANE_M, _OFF_SMOOTH_M = 0.15, 0.04
_SMOOTH_M = 0.25
_LEAST_CELLS = 25
"""Less ground than this, about a sixth of a square metre, is no ground to go by."""

_PROPOSALS = 400


@dataclass(frozen=True, eq=False)
class GroundSurface:
    """Ground as a plane z = slope . (x, y) + offset_m, and a grid of departures from it.

    slope : (2,) [m/m]. origin_m : (2,) middle of the first cell. departure_m : (I, J), a cell each. [m]
    """

    slope: FloatArray
    offset_m: float
    origin_m: FloatArray
    cell_m: float
    departure_m: FloatArray

    def height_m(self, points_m: FloatArray) -> FloatArray:
        """Height (N,) of points (N, 3) above the ground, square to its plane; beyond the grid as at its rim."""
        at = (points_m[:, :2] - self.origin_m) / self.cell_m
        departure = map_coordinates(self.departure_m, at.T, order=1, mode="nearest")
        above = points_m[:, 2] - points_m[:, :2] @ self.slope - self.offset_m - departure
        return np.asarray(above / np.sqrt(1.0 + float(self.slope @ self.slope)))


@dataclass(frozen=True, eq=False)
class _Cells:
    index: NDArray[np.int64]
    middle_m: FloatArray
    low_m: FloatArray
    flat: NDArray[np.bool_]
    shape: tuple[int, int]
    origin_m: FloatArray


def find_ground_surface(points_m: FloatArray, spacing_m: float) -> GroundSurface | None:
    """Return the ground under a scan, or None where it holds none.

    points_m : (N, 3), z up. [m] spacing_m : from one point to the next, roughly; cells grow with it.

    Ground is a plane of at most 30 deg that many flat cells lie on and hardly any under: the top of a log
    has the log's flanks under it.
    """
    cell = max(CELL_M, 4.0 * spacing_m)
    cells = _cells(points_m, cell)
    plane = _plane(cells)
    if plane is None:
        return None
    off = cells.low_m - cells.middle_m @ plane[:2] - plane[2]
    ground = cells.flat & (np.abs(off) < _OFF_PLANE_M)
    for _ in range(3):
        if ground.sum() < _LEAST_CELLS:
            return None
        departure = _smoothed(off, ground, cells, cell)
        rest = off - departure[tuple(cells.index.T)]
        ground = cells.flat & (np.abs(rest) < _OFF_SMOOTH_M)
    return GroundSurface(plane[:2], float(plane[2]), cells.origin_m, cell, departure)


def _cells(points_m: FloatArray, cell: float) -> _Cells:
    low, high = np.quantile(points_m[:, :2], [0.001, 0.999], axis=0)
    low, high = low - 4.0 * cell, high + 4.0 * cell
    inside = ((points_m[:, :2] >= low) & (points_m[:, :2] < high)).all(axis=1)
    points = points_m[inside]
    index = np.floor((points[:, :2] - low) / cell).astype(np.int64)
    size = index.max(axis=0) + 1
    keys = index[:, 0] * size[1] + index[:, 1]
    order = np.lexsort((points[:, 2], keys))
    z = points[order, 2]
    which, start, counts = np.unique(keys[order], return_index=True, return_counts=True)
    lows = z[start + np.floor(_LOW_QUANTILE * (counts - 1)).astype(np.int64)]
    cell_of = np.repeat(np.arange(len(which)), counts)
    near = np.bincount(cell_of, weights=np.abs(z - lows[cell_of]) < _FLAT_M + 0.1 * cell) / counts
    # Under open sky: the belly of a log has its top above it. One stray point may be.
    over = np.bincount(cell_of, weights=z - lows[cell_of] > _OPEN_M)
    here = np.stack([which // size[1], which % size[1]], axis=1)
    enough = counts >= 3
    middles = low + (here + 0.5) * cell
    return _Cells(
        here[enough],
        middles[enough],
        lows[enough],
        ((near > 0.6) & (over <= 1) & (over < 0.2 * counts))[enough],
        (int(size[0]), int(size[1])),
        low + 0.5 * cell,
    )


def _plane(cells: _Cells) -> FloatArray | None:
    """Slopes and offset (3,) of the plane that most flat cells lie on and few cells under, or None."""
    flat = np.flatnonzero(cells.flat)
    if len(flat) < _LEAST_CELLS:
        return None
    rng = np.random.default_rng(0)
    ones = np.ones(len(cells.low_m))
    about = np.column_stack([cells.middle_m, ones])
    best: FloatArray | None = None
    most = 0.0
    for _ in range(_PROPOSALS):
        three = flat[rng.choice(len(flat), 3, replace=False)]
        try:
            plane = np.asarray(np.linalg.solve(about[three], cells.low_m[three]), dtype=np.float64)
        except np.linalg.LinAlgError:
            continue
        score = _score(cells, about, plane)
        if score > most:
            best, most = plane, score
    if best is None:
        return None
    for _ in range(5):
        on = cells.flat & (np.abs(cells.low_m - about @ best) < 1.5 * _ON_PLANE_M)
        if on.sum() < _LEAST_CELLS:
            return None
        best = np.asarray(np.linalg.lstsq(about[on], cells.low_m[on], rcond=None)[0], dtype=np.float64)
    return best if _score(cells, about, best) >= _LEAST_CELLS else None


def _score(cells: _Cells, about: FloatArray, plane: FloatArray) -> float:
    if np.hypot(plane[0], plane[1]) > _STEEPEST:
        return 0.0
    off = cells.low_m - about @ plane
    on = cells.flat & (np.abs(off) < _ON_PLANE_M)
    return float(on.sum() - 2.0 * (off < -_UNDER_PLANE_M).sum())


def _smoothed(off: FloatArray, ground: NDArray[np.bool_], cells: _Cells, cell: float) -> FloatArray:
    """Mean of the ground's departure round each cell, weighted by nearness; far from any ground, that of all."""
    weight, value = np.zeros(cells.shape), np.zeros(cells.shape)
    there = tuple(cells.index[ground].T)
    weight[there] = 1.0
    value[there] = off[ground]
    mean = np.full(cells.shape, float(np.median(off[ground])))
    # The wide mean goes where the narrow one has nothing to go by, as under the log.
    for width in (3.0, 1.0):
        sigma = width * _SMOOTH_M / cell
        total = gaussian_filter(weight, sigma, mode="constant", truncate=3.0)
        summed = gaussian_filter(value, sigma, mode="constant", truncate=3.0)
        mean = (summed + 0.02 * mean) / (total + 0.02)
    return mean
