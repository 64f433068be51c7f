"""From the bytes of a PLY file, text or binary, its elements in any order, to points, triangles and colours."""

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.cut_faces import check_face_count, cut_faces
from scans.formats.finite_points import check_corners, finite_rows
from scans.formats.ply_header import header_of, is_ply
from scans.formats.ply_rows import Column, Columns, columns_of
from scans.formats.point_columns import unit_normals
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray, IntArray
from scans.messages import Note

__all__ = ["is_ply", "read_ply"]

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_COLOURS = (("red", "green", "blue"), ("diffuse_red", "diffuse_green", "diffuse_blue"), ("r", "g", "b"))
_NORMALS = ("nx", "ny", "nz")
_FACE_LISTS = ("vertex_indices", "vertex_index")


def read_ply(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the points of a PLY, its faces cut into triangles, its normals, and colours of its points.

    data : the file's bytes. limits : at most limits.points points and limits.faces triangles are read.

    Elements may come in any order, and others than vertex, face and tristrips are passed over. PLY states neither
    unit nor up axis. Points may not be finite, unless a face uses them.

    Raises ScanError where the header promises other than the bytes hold, a face names no point, or the points are
    the centres of splats and not on a surface.
    """
    notes: list[Note] = []
    columns = columns_of(data, header_of(data, limits), limits, notes)
    vertex = columns["vertex"]
    points = _three(vertex, ("x", "y", "z"))
    if points is None:
        raise ScanError("the vertices of the file have no x, y and z; export the scan again")
    faces = np.concatenate(
        [
            _from_polygons(columns.get("face", {}), points, limits, notes),
            _from_strips(columns.get("tristrips", {}), points),
        ]
    )
    check_face_count(len(faces), limits)
    normals = _three(vertex, _NORMALS)
    return Scan(
        points,
        faces,
        _colours(vertex),
        None if normals is None else unit_normals(normals, points),
        notes=tuple(notes),
    )


def _three(vertex: Columns, names: tuple[str, ...]) -> FloatArray | None:
    """Return three columns of numbers (N, 3); None where they are not there."""
    found = [column for name in names if isinstance(column := vertex.get(name), np.ndarray)]
    return np.stack(found, axis=1, dtype=np.float64, casting="unsafe") if len(found) == 3 else None


def _from_polygons(faces: Columns, points: FloatArray, limits: ReadingLimits, notes: list[Note]) -> IntArray:
    column = next((faces[name] for name in _FACE_LISTS if name in faces), None)
    if column is None:
        if any(len(other[0] if isinstance(other, tuple) else other) for other in faces.values()):
            raise ScanError("the faces of the file name no vertices (vertex_indices); export the scan again")
        return np.zeros((0, 3), np.int64)
    sizes, corners = _list_of(column, len(points))
    return cut_faces(points, corners, sizes, limits, notes)[0]


def _list_of(column: Column, point_count: int, least: int = 0) -> tuple[IntArray, IntArray]:
    """Return lengths and corners of a list of vertices, each of them there."""
    if not isinstance(column, tuple):
        raise ScanError(f"the vertices of the file's faces are no list: {_DAMAGED}")
    sizes, corners = column
    if len(corners) and not least <= float(corners.min()) <= float(corners.max()) < point_count:
        raise ScanError(f"a face of the file names a vertex that is not among its {point_count}: {_DAMAGED}")
    if corners.dtype.kind == "f" and (corners != np.rint(corners)).any():
        raise ScanError(f"a face of the file names a vertex by no whole number: {_DAMAGED}")
    return sizes, corners.astype(np.int64)


def _from_strips(strips: Columns, points: FloatArray) -> IntArray:
    """Return the triangles of strips, each ended by -1 or with its row; every other triangle is turned."""
    column = next((strips[name] for name in _FACE_LISTS if name in strips), None)
    if column is None:
        return np.zeros((0, 3), np.int64)
    sizes, corners = _list_of(column, len(points), least=-1)
    check_corners(corners[corners >= 0], finite_rows(points))
    places = np.arange(len(corners))
    begins = np.zeros(len(corners), np.int64)
    begins[1:][corners[:-1] < 0] = places[1:][corners[:-1] < 0]
    firsts = (np.cumsum(sizes) - sizes)[sizes > 0]
    begins[firsts] = firsts
    since = places - np.maximum.accumulate(begins)
    triangles = np.stack([corners[:-2], corners[1:-1], corners[2:]], axis=1)
    is_turned = (since[2:] % 2 == 1)[:, None]
    triangles = np.where(is_turned, triangles[:, [1, 0, 2]], triangles)
    # A strip that turns a corner names a vertex twice: such a triangle is none.
    is_one = (since[2:] >= 2) & (triangles >= 0).all(axis=1) & (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return triangles[is_one]


def _colours(vertex: Columns) -> NDArray[np.uint8] | None:
    """Colours of the points: bytes as they are, words by their upper byte, fractions of 1 times 255."""
    names = next((names for names in _COLOURS if set(names) <= set(vertex)), None)
    if names is None:
        return None
    columns = [column for name in names if isinstance(column := vertex[name], np.ndarray)]
    if len(columns) < 3:
        return None
    if all(column.dtype == np.uint8 for column in columns):
        return np.stack(columns, axis=1).astype(np.uint8)
    shade = np.nan_to_num(np.stack(columns, axis=1, dtype=np.float64, casting="unsafe"))
    if all(column.dtype.kind == "f" for column in columns) and shade.max(initial=0.0) <= 1.0:
        shade *= 255.0
    elif shade.max(initial=0.0) > 255.0:
        shade = np.floor(shade / 256.0)
    return np.rint(np.clip(shade, 0.0, 255.0)).astype(np.uint8)
