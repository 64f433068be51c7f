import io
import os
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import laspy
import numpy as np
import pytest
import trimesh
from odd_files import assert_whole
from PIL import Image
from pxr import Usd, UsdGeom

from scans.errors import ScanError
from scans.formats import readers
from scans.formats.readers import read_scan
from scans.formats.scan import ReadingLimits

BOX = trimesh.creation.box(extents=(3.0, 0.5, 0.4))
TABLE = b"".join(b"%f %f %f\n" % tuple(point) for point in BOX.vertices)
PCD = (
    b"VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 8\nHEIGHT 1\n"
    b"VIEWPOINT 0 0 0 1 0 0 0\nPOINTS 8\nDATA ascii\n" + TABLE
)
HTML = b"<!DOCTYPE html>\n<html><body>404</body></html>\n"
OBJ = (
    b"mtllib box.mtl\nusemtl bark\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0.5 0.5\nvt 0.4 0.5\nvt 0.5 0.4\nf 1/1 2/2 3/3\n",
    b"newmtl bark\nmap_Kd skin.png\n",
)


def exported(kind):
    data = BOX.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


def las(*, is_packed):
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales = np.full(3, 0.001)
    points = laspy.LasData(header)
    points.x, points.y, points.z = BOX.vertices.T
    stream = io.BytesIO()
    points.write(stream, do_compress=is_packed)
    return stream.getvalue()


def usd(tmp_path, ending):
    path = tmp_path / f"box.{ending}"
    stage = Usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    mesh = UsdGeom.Mesh.Define(stage, "/box")
    mesh.CreatePointsAttr(BOX.vertices.tolist())
    mesh.CreateFaceVertexCountsAttr([3] * len(BOX.faces))
    mesh.CreateFaceVertexIndicesAttr(BOX.faces.ravel().tolist())
    stage.Save()
    return path.read_bytes()


def picture():
    stream = io.BytesIO()
    Image.new("RGB", (4, 4), (200, 100, 50)).save(stream, format="PNG")
    return stream.getvalue()


def packed(files):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return stream.getvalue()


def refusal(data, ending):
    with pytest.raises(ScanError) as caught:
        read_scan(data, ending)
    assert "\n" not in str(caught.value)
    return str(caught.value)


FILES = {
    "ply": exported("ply"),
    "obj": exported("obj"),
    "stl": exported("stl"),
    "off": exported("off"),
    "glb": exported("glb"),
    "3mf": exported("3mf"),
    "las": las(is_packed=False),
    "laz": las(is_packed=True),
    "pcd": PCD,
    "xyz": TABLE,
    "txt": TABLE,
    "csv": TABLE.replace(b" ", b","),
    "pts": b"8\n" + TABLE,
    "asc": TABLE,
}


def assert_box(scan):
    assert_whole(scan)
    np.testing.assert_allclose(np.ptp(scan.points, axis=0), [3.0, 0.5, 0.4], atol=1e-6)
    assert len(scan.faces) in {0, 12}


@pytest.mark.parametrize("spelling", ["{}", ".{}"])
@pytest.mark.parametrize("ending", FILES)
def test_the_same_box_comes_out_of_every_ending(ending, spelling):
    for written in (spelling.format(ending), spelling.format(ending).upper()):
        assert_box(read_scan(FILES[ending], written))


@pytest.mark.parametrize("ending", ["usd", "usda", "usdc"])
def test_the_same_box_comes_out_of_every_kind_of_usd(tmp_path, ending):
    scan = read_scan(usd(tmp_path, ending), ending)
    assert_box(scan)
    assert scan.up == "z"


def test_units_and_up_are_those_that_the_formats_say():
    assert [(read_scan(FILES[kind], kind).unit_m, read_scan(FILES[kind], kind).up) for kind in ("glb", "3mf")] == [
        (1.0, "y"),
        (0.001, "z"),
    ]


TABLES = {"xyz", "txt", "csv", "pts", "asc"}
KNOWN = {
    **{ending: data for ending, data in FILES.items() if ending not in TABLES},
    "e57": b"ASTM-E57\1\0\0\0",
    "usd": b"#usda 1.0\n",
    "gltf": b'{"asset": {"version": "2.0"}}',
}


@pytest.mark.parametrize("content", KNOWN)
def test_content_of_another_format_is_named_and_refused(content):
    right = {"3mf": "zip", "laz": "las"}.get(content, content)
    own = {content, right, "laz"} if right == "las" else {content, right}
    for ending in sorted({*FILES, *KNOWN, "bin"} - own):
        line = refusal(KNOWN[content], ending)
        assert line.startswith(f"the file's ending is .{ending}, but it is a")
        assert line.endswith(f"rename it to .{right}")


@pytest.mark.parametrize("ending", [*KNOWN, "usdz", "zip"])
def test_a_table_of_points_is_nothing_else(ending):
    assert refusal(TABLE, ending)


def test_text_stl_is_known_by_its_words():
    text = BOX.export(file_type="stl_ascii").encode()
    assert_box(read_scan(text, "stl"))
    assert refusal(text, "obj") == "the file's ending is .obj, but it is an STL; rename it to .stl"


def test_a_binary_stl_may_begin_with_the_words_of_a_text_or_of_another_format():
    for words in (b"solid facet normal", b"OFF 3 3", b"# VERSION .7"):
        assert_box(read_scan(words.ljust(80) + FILES["stl"][80:], "stl"))


@pytest.mark.parametrize("data", [b"", b" \r\n\t"])
@pytest.mark.parametrize("ending", [*FILES, "zip", "usdz", "msh"])
def test_an_empty_file_is_said_to_be_empty(data, ending):
    assert refusal(data, ending) == "the file is empty; copy or export it again"


@pytest.mark.parametrize("ending", [*FILES, "zip", "usda", "gltf", "e57", "msh"])
def test_what_came_in_place_of_a_scan_is_named(ending):
    said = f"the file's ending is .{ending}, but it is "
    for page in (HTML, b"\xef\xbb\xbf<html>", b"<!-- a -->\n<!-- b -->\n<HEAD>"):
        assert refusal(page, ending).startswith(f"{said}a page of the web (HTML)")
    pointer = b"version https://git-lfs.github.com/spec/v1\noid sha256:0\nsize 12345\n"
    assert refusal(pointer, ending).startswith(f"{said}a Git LFS pointer")
    assert refusal(b"\x1f\x8b" + zlib.compress(b"x" * 99), ending).startswith(f"{said}a packed archive")
    assert refusal(picture(), ending).startswith(f"{said}a picture")


def test_endings_that_are_not_read_are_refused_with_those_that_are():
    assert refusal(b"$MeshFormat\n", ".msh").startswith("the file's ending is .msh, which is not read; export the scan")
    assert refusal(b"1 2 3\n", "").startswith("the file's ending is .(none), which is not read")
    assert refusal(FILES["ply"], "bin") == "the file's ending is .bin, but it is a PLY; rename it to .ply"


@pytest.mark.parametrize("ending", [ending for ending in FILES if ending not in {"txt", "csv"}])
def test_one_scan_in_an_archive_is_read_whatever_systems_put_beside_it(ending):
    archive = packed(
        {
            "log/": b"",
            f"log/Scan.{ending.upper()}": FILES[ending],
            f"__MACOSX/log/._Scan.{ending}": b"\0\5\26\7",
            f"log/.hidden.{ending}": b"x",
            "log/readme.txt": b"Scanned in the yard.",
            "log/view.jpg": b"\xff\xd8\xff",
        }
    )
    assert_box(read_scan(archive, "zip"))


def test_a_text_alone_in_an_archive_is_a_table():
    assert_box(read_scan(packed({"scan.txt": TABLE}), ".ZIP"))


def test_a_usdz_is_read_by_itself_and_in_an_archive(tmp_path):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("box.usdc", usd(tmp_path, "usdc"))
    for data, ending in (
        (stream.getvalue(), "usdz"),
        (stream.getvalue(), "zip"),
        (packed({"a/box.usdz": stream.getvalue()}), "zip"),
    ):
        assert_box(read_scan(data, ending))


def test_a_3mf_named_zip_is_read():
    assert_box(read_scan(FILES["3mf"], "zip"))


@pytest.mark.parametrize("folder", ["", "deep/er/"])
def test_an_obj_in_an_archive_has_the_colours_of_its_picture(folder):
    files = {"box.obj": OBJ[0], "box.mtl": OBJ[1], "skin.png": picture()}
    scan = read_scan(packed({f"{folder}{name}": data for name, data in files.items()}), "zip")
    np.testing.assert_array_equal(scan.colours, [[200, 100, 50]] * 3)
    assert scan.notes == ()
    others = {"a/box.mtl": OBJ[1].replace(b"skin", b"none"), "a/skin.png": b"no picture"}
    again = read_scan(packed({**others, **{f"z/{folder}{name}": data for name, data in files.items()}}), "zip")
    np.testing.assert_array_equal(again.colours, scan.colours)
    assert read_scan(OBJ[0], "obj").colours is None


@pytest.mark.parametrize("folder", ["", "deep/er/"])
def test_a_gltf_in_an_archive_has_its_buffers(folder):
    files = trimesh.Scene(BOX).export(file_type="gltf")
    assert any(name.endswith(".bin") for name in files)
    assert_box(read_scan(packed({f"{folder}{name}": data for name, data in files.items()}), "zip"))
    # Buffers of the same names in a folder before it are others.
    others = {f"a/{name}": bytes(len(data)) for name, data in files.items() if name.endswith(".bin")}
    assert_box(read_scan(packed({**others, **{f"z/{folder}{name}": data for name, data in files.items()}}), "zip"))
    alone = next(data for name, data in files.items() if name.endswith(".gltf"))
    assert "not with it" in refusal(alone, "gltf")


def test_archives_without_one_scan_are_refused_with_what_they_hold():
    two = refusal(packed({"a/one.ply": FILES["ply"], "two.obj": FILES["obj"], "x.txt": b"-"}), "zip")
    assert two == "the archive holds 2 scans, 'a/one.ply', 'two.obj': unpack it and give one of them"
    many = refusal(packed({f"{k}.ply": FILES["ply"] for k in range(9)}), "zip")
    assert "9 scans" in many
    assert many.endswith("'4.ply' and 4 more: unpack it and give one of them")
    assert "holds no scan that is read, but 'a.zip'" in refusal(packed({"a.zip": packed({"b": b"c"})}), "zip")
    assert "holds no scan that is read, but nothing" in refusal(packed({".ply": FILES["ply"]}), "zip")
    assert refusal(packed({"a.ply": b" \n"}), "zip").startswith("'a.ply' in the archive is empty")
    assert "'a\\nb.ply'" in refusal(packed({"a\nb.ply": FILES["ply"], "b.ply": FILES["ply"]}), "zip")


def test_a_misnamed_scan_in_an_archive_is_refused():
    assert "it is an STL; rename it to .stl" in refusal(packed({"a.ply": FILES["stl"]}), "zip")


def test_what_is_no_archive_is_refused():
    assert refusal(FILES["ply"], "zip") == "the file's ending is .zip, but it is a PLY; rename it to .ply"
    assert "no whole zip archive" in refusal(b"something else", "zip")
    assert "no whole zip archive" in refusal(packed({"a.ply": FILES["ply"]})[:-30], "zip")


def test_limits_hold_for_every_format_and_in_archives():
    for ending, data in FILES.items():
        with pytest.raises(ScanError, match=r"at most 5 are read|more than the 5 points that are read"):
            read_scan(data, ending, ReadingLimits(points=5, faces=5))
    with pytest.raises(ScanError, match="at most 5 are read"):
        read_scan(packed({"a.ply": FILES["ply"]}), "zip", ReadingLimits(points=5, faces=5))
    with pytest.raises(ScanError, match="2 files, at most 1"):
        read_scan(packed({"a.ply": FILES["ply"], "b.mtl": b"x"}), "zip", ReadingLimits(archive_files=1))


def test_points_that_are_nowhere_are_left_out_and_none_at_all_refused():
    scan = read_scan(TABLE + b"nan nan nan\n", "xyz")
    assert_box(scan)
    assert [note.text for note in scan.notes] == ["1 points whose coordinates are not finite numbers were left out."]
    assert "none of the 1 points" in refusal(b"nan nan nan\n", "xyz")


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (MemoryError(), "the file asks for more memory than there is: the file is cut off or damaged"),
        (RecursionError(), "the file could not be read as PLY (RecursionError): the file is cut off or damaged"),
        (KeyError("a\nb"), "the file could not be read as PLY (KeyError): the file is cut off or damaged"),
    ],
)
def test_what_breaks_in_a_reader_is_a_refusal(monkeypatch, error, line):
    def breaking(*_):
        raise error

    monkeypatch.setattr(readers, "read_ply", breaking)
    assert refusal(FILES["ply"], "ply").startswith(line)


def test_a_reader_that_finds_nothing_is_a_refusal(monkeypatch):
    empty = readers.Scan(np.zeros((0, 3)))
    monkeypatch.setattr(readers, "read_ply", lambda *_: empty)
    assert refusal(FILES["ply"], "ply") == "the file holds no points; export the scan again"


def test_importing_the_readers_brings_no_large_library():
    large = ("trimesh", "laspy", "lazrs", "pye57", "pxr", "lxml", "PIL", "numba", "scipy", "manifold3d", "shapely")
    code = f"import sys, scans.formats.readers; print([name for name in {large} if name in sys.modules])"
    root = Path(__file__).parents[3]
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=root, env={**os.environ}, capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == "[]"
