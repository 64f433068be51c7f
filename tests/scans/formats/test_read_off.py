"""OFF read whole, or refused. All files written here are invented; the odd ones come from outside."""

import numpy as np
import pytest
from odd_files import LIMITS, check_odd_files, damaged, outcome

from scans.errors import ScanError
from scans.formats.read_off import is_off, read_off
from scans.formats.scan import ReadingLimits

TET = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
POINTS = b"0 0 0\n1.0 0 0\n0 2e0 0\n0 0 3.0\n"
WHOLE = b"OFF\n4 4 6\n" + POINTS + b"3 0 2 1\n3 0 1 3\n3 1 2 3\n3 0 3 2\n"
ELL = b"OFF\n6 3\n0 0 0\n3 0 0\n3 1 0\n1 1 0\n1 3 0\n0 3 0\n6 0 1 2 3 4 5 255 0 0\n2 0 1\n3 0 1 2 0.5 0.5 0.5\n"


@pytest.mark.parametrize(
    "data",
    [
        WHOLE,
        WHOLE.replace(b"\n", b"\r\n"),
        WHOLE.removesuffix(b"\n"),
        WHOLE.replace(b"OFF\n", b"  OFF "),
        WHOLE.replace(b"\n", b" # an invented tetrahedron\n# 1 2 3\n\n"),
        WHOLE.replace(b"4 4 6", b"4 4"),
        WHOLE.decode().encode("utf-16"),
    ],
)
def test_a_mesh_comes_back_from_every_writing(data):
    scan = read_off(data, LIMITS)

    np.testing.assert_array_equal(scan.points, TET)
    np.testing.assert_array_equal(scan.faces, FACES)
    assert (scan.points.dtype, scan.faces.dtype) == (np.float64, np.int64)
    assert (scan.colours, scan.normals, scan.unit_m, scan.up, scan.notes[1:]) == (None, None, None, None, ())


def test_faces_of_any_size_are_cut_and_their_colours_passed_over():
    scan = read_off(ELL, LIMITS)

    a, b, c = (scan.points[scan.faces[:4, corner]] for corner in range(3))
    areas = np.cross(b - a, c - a)[:, 2] / 2.0
    assert (areas > 0.0).all()
    assert areas.sum() == pytest.approx(5.0)
    assert scan.faces[4:].tolist() == [[0, 1, 2]]
    assert [note.text for note in scan.notes] == ["1 faces with fewer than 3 corners were left out."]
    with pytest.raises(ScanError, match="5 faces, at most 4"):
        read_off(ELL, ReadingLimits(faces=4))


@pytest.mark.parametrize(
    ("head", "rows", "expected"),
    [
        (b"COFF", [b"255 0 9 255", b"1 2 3 255"], [[255, 0, 9], [1, 2, 3]]),
        (b"COFF", [b"1.0 0 0.2", b"0.4 0.6 0.8"], [[255, 0, 51], [102, 153, 204]]),
        (b"CNOFF", [b"0 0 1 255 0 9", b"0 1 0 1 2 3"], [[255, 0, 9], [1, 2, 3]]),
        (b"STCNOFF", [b"0 0 1 255 0 9 255 0.5 0.5", b"0 1 0 1 2 3 255 0.5 0.5"], [[255, 0, 9], [1, 2, 3]]),
        (b"NOFF", [b"0 0 1", b"0 1 0"], None),
    ],
)
def test_colours_of_points_stand_after_their_normals(head, rows, expected):
    data = head + b"\n2 0\n" + b"".join(b"%d 0 0 %b\n" % (at, row) for at, row in enumerate(rows))
    scan = read_off(data, LIMITS)

    assert scan.points.tolist() == [[0, 0, 0], [1, 0, 0]]
    assert (None if scan.colours is None else scan.colours.tolist()) == expected
    assert scan.notes == ()


def test_colours_that_are_none_are_named():
    scan = read_off(b"COFF\n1 0\n0 0 0 300.5 -1 0\n", LIMITS)
    assert scan.colours is None
    assert "colors of the file" in scan.notes[0].text


REFUSED = [
    (b"", "is empty"),
    (b"solid a\n", "does not begin as an OFF"),
    (WHOLE.replace(b"OFF", b"4OFF"), "four coordinates or more"),
    (WHOLE.replace(b"OFF", b"OFF BINARY"), "binary OFF"),
    (WHOLE.replace(b"4 4 6", b"four 4 6"), "names no counts"),
    (WHOLE.replace(b"4 4 6", b"0 0 0"), "holds no points"),
    (WHOLE.replace(b"4 4 6", b"4 5 6"), "promises 4 vertices and 5 faces, and has 8 lines"),
    (WHOLE.replace(b"4 4 6", b"60000001 4 6"), "60000001 points, at most 60000000"),
    (WHOLE.replace(b"4 4 6", b"4 5000001 6"), "5000001 faces, at most 5000000"),
    (WHOLE.replace(b"1.0 0 0", b"1.0 0"), "no table of numbers"),
    (WHOLE.replace(b"1.0 0 0", b"1,0 0 0"), "no table of numbers"),
    (WHOLE.replace(b"3 0 1 3", b"3 0 1 x"), "no row of numbers"),
    (WHOLE.replace(b"3 0 1 3", b"4 0 1 3"), "face 2 of the file has fewer corners"),
    (WHOLE.replace(b"3 0 1 3", b"-1 0 1 3"), "face 2 of the file has fewer corners"),
    (WHOLE.replace(b"3 0 1 3", b"3 0 1 4"), "not among its 4"),
    (WHOLE.replace(b"3 0 1 3", b"3 0 1 -1"), "not among its 4"),
    (WHOLE.replace(b"3 0 1 3", b"3 0 1 1.5"), "not among its 4"),
    (WHOLE.replace(b"1.0 0 0", b"nan 0 0"), "faces of the file use"),
    (b"OFF\n2 0\n0 0\n1 1\n", "have 2 coordinates"),
]


@pytest.mark.parametrize(("data", "line"), REFUSED)
def test_what_cannot_be_read_is_refused_in_one_line(data, line):
    with pytest.raises(ScanError, match=line) as caught:
        read_off(data, LIMITS)
    assert "\n" not in str(caught.value)


def test_the_first_bytes_tell_an_off():
    assert is_off(WHOLE)
    assert is_off(b"\t STCOFF8 6 12")
    assert not is_off(b"OFFICE\n")
    assert not is_off(b"ply\n")


def test_a_file_that_is_cut_off_is_never_half_read():
    for data in (WHOLE, ELL):
        # A last number that loses digits, or a colour that is not read, is a number still.
        least = data.rindex(b"3 0 ") + 6
        assert not [end for end in range(least) if outcome(read_off, data[:end]) is not None]
        assert outcome(read_off, data) is not None


def test_a_cloud_that_ends_within_a_number_is_refused():
    with pytest.raises(ScanError, match=r"breaks off at '0\.2'"):
        read_off(b"OFF\n9 0\n" + b"0.25 0.25 0.25\n" * 8 + b"0.25 0.25 0.2", LIMITS)


def test_damage_gives_a_whole_scan_or_one_line():
    outcomes = [outcome(read_off, odd) for data in (WHOLE, ELL) for odd in damaged(data, 300, 6)]
    assert 0 < sum(scan is None for scan in outcomes) < 600


def test_odd_files_are_read_or_refused_as_they_should(data_folder):
    check_odd_files(data_folder, ".off", read_off, at_least=5)
