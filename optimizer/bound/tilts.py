"""Tilts outside of which no lay has a support under both its thirds: for the bound, so that it holds them all."""

import numpy as np
from scipy.spatial import ConvexHull

from optimizer.bed.lay import STEEPEST_TILT_DEG
from scans.log import FloatArray

TILT_STEP_DEG = 0.25
"""How far apart tilts are tried (our own rule, no source)."""


def tilts_that_reach(outline_m: FloatArray, highest_m: float, moved_m: float) -> tuple[float, float] | None:
    """Return the least and greatest tilt at which a log may have supports in both thirds; None where at none. [deg].

    outline_m : (P, 2) x and rolled z of its points, the corners of its convex hull among them. highest_m : of a
    support. moved_m : how far a point may lie from where it is taken, and then twice as far two from each other.

    The log's underside lies nowhere below that of its hull, and the gap at a bunk is no less than the hull's there. A
    tilt between two that are tried is no more than half a step from one of them, and moves no point farther than that
    times how far it lies from the middle.
    """
    hull = outline_m[ConvexHull(outline_m).vertices]
    hull = hull - 0.5 * (hull.min(axis=0) + hull.max(axis=0))
    # Tilts between those tried move the hull itself, and where its thirds end, by so much.
    half_deg = 0.5 * TILT_STEP_DEG
    off_m = moved_m + float(np.linalg.norm(hull, axis=1).max()) * np.radians(half_deg)
    tilts_deg = np.linspace(-STEEPEST_TILT_DEG, STEEPEST_TILT_DEG, round(2.0 * STEEPEST_TILT_DEG / TILT_STEP_DEG) + 1)
    t = np.radians(tilts_deg)[:, None]
    x = hull[:, 0] * np.cos(t) - hull[:, 1] * np.sin(t)
    z = hull[:, 0] * np.sin(t) + hull[:, 1] * np.cos(t)
    from_m, to_m = x.min(axis=1), x.max(axis=1)
    third_m = (to_m - from_m) / 3.0 + 4.0 * off_m
    reach = np.ones(len(t), dtype=np.bool_)
    for way, border_m in ((1.0, from_m + third_m), (-1.0, to_m - third_m)):
        corners_m = np.where(way * x <= (way * border_m)[:, None], z, np.inf).min(axis=1)
        gaps_m = np.minimum(corners_m, _lower_at(x, z, border_m)) - z.min(axis=1)
        reach &= gaps_m <= highest_m + 2.0 * off_m
    found = tilts_deg[reach]
    return (float(found[0]) - half_deg, float(found[-1]) + half_deg) if len(found) else None


def _lower_at(x: FloatArray, z: FloatArray, at_m: FloatArray) -> FloatArray:
    """Return (T,) the lower border of convex polygons (T, P) at a place each; infinite beside them."""
    x1, z1 = np.roll(x, -1, axis=1), np.roll(z, -1, axis=1)
    at = at_m[:, None]
    crosses = (np.minimum(x, x1) <= at) & (np.maximum(x, x1) >= at) & (x != x1)
    share = np.divide(at - x, x1 - x, out=np.zeros_like(x), where=x != x1)
    found: FloatArray = np.where(crosses, z + share * (z1 - z), np.inf).min(axis=1)
    return found
