"""The polygons of a file cut into triangles, within what may be read, and what is odd about them noted."""

import numpy as np

from scans.errors import ScanError
from scans.formats.finite_points import check_corners, finite_rows
from scans.formats.polygons import triangles_of
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray
from scans.messages import Note


def cut_faces(
    points: FloatArray, corners: IntArray, counts: IntArray, limits: ReadingLimits, notes: list[Note]
) -> tuple[IntArray, IntArray]:
    """Return the triangles (F, 3) of polygons, and the polygon (F,) of each; add what is odd to the notes.

    points : (N, 3). corners : (K,) rows of `points`, polygon after polygon, all within range. counts : (P,) corners
    of each polygon. Polygons with fewer than three corners are left out, with a note.

    Raises ScanError where there are more than limits.faces triangles, or a corner is no finite place.
    """
    check_face_count(int(np.maximum(counts - 2, 0).sum()), limits)
    check_corners(corners, finite_rows(points))
    with np.errstate(under="ignore"):
        triangles, owners, crossed = triangles_of(points, corners, counts)
    few = int((counts < 3).sum())
    if few:
        notes.append(Note("faces_left_out", f"{few} faces with fewer than 3 corners were left out."))
    if crossed:
        notes.append(
            Note("faces_crossed", f"{crossed} faces cross themselves, and were cut into triangles as if they did not.")
        )
    return triangles, owners


def check_face_count(count: int, limits: ReadingLimits) -> None:
    """Refuse more faces than may be read."""
    if count > limits.faces:
        raise ScanError(
            f"the file has {count} faces, at most {limits.faces} are read; thin the mesh and export it again"
        )


def check_point_count(count: int, limits: ReadingLimits) -> None:
    """Refuse more points than may be read, and none."""
    if count == 0:
        raise ScanError("the file holds no points; export the scan again")
    if count > limits.points:
        raise ScanError(
            f"the file has {count} points, at most {limits.points} are read; thin the scan and export it again"
        )
