"""Points that are nowhere left out with a note, or refused where a face uses them. All points are invented."""

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats.finite_points import only_finite
from scans.formats.scan import Scan
from scans.messages import Note

POINTS = np.arange(15.0).reshape(5, 3)
COLOURS = np.arange(15, dtype=np.uint8).reshape(5, 3)
NORMALS = np.eye(3)[[0, 1, 2, 0, 1]]


def with_bad(value, row=1):
    points = POINTS.copy()
    points[row, 2] = value
    return points


def test_a_finite_scan_is_left_as_it_is():
    scan = Scan(POINTS, np.array([[0, 1, 2]]), notes=(Note("a", "A."),))
    assert only_finite(scan) is scan


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e51, -1e300])
def test_points_that_are_nowhere_are_left_out_and_named(value):
    scan = Scan(
        with_bad(value),
        np.array([[0, 2, 3], [4, 2, 0]]),
        COLOURS,
        NORMALS,
        unit_m=0.01,
        up="y",
        notes=(Note("a", "A first note."),),
    )

    clean = only_finite(scan)

    rest = [0, 2, 3, 4]
    np.testing.assert_array_equal(clean.points, POINTS[rest])
    np.testing.assert_array_equal(clean.colours, COLOURS[rest])
    np.testing.assert_array_equal(clean.normals, NORMALS[rest])
    np.testing.assert_array_equal(clean.faces, [[0, 1, 2], [3, 1, 0]])
    assert (clean.unit_m, clean.up) == (0.01, "y")
    assert [note.text for note in clean.notes] == [
        "A first note.",
        "1 points whose coordinates are not finite numbers were left out.",
    ]


def test_a_face_that_uses_one_is_refused():
    with pytest.raises(ScanError, match=r"1 points that faces of the file use .* the first of them point 2"):
        only_finite(Scan(with_bad(np.nan), np.array([[0, 1, 2], [1, 2, 3]])))


def test_a_cloud_of_none_is_refused():
    with pytest.raises(ScanError, match="none of the 5 points"):
        only_finite(Scan(POINTS * np.nan))
