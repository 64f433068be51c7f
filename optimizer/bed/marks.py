"""Places on the log that the user points out, and what follows from them: rods, hearts, keep-outs.

A mark is a rod, `radius_m` round, from its place on the surface `depth_m` inwards: towards the nearest
heart, or, where none is known, the middle of the wood there; from an end face, along x. Rods are made on the
whole log, and what is crosscut from it holds the part of them that lies in it: a cut is no end face.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import cos, radians, sin

import numpy as np

from optimizer.bed.zones import Zone, rod
from optimizer.documents.plan import Mark
from optimizer.documents.prices import Deduct
from scans.log import FloatArray, Log, Solid
from scans.messages import Refusal, long_length, named

END_FACE_M = 0.02
"""A mark so near to an end of the log is on its end face."""
FLAWS = ("knot", "rot", "crack", "bark_pocket")


class MarkError(Refusal):
    """A mark that has no place on the log."""


def place_on_girth(log: Log, at_m: float, toward_deg: float) -> FloatArray:
    """Return the place on the outer surface at a distance along the log and an angle round it, (3,). [m].

    at_m : from the butt end, log x. toward_deg : from upright, clockwise seen from the butt, about the heart
    there (else the middle of the section). Raises MarkError beyond the log.
    """
    if not 0.0 <= at_m <= log.length_m:
        raise MarkError(
            f"{named('at')} must lie on the log, in 0 to {long_length(log.length_m)}, got {long_length(at_m)}",
            field="at",
        )
    ends = log.outer.bounds_m[:, 0]
    x = float(np.clip(ends[0] + at_m, ends[0] + 1e-4, ends[1] - 1e-4))
    middle = _middle_at(log, x)
    # Clockwise from up, seen along +x with y to the left, goes up, right (-y), down.
    way = np.array([-sin(radians(toward_deg)), cos(radians(toward_deg))])
    segments = section_of(log.outer, x)
    a, b = segments[:, 0] - middle, segments[:, 1] - middle
    side_a, side_b = a @ [way[1], -way[0]], b @ [way[1], -way[0]]
    crosses = (side_a <= 0.0) != (side_b <= 0.0)
    share = side_a[crosses] / (side_a[crosses] - side_b[crosses])
    along = (a[crosses] + share[:, None] * (b[crosses] - a[crosses])) @ way
    along = along[along > 0.0]
    if not len(along):
        raise MarkError(
            f"at {long_length(at_m)} there is no surface towards {toward_deg:g} degrees",
            "check the place",
            field="toward_deg",
        )
    y, z = middle + float(along.max()) * way
    return np.array([x, y, z])


def section_of(solid: Solid, x: float) -> FloatArray:
    """Return the segments (S, 2, 2) of (y, z) of a solid's section at x."""
    corners = solid.vertices_m[solid.faces]
    above = corners[:, :, 0] > x
    met = corners[above.any(axis=1) & ~above.all(axis=1)]
    found = []
    for triangle in met:
        points = [
            p + (q - p) * (x - p[0]) / (q[0] - p[0])
            for p, q in zip(triangle, np.roll(triangle, -1, axis=0), strict=True)
            if (p[0] > x) != (q[0] > x)
        ]
        found.append([points[0][1:], points[1][1:]])
    return np.array(found).reshape(-1, 2, 2)


def _middle_at(log: Log, x: float) -> FloatArray:
    hearts = [_on_line(line, x) for line in log.hearts if line[0, 0] <= x <= line[-1, 0]]
    if hearts:
        return np.mean(hearts, axis=0)
    return middle_of(section_of(log.outer, x))


def middle_of(segments: FloatArray) -> FloatArray:
    """Return the middle (2,) of a section's outline, given as its segments (S, 2, 2), whatever their order. [m]."""
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    middle: FloatArray = (segments.mean(axis=1) * length[:, None]).sum(axis=0) / length.sum()
    return middle


def _on_line(line: FloatArray, x: float) -> FloatArray:
    return np.array([np.interp(x, line[:, 0], line[:, k]) for k in (1, 2)])


def rod_of(log: Log, mark: Mark, share: float) -> Zone:
    """Return the rod of a mark on a log. log : the whole, as marks are placed on it; a crosscut is no end face."""
    butt_m, top_m = (float(x) for x in log.outer.bounds_m[:, 0])
    return rod_towards(mark, log.hearts, (butt_m, top_m), share, lambda x: _middle_at(log, x))


def rod_towards(
    mark: Mark,
    hearts: Sequence[FloatArray],
    ends_m: tuple[float, float],
    share: float,
    middle_at: Callable[[float], FloatArray],
) -> Zone:
    """Return the rod of a mark; see `inwards` for the rest."""
    start = np.array([mark.x_m, mark.y_m, mark.z_m])
    return rod(start, start + mark.depth_m * inwards(start, hearts, ends_m, middle_at), mark.radius_m, share)


def inwards(
    place_m: FloatArray,
    hearts: Sequence[FloatArray],
    ends_m: tuple[float, float],
    middle_at: Callable[[float], FloatArray],
) -> FloatArray:
    """Return the unit vector from a place on the surface into the log, (3,); log frame.

    hearts : (P, 3) each. [m] ends_m : log x of the butt and the top end. middle_at : the middle (2,) of (y, z) of
    the wood at a log x, asked where no heart is known.
    """
    if place_m[0] - ends_m[0] < END_FACE_M:
        return np.array([1.0, 0.0, 0.0])
    if ends_m[1] - place_m[0] < END_FACE_M:
        return np.array([-1.0, 0.0, 0.0])
    nearest = [_nearest_on_line(line, place_m) for line in hearts]
    if nearest:
        target = min(nearest, key=lambda point: float(np.linalg.norm(point - place_m)))
    else:
        target = np.array([place_m[0], *middle_at(float(place_m[0]))])
    way = target - place_m
    length = float(np.linalg.norm(way))
    return way / length if length > 0.0 else np.array([0.0, 0.0, -1.0])


def _nearest_on_line(line: FloatArray, point: FloatArray) -> FloatArray:
    a, b = line[:-1], line[1:]
    # A point given twice makes a segment without length: its nearest is the point itself.
    squared = np.maximum(((b - a) ** 2).sum(axis=1), np.finfo(float).tiny)
    along = np.clip(((point - a) * (b - a)).sum(axis=1) / squared, 0.0, 1.0)
    on = a + along[:, None] * (b - a)
    nearest: FloatArray = on[int(np.argmin(((on - point) ** 2).sum(axis=1)))]
    return nearest


def flaw_zones(log: Log, marks: Sequence[Mark], deduct: Deduct) -> tuple[Zone, ...]:
    """Return the rods of knots, rot, cracks and bark pockets with the shares of the price that they cost."""
    return tuple(
        replace(rod_of(log, mark, getattr(deduct, mark.kind)), hides_figure=mark.kind == "bark_pocket")
        for mark in marks
        if mark.kind in FLAWS
    )


def metal_rods(log: Log, marks: Sequence[Mark]) -> tuple[Zone, ...]:
    """Return the rods of metal."""
    return tuple(rod_of(log, mark, 0.0) for mark in marks if mark.kind == "metal")


def with_pith(log: Log, marks: Sequence[Mark]) -> Log:
    """Return the log with its heart drawn through the pith that was seen on its ends.

    Pith at both ends of a log whose heart is not known gives a straight heart. Where it is known, its ends
    move to the pith, and what lies between moves by its share of both; of two at the butt the later counts.
    Raises MarkError for pith that is on no end, and for one end alone of a log without a heart.
    """
    butt_m, top_m = log.outer.bounds_m[:, 0]
    piths = [np.array([mark.x_m, mark.y_m, mark.z_m]) for mark in marks if mark.kind == "pith"]
    butts = [p for p in piths if p[0] - butt_m < END_FACE_M]
    tops = [p for p in piths if top_m - p[0] < END_FACE_M]
    if len(butts) + len(tops) < len(piths):
        raise MarkError("pith is marked where it is seen, on an end of the log", "give it at an end", field="at")
    if not piths:
        return log
    if not log.hearts:
        if not (butts and tops):
            raise MarkError("pith is marked on one end only, and the heart is not known", "mark it on both ends")
        return replace(log, hearts=(np.array([butts[-1], tops[-1]]),))
    lines = [line.copy() for line in log.hearts]
    if butts:
        _move_end(lines[0], butts[-1], first=True)
    for pith in tops:
        ending = lines[1:] or lines
        nearest = min(ending, key=lambda line: float(np.linalg.norm(line[-1] - pith)))
        _move_end(nearest, pith, first=False)
    return replace(log, hearts=tuple(lines))


def _move_end(line: FloatArray, to: FloatArray, *, first: bool) -> None:
    end, other = (0, -1) if first else (-1, 0)
    share = (line[:, 0] - line[other, 0]) / (line[end, 0] - line[other, 0])
    line[:, 1:] += share[:, None] * (to[1:] - line[end, 1:])
