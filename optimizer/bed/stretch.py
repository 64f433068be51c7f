"""The length of a long log that goes on the bed, crosscut at both ends; in the same log frame."""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

import numpy as np
from manifold3d import Manifold

from optimizer.bed.bodies import manifold_of
from optimizer.bed.sawn_layers import cut_meets
from scans.log import FloatArray, Log, Solid

STEP_M = 0.25
MOST_STRETCHES = 13
"""How far apart stretches begin, and how many are tried at the most (our own rules, no source)."""
SAME_POINT_M = 1e-9


def stretches_of(length_m: float, bed_length_m: float | None) -> list[tuple[float, float]]:
    """Return the stretches to try, each (from, to) along the log: the whole, or as long as the bed takes. [m].

    Of a log longer than the bed the first at the butt end, the last at the top end, the others evenly
    between, every 0.25 m or so.
    """
    if bed_length_m is None or length_m <= bed_length_m:
        return [(0.0, length_m)]
    left_m = length_m - bed_length_m
    count = min(MOST_STRETCHES, ceil(left_m / STEP_M) + 1)
    return [(float(start), float(start) + bed_length_m) for start in np.linspace(0.0, left_m, count)]


def clear_of_metal(
    stretches: Sequence[tuple[float, float]], length_m: float, metal_m: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Leave out stretches whose crosscut would go through metal; all of them stay where each would. [m].

    metal_m : from where to where along the log there is metal, its keep-out included. The ends of the log are no cuts.
    """

    def clear(stretch: tuple[float, float]) -> bool:
        cuts_m = [place for place in stretch if SAME_POINT_M < place < length_m - SAME_POINT_M]
        return not any(cut_meets((cut, cut), barred_m) for barred_m in metal_m for cut in cuts_m)

    return [stretch for stretch in stretches if clear(stretch)] or list(stretches)


def cut_stretch(log: Log, from_m: float, to_m: float) -> Log:
    """Return the part of a log between two places along it, crosscut square to its axis.

    What the cuts leave as several bodies is kept whole: limbs beyond a fork. Marks and the feather under a fork
    are not found on it anew: the parts of their zones that lie in it are those of the whole log (Problem.stretch).
    """
    start_m = float(log.outer.bounds_m[0, 0])
    low, high = start_m + from_m, start_m + to_m
    outer = _cut(manifold_of(log.outer), low, high)
    wood = outer if log.wood is log.outer else _cut(manifold_of(log.wood), low, high)
    lines = [_clipped(line, low, high) for line in log.hearts]
    forks = tuple(fork for fork in log.forks if low < fork.crotch_m[0] < high)
    hearts = tuple(line for line in lines if len(line) > 1)
    # What is known of each face and vertex is of the whole log's.
    return replace(log, outer=outer, wood=wood, hearts=hearts, forks=forks, face_seen=None, doubt=None, colours=None)


def _cut(body: Manifold, low: float, high: float) -> Solid:
    kept = body.trim_by_plane((1.0, 0.0, 0.0), low).trim_by_plane((-1.0, 0.0, 0.0), -high)
    mesh = kept.to_mesh64()
    vertices = np.asarray(mesh.vert_properties)[:, :3].copy()
    return Solid(vertices, np.asarray(mesh.tri_verts).astype(np.int64))


def _clipped(line: FloatArray, low: float, high: float) -> FloatArray:
    """Return the part of a line (P, 3) between two places along the log, no point of it twice."""
    from_m, to_m = max(low, line[0, 0]), min(high, line[-1, 0])
    if from_m >= to_m:
        return np.zeros((0, 3))
    inner = line[(line[:, 0] > from_m) & (line[:, 0] < to_m)]
    ends = [np.array([[x, *(np.interp(x, line[:, 0], line[:, k]) for k in (1, 2))]]) for x in (from_m, to_m)]
    points = np.concatenate([ends[0], inner, ends[1]])
    apart = np.linalg.norm(np.diff(points, axis=0), axis=1) > SAME_POINT_M
    clipped: FloatArray = points[np.concatenate([[True], apart])]
    return clipped
