"""A log's closed mesh as the bytes of a mesh file.

A .glb is written y up, as its standard says, and turned back when read; other mesh files are z up.
"""

import numpy as np
from numpy.typing import NDArray

from scans.log import Solid, SurfaceColours

MESH_SUFFIXES = (".ply", ".stl", ".obj", ".glb")
_COLOURED = (".ply", ".glb")
"""The others have no colours of vertices by their standard."""


def mesh_file(body: Solid, suffix: str, colours: SurfaceColours | None = None) -> bytes:
    """Return a solid (log frame, metres) as a file; suffix : one of MESH_SUFFIXES.

    colours : of its vertices; written as a .ply and a .glb have them.
    """
    vertices_m = body.vertices_m
    if suffix == ".glb":  # y is up in this format by its standard (glTF 2.0, section 3.4)
        vertices_m = vertices_m[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    import trimesh  # noqa: PLC0415 - a fifth of a second that only a written mesh need wait for

    mesh = trimesh.Trimesh(vertices_m, body.faces, process=False)
    if colours is not None and suffix in _COLOURED:
        rgb = _linear(colours.rgb) if suffix == ".glb" else colours.rgb
        opaque = np.full((len(rgb), 1), 255, dtype=np.uint8)
        mesh.visual = trimesh.visual.ColorVisuals(mesh, vertex_colors=np.hstack([rgb, opaque]))
    data = mesh.export(file_type=suffix[1:])
    return data.encode() if isinstance(data, str) else bytes(data)


def _linear(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return shares of light (V, 3), as a .glb has at its vertices (glTF 2.0, 3.9.2), of sRGB (IEC 61966-2-1)."""
    share = rgb / 255.0
    light = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.round(255.0 * light).astype(np.uint8)
