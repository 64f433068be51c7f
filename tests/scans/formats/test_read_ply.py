"""PLY read in all its writings, or refused. All files written here are invented; the odd ones come from outside."""

import time

import numpy as np
import pytest
from odd_files import LIMITS, check_odd_files, damaged, outcome

from scans.errors import ScanError
from scans.formats.finite_points import only_finite
from scans.formats.read_ply import is_ply, read_ply
from scans.formats.scan import ReadingLimits

TET = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
ELL = np.array([[0, 0, 0], [3, 0, 0], [3, 1, 0], [1, 1, 0], [1, 3, 0], [0, 3, 0]], dtype=np.float64)
COLOURS = np.array([[0, 1, 1], [255, 128, 0], [1, 2, 3], [9, 8, 7]])
FORMATS = {"ascii": None, "binary_little_endian": "<", "binary_big_endian": ">"}
NAMES = {"f4": "float", "f8": "double", "u1": "uchar", "u2": "ushort", "i4": "int", "i1": "char"}
CORNERS = ("face", [("vertex_indices", "i4", "u1")], [[row] for row in FACES])


def points_of(points=TET, more=(), values=()):
    """Return a vertex element; the columns `more` with their `values` (N, ...) follow x, y and z."""
    names = [("x", "f8", None), ("y", "f8", None), ("z", "f8", None), *more]
    return ("vertex", names, [[*row, *(value[at] for value in values)] for at, row in enumerate(points)])


def ply(elements, kind="ascii", line_end="\n", count=None):
    """Write elements (name, properties (name, kind, kind of the count or None), rows) as a PLY."""
    lines = ["ply", f"format {kind} 1.0", "comment invented"]
    for name, properties, rows in elements:
        lines.append(f"element {name} {len(rows) if count is None else count}")
        for own, number, counts in properties:
            lines.append(f"property {f'list {NAMES[counts]} ' if counts else ''}{NAMES[number]} {own}")
    head = line_end.join([*lines, "end_header", ""]).encode()
    order, body = FORMATS[kind], b""
    for _, properties, rows in elements:
        for row in rows:
            words = []
            for value, (_, number, counts) in zip(row, properties, strict=True):
                own = np.atleast_1d(np.asarray(value))
                words += [repr(len(own))] * bool(counts) + [repr(item) for item in own.tolist()]
                if order:
                    body += np.array(len(own), order + counts).tobytes() if counts else b""
                    body += own.astype(order + number).tobytes()
            body += b"" if order else (" ".join(words) + line_end).encode()
    return head + body


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("is_turned", [False, True])
def test_a_mesh_comes_back(kind, line_end, is_turned):
    elements = [points_of(), ("edge", [("a", "i4", None), ("b", "u1", "i1")], [[1, [2, 3]], [7, []]]), CORNERS]
    scan = read_ply(ply(elements[::-1] if is_turned else elements, kind, line_end), LIMITS)

    np.testing.assert_array_equal(scan.points, TET)
    np.testing.assert_array_equal(scan.faces, FACES)
    assert (scan.points.dtype, scan.faces.dtype) == (np.float64, np.int64)
    assert (scan.colours, scan.normals, scan.unit_m, scan.up, scan.notes) == (None, None, None, None, ())


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("name", ["vertex_indices", "vertex_index"])
def test_faces_of_any_size_are_cut(kind, name):
    rows = [[[0, 1, 2, 3, 4, 5], 7], [[0, 1], 7], [[0, 1, 2], 7]]
    scan = read_ply(ply([points_of(ELL), ("face", [(name, "i4", "u1"), ("flags", "u1", None)], rows)], kind), LIMITS)

    assert len(scan.faces) == 5
    a, b, c = (scan.points[scan.faces[:4, corner]] for corner in range(3))
    areas = np.cross(b - a, c - a)[:, 2] / 2.0
    assert (areas > 0.0).all()
    assert areas.sum() == pytest.approx(5.0)
    assert scan.faces[4].tolist() == [0, 1, 2]
    assert [note.text for note in scan.notes] == ["1 faces with fewer than 3 corners were left out."]


@pytest.mark.parametrize("kind", FORMATS)
def test_lists_before_and_after_the_corners_move_nothing(kind):
    properties = [("uv", "f4", "i1"), ("vertex_indices", "i4", "u1"), ("flags", "u1", None)]
    rows = [[[0.5, 1.0], [0, 2, 1], 7], [[], [0, 1, 3], 8], [[0.5], [1, 2, 3], 9]]
    scan = read_ply(ply([points_of(), ("face", properties, rows)], kind), LIMITS)
    assert scan.faces.tolist() == FACES[:3].tolist()


@pytest.mark.parametrize("kind", FORMATS)
def test_strips_turn_every_other_triangle_and_end_with_their_row(kind):
    rows = [[[0, 1, 2, 3, -1, 1, 2, 3, 3, 0]], [[3, 2, 1]]]
    scan = read_ply(ply([points_of(), ("tristrips", [("vertex_indices", "i4", "i4")], rows)], kind), LIMITS)

    assert scan.faces.tolist() == [[0, 1, 2], [2, 1, 3], [1, 2, 3], [3, 2, 1]]


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize(
    ("number", "factor", "expected"),
    [
        ("u1", 1, COLOURS),
        ("u2", 257, COLOURS),
        ("f4", 1 / 255, COLOURS),
        ("f4", 1, COLOURS),
        ("u1", 0, 0 * COLOURS),
    ],
)
def test_colours_are_brought_to_bytes_by_their_type(kind, number, factor, expected):
    shade = COLOURS * factor
    more = [(name, number, None) for name in ("red", "green", "blue")]
    scan = read_ply(ply([points_of(TET, more, shade.T)], kind), LIMITS)

    assert scan.colours.dtype == np.uint8
    assert scan.colours.tolist() == expected.tolist()


@pytest.mark.parametrize("kind", FORMATS)
def test_a_byte_of_one_is_near_black_and_a_share_of_one_is_full(kind):
    ones = np.ones((3, 4))
    for number, expected in (("u1", 1), ("u2", 1), ("f4", 255)):
        more = [(name, number, None) for name in ("red", "green", "blue")]
        shade = ones.astype(int) if number != "f4" else ones
        assert (read_ply(ply([points_of(TET, more, shade)], kind), LIMITS).colours == expected).all()


@pytest.mark.parametrize("kind", FORMATS)
def test_normals_are_made_one_long_and_left_out_where_one_is_none(kind):
    more = [("nx", "f4", None), ("ny", "f4", None), ("nz", "f4", None)]
    normals = 2.0 * np.eye(3)[[0, 1, 2, 0]]
    scan = read_ply(ply([points_of(TET, more, normals.T)], kind), LIMITS)
    np.testing.assert_allclose(scan.normals, normals / 2.0)

    normals[2] = 0.0
    assert read_ply(ply([points_of(TET, more, normals.T)], kind), LIMITS).normals is None


@pytest.mark.parametrize("kind", FORMATS)
def test_points_that_are_nowhere_are_left_to_the_one_place_for_them(kind):
    points = np.where(np.arange(4)[:, None] == 2, np.nan, TET)
    assert len(only_finite(read_ply(ply([points_of(points)], kind), LIMITS)).points) == 3
    with pytest.raises(ScanError, match="faces of the file use"):
        read_ply(ply([points_of(points), CORNERS], kind), LIMITS)
    strip = ("tristrips", [("vertex_indices", "i4", "i4")], [[[0, 1, 2, -1]]])
    with pytest.raises(ScanError, match="faces of the file use"):
        read_ply(ply([points_of(points), strip], kind), LIMITS)


def test_whole_points_beyond_the_promised_ones_are_named():
    scan = read_ply(ply([points_of()]) + b"7 8 9\n", LIMITS)
    assert len(scan.points) == 4
    assert [note.text for note in scan.notes] == [
        "1 points beyond those that the header of the file promises were left out."
    ]


WHOLE = ply([points_of(), CORNERS])
BINARY = ply([points_of(), CORNERS], "binary_little_endian")
REFUSED = [
    (b"", "is empty"),
    (b"<html>", "does not begin as a PLY"),
    (WHOLE[:60], "has no end"),
    (WHOLE.replace(b"ascii", b"utf8"), "'format utf8 1.0', which is no PLY's"),
    (WHOLE.replace(b"format ascii 1.0\n", b""), "names 0 formats"),
    (WHOLE.replace(b"vertex 4", b"vertex -4"), "'element vertex -4', which is no PLY's"),
    (WHOLE.replace(b"vertex 4", b"vertex 5"), "goes on after what its header promises, by 4 numbers"),
    (WHOLE.replace(b"vertex 4", b"vertex 0"), "holds no points"),
    (WHOLE.replace(b"element vertex", b"element corner"), "holds no points"),
    (WHOLE.replace(b"double z", b"double h"), "no x, y and z"),
    (WHOLE.replace(b"double z", b"double y"), "twice"),
    (WHOLE.replace(b"element face", b"element vertex"), "an element twice"),
    (WHOLE.replace(b"3 0 2 1", b"3 0 2 4"), "names a vertex that is not among its 4"),
    (WHOLE.replace(b"3 0 2 1", b"3 0 2 -1"), "names a vertex that is not among its 4"),
    (WHOLE.replace(b"3 0 2 1", b"3 0 2 0.5"), "no whole number"),
    (WHOLE.replace(b"3 0 2 1", b"3 0 2 x"), "holds what is no number"),
    (WHOLE.replace(b"3 0 2 1", b"-3 0 2 1"), "not whole"),
    (WHOLE + b"1\n", "goes on after"),
    (WHOLE.replace(b"vertex_indices", b"corners"), "name no vertices"),
    (WHOLE.replace(b"list uchar int", b"int"), "are no list|goes on after"),
    (BINARY[:-1], "row 4 of 4 faces is not whole"),
    (BINARY[:-60], "are left"),
    (BINARY + b"\x01", "goes on after"),
    (BINARY.replace(b"element vertex 4", b"element vertex 999999"), "promises 999999 points, which take"),
    (WHOLE.replace(b"element face 4", b"element face 5000001"), "5000001 faces, at most 5000000"),
    (WHOLE.replace(b"element vertex 4", b"element vertex 60000001"), "60000001 points, at most 60000000"),
    (WHOLE.replace(b"element face 4", b"element junk 999999999"), "999999999 junk, at most"),
    (ply([points_of(TET, [(n, "f4", None) for n in ("f_dc_0", "scale_0", "rot_0")], np.zeros((3, 4)))]), "splats"),
]


@pytest.mark.parametrize(("data", "line"), REFUSED)
def test_what_cannot_be_read_is_refused_in_one_line(data, line):
    with pytest.raises(ScanError, match=line) as caught:
        read_ply(data, LIMITS)
    assert "\n" not in str(caught.value)


def test_polygons_count_as_the_triangles_they_give():
    data = ply([points_of(ELL), ("face", [("vertex_indices", "i4", "u1")], [[range(6)]])])
    assert len(read_ply(data, ReadingLimits(faces=4)).faces) == 4
    with pytest.raises(ScanError, match="4 faces, at most 3"):
        read_ply(data, ReadingLimits(faces=3))


@pytest.mark.parametrize("empty", [b"element junk 199999999\n", b"element camera 1\n"])
def test_elements_without_properties_take_nothing(empty):
    for data in (WHOLE, BINARY):
        assert len(read_ply(data.replace(b"element face", empty + b"element face"), LIMITS).faces) == 4


@pytest.mark.parametrize("start", [b"\n", b"\r\n", b""])
def test_a_binary_body_begins_where_its_length_says(start):
    head, body = BINARY.split(b"end_header\n")
    for line_end in (b"\n", b"\r"):
        assert read_ply(head + b"end_header" + line_end + start[-1:] + body, LIMITS).faces.tolist() == FACES.tolist()
    # A first number that begins with the byte of a line end is no line end.
    points = np.frombuffer(b"\x0a" + bytes(95), dtype="<f8").reshape(4, 3)
    scan = read_ply(ply([points_of(points)], "binary_little_endian", "\r"), LIMITS)
    np.testing.assert_array_equal(scan.points, points)


def test_a_comment_may_name_the_end_of_the_header():
    for kind in FORMATS:
        data = ply([points_of(), CORNERS], kind).replace(b"comment invented", b"comment no end_header\ncomment yet")
        assert len(read_ply(data, LIMITS).faces) == 4


def test_the_first_bytes_tell_a_ply():
    assert is_ply(WHOLE)
    assert is_ply(b"\nply\r\n")
    assert not is_ply(b"plymouth\n")
    assert not is_ply(b"solid ply\n")


@pytest.mark.parametrize("kind", FORMATS)
def test_a_file_that_is_cut_off_is_never_half_read(kind):
    more = [(name, "u1", None) for name in ("red", "green", "blue")]
    for elements in ([points_of(TET + 0.125, more, COLOURS.T), CORNERS], [CORNERS, points_of(TET + 0.125)]):
        data = ply(elements, kind)
        # A last number of a text that loses digits is a number still.
        least = len(data) - 1 if kind != "ascii" else data.rindex(b" ") + 2
        assert not [end for end in range(least) if outcome(read_ply, data[:end]) is not None]
        assert outcome(read_ply, data) is not None


@pytest.mark.parametrize("kind", FORMATS)
def test_damage_gives_a_whole_scan_or_one_line(kind):
    more = [(name, "u1", None) for name in ("red", "green", "blue")]
    mixed = ("face", [("vertex_indices", "i4", "u1")], [[[0, 1, 2, 3]], [[0, 1, 2]]])
    data = ply([points_of(TET, more, COLOURS.T), mixed], kind)
    started = time.perf_counter()
    outcomes = [outcome(read_ply, odd) for odd in damaged(data, 400, 5)]
    assert time.perf_counter() - started < 10.0
    assert 0 < sum(scan is None for scan in outcomes) < 400


def test_a_cloud_of_text_that_ends_within_a_number_is_refused():
    data = ply([points_of(np.arange(30.0).reshape(10, 3) + 0.125)])[:-2]
    with pytest.raises(ScanError, match=r"breaks off at '29\.12'"):
        read_ply(data, LIMITS)


def test_odd_files_are_read_or_refused_as_they_should(data_folder):
    check_odd_files(data_folder, ".ply", read_ply, either={"issue623.ply"}, at_least=60)


def test_the_odd_ones_say_what_was_left_out(data_folder):
    folder = data_folder / "odd_files" / "selfmade"
    for name in ("stump_pts_nan.ply", "stump_pts_inf.ply"):
        scan = only_finite(read_ply((folder / name).read_bytes(), LIMITS))
        assert len(scan.points) == 2940
        assert [note.text for note in scan.notes] == [
            "60 points whose coordinates are not finite numbers were left out."
        ]
