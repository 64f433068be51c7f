"""The benchmark logs: invented ones of several kinds, and the forked log of the data folder."""

import os
import sys
from pathlib import Path

import numpy as np
import trimesh

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "optimizer")]

import books  # noqa: E402
import shapes  # noqa: E402

from scans.log import Solid  # noqa: E402

DATA = Path(os.environ.get("PITHLINE_DATA", ROOT.parent / "shared" / "data"))


def refined(log, spacing_m=0.015):
    """Give a log a mesh as fine as a scan's."""
    body = shapes.manifold(log.outer).refine_to_length(spacing_m)
    mesh = body.to_mesh64()
    solid = Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    return shapes.log_of(solid, log.hearts, log.name)


def kinds():
    found = {
        "straight taper": refined(shapes.frustum(0.35, 0.28, 3.0)),
        "bent": refined(shapes.bent(0.08, 0.3, 3.0)),
        "fork": refined(shapes.forked(lumpy=0.06)),
    }
    path = DATA / "cc0" / "cc0_polyhaven_fork_log.ply"
    if path.exists():
        mesh = trimesh.load(path)
        vertices = mesh.vertices - [mesh.bounds[0, 0], 0.0, 0.0]
        found["scanned fork"] = shapes.log_of(Solid(vertices, np.asarray(mesh.faces)))
    else:
        print(f"no {path}: the scanned fork is left out")
    return {name: books.problem(log) for name, log in found.items()}
