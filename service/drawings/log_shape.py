"""The outer form of a log as drawings and tables need it: cut across every so often."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, radians, sin

import numpy as np
from shapely import MultiPoint, Polygon, unary_union
from shapely.geometry.base import BaseGeometry

from optimizer.bed.bodies import manifold_of, polygons_of, rings_of
from optimizer.bed.buck_cuts import BuckCut
from optimizer.documents.plan import LogFound, Mark
from scans.log import FloatArray, Log
from service.drawings.bucked import kept_of_hull
from service.drawings.svg import Ring

INSIDE_M = 0.001
"""Ends are cut this far inside."""
MOST_SECTIONS = 60
_FINE_M = 0.001
_ACROSS_FIRST = np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0]])
_TURNS_DEG = np.arange(0.0, 180.0, 3.0)


@dataclass(frozen=True)
class Cut:
    """The log cut across at log x: outer surface and wood, as rings (y, z). [m]."""

    x_m: float
    outer_m: tuple[Ring, ...]
    wood_m: tuple[Ring, ...]

    @property
    def outer(self) -> list[Polygon]:
        """Its parts, largest first."""
        parts = [Polygon(ring) for ring in self.outer_m if len(ring) > 2]
        return sorted((part for part in parts if part.is_valid), key=lambda part: -part.area)


@dataclass(frozen=True)
class LogShape:
    """A log's form. cuts : butt end first. hearts : lines (n, 3), the stem's first. Log frame. [m]."""

    length_m: float
    cuts: tuple[Cut, ...]
    hearts: tuple[FloatArray, ...]
    marks: tuple[Mark, ...]

    @property
    def butt(self) -> Cut:
        """The first cut that is no splinter of a ragged end."""
        whole = [cut for cut in self.cuts if cut.outer]
        largest = max(cut.outer[0].area for cut in whole[:3])
        return next(cut for cut in whole if cut.outer[0].area > 0.6 * largest)


@dataclass(frozen=True)
class Taped:
    """What a tape and calipers would find at a place: of each part across, the widest way, square to it, and round it.

    wide_m, narrow_m, girth_m : of the largest part. parts : how many. [m].
    """

    x_m: float
    wide_m: float
    narrow_m: float
    girth_m: float
    parts: int


def shape_found(log: LogFound) -> LogShape:
    """Return the form of a plan document's log."""
    cuts = tuple(Cut(section.x_m, section.outer_m, section.wood_m) for section in log.sections)
    return LogShape(log.length_m, cuts, tuple(np.array(line) for line in log.hearts), log.marks)


def shape_of(log: Log, spacing_m: float, marks: Sequence[Mark]) -> LogShape:
    """Return the form of a log that has no document yet, cut at both ends and about every `spacing_m`."""
    low, high = (float(x) for x in log.outer.bounds_m[:, 0])
    count = int(np.clip(round((high - low) / spacing_m), 4, MOST_SECTIONS))
    places = np.linspace(low + INSIDE_M, high - INSIDE_M, count + 1)
    outer = manifold_of(log.outer).transform(_ACROSS_FIRST)
    wood = outer if log.wood is log.outer else manifold_of(log.wood).transform(_ACROSS_FIRST)

    def rings(turned: object, x_m: float) -> tuple[Ring, ...]:
        parts = polygons_of(turned.slice(x_m))  # type: ignore[attr-defined]
        return tuple(ring for part in parts for ring in rings_of(part.simplify(_FINE_M)))

    cuts = tuple(Cut(float(x), rings(outer, float(x)), rings(wood, float(x))) for x in places)
    return LogShape(log.length_m, cuts, log.hearts, tuple(marks))


def taped(cut: Cut) -> Taped | None:
    """Return what a tape would find at a cut; None where there is no wood."""
    if not cut.outer:
        return None
    part = cut.outer[0].convex_hull
    points = np.array(part.exterior.coords)
    turns = np.radians(_TURNS_DEG)
    along = points @ np.stack([np.cos(turns), np.sin(turns)])
    across_m = np.ptp(along, axis=0)
    wide = int(np.argmax(across_m))
    narrow = (wide + len(_TURNS_DEG) // 2) % len(_TURNS_DEG)
    return Taped(cut.x_m, float(across_m[wide]), float(across_m[narrow]), float(part.length), len(cut.outer))


def silhouette(
    cuts: Sequence[Cut], onto: FloatArray, bucked: Sequence[BuckCut] = (), hearts: Sequence[FloatArray] = ()
) -> BaseGeometry:
    """Return what the log covers, seen along a direction: the hulls of neighbouring cuts together.

    onto : (2, 4) from log x, y, z, 1 to the picture. A stem and its limbs are joined part by part. bucked : what is
    beyond these is left out. hearts : the log's, where limbs are bucked.
    """
    hulls = []
    for before, after in pairwise(cuts):
        pairs = {
            (a, b)
            for a, first in enumerate(before.outer)
            for b, second in enumerate(after.outer)
            if _meet(first, second)
        }
        for a, b in sorted(pairs):
            points = np.concatenate([on_cut(before.outer[a], before.x_m), on_cut(after.outer[b], after.x_m)])
            points = kept_of_hull(points, bucked, hearts)
            if len(points):
                hulls.append(_hull(points @ onto[:, :3].T + onto[:, 3]))
    return unary_union(hulls)


def _meet(first: Polygon, second: Polygon) -> bool:
    """Tell whether parts of two neighbouring cuts are one stem's or limb's, which may lean."""
    near_m = 0.5 * min(first.area, second.area) ** 0.5
    return bool(first.distance(second) < near_m)


def on_cut(part: Polygon, x_m: float) -> FloatArray:
    """Return the corners of a part of a cut, (n, 3), log frame. [m]."""
    ring = np.array(part.exterior.coords)[:-1]
    return np.column_stack([np.full(len(ring), x_m), ring])


def _hull(points: FloatArray) -> BaseGeometry:
    return MultiPoint(points).convex_hull


def clock_place(shape: LogShape, mark: Mark) -> float:
    """Return where on the girth a mark is: clockwise from upright seen from the butt. [deg]."""
    middle = _middle(shape, mark.x_m)
    return float(np.degrees(np.arctan2(-(mark.y_m - middle[0]), mark.z_m - middle[1])) % 360.0)


def _middle(shape: LogShape, x_m: float) -> tuple[float, float]:
    parts = [cut for cut in shape.cuts if cut.outer]
    cut = min(parts, key=lambda cut: abs(cut.x_m - x_m))
    centre = unary_union(cut.outer).centroid
    return float(centre.x), float(centre.y)


def towards(turn_deg: float) -> tuple[float, float]:
    """Return the direction (y, z) of an angle that is clockwise from upright, seen from the butt."""
    return -sin(radians(turn_deg)), cos(radians(turn_deg))
