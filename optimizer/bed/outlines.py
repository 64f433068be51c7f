"""Exact widths of an outline: runs, areas and crosscuts from its polygon, no stations."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.polygon import orient

from scans.log import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class WidthProfile:
    """The width of a piece along the bed: straight between breakpoints, free to jump at them.

    x_m : (n + 1,) breakpoints, rising. left_m, right_m : (n,) width just after x_m[k] and just before
    x_m[k + 1]. A gap between two limbs is no width. [m]
    """

    x_m: FloatArray
    left_m: FloatArray
    right_m: FloatArray

    def clipped(self, from_m: float, to_m: float) -> "WidthProfile":
        """Return the profile between two places."""
        inner = self.x_m[(self.x_m > from_m) & (self.x_m < to_m)]
        x = np.concatenate([[from_m], inner, [to_m]])
        index = np.clip(np.searchsorted(self.x_m, x[:-1], side="right") - 1, 0, len(self.left_m) - 1)
        return WidthProfile(x, self._in_cell(index, x[:-1]), self._in_cell(index, x[1:]))

    def _in_cell(self, index: IntArray, x: FloatArray) -> FloatArray:
        start, end = self.x_m[index], self.x_m[index + 1]
        share = (x - start) / (end - start)
        found: FloatArray = self.left_m[index] + share * (self.right_m[index] - self.left_m[index])
        return found

    def area_m2(self, most_m: float = np.inf) -> float:
        """Return the sum of the width along x, counted up to `most_m`, exactly. [m2]."""
        a, b = self.left_m, self.right_m
        length = np.diff(self.x_m)
        whole = 0.5 * (a + b)
        both_over = np.minimum(a, b) >= most_m
        crosses = (np.maximum(a, b) > most_m) & ~both_over
        mean = np.where(both_over, most_m, whole)
        if crosses.any():
            low, high = np.minimum(a, b)[crosses], np.maximum(a, b)[crosses]
            over = (high - most_m) / (high - low)
            mean[crosses] = over * most_m + (1.0 - over) * 0.5 * (low + most_m)
        return float((length * mean).sum())

    def at_m(self, x: float) -> float:
        """Return the width at a place, just after it where it jumps. [m]."""
        index = np.clip(np.searchsorted(self.x_m, [x], side="right") - 1, 0, len(self.left_m) - 1)
        return float(self._in_cell(index, np.array([x]))[0])

    def least_m(self) -> float:
        """Return the narrowest width. [m]."""
        return float(min(self.left_m.min(), self.right_m.min()))

    def most_m(self) -> float:
        """Return the widest width. [m]."""
        return float(max(self.left_m.max(), self.right_m.max()))

    def runs(self, min_width_m: float, min_length_m: float) -> list[tuple[float, float]]:
        """Return where the width is at least the minimum, over at least the minimum length. [m]."""
        found: list[tuple[float, float]] = []
        start: float | None = None
        end = 0.0
        for k in range(len(self.left_m)):
            x0, x1, a, b = self.x_m[k], self.x_m[k + 1], self.left_m[k], self.right_m[k]
            rise = x0 if a == b else x0 + (min_width_m - a) / (b - a) * (x1 - x0)
            if start is not None and a < min_width_m:  # it jumped down at the breakpoint
                found.append((start, end))
                start = None
            if a >= min_width_m and start is None:
                start = float(x0)
            if a < min_width_m <= b:
                start = float(rise)
            if b >= min_width_m:
                end = float(x1)
            elif start is not None:
                found.append((start, float(rise)))
                start = None
        if start is not None:
            found.append((start, end))
        return [(a, b) for a, b in found if b - a >= min_length_m]


def width_profile(piece: Polygon) -> WidthProfile:
    """Return the exact width profile of a polygon with its holes, along x. [m].

    With rings anticlockwise outside and clockwise in holes, the width at x is the sum over the edges
    that cross it of -sign(dx) y: area = -integral of y dx round the rings.
    """
    turned = orient(piece)
    parts = [shapely.get_coordinates(ring) for ring in (turned.exterior, *turned.interiors)]
    a = np.concatenate([ring[:-1] for ring in parts])
    b = np.concatenate([ring[1:] for ring in parts])
    x = np.unique(np.concatenate([a[:, 0], b[:, 0]]))
    keep = np.concatenate([[True], np.diff(x) > 1e-12])
    x = x[keep]
    first, last = np.searchsorted(x, a[:, 0] - 1e-12), np.searchsorted(x, b[:, 0] - 1e-12)
    low, high = np.minimum(first, last), np.maximum(first, last)
    spans = high > low
    a, b, low, high = a[spans], b[spans], low[spans], high[spans]
    sign = -np.sign(b[:, 0] - a[:, 0])
    slope = (b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0])
    middle = 0.5 * (x[0] + x[-1])  # keeps the sums small, and so the differences exact
    n = len(x) - 1
    slopes, heights = np.zeros(n + 1), np.zeros(n + 1)
    level = a[:, 1] + slope * (middle - a[:, 0])
    for where, way in ((low, sign), (high, -sign)):
        np.add.at(slopes, where, way * slope)
        np.add.at(heights, where, way * level)
    slopes, heights = np.cumsum(slopes)[:n], np.cumsum(heights)[:n]
    left = np.maximum(0.0, heights + slopes * (x[:-1] - middle))
    right = np.maximum(0.0, heights + slopes * (x[1:] - middle))
    return WidthProfile(x, left, right)


def crosscut(
    profile: WidthProfile, run: tuple[float, float], min_length_m: float, max_length_m: float, max_width_m: float
) -> list[tuple[float, float]]:
    """Cut a run longer than buyers take into spans. [m].

    The fewest equal lengths; where these would be under the minimum, the part of maximum length with
    the greatest area.
    """
    start, end = run
    length = end - start
    if length <= max_length_m:
        return [run]
    parts = ceil(length / max_length_m - 1e-12)
    if length / parts >= min_length_m:
        edges = [start + length * k / parts for k in range(parts + 1)]
        return list(pairwise(edges))
    places = profile.x_m[(profile.x_m >= start) & (profile.x_m <= end)]
    candidates = np.concatenate([[start, end - max_length_m], places, places - max_length_m])
    candidates = candidates[(candidates >= start) & (candidates <= end - max_length_m + 1e-12)]
    areas = [profile.clipped(x, x + max_length_m).area_m2(max_width_m) for x in candidates]
    best = float(candidates[int(np.argmax(areas))])
    return [(best, best + max_length_m)]
