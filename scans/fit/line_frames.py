"""Curved lines through wood: smooth past measured middles, evenly divided, with a frame square to them everywhere."""

import numpy as np

from scans.log import FloatArray
from scans.solids.frame import axes_from

_STIFF = 3.0
"""How much a line resists bending: it follows what goes on over 1 m or more, and little of what is shorter (ours)."""

_UP = np.array([0.0, 0.0, 1.0])


def smooth_line(
    along_m: FloatArray, middles_m: FloatArray, trust: FloatArray, knots_m: FloatArray, tied: dict[int, FloatArray]
) -> FloatArray:
    """Points (K, D) at evenly spaced knots of a line past middles (N, D), which stand at places along it (N,).

    trust : (N,) weights. tied : points (D,) that knots must nearly go through.
    """
    count = len(knots_m)
    step = knots_m[1] - knots_m[0]
    place = np.clip((along_m - knots_m[0]) / step, 0.0, count - 1.0)
    i = np.minimum(place.astype(int), count - 2)
    rows = np.zeros((len(place), count))
    rows[np.arange(len(place)), i] = 1.0 - (place - i)
    rows[np.arange(len(place)), i + 1] += place - i
    weight = np.sqrt(trust)[:, None]
    bend = _STIFF * (0.1 / step) ** 1.5 * np.diff(np.eye(count), 2, axis=0)
    parts, right = [rows * weight, bend], [middles_m * weight, np.zeros((count - 2, middles_m.shape[1]))]
    for knot, point in tied.items():
        tie = np.zeros((1, count))
        tie[0, knot] = 3.0
        parts.append(tie)
        right.append(3.0 * point[None])
    return np.asarray(np.linalg.lstsq(np.concatenate(parts), np.concatenate(right), rcond=None)[0])


def lengths_along(points_m: FloatArray) -> FloatArray:
    """Length (K,) of a broken line (K, 3) from its first point to each. [m]."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points_m, axis=0), axis=1))])


def evenly(points_m: FloatArray, count: int) -> FloatArray:
    """Points (count, 3) at even lengths along a broken line (K, 3)."""
    along = lengths_along(points_m)
    wanted = np.linspace(0.0, along[-1], count)
    return np.stack([np.interp(wanted, along, points_m[:, k]) for k in range(points_m.shape[1])], axis=1)


def frames_along(points_m: FloatArray) -> FloatArray:
    """Frames (K, 3, 3) at the points (K, 3) of a line: rows along it, and two across that do not turn round it.

    Each frame is the one before, turned as the line turns (parallel transport).
    """
    chords = np.diff(points_m, axis=0)
    chords /= np.linalg.norm(chords, axis=1)[:, None]
    # A chord is square to the slice through its middle: at the ends the line has turned half as far again.
    ends = 3.0 * chords[[0, -1]] - chords[[min(1, len(chords) - 1), max(-2, -len(chords))]]
    tangents = np.concatenate([ends[:1], chords[:-1] + chords[1:], ends[1:]])
    tangents /= np.linalg.norm(tangents, axis=1)[:, None]
    frames = np.empty((len(points_m), 3, 3))
    frames[0] = axes_from(tangents[0], _UP)
    for k in range(1, len(points_m)):
        across = frames[k - 1, 1] - (frames[k - 1, 1] @ tangents[k]) * tangents[k]
        across /= np.linalg.norm(across)
        frames[k] = tangents[k], across, np.cross(tangents[k], across)
    return frames
