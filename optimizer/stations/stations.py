"""The log cut across its axis: closed rings of segments at stations, ready to be turned.

The usable length (the stretch less the end trims) is filled exactly with equal cells, a station in the
middle of each; the trims get cells of their own. Cells that do not fill it bias the net by about 1 %.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from math import ceil
from typing import Any

import numba
import numpy as np
import shapely

from optimizer.bed.hearts import mean_heart_m
from optimizer.bed.zones import Zone, sections
from optimizer.stations.chords import most_crossings
from scans.log import FloatArray, IntArray, Log, Solid

LOOKS_ROUND = 8
LOOK_STEP_M = 0.004
ROOM_FOR = 2


@dataclass(frozen=True, eq=False)
class Rings:
    """The segments of a solid at each station, in the log frame.

    offsets : (N + 1,) int, station i owns segments[offsets[i]:offsets[i + 1]].
    segments : (S, 4) float, (y, z) of both ends; a station's segments make closed rings. [m]
    known_slots : of rings much like these; None where nobody looked yet.
    """

    offsets: IntArray
    segments: FloatArray
    known_slots: int | None = None

    @cached_property
    def slots(self) -> int:
        """For how many crossings of a level line at a station to make room: twice what a look round shows.

        A table with too little room is made anew, which costs far more than room that is not used.
        """
        if self.known_slots is not None:
            return self.known_slots
        return ROOM_FOR * most_crossings(self.offsets, self.segments, LOOKS_ROUND, LOOK_STEP_M)


@dataclass(frozen=True, eq=False)
class Stations:
    """Where the log is cut across, and what is found there.

    x_m : (N,) log x of the stations, rising. [m]
    cell_m : (N,) length along x that each stands for. [m]
    first, last : the usable stations are first .. last - 1, with equal cells.
    outer, wood : rings of both surfaces; one object where there is no bark.
    heart_m : (3,) the mean place of the hearts over the usable length; nan without. [m]
    heart_offsets, hearts : station i owns hearts[heart_offsets[i]:heart_offsets[i + 1]], each
        (y, z, dy, dz): where a heart line crosses it, and its unit direction's y and z. [m]
    zone_offsets, ring_offsets, rings, zone_of : station i owns the sections zone_offsets[i] ..
        zone_offsets[i + 1] - 1; section q is the convex ring rings[ring_offsets[q]:ring_offsets[q + 1]]
        of (y, z), cut from zones[zone_of[q]]. [m]
    """

    x_m: FloatArray
    cell_m: FloatArray
    first: int
    last: int
    outer: Rings
    wood: Rings
    heart_m: FloatArray
    heart_offsets: IntArray
    hearts: FloatArray
    zones: tuple[Zone, ...]
    zone_offsets: IntArray
    ring_offsets: IntArray
    rings: FloatArray
    zone_of: IntArray


def stations_of(
    log: Log,
    end_trim_m: tuple[float, float],
    spacing_m: float,
    zones: tuple[Zone, ...] = (),
    thinned_m: float = 0.0,
    like: "Stations | None" = None,
) -> Stations:
    """Cut a log at stations about `spacing_m` apart; the trims are measured along log x. [m].

    thinned_m : rings may go astray by so much, for fewer segments; for scouting only. 0 keeps every corner. like : of
    a log much like this one, so that nobody need look round again for how its rings wind.
    """
    from_m, to_m = log.outer.bounds_m[0, 0], log.outer.bounds_m[1, 0]
    lengths = [(from_m, from_m + end_trim_m[0]), (from_m + end_trim_m[0], to_m - end_trim_m[1])]
    lengths.append((to_m - end_trim_m[1], to_m))
    x_parts, cell_parts = [], []
    for start_m, end_m in lengths:
        count = ceil((end_m - start_m) / spacing_m - 1e-9) if end_m - start_m > 0 else 0
        cell_m = (end_m - start_m) / max(count, 1)
        x_parts.append(start_m + cell_m * (np.arange(count) + 0.5))
        cell_parts.append(np.full(count, cell_m))
    x_m = np.concatenate(x_parts)
    outer = thinned(cut(log.outer, x_m), thinned_m)
    wood = outer if log.wood is log.outer else thinned(cut(log.wood, x_m), thinned_m)
    if like is not None:
        same = wood is outer
        outer = replace(outer, known_slots=like.outer.slots)
        wood = outer if same else replace(wood, known_slots=like.wood.slots)
    heart_offsets, hearts = _heart_crossings(log, x_m)
    first = len(x_parts[0])
    return Stations(
        x_m=x_m,
        cell_m=np.concatenate(cell_parts),
        first=first,
        last=first + len(x_parts[1]),
        outer=outer,
        wood=wood,
        heart_m=mean_heart_m(log.hearts, lengths[1][0], lengths[1][1]),
        heart_offsets=heart_offsets,
        hearts=hearts,
        zones=zones,
        **_zone_sections(zones, x_m),
    )


def _zone_sections(zones: tuple[Zone, ...], x_m: FloatArray) -> dict[str, Any]:
    by_zone = [sections(zone, x_m) for zone in zones]
    rings: list[FloatArray] = []
    zone_of: list[int] = []
    zone_offsets = [0]
    for i in range(len(x_m)):
        for k, found in enumerate(by_zone):
            if len(found[i]) > 2:
                rings.append(found[i])
                zone_of.append(k)
        zone_offsets.append(len(rings))
    return {
        "zone_offsets": np.array(zone_offsets, dtype=np.int64),
        "ring_offsets": np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64),
        "rings": np.concatenate(rings) if rings else np.zeros((0, 2)),
        "zone_of": np.array(zone_of, dtype=np.int64),
    }


def cut(solid: Solid, x_m: FloatArray) -> Rings:
    """Cut a solid by the planes x = x_m (N,), rising."""
    offsets, segments = _cut(solid.vertices_m, solid.faces, np.ascontiguousarray(x_m))
    return Rings(offsets, segments)


def thinned(rings: Rings, astray_m: float) -> Rings:
    """Return rings with fewer corners, none of them astray by more than `astray_m`; all of them where that is 0."""
    if astray_m <= 0.0:
        return rings
    counts, parts = [0], []
    for i in range(len(rings.offsets) - 1):
        segments = rings.segments[rings.offsets[i] : rings.offsets[i + 1]]
        kept = [_ring_segments(simplified) for simplified in _simplified(segments, astray_m)]
        counts.append(sum(len(part) for part in kept))
        parts += kept
    return Rings(np.cumsum(counts).astype(np.int64), np.concatenate([np.zeros((0, 4)), *parts]))


def _simplified(segments: FloatArray, astray_m: float) -> list[FloatArray]:
    lines = shapely.linestrings(segments.reshape(-1, 2, 2))
    merged = shapely.line_merge(shapely.multilinestrings(lines))
    return [shapely.get_coordinates(line) for line in shapely.get_parts(shapely.simplify(merged, astray_m))]


def _ring_segments(corners: FloatArray) -> FloatArray:
    return np.concatenate([corners[:-1], corners[1:]], axis=1)


def _heart_crossings(log: Log, x_m: FloatArray) -> tuple[IntArray, FloatArray]:
    at, rows = [np.zeros(0, dtype=np.int64)], [np.zeros((0, 4))]
    for line in log.hearts:
        for a, b in pairwise(line):
            if b[0] <= a[0]:
                continue
            low, high = np.searchsorted(x_m, [a[0], b[0]])
            across = a[1:] + (b - a)[1:] * (x_m[low:high, None] - a[0]) / (b[0] - a[0])
            direction = (b - a)[1:] / np.linalg.norm(b - a)
            at.append(np.arange(low, high))
            rows.append(np.concatenate([across, np.broadcast_to(direction, across.shape)], axis=1))
    station = np.concatenate(at)
    offsets = np.concatenate([[0], np.cumsum(np.bincount(station, minlength=len(x_m)))]).astype(np.int64)
    return offsets, np.concatenate(rows)[np.argsort(station, kind="stable")]


@numba.njit(cache=True, nogil=True)
def _planes_below(x: FloatArray, x_m: FloatArray) -> IntArray:
    """Return (V,) how many of the planes x_m (N,), rising, lie below each x; a place on a plane is not above it."""
    n = len(x_m)
    found = np.zeros(len(x), dtype=np.int64)
    if n == 0:
        return found
    # Planes lie about evenly, so that the first guess is off by one or two.
    start_m, per_m = x_m[0], (n - 1) / max(x_m[n - 1] - x_m[0], 1e-9)
    for v in range(len(x)):
        k = int(min(max((x[v] - start_m) * per_m, 0.0), n - 1.0))
        while k > 0 and x_m[k - 1] >= x[v]:
            k -= 1
        while k < n and x_m[k] < x[v]:
            k += 1
        found[v] = k
    return found


@numba.njit(cache=True, nogil=True)
def _cut(vertices: FloatArray, faces: IntArray, x_m: FloatArray) -> tuple[IntArray, FloatArray]:
    # A vertex on a plane counts as below it, so that each face gives one segment or none and the
    # rings close. An edge is always cut from its lower-numbered vertex, so that both its faces
    # find the same point to the last bit.
    n = len(x_m)
    below = _planes_below(vertices[:, 0], x_m)
    counts = np.zeros(n + 1, dtype=np.int64)
    for f in range(len(faces)):
        a, b, c = below[faces[f, 0]], below[faces[f, 1]], below[faces[f, 2]]
        for i in range(min(a, b, c), max(a, b, c)):
            counts[i + 1] += 1
    offsets = np.cumsum(counts)
    segments = np.empty((offsets[n], 4))
    filled = offsets.copy()
    for f in range(len(faces)):
        a, b, c = below[faces[f, 0]], below[faces[f, 1]], below[faces[f, 2]]
        for i in range(min(a, b, c), max(a, b, c)):
            x, row, end = x_m[i], filled[i], 0
            filled[i] += 1
            for e in range(3):
                p, q = faces[f, e], faces[f, (e + 1) % 3]
                if (below[p] > i) != (below[q] > i):
                    if p > q:
                        p, q = q, p
                    share = (x - vertices[p, 0]) / (vertices[q, 0] - vertices[p, 0])
                    segments[row, end] = vertices[p, 1] + share * (vertices[q, 1] - vertices[p, 1])
                    segments[row, end + 1] = vertices[p, 2] + share * (vertices[q, 2] - vertices[p, 2])
                    end = 2
    return offsets, segments
