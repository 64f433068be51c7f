"""A log's closed mesh as the bytes of a mesh file."""

import trimesh

from scans.log import Solid

MESH_SUFFIXES = (".ply", ".stl", ".obj", ".glb")


def mesh_file(body: Solid, suffix: str) -> bytes:
    """Return a solid (log frame, metres) as a file; suffix : one of MESH_SUFFIXES."""
    vertices_m = body.vertices_m
    if suffix == ".glb":  # y is up in this format by its standard (glTF 2.0, section 3.4)
        vertices_m = vertices_m[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    data = trimesh.Trimesh(vertices_m, body.faces, process=False).export(file_type=suffix[1:])
    return data.encode() if isinstance(data, str) else bytes(data)
