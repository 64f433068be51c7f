"""Meshes as manifold3d bodies and back, and their sections across the log.

manifold3d slices closed meshes fast and refuses what is not closed, so that a volume is always one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, Error, Manifold, Mesh64, OpType

from scans.errors import OpenSolidError
from scans.log import FloatArray, IntArray, Solid


def body_from_mesh(vertices: FloatArray, faces: IntArray) -> Manifold:
    """Return the body of a closed mesh, (V, 3) vertices and (F, 3) faces.

    Raises OpenSolidError where the mesh does not enclose a body.
    """
    mesh = Mesh64(
        vert_properties=np.array(vertices, dtype=np.float64, order="C"),
        tri_verts=np.array(faces, dtype=np.uint64, order="C"),
    )
    body = Manifold(mesh)
    if body.status() != Error.NoError:
        raise OpenSolidError(
            f"the surface does not enclose a body ({body.status().name}): "
            "fix it in a mesh editor so that every edge has two faces",
        )
    return body


def mesh_from_body(body: Manifold) -> tuple[FloatArray, IntArray]:
    """Return (V, 3) vertices and (F, 3) faces of a body, faces anticlockwise from outside."""
    mesh = body.to_mesh64()
    vertices = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    return np.array(vertices), np.array(mesh.tri_verts, dtype=np.int64)


def solid_from_body(body: Manifold) -> Solid:
    """Return the Solid of a body."""
    return Solid(*mesh_from_body(body))


def united(bodies: Sequence[Manifold]) -> Manifold:
    """Return the union of bodies."""
    return Manifold.batch_boolean(list(bodies), OpType.Add)


@dataclass(frozen=True, eq=False)
class SectionPiece:
    """One connected part of a section across the log.

    area_m2 : its area, holes left out. [m2]
    girth_m : length of its rings, holes included. [m]
    centre_m : (2,) centroid (y, z). [m]
    region : the part itself, in (y, z).
    """

    area_m2: float
    girth_m: float
    centre_m: FloatArray
    region: CrossSection

    @property
    def diameter_m(self) -> float:
        """Diameter of the circle of equal area. [m]."""
        return float(2.0 * np.sqrt(self.area_m2 / np.pi))


@dataclass(frozen=True, eq=False)
class Section:
    """The wood in one plane across the log: its x, and its connected pieces, largest first."""

    x_m: float
    pieces: tuple[SectionPiece, ...]

    @property
    def area_m2(self) -> float:
        """Area of all pieces. [m2]."""
        return sum(piece.area_m2 for piece in self.pieces)

    @property
    def centre_m(self) -> FloatArray:
        """Centroid (y, z) of all pieces together, (2,). [m]."""
        weighted = sum((piece.area_m2 * piece.centre_m for piece in self.pieces), np.zeros(2))
        return np.asarray(weighted / self.area_m2)


def upended(body: Manifold, rotation: FloatArray | None = None) -> Manifold:
    """Return the body standing on its butt, so that a slice at height x has the coordinates (y, z).

    rotation : (3, 3), rows the x, y and z axes wanted, in the body's own frame; None leaves them.
    """
    axes = np.eye(3) if rotation is None else rotation
    matrix = np.zeros((3, 4))
    matrix[:, :3] = axes[[1, 2, 0]]
    return body.transform(matrix)


def extent_along(standing: Manifold) -> tuple[float, float]:
    """Least and greatest x of an upended body. [m]."""
    box = standing.bounding_box()
    return float(box[2]), float(box[5])


def section_at(standing: Manifold, x_m: float, least_area_m2: float = 1e-6) -> Section:
    """Section of an upended body at x; pieces under `least_area_m2` are left out."""
    pieces = []
    for region in standing.slice(x_m).decompose():
        area, girth, centre = _measures(region.to_polygons())
        if area >= least_area_m2:
            pieces.append(SectionPiece(area, girth, centre, region))
    pieces.sort(key=lambda piece: -piece.area_m2)
    return Section(float(x_m), tuple(pieces))


def _measures(rings: list[FloatArray]) -> tuple[float, float, FloatArray]:
    """Area, girth and centroid of a region from its rings, outer anticlockwise and holes clockwise."""
    area, girth, moment = 0.0, 0.0, np.zeros(2)
    for ring in rings:
        points = np.asarray(ring, dtype=np.float64)
        onward = np.roll(points, -1, axis=0)
        cross = points[:, 0] * onward[:, 1] - onward[:, 0] * points[:, 1]
        area += 0.5 * cross.sum()
        girth += np.linalg.norm(onward - points, axis=1).sum()
        moment += ((points + onward) * cross[:, None]).sum(axis=0) / 6.0
    return float(area), float(girth), moment / area if area > 0.0 else np.zeros(2)
