"""Solids as pages draw them: one small binary file of triangles for a log's surface, and one for what it is sawn into.

The file, little-endian:

    4 bytes       "PSB1"
    uint32        length n of the head in bytes, a multiple of 4
    n bytes       the head: JSON in UTF-8, padded with spaces
    uint16        V x 3 places; in metres: offset_m + scale_m * value, log frame
    uint8         V, 255 where a scan saw the surface, 0 where it was guessed; padded with 0 to a multiple of 4
    uint16        F x 3 corners of the faces, anticlockwise from outside, each counted from its part's first vertex
    uint8         V x 4 red, green, blue and 255 where a scan told the colour of a vertex, 0 where not; only if the
                  head's `coloured` is true

The head:

    vertices, faces     V and F
    offset_m, scale_m   (3,) each
    up                  (3,) unit vector, log frame: what is up on the bed, or as the log lay
    levels              how many levels the parts lie on, one above the other
    parts               in order [{id, kind log | slab | waste | offcut | rest, vertices, faces, level}]; level counts
                        from 0 at the bottom, null for what does not move
    hearts              lines of the pith [[[x, y, z], ...], ...], heart_radius_m
    rods                marks [{id, kind, from, to, radius_m}], from the surface inwards
    guessed             whether a scan tells what it did not see
    coloured            whether colours follow the faces
"""

import json
import struct
from collections.abc import Sequence
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from optimizer.bed.bodies import manifold_of
from optimizer.bed.marks import rod_of
from optimizer.bed.zones import CIRCLE_POINTS
from optimizer.documents.plan import Mark, Plan
from scans.log import FloatArray, IntArray, Log, Solid
from service.drawings.slab_solids import parts_of

MAGIC = b"PSB1"
MOST_FACES = 40_000
STEPS = 65535
FIRST_TOLERANCE_M = 0.0003
"""What a surface with too many faces may move by at first; doubled until few enough are left."""
SHORTEST_ROD_M = 0.01

Mesh = tuple[FloatArray, IntArray]


def solid_buffer(log: Log, marks: Sequence[Mark] = ()) -> bytes:
    """Return a log's outer surface with its hearts, and marks as rods (but for the pith, which the hearts show)."""
    vertices, faces = simplified(log.outer)
    part = {"id": "", "kind": "log", "level": None}
    head = {
        "up": [0.0, 0.0, 1.0],
        "levels": 0,
        "hearts": [np.round(line, 4).tolist() for line in log.hearts],
        "heart_radius_m": log.heart_radius_m,
        "rods": [_rod(log, mark) for mark in marks if mark.kind != "pith"],
        "guessed": log.face_seen is not None,
    }
    return _packed(head, [(part, (vertices, faces))], _seen(log, vertices), _colours(log, vertices))


def plan_buffer(log: Log, plan: Plan, kerf_m: float) -> bytes:
    """Return what a plan makes of a log: slabs, waste and offcuts, where they grew."""
    parts = parts_of(log, plan, kerf_m)
    heights = sorted({round(part.height_m, 6) for part in parts if part.kind != "rest"})
    most = MOST_FACES
    bodies = [part.body for part in parts]
    tolerance_m = FIRST_TOLERANCE_M
    while sum(body.num_tri() for body in bodies) > most:
        bodies = [body.simplify(tolerance_m) for body in bodies]
        tolerance_m *= 2.0
    described: list[tuple[dict[str, Any], Mesh]] = []
    for part, body in zip(parts, bodies, strict=True):
        level = None if part.kind == "rest" else heights.index(round(part.height_m, 6))
        described.append(({"id": part.id, "kind": part.kind, "level": level}, _mesh_of(body)))
    head = {
        "up": [float(x) for x in np.array(plan.log_to_bed)[2, :3]],
        "levels": len(heights),
        "hearts": [],
        "heart_radius_m": log.heart_radius_m,
        "rods": [],
        "guessed": False,
    }
    vertex_count = sum(len(vertices) for _, (vertices, _) in described)
    return _packed(head, described, np.full(vertex_count, 255, dtype=np.uint8))


def simplified(solid: Solid, most_faces: int = MOST_FACES) -> Mesh:
    """Return vertices (V, 3) and faces (F, 3) of a closed solid with at most so many faces. [m]."""
    if len(solid.faces) <= most_faces:
        return solid.vertices_m, solid.faces
    body, tolerance_m = manifold_of(solid), FIRST_TOLERANCE_M
    while body.num_tri() > most_faces:
        body = body.simplify(tolerance_m)
        tolerance_m *= 2.0
    return _mesh_of(body)


def _mesh_of(body: manifold3d.Manifold) -> Mesh:
    mesh = body.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64)


def _seen(log: Log, vertices: FloatArray) -> NDArray[np.uint8]:
    if log.face_seen is None:
        return np.full(len(vertices), 255, dtype=np.uint8)
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    # The faces round a vertex, more or less: what most of them say.
    _, nearest = cKDTree(middles).query(vertices, k=min(5, len(middles)))
    share = log.face_seen[nearest.reshape(len(vertices), -1)].mean(axis=1)
    return np.where(share > 0.5, 255, 0).astype(np.uint8)


def _colours(log: Log, vertices: FloatArray) -> NDArray[np.uint8] | None:
    if log.colours is None:
        return None
    _, nearest = cKDTree(log.outer.vertices_m).query(vertices)
    known = np.where(log.colours.known[nearest], 255, 0).astype(np.uint8)
    return np.column_stack([log.colours.rgb[nearest], known])


def _rod(log: Log, mark: Mark) -> dict[str, Any]:
    deep = mark.model_copy(update={"depth_m": max(mark.depth_m, SHORTEST_ROD_M), "radius_m": max(mark.radius_m, 1e-3)})
    corners = rod_of(log, deep, 0.0).corners_m
    ends = corners[:CIRCLE_POINTS].mean(axis=0), corners[CIRCLE_POINTS:].mean(axis=0)
    start, end = (np.round(point, 4).tolist() for point in ends)
    return {"id": mark.id, "kind": mark.kind, "from": start, "to": end, "radius_m": mark.radius_m}


def _packed(
    head: dict[str, Any],
    parts: list[tuple[dict[str, Any], Mesh]],
    seen: NDArray[np.uint8],
    colours: NDArray[np.uint8] | None = None,
) -> bytes:
    vertices = np.concatenate([mesh[0] for _, mesh in parts])
    faces = np.concatenate([mesh[1] for _, mesh in parts])
    low = vertices.min(axis=0)
    scale = np.maximum(vertices.max(axis=0) - low, 1e-6) / STEPS
    head |= {
        "vertices": len(vertices),
        "faces": len(faces),
        "coloured": colours is not None,
        "offset_m": low.tolist(),
        "scale_m": scale.tolist(),
        "parts": [part | {"vertices": len(mesh[0]), "faces": len(mesh[1])} for part, mesh in parts],
    }
    text = json.dumps(head, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    places = np.round((vertices - low) / scale).astype("<u2").tobytes()
    padded = seen.tobytes()
    # Places take 6 bytes each, so that what is seen fills up to the next multiple of 4.
    padded += b"\0" * (-(len(places) + len(padded)) % 4)
    told = b"" if colours is None else colours.tobytes()
    return b"".join([MAGIC, struct.pack("<I", len(text)), text, places, padded, faces.astype("<u2").tobytes(), told])
