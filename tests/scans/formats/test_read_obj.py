"""OBJ read with its polygons and colours, or refused. All files here are invented; the odd ones come from outside."""

import io
import time

import numpy as np
import pytest
from odd_files import LIMITS, check_odd_files, damaged, outcome
from PIL import Image

from scans.errors import ScanError
from scans.formats import number_text, obj_materials
from scans.formats.read_obj import is_obj, read_obj
from scans.formats.scan import ReadingLimits
from scans.messages import counted

TET = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
POINTS = b"v 0 0 0\nv 1 0 0\nv 0 2.0 0\nv 0 0 3e0\n"
WHOLE = b"# invented\no log\n" + POINTS + b"f 1 3 2\nf 1 2 4\nf 2 3 4\nf 1 4 3\n"
ELL = b"v 0 0 0\nv 3 0 0\nv 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\n"


def read(text, limits=LIMITS, side_files=None):
    return read_obj(text, limits, side_files)


@pytest.mark.parametrize(
    "data",
    [
        WHOLE,
        WHOLE.replace(b"\n", b"\r\n"),
        WHOLE.replace(b"\n", b"\r"),
        WHOLE.removesuffix(b"\n"),
        WHOLE.replace(b"\n", b" \t# said by the way\n\n"),
        WHOLE.replace(b" ", b"  \t ").replace(b"v", b"  v").replace(b"f", b"\tf"),
        WHOLE.decode().encode("utf-16"),
        b"\xfe\xff" + WHOLE.decode().encode("utf-16-be"),
        b"\xef\xbb\xbf" + WHOLE,
        WHOLE.replace(b"f 1 3 2", b"f 1 \\\n3\\\n 2").replace(b"v 1 0 0", b"v 1 \\\n 0 0"),
        WHOLE.replace(b"# invented", b"# C:\\scans\\").replace(b"o log", b"o \\"),
        WHOLE.replace(b"f 1 3 2", b"f -4 -2 -3").replace(b"f 1 4 3", b"f -4 -1 3"),
        WHOLE.replace(b"f 1 3 2", b"f 1/ 3// 2/1").replace(b"f 1 2 4", b"f 1//7 2/9/7 4//"),
        b"f 1 3 2\nf 1 2 4\n" + POINTS + b"f 2 3 4\nf 1 4 3\n",
        WHOLE.replace(b"f 2", b"g an f 1 2 3\ns off\nusemtl v 1 2\nl 1 2 3\np 1\nvp 1\nf 2"),
        WHOLE.replace(b"v 0 0 0", b"v 0 0 0 1.0"),
        WHOLE.replace(b"3e0", b"0.3+e1"),
    ],
)
@pytest.mark.parametrize("block_bytes", [1, 1 << 25])
def test_a_mesh_comes_back_from_every_writing(monkeypatch, data, block_bytes):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    scan = read(data)

    np.testing.assert_array_equal(scan.points, TET)
    np.testing.assert_array_equal(scan.faces, FACES)
    assert (scan.points.dtype, scan.faces.dtype) == (np.float64, np.int64)
    assert (scan.colours, scan.normals, scan.unit_m, scan.up, scan.notes[1:]) == (None, None, None, None, ())


def test_backward_corners_count_from_where_they_stand():
    data = POINTS + b"f -4 -2 -3\n" + POINTS.replace(b"v 0 0 0", b"v 9 9 9") + b"f -4 -2 -3\nf 1 2 -1\n"
    assert read(data).faces.tolist() == [[0, 2, 1], [4, 6, 5], [0, 1, 7]]


def test_a_concave_polygon_keeps_its_area():
    scan = read(ELL + b"f 1 2 3 4 5 6\nf 1 2 3\nf 1 2\n")

    a, b, c = (scan.points[scan.faces[:4, corner]] for corner in range(3))
    areas = np.cross(b - a, c - a)[:, 2] / 2.0
    assert (areas > 0.0).all()
    assert areas.sum() == pytest.approx(5.0)
    assert scan.faces[4:].tolist() == [[0, 1, 2]]
    assert [note.text for note in scan.notes] == ["1 faces with fewer than 3 corners were left out."]
    with pytest.raises(ScanError, match="5 faces, at most 4"):
        read(ELL + b"f 1 2 3 4 5 6\nf 1 2 3\n", ReadingLimits(faces=4))


@pytest.mark.parametrize("more", [b"", b"p 1 2 3\n", b"l 1 2 3 4\n", b"vn 0 0 1\n"])
def test_points_without_faces_are_a_cloud(more):
    scan = read(POINTS + more)
    assert scan.points.tolist() == TET.tolist()
    assert scan.faces.shape == (0, 3)


@pytest.mark.parametrize(
    ("rows", "expected", "grey"),
    [
        ([b"1 0 0.2", b"0.4 0.6 0.8"], [[255, 0, 51], [102, 153, 204]], 0),
        ([b"1 0 0", b"0 1 1"], [[255, 0, 0], [0, 255, 255]], 0),
        ([b"255 0 9", b"1 2 3"], [[255, 0, 9], [1, 2, 3]], 0),
        ([b"", b"0 1 0"], [[128, 128, 128], [0, 255, 0]], 1),
        ([b"0 nan 0", b"0 1 0"], [[128, 128, 128], [0, 255, 0]], 1),
        ([b"nan nan nan", b"0 1 0"], [[128, 128, 128], [0, 255, 0]], 1),
        ([b"1 0 0 1", b"0 1 0 1"], [[255, 0, 0], [0, 255, 0]], 0),
        ([b"", b""], None, 0),
        ([b"nan nan nan", b""], None, 0),
    ],
)
def test_colours_after_the_points(rows, expected, grey):
    scan = read(b"".join(b"v 1 2 3 %b\n" % row for row in rows))
    assert (None if scan.colours is None else scan.colours.tolist()) == expected
    assert [note.text for note in scan.notes] == [
        f"Made gray {counted(grey, 'point')} without a color in the file."
    ] * bool(grey)


@pytest.mark.parametrize("row", [b"256 0 0", b"0 0 -1"])
def test_colours_that_are_none_are_named(row):
    scan = read(b"v 1 2 3 %b\nv 1 2 3 0 0 1\n" % row)
    assert scan.colours is None
    assert [note.text for note in scan.notes] == [
        "The colors of the file are no numbers from 0 to 255, and were left out."
    ]


REFUSED = [
    (b"", "is empty"),
    (b"# nothing\n", "holds no points"),
    (b"\0\0glTF", "should be text and is not"),
    (b"version https://example.org\noid 7\n", "begins with 'version', as no OBJ does"),
    (b"<html>\n", "line 1 of the file begins with '<html>'"),
    (b"1 2 3\n4 5 6\n", "line 1 of the file begins with '1'"),
    (WHOLE.replace(b"v 1 0 0", b"v 1 0"), "line 4 of the file has a point of 2 numbers"),
    (WHOLE.replace(b"v 1 0 0", b"v"), "line 4 of the file has a point of 0 numbers"),
    (WHOLE.replace(b"v 1 0 0", b"v 1 0 0 1 1"), "line 4 of the file has a point of 5 numbers"),
    (WHOLE.replace(b"v 1 0 0", b"v 1 0 o"), "line 4 of the file holds '1 0 o', which is no number"),
    (WHOLE.replace(b"v 1 0 0", b"v1 0 0"), "line 4 of the file begins with 'v1'"),
    (WHOLE.replace(b"v 1 0 0", b"w 1 0 0"), "line 4 of the file begins with 'w'"),
    (WHOLE.replace(b"v 1 0 0", b"v 1,0 0 0"), "line 4 of the file has decimal commas"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 5"), "line 8 of the file has a face at a point that is not among its 4"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 -5"), "line 8 of the file has a face at a point that is not among its 4"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 0"), "line 8 of the file has a face at point 0"),
    (WHOLE.replace(b"f 1 2 4", b"f"), "line 8 of the file is a face without corners"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 x"), "line 8 of the file has the corner 'x', which is none"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 4/1/1/1"), "line 8 of the file has the corner '4/1/1/1'"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 /4"), "line 8 of the file has the corner '/4'"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 4.5"), "line 8 of the file has the corner '4.5'"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 1e300"), "line 8 of the file has the corner '1e300'"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 9999999999999999999"), "line 8 of the file"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 2 nan"), "line 8 of the file has the corner 'nan'"),
    (WHOLE.replace(b"f 1 2 4", b"f 1 \\\n2 \\\n\n f 1 x 3"), "line 11 of the file has the corner 'x'"),
    (WHOLE[: WHOLE.rindex(b" 3")], "line 10 of the file has a face of 2 corners and no end"),
    (WHOLE.replace(b"3e0", b"inf"), "faces of the file use"),
    (b"vt\n" + WHOLE, "line 1 of the file has a place on a picture without numbers"),
    (POINTS * 5 + b"v 0.25 1.25 3.25\n" * 400 + b"v 0.25 1.25 3.2", "breaks off at '3.2'"),
]


@pytest.mark.parametrize(("data", "line"), REFUSED)
@pytest.mark.parametrize("block_bytes", [1, 1 << 25])
def test_what_cannot_be_read_is_refused_in_one_line(monkeypatch, data, line, block_bytes):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    with pytest.raises(ScanError, match=line) as caught:
        read(data)
    assert "\n" not in str(caught.value)


def test_more_points_than_may_be_read_are_refused():
    assert len(read(POINTS, ReadingLimits(points=4)).points) == 4
    with pytest.raises(ScanError, match="4 points, at most 3"):
        read(POINTS, ReadingLimits(points=3))


def test_lines_of_some_programs_own_are_named():
    scan = read(WHOLE.replace(b"o log", b"made_by hand\nmade_by foot"))
    assert [note.text for note in scan.notes] == ["2 lines that begin with 'made_by' were passed over."]
    assert len(scan.faces) == 4


# A picture of two by two pixels: red and green above, blue and white below.
CORNERS = np.array([[[255, 0, 0], [0, 255, 0]], [[0, 0, 255], [255, 255, 255]]], dtype=np.uint8)
TEXTURED = (
    b"mtllib log.mtl\n" + POINTS + b"vt 0.25 0.75\nvt 0.75 0.75\nvt 0.25 0.25\nvt 1 0\n"
    b"usemtl Bark skin\nf 1/1 3/3 2/2\nf 1/1 2/2 4/4\nf 2/2 3/3 4/4\nf 1/-4 4/-1 3/-2\n"
)
MATERIALS = b"# invented\nnewmtl Bark skin\nKd 1 1 1\nmap_Kd %b\n"
SHOWN = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 255, 255]]


def png(pixels=CORNERS):
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("written", "picture", "folder"),
    [
        (b"bark.png", "bark.png", ""),
        (b"bark.png", "scan/bark.png", "scan/"),
        (b"Bark.PNG", "scan/bark.png", "Scan/"),
        (b"pictures\\bark.png", "scan/pictures/bark.png", "scan/"),
        (b"./pictures/bark.png", "scan/pictures/bark.png", "scan/"),
        (b"C:\\scans\\old\\bark.png", "scan/pictures/bark.png", "scan/"),
        (b"../bark.png", "bark.png", "scan/"),
        (b"my bark.png", "scan/my bark.png", "scan/"),
        (b"-clamp on -mm 0 1 bark.png", "scan/bark.png", "scan/"),
        (b'"my bark.png"', "scan/my bark.png", "scan/"),
    ],
)
@pytest.mark.parametrize("block_bytes", [1, 1 << 25])
def test_points_take_the_colours_of_the_picture_laid_over_them(monkeypatch, written, picture, folder, block_bytes):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    files = {f"{folder}log.obj": TEXTURED, f"{folder}log.mtl": MATERIALS % written, picture: png()}
    scan = read(TEXTURED, side_files=files)

    assert scan.colours.tolist() == SHOWN
    assert scan.notes == ()


def test_the_nearest_of_several_pictures_is_taken():
    other = png(CORNERS[::-1])
    files = {"a/bark.png": other, "a/log.obj": b"", "b/log.obj": TEXTURED, "b/log.mtl": MATERIALS % b"bark.png"}
    assert read(TEXTURED, side_files=files | {"b/x/bark.png": png()}).colours.tolist() == SHOWN
    assert read(TEXTURED, side_files=files | {"b/bark.png": png()}).colours.tolist() == SHOWN
    exact = files | {"b/log.mtl": MATERIALS % b"x/bark.png", "b/bark.png": other, "b/x/bark.png": png()}
    assert read(TEXTURED, side_files=exact).colours.tolist() == SHOWN


@pytest.mark.parametrize("block_bytes", [1, 1 << 25])
def test_places_may_be_counted_backwards(monkeypatch, block_bytes):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    data = TEXTURED[: TEXTURED.index(b"f 1/1")] + b"f 1/-4 3/-2 2/-3\nf 1/-4 2/-3 4/-1\n"
    assert read(data, side_files={"log.mtl": MATERIALS % b"bark.png", "bark.png": png()}).colours.tolist() == SHOWN


def test_each_material_has_its_own_picture_and_places_repeat():
    data = TEXTURED.replace(b"f 2/2 3/3 4/4\nf 1/-4 4/-1 3/-2\n", b"v 7 7 7\nv 8 8 8\nusemtl end\nf 5/1 2/2 6/3\n")
    data = data.replace(b"vt 0.25 0.75", b"vt -0.75 3.75")
    materials = MATERIALS % b"bark.png" + b"newmtl end\nmap_kd end.png\nnewmtl none\n"
    files = {"log.mtl": materials, "bark.png": png(), "end.png": png(CORNERS // 5)}
    scan = read(data, side_files=files)

    assert scan.colours.tolist() == [SHOWN[0], [0, 51, 0], SHOWN[2], SHOWN[3], [51, 0, 0], [0, 0, 51]]


@pytest.mark.parametrize(
    ("files", "line"),
    [
        (None, "The materials 'log.mtl' are not with the file"),
        ({"log.mtl": MATERIALS % b"bark.png"}, "The picture 'bark.png' is not with the file"),
        ({"log.mtl": MATERIALS % b"bark.png", "bark.png": png()[:50]}, "The picture 'bark.png' could not be read"),
        ({"log.mtl": MATERIALS % b"bark.png", "bark.png": b"GIF89a"}, "The picture 'bark.png' could not be read"),
        ({"log.mtl": b"\0"}, "The materials 'log.mtl' are no text"),
    ],
)
def test_a_picture_that_is_not_there_is_named(files, line):
    scan = read(TEXTURED, side_files=files)
    assert scan.colours is None
    assert len(scan.faces) == 4
    assert len(scan.notes) == 1
    assert line in scan.notes[0].text


def test_names_may_hold_a_mark_of_comments():
    data = TEXTURED.replace(b"Bark skin", b"bark#1 # said by the way")
    files = {"log.mtl": b"newmtl bark#1\nmap_Kd a#b.png\nnewmtl bark\n", "a#b.png": png()}
    assert read(data, side_files=files).colours.tolist() == SHOWN


def test_pictures_of_too_many_pixels_are_named(monkeypatch):
    monkeypatch.setattr(obj_materials, "MOST_PIXELS", 3)
    scan = read(TEXTURED, side_files={"log.mtl": MATERIALS % b"bark.png", "bark.png": png()})
    assert scan.colours is None
    assert [note.text for note in scan.notes] == [
        "The picture 'bark.png' has more pixels than are read, so it gives no colors."
    ]


def test_a_picture_that_is_moved_is_named():
    files = {"log.mtl": MATERIALS % b"-s 2 2 2 -o 0.5 bark.png", "bark.png": png()}
    assert "move or scale a picture" in read(TEXTURED, side_files=files).notes[0].text


def test_corners_without_a_place_leave_points_grey():
    data = TEXTURED.replace(b"/4", b"").replace(b"/-1", b"/99")
    files = {"log.mtl": MATERIALS % b"bark.png", "bark.png": png()}
    scan = read(data, side_files=files)
    assert scan.colours.tolist() == [*SHOWN[:3], [128, 128, 128]]
    assert [note.text for note in scan.notes] == ["Made gray 1 point without a color in the file."]


def test_colours_after_the_points_go_before_those_of_a_picture():
    data = TEXTURED.replace(b"v 0 0 0", b"v 0 0 0 1 1 0")
    scan = read(data, side_files={"log.mtl": MATERIALS % b"bark.png", "bark.png": png()})
    assert scan.colours.tolist() == [[255, 255, 0]] + [[128, 128, 128]] * 3


def test_materials_matter_only_where_a_picture_could_be_laid():
    assert read(b"mtllib log.mtl\n" + WHOLE).notes == ()


def test_a_face_of_few_corners_matters_only_where_the_file_breaks_off():
    assert len(read(POINTS + b"f 1 2\nf 1 2 3").faces) == 1


def test_the_first_lines_tell_an_obj():
    assert is_obj(WHOLE)
    assert is_obj(TEXTURED)
    assert is_obj(WHOLE.decode().encode("utf-16"))
    assert is_obj(b"# long\n" * 1000 + WHOLE * 1000)
    for data in (
        b"",
        b"# nothing\n",
        b"1 2 3\n",
        b"ply\n",
        b"solid a\n",
        b"OFF\n",
        b"<html>",
        b"glTF\0",
        b"version 1\n",
    ):
        assert not is_obj(data), data


def test_damage_gives_a_whole_scan_or_one_line():
    started = time.perf_counter()
    files = {"log.mtl": MATERIALS % b"bark.png", "bark.png": png()}
    outcomes = [
        outcome(lambda data, limits: read_obj(data, limits, files), odd)
        for data in (WHOLE, TEXTURED)
        for odd in damaged(data, 300, 8)
    ]
    assert time.perf_counter() - started < 20.0
    assert 0 < sum(scan is None for scan in outcomes) < 600


def test_a_file_that_is_cut_off_gives_a_whole_scan_or_one_line():
    for end in range(len(TEXTURED)):
        scan = outcome(read_obj, TEXTURED[:end])
        assert scan is None or len(scan.points) == TEXTURED[:end].count(b"v ")


def test_long_damaged_lines_are_refused_quickly():
    started = time.perf_counter()
    for line in (
        b"f " + b"1 " * 2_000_000 + b"x",
        b"v 0 0 0\n" * 200_000 + b"v 0 0 x",
        b"#" * 2_000_000,
        b"\\" * 10**6,
    ):
        assert outcome(read_obj, line + b"\n") is None
        assert outcome(read_obj, line + b"\\\n") is None
    assert time.perf_counter() - started < 120.0  # a quadratic way takes hours


def test_odd_files_are_read_or_refused_as_they_should(data_folder):
    check_odd_files(data_folder, ".obj", read_obj, at_least=39)
