"""The log's solids as general-purpose manifolds: cut by planes, split into pieces, weighed."""

from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from optimizer.bed.lay import Lay
from optimizer.bed.layer_masses import SurfaceNeighbours, neighbours_of
from scans.log import FloatArray, Log, Solid

HAIR_M = 1e-6
"""How far beside a face its neighbourhood is looked at."""
SPECK_M2 = 1e-8
"""Areas under this are rounding, not wood."""
SPECK_M3 = 1e-9
"""Volumes under this are rounding."""


def manifold_of(solid: Solid) -> manifold3d.Manifold:
    """Return a solid as a manifold. Raises ValueError where the library finds it no manifold."""
    # Copies: the library does not take read-only arrays.
    mesh = manifold3d.Mesh64(solid.vertices_m.copy(), solid.faces.astype(np.uint64))
    body = manifold3d.Manifold(mesh)
    if body.status() != manifold3d.Error.NoError:
        raise ValueError(f"the solid is no manifold: {body.status().name}; fix the mesh and read it again")
    return body


@dataclass(frozen=True, eq=False)
class LogBodies:
    """A log's solids in the log frame, made once for all lays.

    outer, wood : the whole; usable : the wood between the end trims.
    """

    log: Log
    end_trim_m: tuple[float, float]

    @cached_property
    def outer(self) -> manifold3d.Manifold:
        """The outer surface."""
        return manifold_of(self.log.outer)

    @cached_property
    def wood(self) -> manifold3d.Manifold:
        """The wood under the bark."""
        return self.outer if self.log.wood is self.log.outer else manifold_of(self.log.wood)

    @cached_property
    def usable(self) -> manifold3d.Manifold:
        """The wood between the end trims."""
        from_m, to_m = self.log.outer.bounds_m[0, 0], self.log.outer.bounds_m[1, 0]
        kept = self.wood.trim_by_plane((1.0, 0.0, 0.0), from_m + self.end_trim_m[0])
        return kept.trim_by_plane((-1.0, 0.0, 0.0), -(to_m - self.end_trim_m[1]))

    @cached_property
    def neighbours(self) -> SurfaceNeighbours:
        """The surface of the wood, with the faces beside each face."""
        return neighbours_of(self.log.wood)

    @cached_property
    def outer_neighbours(self) -> SurfaceNeighbours:
        """The outer surface, with the faces beside each face."""
        return self.neighbours if self.log.wood is self.log.outer else neighbours_of(self.log.outer)

    def on_bed(self, lay: Lay) -> "BedBodies":
        """Return the solids as they lie on the bed."""
        matrix = lay.log_to_bed[:3, :]
        outer = self.outer.transform(matrix)
        wood = outer if self.wood is self.outer else self.wood.transform(matrix)
        return BedBodies(outer, wood, self.usable.transform(matrix))


@dataclass(frozen=True, eq=False)
class BedBodies:
    """A log's solids in the bed frame."""

    outer: manifold3d.Manifold
    wood: manifold3d.Manifold
    usable: manifold3d.Manifold


def flip_matrix(face_m: float) -> FloatArray:
    """Return the 4x4 matrix of a flip: half a turn about bed x, the face at this height down on the bunks."""
    return np.array([[1.0, 0.0, 0.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, -1.0, face_m], [0.0, 0.0, 0.0, 1.0]])


def flipped_bodies(bed: BedBodies, face_m: float) -> BedBodies:
    """Return what is left under a sawn face, flipped onto it."""
    matrix = flip_matrix(face_m)[:3]

    def flip(body: manifold3d.Manifold) -> manifold3d.Manifold:
        return body.trim_by_plane((0.0, 0.0, -1.0), -face_m).transform(matrix)

    wood = flip(bed.wood)
    return BedBodies(wood if bed.wood is bed.outer else flip(bed.outer), wood, flip(bed.usable))


def polygons_of(section: manifold3d.CrossSection) -> list[Polygon]:
    """Return the connected parts of a section, each with its holes; specks left out. [m]."""
    parts = []
    for part in section.decompose():
        rings = part.to_polygons()
        if not rings:
            continue
        areas = [ring_area(np.asarray(ring)) for ring in rings]
        outer = int(np.argmax(areas))
        if areas[outer] < SPECK_M2:
            continue
        holes = [ring for k, ring in enumerate(rings) if k != outer]
        parts.append(orient(Polygon(rings[outer], holes)))
    return parts


def ring_area(ring: FloatArray) -> float:
    """Return the signed area of a ring (P, 2), positive anticlockwise. [m2]."""
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def rings_of(shape: Polygon | MultiPolygon) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return open rings (x, y): of each polygon the outer one, anticlockwise, then its holes."""
    rings: list[tuple[tuple[float, float], ...]] = []
    polygons = [shape] if isinstance(shape, Polygon) else [p for p in shape.geoms if isinstance(p, Polygon)]
    for part in polygons:
        if part.is_empty:
            continue
        turned = orient(part)
        rings += [
            tuple((float(x), float(y)) for x, y in shapely.get_coordinates(ring)[:-1])
            for ring in (turned.exterior, *turned.interiors)
        ]
    return tuple(rings)


def between(body: manifold3d.Manifold, lower_m: float, upper_m: float) -> manifold3d.Manifold:
    """Return the part of a body between two heights."""
    return body.trim_by_plane((0.0, 0.0, 1.0), lower_m).trim_by_plane((0.0, 0.0, -1.0), -upper_m)


def mass_centre(body: manifold3d.Manifold) -> tuple[float, float, float]:
    """Return the centre of mass of a body of even density. [m]."""
    mesh = body.to_mesh64()
    corners = np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts).astype(np.int64)]
    origin = corners.reshape(-1, 3).mean(axis=0)  # near the body, so that differences stay exact
    a, b, c = (corners[:, k] - origin for k in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    centre = origin + (volumes[:, None] * (a + b + c)).sum(axis=0) / (4.0 * volumes.sum())
    return float(centre[0]), float(centre[1]), float(centre[2])
