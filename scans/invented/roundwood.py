"""Stems, limbs and stubs as one smooth shape: where it is wood, and its closed surface.

Each piece of roundwood has a centre line and a radius that depends on the place along it and the angle
round it. Pieces are joined by a smooth union, so that limbs grow out of a stem with a hollow and not with
a crease (the polynomial smooth minimum, common practice in shape modelling, no source), and the surface
is taken from a grid of values.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold
from numba import njit
from numpy.typing import NDArray
from skimage.measure import marching_cubes

from scans.log import FloatArray
from scans.solids.bodies import body_from_mesh

STATIONS = 201
"""Places along a piece, its ends included, at which bend and radius are given."""

ANGLES = 120
"""Angles round a piece at which the radius is given."""

END_CELLS = 24
"""Cells each way over a sawn end whose roughness is given."""

_SMOOTHED_M = 0.0002
"""How far the surface may move when needless corners are taken off it. [m]."""


@dataclass(frozen=True, eq=False)
class RoundWood:
    """One stem, limb or stub.

    start_m : (3,) where its centre line begins. [m]
    axes : (3, 3) rows: along it, and two directions square to that and to each other, right-handed.
    length_m : from its start to its end along the first axis. [m]
    bend_m : (STATIONS, 2) how far the centre line lies off the first axis. [m]
    radius_m : (STATIONS, ANGLES) radius; angle 0 is along the second axis, a quarter turn the third. [m]
    blend_m : how widely it joins those before it. [m]
    sawn : (2,) whether its start and its end are sawn; an end that is not is round and lies in other wood.
    lean : (2, 2) slopes of the sawn ends along the second and third axis.
    rough_m : (2, END_CELLS, END_CELLS) how far the sawn ends stand out along the first axis. [m]
    """

    start_m: FloatArray
    axes: FloatArray
    length_m: float
    bend_m: FloatArray
    radius_m: FloatArray
    blend_m: float
    sawn: NDArray[np.bool_]
    lean: FloatArray
    rough_m: FloatArray

    @property
    def end_reach_m(self) -> float:
        """Half the side of the square over which `rough_m` is spread. [m]."""
        return 1.2 * float(self.radius_m.max())

    def line_m(self, along_m: FloatArray) -> FloatArray:
        """Points (N, 3) of the centre line at (N,) places along the first axis. [m]."""
        at = np.linspace(0.0, self.length_m, STATIONS)
        bend = np.stack([np.interp(along_m, at, self.bend_m[:, k]) for k in range(2)], axis=1)
        return np.asarray(self.start_m + along_m[:, None] * self.axes[0] + bend @ self.axes[1:])

    def radius_at_m(self, along_m: float) -> float:
        """Mean radius at a place along the first axis. [m]."""
        return float(np.interp(along_m, np.linspace(0.0, self.length_m, STATIONS), self.radius_m.mean(axis=1)))


Packed = tuple[FloatArray, ...]


def _packed(pieces: Sequence[RoundWood]) -> Packed:
    """Arrays of all pieces, as the kernels take them."""
    numbers = np.array(
        [
            [piece.length_m, piece.blend_m, piece.end_reach_m, piece.radius_m.max(), *piece.sawn, *piece.lean.ravel()]
            for piece in pieces
        ],
        dtype=np.float64,
    )
    return (
        np.array([piece.start_m for piece in pieces], dtype=np.float64),
        np.array([piece.axes for piece in pieces], dtype=np.float64),
        numbers,
        np.array([piece.bend_m for piece in pieces], dtype=np.float64),
        np.array([piece.radius_m for piece in pieces], dtype=np.float64),
        np.array([piece.rough_m for piece in pieces], dtype=np.float64),
    )


def outside_by_m(pieces: Sequence[RoundWood], points_m: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """How far (N, 3) points lie outside the wood, roughly, below 0 inside (N,), and whether an end is nearest (N,)."""
    values = np.empty(len(points_m))
    on_end = np.empty(len(points_m), dtype=np.bool_)
    _values_at(np.ascontiguousarray(points_m, dtype=np.float64), *_packed(pieces), values, on_end)
    return values, on_end


def body_of(pieces: Sequence[RoundWood], edge_m: float) -> Manifold:
    """Return the closed body of pieces, one body, from a grid `edge_m` wide."""
    at = np.linspace(0.0, 1.0, STATIONS)
    lines = [piece.line_m(at * piece.length_m) for piece in pieces]
    margins = [1.5 * piece.end_reach_m + 3.0 * edge_m for piece in pieces]
    low = np.min([line.min(axis=0) - margin for line, margin in zip(lines, margins, strict=True)], axis=0)
    high = np.max([line.max(axis=0) + margin for line, margin in zip(lines, margins, strict=True)], axis=0)
    values = np.empty(tuple(np.ceil((high - low) / edge_m).astype(int) + 1), dtype=np.float32)
    _values_on_grid(low, edge_m, *_packed(pieces), values)
    # A value of exactly 0 would put several corners of the surface in one place.
    values[np.abs(values) < 1e-5 * edge_m] = 1e-5 * edge_m
    corners, triangles = marching_cubes(values, 0.0)[:2]
    points = low + corners.astype(np.float64) * edge_m
    body = body_from_mesh(points, triangles)
    if body.volume() < 0.0:
        body = body_from_mesh(points, triangles[:, ::-1])
    return max(body.simplify(_SMOOTHED_M).decompose(), key=lambda part: part.volume())


@njit(cache=True, nogil=True)
def _values_on_grid(low, edge, starts, axes, numbers, bends, radii, roughs, values):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    nx, ny, nz = values.shape
    for i in range(nx):
        for j in range(ny):
            k = 0
            while k < nz:
                value = _value(
                    low[0] + i * edge, low[1] + j * edge, low[2] + k * edge, starts, axes, numbers, bends, radii, roughs
                )[0]
                # Far from the surface only the sign counts, and it stays: values change by little more
                # than the way gone. No cell beside the surface is passed over.
                onward = k + max(1, int(0.4 * abs(value) / edge) - 1)
                while k < min(onward, nz):
                    values[i, j, k] = value
                    k += 1


@njit(cache=True, nogil=True)
def _values_at(points, starts, axes, numbers, bends, radii, roughs, values, on_end):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    for n in range(points.shape[0]):
        values[n], on_end[n] = _value(
            points[n, 0], points[n, 1], points[n, 2], starts, axes, numbers, bends, radii, roughs
        )


@njit(cache=True, nogil=True)
def _value(x, y, z, starts, axes, numbers, bends, radii, roughs):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Signed value of the joined pieces at a point, and whether the nearest piece shows an end there."""
    total, nearest, on_end = 1e9, 1e9, False
    stations, angles, cells = radii.shape[1], radii.shape[2], roughs.shape[2]
    for p in range(starts.shape[0]):
        length, blend, reach, widest = numbers[p, 0], numbers[p, 1], numbers[p, 2], numbers[p, 3]
        dx, dy, dz = x - starts[p, 0], y - starts[p, 1], z - starts[p, 2]
        s = axes[p, 0, 0] * dx + axes[p, 0, 1] * dy + axes[p, 0, 2] * dz
        v = axes[p, 1, 0] * dx + axes[p, 1, 1] * dy + axes[p, 1, 2] * dz
        w = axes[p, 2, 0] * dx + axes[p, 2, 1] * dy + axes[p, 2, 2] * dz
        place = min(max(s / length, 0.0), 1.0) * (stations - 1)
        i = min(int(place), stations - 2)
        t = place - i
        v -= bends[p, i, 0] * (1.0 - t) + bends[p, i + 1, 0] * t
        w -= bends[p, i, 1] * (1.0 - t) + bends[p, i + 1, 1] * t
        rho = np.sqrt(v * v + w * w)
        if rho > 1.5 * widest + 2.0 * blend + 0.1:
            value, cap = rho - widest, -1e9
        else:
            turn = np.arctan2(w, v) / (2.0 * np.pi) * angles
            turn += angles * (turn < 0.0)
            j = int(turn) % angles
            u = turn - int(turn)
            onward = (j + 1) % angles
            radius = (1.0 - t) * ((1.0 - u) * radii[p, i, j] + u * radii[p, i, onward]) + t * (
                (1.0 - u) * radii[p, i + 1, j] + u * radii[p, i + 1, onward]
            )
            cap = -1e9
            beyond = 0.0
            for end in range(2):
                off = s - length if end else -s
                if numbers[p, 4 + end] > 0.0:
                    across = (min(max(v / reach, -1.0), 1.0) + 1.0) * 0.5 * (cells - 1)
                    over = (min(max(w / reach, -1.0), 1.0) + 1.0) * 0.5 * (cells - 1)
                    a, b = min(int(across), cells - 2), min(int(over), cells - 2)
                    f, g = across - a, over - b
                    rough = (1.0 - f) * ((1.0 - g) * roughs[p, end, a, b] + g * roughs[p, end, a, b + 1]) + f * (
                        (1.0 - g) * roughs[p, end, a + 1, b] + g * roughs[p, end, a + 1, b + 1]
                    )
                    lean = numbers[p, 6 + 2 * end] * v + numbers[p, 7 + 2 * end] * w
                    cap = max(cap, off - rough + (lean if end else -lean))
                elif off > 0.0:
                    beyond = off
            value = np.sqrt(rho * rho + beyond * beyond) - radius
        whole = max(value, cap)
        if whole < nearest:
            nearest, on_end = whole, cap > value
        share = max(blend - abs(total - whole), 0.0) / blend
        total = min(total, whole) - share * share * blend * 0.25
    return total, on_end
