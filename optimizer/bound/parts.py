"""Convex parts that hold all the wood of a short length of log, seen along its axis.

Between two places along the log the wood's section is not known from sections at stations alone: a mesh may bulge
between them. So each cell of the usable length is covered by hulls of all the mesh between its ends: whatever
section is taken there lies within them. A section that is much wider than high, as under a fork or through two limbs,
is split into strips across its long way, each with a hull of its own, so that the gap between limbs stays a gap.

The section's part in a strip has its corners where mesh edges pass through strip and cell, and where faces meet the
strip's sides: the hull of these is the hull of every section of the cell.
"""

from dataclasses import dataclass
from math import ceil

import numba
import numpy as np

from scans.log import FloatArray, IntArray, Solid

LONG_SECTION = 1.3
"""A section's spread along over across from which on it is split into strips."""
STRIP_M = 0.05
MOST_STRIPS = 32
HAIR_M = 1e-7
"""Hulls are held to be this much larger than they come out, for roundings."""


@dataclass(frozen=True, eq=False)
class Parts:
    """The parts of each cell.

    low_m, high_m : (N,) from where to where along log x a cell's parts hold the wood: the cell, and what a layer's
        faces may be shifted beyond it. cell_m : length of a cell. centre_m : (y, z) of a line through the log,
        (xm) in the middle. [m]
    first : (N + 1,) cell i owns parts first[i] .. first[i + 1] - 1. offsets : (P + 1,) part p is the convex ring
        points[offsets[p]:offsets[p + 1]], (y, z) from the line, anticlockwise. [m]
    off_m : (N,) how far a cell's parts reach from the line. [m]
    """

    low_m: FloatArray
    high_m: FloatArray
    cell_m: float
    middle_m: float
    centre_m: tuple[float, float]
    first: IntArray
    offsets: IntArray
    points: FloatArray
    off_m: FloatArray


def parts_of(solid: Solid, from_m: float, to_m: float, spacing_m: float, beyond_m: float) -> Parts:
    """Cover the wood between two places along log x by convex parts, in cells about `spacing_m` long.

    beyond_m : how far beyond its ends a cell's parts hold the wood too. [m]
    """
    count = max(1, ceil((to_m - from_m) / spacing_m - 1e-9))
    cell_m = (to_m - from_m) / count
    low = from_m - beyond_m + cell_m * np.arange(count, dtype=np.float64)
    high = low + cell_m + 2.0 * beyond_m
    moments = _moments(solid.vertices_m, solid.faces, low, high)
    met = moments[:, 0] > 0.0
    centre = moments[met, 1:3].sum(axis=0) / max(1.0, float(moments[met, 0].sum()))
    strips = _strips(moments)
    counts, _ = _collect(solid.vertices_m, solid.faces, low, high, strips, np.zeros(0, dtype=np.int64), centre)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    _, points = _collect(solid.vertices_m, solid.faces, low, high, strips, starts, centre)
    owner, offsets, rings = _hulls(starts, points)
    off = np.zeros(count)
    np.maximum.at(off, np.repeat(owner // MOST_STRIPS, np.diff(offsets)), np.hypot(rings[:, 0], rings[:, 1]))
    return Parts(
        low_m=low,
        high_m=high,
        cell_m=cell_m,
        middle_m=0.5 * (from_m + to_m),
        centre_m=(float(centre[0]), float(centre[1])),
        first=np.searchsorted(owner, MOST_STRIPS * np.arange(count + 1)).astype(np.int64),
        offsets=offsets,
        points=rings,
        off_m=off + HAIR_M,
    )


def _strips(moments: FloatArray) -> FloatArray:
    """Return (N, 4): the direction across which a cell is split (y, z), where its middle is, and half the strips."""
    strips = np.zeros((len(moments), 4))
    strips[:, 0] = 1.0
    for i, (n, sy, sz, syy, syz, szz) in enumerate(moments):
        if n < 3.0:
            continue
        y, z = sy / n, sz / n
        spread = np.array([[syy / n - y * y, syz / n - y * z], [syz / n - y * z, szz / n - z * z]])
        size, way = np.linalg.eigh(spread)
        along, across = np.sqrt(np.maximum(size[1], 0.0)), np.sqrt(np.maximum(size[0], 0.0))
        if along > LONG_SECTION * across:
            half = min(MOST_STRIPS // 2, ceil(2.0 * along / STRIP_M))
            strips[i] = (*way[:, 1], float(way[:, 1] @ (y, z)), half)
    return strips


@numba.njit(cache=True, nogil=True)
def _moments(vertices: FloatArray, faces: IntArray, low: FloatArray, high: FloatArray) -> FloatArray:
    found = np.zeros((len(low), 6))
    for f in range(len(faces)):
        for e in range(3):
            p, q = faces[f, e], faces[f, (e + 1) % 3]
            if p > q:  # every edge once: its other face has it the other way round
                continue
            xp, xq = vertices[p, 0], vertices[q, 0]
            begin = np.searchsorted(high, min(xp, xq), side="left")
            end = np.searchsorted(low, max(xp, xq), side="right")
            for i in range(begin, end):
                for k in range(2):
                    x = min(max(vertices[p if k == 0 else q, 0], low[i]), high[i])
                    y, z = _at(vertices, p, q, x, k)
                    found[i] += np.array([1.0, y, z, y * y, y * z, z * z])
    return found


@numba.njit(cache=True, nogil=True)
def _at(vertices: FloatArray, p: int, q: int, x: float, k: int) -> tuple[float, float]:
    """Return (y, z) of an edge at x; of its first or second end where it is square to the axis."""
    a, b = vertices[p], vertices[q]
    if a[0] == b[0]:
        end = a if k == 0 else b
        return end[1], end[2]
    share = (x - a[0]) / (b[0] - a[0])
    return a[1] + share * (b[1] - a[1]), a[2] + share * (b[2] - a[2])


@numba.njit(cache=True, nogil=True)
def _strip(strips: FloatArray, i: int, y: float, z: float) -> int:
    half = int(strips[i, 3])
    if half == 0:
        return 0
    at = (strips[i, 0] * y + strips[i, 1] * z - strips[i, 2]) / STRIP_M
    return min(max(int(np.floor(at)) + half, 0), 2 * half - 1)


@numba.njit(cache=True, nogil=True)
def _collect(
    vertices: FloatArray,
    faces: IntArray,
    low: FloatArray,
    high: FloatArray,
    strips: FloatArray,
    starts: IntArray,
    centre: FloatArray,
) -> tuple[IntArray, FloatArray]:
    """Count the corners in each strip of each cell; given where each strip's begin, collect them too, from `centre`."""
    counts = np.zeros(len(low) * MOST_STRIPS, dtype=np.int64)
    filling = len(starts) > 0
    points = np.zeros((starts[-1] if filling else 0, 2))
    ends = np.zeros((2, 2))
    for f in range(len(faces)):
        for e in range(5):  # three edges; the face's meets with the planes at both ends of the cell
            p, q = faces[f, e % 3], faces[f, (e + 1) % 3]
            if e < 3 and p > q:
                continue
            if e < 3:
                least, most = min(vertices[p, 0], vertices[q, 0]), max(vertices[p, 0], vertices[q, 0])
            else:
                x0, x1, x2 = vertices[faces[f, 0], 0], vertices[faces[f, 1], 0], vertices[faces[f, 2], 0]
                least, most = min(x0, x1, x2), max(x0, x1, x2)
            begin, end = np.searchsorted(high, least, side="left"), np.searchsorted(low, most, side="right")
            for i in range(begin, end):
                if e < 3:
                    for k in range(2):
                        x = min(max(vertices[p if k == 0 else q, 0], low[i]), high[i])
                        ends[k, 0], ends[k, 1] = _at(vertices, p, q, x, k)
                        part = i * MOST_STRIPS + _strip(strips, i, ends[k, 0], ends[k, 1])
                        if filling:
                            points[starts[part] + counts[part]] = ends[k] - centre
                        counts[part] += 1
                elif strips[i, 3] == 0.0 or not _meet(vertices, faces, f, low[i] if e == 3 else high[i], ends):
                    continue
                if strips[i, 3] == 0.0:
                    continue
                at0 = (strips[i, 0] * ends[0, 0] + strips[i, 1] * ends[0, 1] - strips[i, 2]) / STRIP_M
                at1 = (strips[i, 0] * ends[1, 0] + strips[i, 1] * ends[1, 1] - strips[i, 2]) / STRIP_M
                half = int(strips[i, 3])
                first = max(int(np.ceil(min(at0, at1))), 1 - half)
                last = min(int(np.floor(max(at0, at1))), half - 1)
                for line in range(first, last + 1):
                    share = 0.0 if at0 == at1 else (line - at0) / (at1 - at0)
                    for side in range(2):
                        part = i * MOST_STRIPS + line + half - side
                        if filling:
                            points[starts[part] + counts[part]] = ends[0] + share * (ends[1] - ends[0]) - centre
                        counts[part] += 1
    return counts, points


@numba.njit(cache=True, nogil=True)
def _meet(vertices: FloatArray, faces: IntArray, f: int, x: float, ends: FloatArray) -> bool:
    """Put where a face meets the plane at x into `ends`; tell whether it does, along a line."""
    found = 0
    for e in range(3):
        p, q = faces[f, e], faces[f, (e + 1) % 3]
        if (vertices[p, 0] > x) != (vertices[q, 0] > x):
            ends[found, 0], ends[found, 1] = _at(vertices, p, q, x, 0)
            found += 1
    return found == 2


@numba.njit(cache=True, nogil=True)
def _hulls(starts: IntArray, points: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the owner of each part that has points, and the hulls of these, anticlockwise, one after another."""
    owner = np.zeros(len(starts) - 1, dtype=np.int64)
    offsets = np.zeros(len(starts), dtype=np.int64)
    rings = np.zeros((2 * len(points) + 1, 2))
    found, total = 0, 0
    for part in range(len(starts) - 1):
        here = points[starts[part] : starts[part + 1]]
        if len(here) == 0:
            continue
        order = np.argsort(here[:, 0])
        for a in range(1, len(order)):  # equal y by rising z
            b = a
            while b > 0 and here[order[b - 1], 0] == here[order[b], 0] and here[order[b - 1], 1] > here[order[b], 1]:
                order[b - 1], order[b] = order[b], order[b - 1]
                b -= 1
        size = 0
        for way in range(2):
            floor = size
            for k in range(len(order)):
                point = here[order[k] if way == 0 else order[len(order) - 1 - k]]
                while size - floor >= 2 and _turn(rings[total + size - 2], rings[total + size - 1], point) <= 0.0:
                    size -= 1
                rings[total + size] = point
                size += 1
            size = max(1, size - 1)  # the last point begins the other way
        owner[found] = part
        total += size
        found += 1
        offsets[found] = total
    return owner[:found].copy(), offsets[: found + 1].copy(), rings[:total].copy()


@numba.njit(cache=True, nogil=True)
def _turn(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
