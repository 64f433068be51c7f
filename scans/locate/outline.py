"""How long and thick a log's points are, roughly, and which of its ends is the butt: to list and to name logs."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scans.log import FloatArray, IntArray

_SLICE_M = 0.06
_APART_M = 0.10
"""Two parts of a slice with a wider gap than this between them, seen from above, are two limbs."""

_FLANK = 1.5
"""A part so many times as high as wide is no limb but the flank of one whose top was not seen."""

_OUTERMOST = 0.0005
"""Share of the points at each end that may lie beyond it, as noise."""


@dataclass(frozen=True, eq=False)
class LogOutline:
    """A log as its points show it.

    length_m : along its axis. [m] diameter_m : of the circle as large as its middling slice. [m]
    volume_m3 : of ellipses as wide and high as its slices, none higher than wide. [m3]
    butt_m, top_m : (3,) middles of its ends, on its axis. [m] forked : whether one end is in several parts.
    """

    length_m: float
    diameter_m: float
    volume_m3: float
    butt_m: FloatArray
    top_m: FloatArray
    forked: bool

    def reversed_ends(self) -> "LogOutline":
        """Return the same with the other end as the butt."""
        return LogOutline(self.length_m, self.diameter_m, self.volume_m3, self.top_m, self.butt_m, self.forked)


def outline_of(points_m: FloatArray, up: FloatArray) -> LogOutline:
    """Return the outline of the points (N, 3) of one log. up : (3,) unit vector.

    The axis is the least-squares line through the middles of slices across it. The butt is the end that is
    in fewer parts, else the one with the larger slices.
    """
    axis = np.linalg.eigh(np.cov((points_m - points_m.mean(axis=0)).T))[1][:, 2]
    for _ in range(4):
        axis, middle = _through_slices(points_m, axis)
    x = (points_m - middle) @ axis
    low, high = np.quantile(x, [_OUTERMOST, 1.0 - _OUTERMOST])
    across = np.cross(up, axis)
    across /= max(float(np.linalg.norm(across)), 1e-9)
    y = (points_m - middle) @ across
    z = (points_m - middle) @ np.cross(axis, across)
    count = max(6, round((high - low) / _SLICE_M))
    slice_of = np.clip(((x - low) / max(high - low, 1e-9) * count).astype(np.int64), 0, count - 1)
    areas, parts = np.zeros(count), np.ones(count)
    for k in range(count):
        inside = slice_of == k
        areas[k], parts[k] = _area_and_parts(y[inside], z[inside])
    third = max(1, count // 3)
    first, last = float(parts[:third].mean()), float(parts[-third:].mean())
    forked = max(first, last) > 1.5
    butt_first = areas[:third].mean() >= areas[-third:].mean() if abs(first - last) < 0.5 else first < last
    ends = middle + low * axis, middle + high * axis
    butt, top = ends if butt_first else ends[::-1]
    return LogOutline(
        float(high - low),
        float(np.sqrt(4.0 / np.pi * np.median(areas))),
        float(areas.mean() * (high - low)),
        butt,
        top,
        forked,
    )


def _through_slices(points_m: FloatArray, axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Direction and a point of the line through the middles of slices across an axis, the ends left out."""
    x = points_m @ axis
    low, high = np.quantile(x, [0.03, 0.97])
    count = int(np.clip((high - low) / _SLICE_M, 6, 100))
    slice_of = np.floor((x - low) / max(high - low, 1e-9) * count).astype(np.int64)
    order = np.argsort(slice_of, kind="stable")
    bounds = np.searchsorted(slice_of[order], np.arange(count + 1))
    boxes = [points_m[order[a:b]] for a, b in pairwise(bounds) if b - a >= 8]
    if len(boxes) < 3:
        return axis, points_m.mean(axis=0)
    frame = np.linalg.svd(axis[None])[2][1:]
    # The middle of the extent, as one side may be seen much better than the other.
    middles = np.array(
        [0.5 * (np.quantile(box @ frame.T, 0.02, axis=0) + np.quantile(box @ frame.T, 0.98, axis=0)) for box in boxes]
    )
    at = np.array([float((box @ axis).mean()) for box in boxes])
    slopes, offsets = np.polyfit(at, middles, 1)
    turned = axis + slopes @ frame
    return turned / np.linalg.norm(turned), offsets @ frame


def _area_and_parts(y: FloatArray, z: FloatArray) -> tuple[float, int]:
    """Area of a slice as ellipses about its parts, and their number; those of a few points are left out."""
    if len(y) < 4:
        return 0.0, 1
    order = np.argsort(y, kind="stable")
    pieces = np.split(order, np.flatnonzero(np.diff(y[order]) > _APART_M) + 1)
    pieces = _flanks_joined([piece for piece in pieces if len(piece) >= max(4, 0.05 * len(y))], y, z)
    area = sum(np.ptp(y[piece]) * min(float(np.ptp(z[piece])), float(np.ptp(y[piece]))) for piece in pieces)
    return float(np.pi / 4.0 * area), max(1, len(pieces))


def _flanks_joined(pieces: list[IntArray], y: FloatArray, z: FloatArray) -> list[IntArray]:
    """Join the parts of a slice, from one side to the other, that are the two flanks of one stem or limb."""
    joined: list[IntArray] = []
    waiting = False
    for piece in pieces:
        flank = bool(np.ptp(z[piece]) > _FLANK * np.ptp(y[piece]))
        if flank and waiting:
            joined[-1] = np.concatenate([joined[-1], piece])
            waiting = False
        else:
            joined.append(piece)
            waiting = flank
    return joined
