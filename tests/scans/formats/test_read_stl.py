"""STL, binary and text, read whole or refused. All files written here are invented; the odd ones come from outside."""

import struct

import numpy as np
import pytest
from odd_files import LIMITS, check_odd_files, damaged, outcome

from scans.errors import ScanError
from scans.formats import number_text
from scans.formats.finite_points import only_finite
from scans.formats.read_stl import is_binary_stl, read_stl
from scans.formats.scan import ReadingLimits

TET = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
CORNERS = TET[FACES.ravel()]


def binary(corners=CORNERS, head=b"solid invented"):
    facets = corners.reshape(-1, 9)
    rows = b"".join(struct.pack("<12fH", 0, 0, 0, *row, 65535) for row in facets)
    return head.ljust(80) + struct.pack("<I", len(facets)) + rows


def text(corners=CORNERS, name="invented"):
    rows = []
    for facet in corners.reshape(-1, 3, 3).tolist():
        lines = "".join("      vertex {} {} {}\n".format(*corner) for corner in facet)
        rows.append(f"  facet normal 0 0 nan\n    outer loop\n{lines}    endloop\n  endfacet\n")
    return f"solid {name}\n{''.join(rows)}endsolid {name}\n".encode()


@pytest.mark.parametrize(
    "data",
    [
        binary(),
        binary(head=b"made up"),
        text(),
        text().upper(),
        text(name=""),
        text(name="facet vertex endsolid"),
        text().replace(b"\n", b"\r\n"),
        text().replace(b"    ", b"\t"),
        text().replace(b"\n", b"\n\n").removesuffix(b"\n\n"),
        b"solid nothing\nendsolid nothing\n" + text(),
        text(CORNERS[:6]) + text(CORNERS[6:], "other"),
        b"\xef\xbb\xbf" + text(),
        b"\n " + text(),
    ],
)
@pytest.mark.parametrize("block_bytes", [1, 1 << 25])
def test_a_mesh_comes_back_from_every_writing(monkeypatch, data, block_bytes):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    scan = read_stl(data, LIMITS)

    np.testing.assert_array_equal(scan.points, CORNERS)
    np.testing.assert_array_equal(scan.faces, np.arange(12).reshape(4, 3))
    assert (scan.points.dtype, scan.faces.dtype) == (np.float64, np.int64)
    assert (scan.colours, scan.normals, scan.unit_m, scan.up, scan.notes) == (None, None, None, None, ())


REFUSED = [
    (b"", "is empty"),
    (b"ply\n", "does not begin as an STL"),
    (b"PK" + bytes(300), "an STL of 0 faces has 84"),
    (binary()[:-1], "the file has 283 bytes, and an STL of 4 faces has 284"),
    (binary() + b"\0", "the file has 285 bytes"),
    (binary(CORNERS[:0]), "holds no faces"),
    (text(CORNERS[:0]), "holds no faces"),
    (text().removesuffix(b"endsolid invented\n"), "ends before its solid"),
    (text() + b"solid more\n", "ends before its solid"),
    (b"solid more\n" + text(), "ends before its solid"),
    (text().replace(b"endsolid", b"facet"), "ends before its solid"),
    (text().replace(b"outer", b"x").replace(b"endloop", b"outer").replace(b"x", b"endloop"), "not whole"),
    (text().replace(b"1.0 0.0 0.0", b"1.0 0.0", 1).replace(b"2.0 0.0", b"2.0 0.0 0.0", 1), "have three numbers"),
    (text().replace(b"endloop", b"", 1), "a facet of the file is not whole"),
    (text().replace(b"vertex", b"vertexes", 1), "a facet of the file is not whole"),
    (text().replace(b"vertex", b"corner", 1), "a facet of the file is not whole"),
    (text().replace(b"1.0", b"1,0", 1), "does not have three numbers"),
    (text().replace(b"1.0 0.0", b"1.0", 1), "does not have three numbers"),
    (text().replace(b"1.0 0.0", b"1.0 0.0 0.0", 1), "does not have three numbers"),
    (text().replace(b"outer loop", b"endloop", 1).replace(b"endloop", b"outer loop", 2), "not whole"),
]


@pytest.mark.parametrize(("data", "line"), REFUSED)
def test_what_cannot_be_read_is_refused_in_one_line(data, line):
    with pytest.raises(ScanError, match=line) as caught:
        read_stl(data, LIMITS)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("write", [binary, text])
def test_too_many_faces_and_corners_that_are_nowhere_are_refused(write):
    assert len(read_stl(write(), ReadingLimits(faces=4)).faces) == 4
    with pytest.raises(ScanError, match="4 faces, at most 3"):
        read_stl(write(), ReadingLimits(faces=3))
    with pytest.raises(ScanError, match="faces of the file use"):
        only_finite(read_stl(write(np.where(CORNERS == 3.0, np.nan, CORNERS)), LIMITS))


def test_the_length_tells_a_binary_stl():
    assert is_binary_stl(binary())
    assert not is_binary_stl(binary()[:-1])
    assert not is_binary_stl(text())
    assert not is_binary_stl(b"solid")


@pytest.mark.parametrize("data", [binary(), text()])
def test_a_file_that_is_cut_off_is_never_half_read(data):
    least = data.rindex(b"endsolid") + 8 if data == text() else len(data)
    assert not [end for end in range(least) if outcome(read_stl, data[:end]) is not None]


@pytest.mark.parametrize("data", [binary(), text()])
def test_damage_gives_a_whole_scan_or_one_line(data):
    outcomes = [outcome(read_stl, odd) for odd in damaged(data, 400, 7)]
    assert 0 < sum(scan is None for scan in outcomes) < 400


def test_odd_files_are_read_or_refused_as_they_should(data_folder):
    check_odd_files(data_folder, ".stl", read_stl, at_least=15)
