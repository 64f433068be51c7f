"""Only points that are somewhere: those that are not finite are left out, or refused where a surface needs them."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.scan import Scan
from scans.log import FloatArray, IntArray
from scans.messages import Note

_FAR = 1e50
"""Beyond this a coordinate is damage, in any unit, and its cube still is a number."""


def only_finite(scan: Scan) -> Scan:
    """Return a scan without its points that are no finite place, and a note that says how many those were.

    A coordinate that is no number, infinite or beyond 1e50 is no finite place. Faces keep their corners under new
    rows; colours and normals go with their points.

    Raises ScanError where a face uses such a point, as the surface would have a hole there, or no other points are.
    """
    if not len(scan.points):
        return scan
    with np.errstate(all="ignore"):
        # Nearly all scans are finite, and take no memory for the answer.
        if scan.points.min() > -_FAR and scan.points.max() < _FAR:
            return scan
    is_finite = finite_rows(scan.points)
    check_corners(scan.faces, is_finite)
    bad = int((~is_finite).sum())
    if bad == len(is_finite):
        raise ScanError(f"none of the {bad} points of the file has finite coordinates; export the scan again")
    new_rows = np.cumsum(is_finite) - 1
    return replace(
        scan,
        points=scan.points[is_finite],
        faces=new_rows[scan.faces],
        colours=None if scan.colours is None else scan.colours[is_finite],
        normals=None if scan.normals is None else scan.normals[is_finite],
        notes=(
            *scan.notes,
            Note("points_left_out", f"{bad} points whose coordinates are not finite numbers were left out."),
        ),
    )


def finite_rows(points: FloatArray) -> NDArray[np.bool_]:
    """Return which points (N, 3) are a finite place (N,)."""
    finite: NDArray[np.bool_] = np.all(np.abs(points) < _FAR, axis=1)
    return finite


def check_corners(corners: IntArray, is_finite: NDArray[np.bool_]) -> None:
    """Refuse faces, by the rows of their corners in any shape, that use a point that is no finite place (N,)."""
    used = np.unique(corners[~is_finite[corners]])
    if len(used):
        raise ScanError(
            f"{len(used)} points that faces of the file use have coordinates that are not finite numbers, the first of "
            f"them point {used[0] + 1}; fix or delete these faces and export the scan again"
        )
