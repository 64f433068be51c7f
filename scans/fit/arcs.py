"""Circles on which the arcs of a slice across a log lie: one for each stem or limb that the slice cuts.

Pairs of points propose the circles in which their normals meet, so that the two flanks of a trunk whose top was not
filmed are one circle.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from scans.log import FloatArray

_PROPOSALS = 300
_LEAST_TURN = np.sin(np.radians(25.0))
"""Two normals that turn less than this from one another say little of where they meet."""

_ALIKE = np.cos(np.radians(28.0))
"""A point is on a circle only if its normal points away from the middle of it, to within this."""

_TOLERANCE_M, _TOLERANCE_SHARE = 0.012, 0.06
_BINS = 36
_LEAST_COVER = 0.19
"""Share of a circle's girth that must be seen for it to count: 70 deg."""


@dataclass(frozen=True, eq=False)
class Arc:
    """A circle fitted to part of a slice: middle (2,) and radius, [m]; the share of its girth that is seen."""

    middle_m: FloatArray
    radius_m: float
    seen_share: float


def arcs_in(
    points_m: FloatArray, normals: FloatArray, radii_m: tuple[float, float], rng: Generator, most: int = 5
) -> list[Arc]:
    """Return the circles that the points of a slice lie on, the one with the longest arc first.

    points_m : (N, 2), about evenly spread over the surface. normals : (N, 2) unit, of either sign.
    radii_m : least and greatest radius. most : at most so many circles.

    Pairs of points propose the circles that their normals meet in; the best has the longest arc of points on
    it less the points within, as nobody sees into wood. Arcs apart from one another are one circle where they
    fit one, so that a strip that was not filmed divides no trunk.
    """
    left = np.arange(len(points_m))
    found: list[Arc] = []
    while len(found) < most and len(left) >= 8:
        proposal = _best(points_m[left], normals[left], points_m, radii_m, rng)
        if proposal is None:
            break
        middle, radius = proposal
        for _ in range(3):
            on = _on_circle(points_m[left], normals[left], middle[None], np.array([radius]))[0]
            if on.sum() < 6:
                break
            middle, radius = _fitted(points_m[left][on], middle, radius)
        on = _on_circle(points_m[left], normals[left], middle[None], np.array([radius]))[0]
        cover = _cover(points_m[left][on], middle)
        if on.sum() < 6 or cover < _LEAST_COVER or not radii_m[0] <= radius <= radii_m[1]:
            break
        found.append(Arc(middle, radius, cover))
        # What lies within belongs to no other circle either.
        off = np.linalg.norm(points_m[left] - middle, axis=1) > radius + 2.0 * _tolerance(radius)
        left = left[~on & off]
    return found


def _tolerance(radius_m: float | FloatArray) -> FloatArray:
    return np.maximum(_TOLERANCE_M, _TOLERANCE_SHARE * np.asarray(radius_m))


def _on_circle(points: FloatArray, normals: FloatArray, middles: FloatArray, radii: FloatArray) -> np.ndarray:
    """Which points (M, N) lie on which circles (M), by place and normal."""
    aside = points[None] - middles[:, None]
    far = np.linalg.norm(aside, axis=2)
    radial = np.abs((aside * normals[None]).sum(axis=2))
    return (np.abs(far - radii[:, None]) < _tolerance(radii)[:, None]) & (radial > _ALIKE * far)


def _best(
    points: FloatArray, normals: FloatArray, all_points: FloatArray, radii_m: tuple[float, float], rng: Generator
) -> tuple[FloatArray, float] | None:
    one, two = rng.integers(0, len(points), (2, _PROPOSALS))
    turn = normals[one, 0] * normals[two, 1] - normals[one, 1] * normals[two, 0]
    good = np.abs(turn) > _LEAST_TURN
    one, two, turn = one[good], two[good], turn[good]
    between = points[two] - points[one]
    first = (between[:, 0] * normals[two, 1] - between[:, 1] * normals[two, 0]) / turn
    middles = points[one] + first[:, None] * normals[one]
    near = np.linalg.norm(points[one] - middles, axis=1), np.linalg.norm(points[two] - middles, axis=1)
    radii = 0.5 * (near[0] + near[1])
    good = (np.abs(near[0] - near[1]) < 0.2 * radii) & (radii >= radii_m[0]) & (radii <= radii_m[1])
    middles, radii = middles[good], radii[good]
    if len(radii) == 0:
        return None
    on = _on_circle(points, normals, middles, radii)
    aside = points[None] - middles[:, None]
    bins = ((np.arctan2(aside[..., 1], aside[..., 0]) / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS
    covered = np.zeros((len(radii), _BINS), dtype=np.bool_)
    row, column = np.nonzero(on)
    covered[row, bins[row, column]] = True
    within = np.linalg.norm(all_points[None] - middles[:, None], axis=2) < (radii - 2.5 * _tolerance(radii))[:, None]
    spacing = 2.0 * np.pi / _BINS
    # A point within weighs as much as the arc that its neighbours would fill.
    share_in = within.sum(axis=1) / max(1, len(all_points)) * 2.0 * np.pi * np.median(radii)
    score = covered.sum(axis=1) * spacing * radii - share_in
    best = int(np.argmax(score))
    return middles[best], float(radii[best])


def _fitted(points: FloatArray, middle: FloatArray, radius: float) -> tuple[FloatArray, float]:
    """One Gauss-Newton step to the circle with the least sum of squared distances."""
    aside = points - middle
    far = np.linalg.norm(aside, axis=1)
    matrix = np.column_stack([-aside / far[:, None], -np.ones(len(far))])
    step = np.linalg.lstsq(matrix, -(far - radius), rcond=None)[0]
    return middle + step[:2], float(radius + step[2])


def _cover(points: FloatArray, middle: FloatArray) -> float:
    aside = points - middle
    bins = ((np.arctan2(aside[:, 1], aside[:, 0]) / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS
    return len(np.unique(bins)) / _BINS
