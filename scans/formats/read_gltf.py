"""From the bytes of a GLB or glTF, all parts of its scene in their places, to points, triangles and colours."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.gltf_accessors import DAMAGED, Gltf, listed, numbers, whole, within
from scans.formats.gltf_colours import Pictures
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray, IntArray
from scans.messages import Note

_READ_UNBENT = Note("read_unbent", "A part of the file is bent by a skeleton, and was read unbent.")
_HARMLESS = re.compile(r"KHR_materials_\w+|KHR_lights_punctual|KHR_texture_basisu|KHR_xmp_json_ld")
"""What only changes how a surface looks, so that its points and faces are whole without."""
_READ = {"KHR_texture_transform", "EXT_texture_webp"}
_POINTS, _TRIANGLES, _STRIP, _FAN = 0, 4, 5, 6


@dataclass(frozen=True)
class _Part:
    points: FloatArray
    faces: IntArray
    colours: NDArray[np.uint8] | None


def is_glb(data: bytes) -> bool:
    """Whether a file begins as a GLB does."""
    return data[:4] == b"glTF"


def is_gltf(data: bytes) -> bool:
    """Whether a file looks like the text of a glTF."""
    return re.match(rb"(\xef\xbb\xbf)?\s*\{", data[:1000]) is not None and b'"asset"' in data


def read_gltf(data: bytes, limits: ReadingLimits, side_files: Mapping[str, bytes] | None = None) -> Scan:
    """Return all meshes and clouds of a glTF's scene as one scan, each where its nodes put it; y is up, in metres.

    data : the bytes of a GLB, or of a .gltf with its buffers as data: addresses or among the side files.
    limits : at most limits.points points, counted for each part that uses them, and limits.faces triangles.
    side_files : contents by names as they are beside the .gltf; a name of a folder deeper is found too.

    Coordinates keep the file's own axes. Points that no triangle of their part uses are left out, as nothing draws
    them. Faces under a mirroring node are turned. Colours come only where every part has them. Lines are left out.
    Layout and meaning: Khronos Group, glTF 2.0 specification.

    Raises ScanError where the file is cut off or damaged, draws on files that are not with it, needs an extension
    that is not read, or holds neither triangles nor points or more of them than may be read.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    if not (is_glb(data) or is_gltf(data)):
        raise ScanError("the file does not begin as a GLB or glTF does; check what it is and rename it")
    gltf = Gltf(data, limits, side_files or {})
    _check_version(gltf.tree)
    pictures, notes = Pictures(gltf), list[Note]()
    drawn = list(_drawn(gltf, notes))
    parts = list(_parts(gltf, drawn, pictures, limits, notes))
    if not sum(len(part.points) for part in parts):
        raise ScanError("the file holds no points; export the scan again")
    if len(drawn) > 1:
        notes.append(Note("parts_joined", f"The file holds a scene of {len(drawn)} parts, read as one."))
    coloured = [part.colours for part in parts if part.colours is not None]
    if coloured and len(coloured) < len(parts):
        notes.append(Note("colours_not_on_all", "A part of the file has no colors, so that none are used."))
    starts = np.cumsum([0, *(len(part.points) for part in parts)])
    return Scan(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.faces + start for part, start in zip(parts, starts[:-1], strict=True)]),
        colours=np.concatenate(coloured) if len(coloured) == len(parts) else None,
        unit_m=1.0,
        up="y",
        notes=(*notes, *pictures.notes),
    )


def _check_version(tree: dict[str, Any]) -> None:
    version = str(within(tree, "asset").get("version", ""))
    if not re.fullmatch(r"2\.\d+", version):
        raise ScanError(f"the file is glTF of version {version[:20]!r}, only 2 is read; export it again as GLB")
    needed = sorted({str(name)[:60] for name in listed(tree, "extensionsRequired")})
    unread = [name for name in needed if name not in _READ and not _HARMLESS.fullmatch(name)]
    if unread:
        raise ScanError(
            f"the file needs {', '.join(unread)[:300]}, which is not read; export it uncompressed, as plain GLB"
        )


def _drawn(gltf: Gltf, notes: list[Note]) -> Iterator[tuple[dict[str, Any], FloatArray]]:
    """Yield each mesh that the scene draws, with the (4, 4) matrix from its own axes to the scene's."""
    scenes, nodes = listed(gltf.tree, "scenes"), listed(gltf.tree, "nodes")
    if not nodes:
        for number in range(len(listed(gltf.tree, "meshes"))):
            yield gltf.item("meshes", number), np.eye(4)
        return
    if scenes:
        if len(scenes) > 1:
            notes.append(
                Note("first_scene", f"The file holds {len(scenes)} scenes, and the one that it shows first was read.")
            )
        roots = listed(gltf.item("scenes", gltf.tree.get("scene", 0)), "nodes")
    else:
        below = [child for number in range(len(nodes)) for child in listed(gltf.item("nodes", number), "children")]
        named = {child for child in below if isinstance(child, int)}
        roots = [number for number in range(len(nodes)) if number not in named]
    waiting: list[tuple[object, FloatArray]] = [(root, np.eye(4)) for root in reversed(roots)]
    seen: set[object] = set()
    while waiting:
        name, above = waiting.pop()
        node = gltf.item("nodes", name)
        if name in seen:
            raise ScanError(f"node {name} of the file hangs in its scene twice: {DAMAGED}")
        seen.add(name)
        with np.errstate(all="ignore"):
            matrix = above @ _own_matrix(node)
        if "mesh" in node:
            if "skin" in node and _READ_UNBENT not in notes:
                notes.append(_READ_UNBENT)
            yield gltf.item("meshes", node["mesh"]), matrix
        waiting.extend((child, matrix) for child in reversed(listed(node, "children")))


def _own_matrix(node: dict[str, Any]) -> FloatArray:
    """Return a node's (4, 4) matrix to the node above: as given, column after column, or of turn, scale and shift."""
    if "matrix" in node:
        return numbers(node, "matrix", (0.0,) * 16).reshape(4, 4).T
    x, y, z, w = numbers(node, "rotation", (0.0, 0.0, 0.0, 1.0))
    matrix = np.eye(4)
    matrix[:3, :3] = [
        [1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - z * w), 2.0 * (x * z + y * w)],
        [2.0 * (x * y + z * w), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - x * w)],
        [2.0 * (x * z - y * w), 2.0 * (y * z + x * w), 1.0 - 2.0 * (x * x + y * y)],
    ]
    matrix[:3, :3] *= numbers(node, "scale", (1.0, 1.0, 1.0))
    matrix[:3, 3] = numbers(node, "translation", (0.0, 0.0, 0.0))
    return matrix


def _parts(
    gltf: Gltf,
    drawn: list[tuple[dict[str, Any], FloatArray]],
    pictures: Pictures,
    limits: ReadingLimits,
    notes: list[Note],
) -> Iterator[_Part]:
    point_count = face_count = line_count = 0
    for mesh, matrix in drawn:
        if any(weight != 0 for weight in listed(mesh, "weights")):
            notes.append(Note("read_unshaped", "A part of the file is shaped by weights, and was read without them."))
        for primitive in listed(mesh, "primitives"):
            if not isinstance(primitive, dict):
                raise ScanError(f"a mesh of the file holds no parts: {DAMAGED}")
            mode = whole(primitive, "mode", "mesh", _TRIANGLES)
            if mode in {1, 2, 3}:
                line_count += 1
                continue
            if mode not in {_POINTS, _TRIANGLES, _STRIP, _FAN}:
                raise ScanError(f"a mesh of the file is of mode {mode}, which no glTF has: {DAMAGED}")
            found = _part(gltf, primitive, mode, matrix, pictures, limits)
            if found is None:
                continue
            count, part = found
            point_count += count
            face_count += len(part.faces)
            _check_limit(point_count, limits.points, "points")
            _check_limit(face_count, limits.faces, "faces")
            yield part
    if line_count:
        notes.append(Note("lines_left_out", f"{line_count} parts of the file are lines, and were left out."))


def _check_limit(count: int, most: int, name: str) -> None:
    if count > most:
        raise ScanError(f"the file has {count} {name}, at most {most} are read; thin it and export it again")


def _part(
    gltf: Gltf, primitive: dict[str, Any], mode: int, matrix: FloatArray, pictures: Pictures, limits: ReadingLimits
) -> tuple[int, _Part] | None:
    """Return how many points a primitive draws on, and what it shows; None where it has no places, as it may."""
    attributes = within(primitive, "attributes")
    if "POSITION" not in attributes:
        return None
    rows, _ = gltf.array(attributes["POSITION"], limits.points)
    if rows.shape[1] != 3 or rows.dtype.kind != "f":
        raise ScanError(f"the points of the file are not three numbers of 32 bits each: {DAMAGED}")
    count = len(rows)
    colours = pictures.colours(primitive, count)
    corners = gltf.indices(primitive["indices"], 3 * limits.faces + limits.points) if "indices" in primitive else None
    if corners is not None and len(corners) and int(corners.max()) >= count:
        raise ScanError(
            f"a face of the file names point {int(corners.max())}, and its part has {count} points: {DAMAGED}"
        )
    with np.errstate(all="ignore"):
        points = rows.astype(np.float64)
        if not np.array_equal(matrix, np.eye(4)):
            points = points @ matrix[:3, :3].T + matrix[:3, 3]
        is_mirrored = bool(np.linalg.det(matrix[:3, :3]) < 0.0) if np.isfinite(matrix).all() else False
    if mode == _POINTS:
        if corners is not None:
            points, colours = points[corners], None if colours is None else colours[corners]
        return max(count, len(points)), _Part(points, np.zeros((0, 3), dtype=np.int64), colours)
    faces = _faces(np.arange(count) if corners is None else corners, mode)
    if is_mirrored:
        faces = faces[:, ::-1]
    used = np.zeros(count, dtype=bool)
    used[faces] = True
    if not used.all():
        faces = (np.cumsum(used) - 1)[faces]
        points, colours = points[used], None if colours is None else colours[used]
    return count, _Part(points, np.ascontiguousarray(faces, dtype=np.int64), colours)


def _faces(corners: IntArray, mode: int) -> IntArray:
    """Return triangles (F, 3) of a row of corners (glTF 2.0, section 3.7.2.1)."""
    if mode == _TRIANGLES:
        if len(corners) % 3:
            raise ScanError(f"the triangles of the file have {len(corners)} corners, no multiple of three: {DAMAGED}")
        return corners.reshape(-1, 3)
    first = np.arange(max(len(corners) - 2, 0))
    if mode == _FAN:
        faces = np.stack([corners[first + 1], corners[first + 2], corners[np.zeros_like(first)]], axis=1)
    else:
        odd = first % 2
        faces = np.stack([corners[first], corners[first + 1 + odd], corners[first + 2 - odd]], axis=1)
    # Strips are joined by triangles that name a corner twice.
    twice = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    return faces[~twice]
