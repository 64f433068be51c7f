"""What stays on the bed before the first pass and after each: its bodies, and which supports each lies on.

Taken from the solid itself; for lays by the thousand see standing_table.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold
from shapely import Point

from optimizer.bed.bodies import flip_matrix, mass_centre, polygons_of
from optimizer.standing.supports import Support, SupportRules, supports_under, upended
from scans.log import FloatArray

SAME_PLACE_M = 0.001
"""A support lies under a body whose section is so near to the support's point."""


@dataclass(frozen=True)
class Body:
    """One connected body on the bed.

    volume_m3 : bark included. centre_m : its mass centre, even density taken; bed frame. supports : which of the bolt's
    supports it lies on.
    """

    volume_m3: float
    centre_m: tuple[float, float, float]
    supports: tuple[int, ...]


@dataclass(frozen=True)
class State:
    """What is on the bed at one time: after the pass at a height, None before the first.

    Slabs that stay on are taken off in the end, so that every state comes about with them too.
    """

    blade_height_m: float | None
    bodies: tuple[Body, ...]


@dataclass(frozen=True)
class OnBed:
    """A bolt as it lies, before or after a flip, and what becomes of it pass by pass; bed frame.

    from_m, to_m : where the bolt lies along the bed. flipped : whether on its sawn face.
    """

    from_m: float
    to_m: float
    supports: tuple[Support, ...]
    states: tuple[State, ...]
    flipped: bool = False


def on_bed(
    outer: Manifold,
    log_to_bed: FloatArray,
    blade_heights_m: Sequence[float],
    rules: SupportRules,
    flipped_heights_m: Sequence[float] | None = None,
) -> tuple[OnBed, ...]:
    """Follow a bolt through its passes: as it lies, and after a flip if there is one.

    outer : its outer surface, log frame. log_to_bed : (4, 4), rigid. blade_heights_m : of the passes.
    flipped_heights_m : of those after a flip onto the last sawn face, in the second bed frame; None without a flip.
    """
    standing = upended(outer, log_to_bed)
    box = standing.bounding_box()
    from_m, to_m = float(box[2]), float(box[5])
    bunks_m = rules.bunks_m(from_m, to_m)
    supports = supports_under(standing, bunks_m, rules)
    sides = [OnBed(from_m, to_m, supports, _states(standing, bunks_m, supports, blade_heights_m))]
    if flipped_heights_m is not None:
        if not blade_heights_m:
            raise ValueError("blade_heights_m: a flip needs a sawn face; give the passes before it")
        face_m = min(blade_heights_m)
        turned = upended(outer, flip_matrix(face_m) @ log_to_bed).trim_by_plane((0.0, 1.0, 0.0), 0.0)
        supports = supports_under(turned, bunks_m, rules)
        states = _states(turned, bunks_m, supports, flipped_heights_m)
        sides.append(OnBed(from_m, to_m, supports, states, flipped=True))
    return tuple(sides)


def _states(
    standing: Manifold, bunks_m: FloatArray, supports: Sequence[Support], heights_m: Sequence[float]
) -> tuple[State, ...]:
    states = [State(None, _bodies(standing, bunks_m, supports))]
    for height_m in sorted(heights_m, reverse=True):
        standing = standing.trim_by_plane((0.0, -1.0, 0.0), -float(height_m))
        states.append(State(float(height_m), _bodies(standing, bunks_m, supports)))
    return tuple(states)


def _bodies(standing: Manifold, bunks_m: FloatArray, supports: Sequence[Support]) -> tuple[Body, ...]:
    pieces = sorted((piece for piece in standing.decompose() if piece.volume() > 0.0), key=lambda p: -p.volume())
    under: list[list[int]] = [[] for _ in pieces]
    sections = [[polygons_of(piece.slice(float(x_m))) for x_m in bunks_m] for piece in pieces]
    for k, support in enumerate(supports):
        point = Point(support.y_m, support.height_m)
        apart_m = [
            min((part.distance(point) for part in by_bunk[support.bunk]), default=np.inf) for by_bunk in sections
        ]
        if pieces and min(apart_m) <= SAME_PLACE_M:
            under[int(np.argmin(apart_m))].append(k)
    return tuple(_body(piece, tuple(found)) for piece, found in zip(pieces, under, strict=True))


def _body(piece: Manifold, supports: tuple[int, ...]) -> Body:
    y, z, x = mass_centre(piece)
    return Body(float(piece.volume()), (x, y, z), supports)
