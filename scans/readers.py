"""From the bytes of a mesh file to plain arrays: PLY, OBJ, STL, OFF and GLB. No geometry is done here."""

import io
import json
import re
import struct
from collections.abc import Callable

import numpy as np
import trimesh

from scans.errors import ScanError
from scans.log import FloatArray, IntArray

MOST_FACES = 5_000_000
"""A file with more faces is refused: thin it first."""

_EXPORT = "export a closed mesh as PLY, OBJ, STL, OFF or GLB"
_DAMAGED = "the file is cut off or damaged; copy or export it again"


def read_mesh(data: bytes, suffix: str) -> tuple[FloatArray, IntArray]:
    """Return vertices (V, 3) and faces (F, 3) of a mesh file.

    data : the file's bytes.
    suffix : its ending, with or without the dot, in either case.

    Vertices at the same place are merged. Units are the file's, except GLB, which is in metres by its
    standard (glTF 2.0, section 3.4) and whose y is up: it comes out z up, (x, y, z) as (x, -z, y).

    Raises ScanError where the ending is unknown, the file is damaged or cut off, holds points without
    faces, coordinates that are not finite, or more than 5 million faces.
    """
    kind = suffix.lower().lstrip(".")
    if kind not in _PROMISED:
        raise ScanError(f"the file's ending is .{kind or '(none)'}, which is not read; {_EXPORT}")
    if not data.strip():
        raise ScanError("the file is empty; copy or export it again")
    promised = _PROMISED[kind](data)
    if promised is not None:
        _check_count(promised)
    vertices, faces = _loaded(data, kind)
    if len(faces) == 0:
        if len(vertices) or promised == 0:
            raise ScanError(f"the file holds points without faces; scans as points are not read yet: {_EXPORT}")
        raise ScanError(f"no faces were found in the file: {_DAMAGED}")
    _check_count(len(faces))
    if promised is not None and len(faces) < promised:
        raise ScanError(f"the file promises {promised} faces, and {len(faces)} could be read: {_DAMAGED}")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise ScanError(f"a face of the file names a vertex that is not there: {_DAMAGED}")
    used = vertices[np.unique(faces)]
    if not np.isfinite(used).all():
        bad = int((~np.isfinite(used).all(axis=1)).sum())
        raise ScanError(
            f"{bad} vertices of the file are not finite numbers; delete them in a mesh editor and export again"
        )
    if kind == "glb":
        vertices = np.stack([vertices[:, 0], -vertices[:, 2], vertices[:, 1]], axis=1)
    return vertices, faces


def _check_count(count: int) -> None:
    if count > MOST_FACES:
        raise ScanError(f"the file has {count} faces, at most {MOST_FACES} are read; thin the mesh and export it again")


def _loaded(data: bytes, kind: str) -> tuple[FloatArray, IntArray]:
    """Vertices and faces as trimesh reads them, all meshes of a scene together, duplicates merged."""
    try:
        scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False)
        parts = scene.dump() if scene.geometry else []
    except MemoryError:
        raise ScanError(f"the file asks for more memory than there is: {_DAMAGED}") from None
    except Exception as error:
        # The library raises whatever its parsers meet; all of it means that the file cannot be read.
        raise ScanError(f"the file could not be read as {kind.upper()} ({type(error).__name__}): {_DAMAGED}") from error
    vertices, faces, count = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)], 0
    for part in parts:
        if not hasattr(part, "vertices") or np.ndim(part.vertices) != 2 or part.vertices.shape[1] != 3:
            continue
        vertices.append(np.asarray(part.vertices, dtype=np.float64))
        if hasattr(part, "faces"):
            faces.append(np.asarray(part.faces, dtype=np.int64).reshape(-1, 3) + count)
        count += len(part.vertices)
    points, corners = np.concatenate(vertices), np.concatenate(faces)
    if len(corners) == 0 or corners.max() >= len(points) or not np.isfinite(points).all():
        return points, corners
    mesh = trimesh.Trimesh(points, corners, process=False)
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    return np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.int64)


def _promised_ply(data: bytes) -> int | None:
    """Faces that a PLY header promises."""
    head = data[:20_000].partition(b"end_header")[0]
    if not data.lstrip().startswith(b"ply"):
        raise ScanError(
            "the file's ending is .ply, but it does not begin as a PLY does; check what it is and rename it"
        )
    found = re.search(rb"element\s+face\s+(\d+)", head)
    return int(found[1]) if found else 0


def _promised_stl(data: bytes) -> int | None:
    """Faces of a binary STL by its count, of a text one by its facets."""
    count = struct.unpack("<I", data[80:84])[0] if len(data) >= 84 else 0
    if len(data) == 84 + 50 * count:
        return int(count)
    facets = data.count(b"endfacet")
    if facets:
        if b"endsolid" not in data[-2000:]:
            raise ScanError(f"the text of the file ends before its solid does: {_DAMAGED}")
        return facets
    raise ScanError(f"the file has {len(data)} bytes, and an STL of {count} faces has {84 + 50 * count}: {_DAMAGED}")


def _promised_off(data: bytes) -> int | None:
    """Faces that an OFF header promises; vertices more than there are lines are refused."""
    if not data.lstrip().upper().startswith((b"OFF", b"COFF", b"NOFF", b"STOFF")):
        raise ScanError(
            "the file's ending is .off, but it does not begin as an OFF does; check what it is and rename it"
        )
    text = re.sub(rb"#[^\n]*", b"", data)
    numbers = re.findall(rb"[-+.\deE]+", text.lstrip()[3:400].lstrip(b"OFF"))
    if len(numbers) < 3:
        raise ScanError(f"the header of the file names no counts: {_DAMAGED}")
    vertex_count, face_count = int(float(numbers[0])), int(float(numbers[1]))
    if vertex_count + face_count > text.count(b"\n") + 1:
        raise ScanError(
            f"the file promises {vertex_count} vertices and {face_count} faces, more than its lines: {_DAMAGED}"
        )
    return face_count


def _promised_obj(data: bytes) -> int | None:
    """Triangles that the face lines of an OBJ make."""
    if b"\x00" in data[:4000] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ScanError("the file's ending is .obj, but it is no text; check what it is and rename it")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return None
    if not re.search(rb"^\s*v\s", data, re.MULTILINE):
        raise ScanError("the file's ending is .obj, but it holds no vertices; check what it is and rename it")
    corners = [
        line.split(b"#")[0].split()[1:]
        for line in data.replace(b"\\\n", b" ").split(b"\n")
        if line.lstrip()[:2] in {b"f ", b"f\t"}
    ]
    return sum(max(0, len(line) - 2) for line in corners)


def _promised_glb(data: bytes) -> int | None:
    """Check a GLB's length, and that it needs no decoder that is not here; counts come with reading."""
    if data[:4] != b"glTF" or len(data) < 20:
        raise ScanError(
            "the file's ending is .glb, but it does not begin as a GLB does; check what it is and rename it"
        )
    length, head = struct.unpack("<I", data[8:12])[0], struct.unpack("<I", data[12:16])[0]
    if len(data) < length:
        raise ScanError(f"the file has {len(data)} of its {length} bytes: {_DAMAGED}")
    try:
        tree = json.loads(data[20 : 20 + head])
        needed = sorted(set(tree.get("extensionsRequired", [])) & _COMPRESSED)
        most = max((int(accessor["count"]) for accessor in tree.get("accessors", [])), default=0)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ScanError(f"the file's table of contents cannot be read: {_DAMAGED}") from error
    if needed:
        raise ScanError(
            f"the mesh in the file is compressed ({', '.join(needed)}), which is not read; export it uncompressed"
        )
    _check_count(most // 3)
    return None


_COMPRESSED = {"EXT_meshopt_compression", "KHR_draco_mesh_compression", "KHR_mesh_quantization"}

_PROMISED: dict[str, Callable[[bytes], int | None]] = {
    "ply": _promised_ply,
    "obj": _promised_obj,
    "stl": _promised_stl,
    "off": _promised_off,
    "glb": _promised_glb,
}
