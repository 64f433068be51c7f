"""From members to a closed surface that follows what was seen of the log as near as its noise allows.

The seen residual, smoothed over a cell or so, is added to the members' value on a grid before the surface is taken
from it.
"""

import numpy as np
from manifold3d import Manifold
from scipy.ndimage import gaussian_filter
from skimage.measure import marching_cubes

from scans.fit.members import Members
from scans.log import FloatArray
from scans.solids.bodies import body_from_mesh

EDGE_M = 0.013
_MOST_CELLS = 12e6
_FARTHEST_M = 0.05
"""Places farther off the members than this are no part of their surface."""

_SPREAD_CELLS = 1.2
_DOUBT = 0.08
"""How many places to a cell weigh as much as the members' own say."""

_SMOOTHED_M = 0.0005


def closed_surface(members: Members, places_m: FloatArray) -> Manifold:
    """Return the closed body of members, moved to the places (N, 3) that were seen, where they were. [m]."""
    low, high = _box(members)
    edge = max(EDGE_M, float(np.prod(high - low) / _MOST_CELLS) ** (1.0 / 3.0))
    shape = tuple(int(n) for n in np.ceil((high - low) / edge) + 1)
    values = members.values_on_grid_m(low, edge, (shape[0], shape[1], shape[2]))
    values -= _seen_off_m(members, places_m, low, edge, shape)
    values[[0, -1]] = values[:, [0, -1]] = values[:, :, [0, -1]] = edge
    corners, triangles = marching_cubes(values, 0.0)[:2]
    points = low + corners.astype(np.float64) * edge
    body = body_from_mesh(points, triangles)
    if body.volume() < 0.0:
        body = body_from_mesh(points, triangles[:, ::-1])
    return max(body.simplify(_SMOOTHED_M).decompose(), key=lambda part: part.volume())


def _box(members: Members) -> tuple[FloatArray, FloatArray]:
    points = []
    for m in range(members.count):
        ends = members.cuts_m[m, :, 0]
        low = min(0.0, ends[0]) if members.sawn[m, 0] else 0.0
        high = max(members.lengths_m[m], ends[1]) if members.sawn[m, 1] else members.lengths_m[m]
        line = members.line_m(m, np.linspace(low, high, 60))
        reach = 1.35 * float(members.terms_m[m, :, 0].max()) + 0.1
        points += [line - reach, line + reach]
    every = np.concatenate(points)
    return every.min(axis=0), every.max(axis=0)


def _seen_off_m(
    members: Members, places_m: FloatArray, low: FloatArray, edge: float, shape: tuple[int, ...]
) -> FloatArray:
    """How far what was seen lies off the members, on the grid; 0 where nothing was seen. [m]."""
    off = members.values_m(places_m)
    near = np.abs(off) < _FARTHEST_M
    at = (places_m[near] - low) / edge
    cell = np.clip(np.round(at).astype(np.int64), 0, np.array(shape) - 1)
    flat = np.ravel_multi_index(tuple(cell.T), shape)
    size = int(np.prod(shape))
    count = np.bincount(flat, minlength=size).reshape(shape).astype(np.float32)
    total = np.bincount(flat, weights=off[near], minlength=size).reshape(shape).astype(np.float32)
    # One cell counts once or twice, however many places the phone put there.
    heavy = np.maximum(count / 2.0, 1.0)
    weight = gaussian_filter(count / heavy, _SPREAD_CELLS, mode="constant", truncate=3.0)
    found = gaussian_filter(total / heavy, _SPREAD_CELLS, mode="constant", truncate=3.0)
    typical = float(np.median(weight[tuple(cell.T)])) if len(cell) else 1.0
    return found / (weight + _DOUBT * typical)
