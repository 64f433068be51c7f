"""What stays on the bed before the first pass and after each: its bodies, and which supports each lies on.

Taken from the solid itself; for lays by the thousand see standing_table.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold
from shapely import Point

from optimizer.bed.bodies import flip_matrix, mass_centre, polygons_of
from optimizer.bed.layer_masses import layer_mass, neighbours_of
from optimizer.standing.supports import Support, SupportRules, supports_under, upended
from scans.log import FloatArray, Solid

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


def centre_of(bodies: Sequence[Body]) -> tuple[float, float, float]:
    """Return the mass centre of bodies together, even density taken; bed frame. [m]."""
    x, y, z = np.average([body.centre_m for body in bodies], axis=0, weights=[body.volume_m3 for body in bodies])
    return float(x), float(y), float(z)


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
    # To cut a body of a hundred thousand faces takes a hundred times as long as to weigh what lies under a height.
    mesh = standing.to_mesh64()
    points_m = np.asarray(mesh.vert_properties)[:, [2, 0, 1]]
    faces = np.asarray(mesh.tri_verts).astype(np.int64)
    surface = neighbours_of(Solid(points_m, faces))
    states = []
    for height_m in (None, *sorted(heights_m, reverse=True)):
        top_m = np.inf if height_m is None else float(height_m)
        under = layer_mass(points_m, surface, -np.inf, top_m)
        if under.parts == 1 and under.volume_m3 > 0.0:
            on = tuple(k for k, support in enumerate(supports) if support.height_m <= top_m)
            bodies: tuple[Body, ...] = (Body(under.volume_m3, under.centre_m, on),)
        else:
            left = standing if height_m is None else standing.trim_by_plane((0.0, -1.0, 0.0), -top_m)
            bodies = _bodies(left, bunks_m, supports)
        states.append(State(None if height_m is None else top_m, bodies))
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
