"""USD read as the stage puts it, with its units, or refused. All stages here are invented."""

import io
import json
import zipfile

import numpy as np
import pytest
from pxr import Gf, Usd, UsdGeom, Vt

from scans.errors import ScanError
from scans.formats.read_usd import read_usd
from scans.formats.scan import ReadingLimits
from scans.formats.usd_stage import read_stage

LIMITS = ReadingLimits()
TET = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
TET_FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
ELL = np.array([[0, 0, 0], [3, 0, 0], [3, 1, 0], [1, 1, 0], [1, 3, 0], [0, 3, 0]], dtype=np.float64)
TRIANGLE = """#usda 1.0
(
    metersPerUnit = 0.01
    upAxis = "Y"
)
def Mesh "a"
{
    point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
    int[] faceVertexCounts = [3]
    int[] faceVertexIndices = [0, 1, 2]
}
"""


def mesh(stage, path, points=TET, faces=TET_FACES, counts=None):
    made = UsdGeom.Mesh.Define(stage, path)
    made.GetPointsAttr().Set(Vt.Vec3fArray.FromNumpy(np.asarray(points, dtype=np.float32)))
    made.GetFaceVertexIndicesAttr().Set(Vt.IntArray.FromNumpy(np.asarray(faces, dtype=np.int32).ravel()))
    sizes = np.full(len(faces), 3) if counts is None else counts
    made.GetFaceVertexCountsAttr().Set(Vt.IntArray.FromNumpy(np.asarray(sizes, dtype=np.int32)))
    return made


def written(tmp_path, build, kind="usda"):
    """Build a stage in a file; return the file's bytes."""
    path = tmp_path / f"scan.{kind}"
    stage = Usd.Stage.CreateNew(str(path))
    build(stage)
    stage.GetRootLayer().Save()
    return path.read_bytes()


def packed(files):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stream.getvalue()


def in_process(tmp_path, build):
    """Read a stage without a process of its own, which the tests of what is read need not wait for."""
    written(tmp_path, build)
    return read_stage(tmp_path, ["scan.usda"], LIMITS)


def moved(x, y):
    return TET + np.array([x, y, 0.0])


def volume(scan):
    a, b, c = (scan.points[scan.faces[:, corner]] for corner in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


@pytest.mark.parametrize("kind", ["usda", "usdc", "usdz"])
def test_a_mesh_comes_back_with_its_unit_and_up(tmp_path, kind):
    def build(stage):
        UsdGeom.SetStageMetersPerUnit(stage, 0.0254)
        UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
        mesh(stage, "/log")

    data = written(tmp_path, build, "usdc" if kind == "usdz" else kind)
    if kind == "usdz":
        data = packed({"scan.usdc": data, "0/bark.png": b"no layer"})

    scan = read_usd(data, f".{kind.upper()}", LIMITS)

    np.testing.assert_array_equal(scan.points, TET)
    np.testing.assert_array_equal(scan.faces, TET_FACES)
    assert (scan.points.dtype, scan.faces.dtype) == (np.float64, np.int64)
    assert scan.unit_m == 0.0254
    assert scan.up == "z"
    assert scan.colours is None
    assert scan.notes == ()


def test_what_the_stage_does_not_state_is_unknown(tmp_path):
    scan = in_process(tmp_path, lambda stage: mesh(stage, "/log"))

    assert scan.unit_m is None
    assert scan.up is None


def test_transforms_nest_as_the_stage_nests_them(tmp_path):
    def build(stage):
        outer = UsdGeom.Xform.Define(stage, "/outer")
        outer.AddTranslateOp().Set(Gf.Vec3d(10.0, 20.0, 30.0))
        outer.AddRotateZOp().Set(90.0)
        inner = mesh(stage, "/outer/log")
        inner.AddTranslateOp().Set(Gf.Vec3d(1.0, 0.0, 0.0))
        inner.AddScaleOp().Set(Gf.Vec3f(2.0, 1.0, 1.0))

    scan = in_process(tmp_path, build)

    # Scaled, moved by the inner, turned a quarter about z (x to y, y to -x), moved by the outer.
    own = TET * [2.0, 1.0, 1.0] + [1.0, 0.0, 0.0]
    expected = np.stack([10.0 - own[:, 1], 20.0 + own[:, 0], 30.0 + own[:, 2]], axis=1)
    np.testing.assert_allclose(scan.points, expected, atol=1e-12)
    assert volume(scan) == pytest.approx(2.0)


@pytest.mark.parametrize("is_mirrored", [False, True])
@pytest.mark.parametrize("is_left_handed", [False, True])
def test_faces_look_outwards(tmp_path, is_mirrored, is_left_handed):
    def build(stage):
        made = mesh(stage, "/log", faces=TET_FACES[:, ::-1] if is_left_handed else TET_FACES)
        if is_left_handed:
            made.GetOrientationAttr().Set("leftHanded")
        if is_mirrored:
            made.AddScaleOp().Set(Gf.Vec3f(-1.0, 1.0, 1.0))

    assert volume(in_process(tmp_path, build)) == pytest.approx(1.0)


def test_meshes_and_points_are_joined(tmp_path):
    cloud = np.array([[7.0, 8.0, 9.0], [1.0, 2.0, 3.0]])

    def build(stage):
        mesh(stage, "/a")
        mesh(stage, "/b").AddTranslateOp().Set(Gf.Vec3d(100.0, 0.0, 0.0))
        points = UsdGeom.Points.Define(stage, "/c")
        points.GetPointsAttr().Set(Vt.Vec3fArray.FromNumpy(cloud.astype(np.float32)))

    scan = in_process(tmp_path, build)

    np.testing.assert_array_equal(scan.points, np.concatenate([TET, moved(100.0, 0.0), cloud]))
    np.testing.assert_array_equal(scan.faces, np.concatenate([TET_FACES, TET_FACES + 4]))
    assert [note.text for note in scan.notes] == ["3 meshes or clouds of the file were joined."]


def test_one_mesh_used_twice_comes_twice(tmp_path):
    def build(stage):
        mesh(stage, "/a/log")
        again = UsdGeom.Xform.Define(stage, "/b")
        again.GetPrim().GetReferences().AddInternalReference("/a")
        again.GetPrim().SetInstanceable(True)
        again.AddTranslateOp().Set(Gf.Vec3d(0.0, 5.0, 0.0))

    scan = in_process(tmp_path, build)

    np.testing.assert_array_equal(scan.points, np.concatenate([TET, moved(0.0, 5.0)]))


def test_hidden_things_and_guides_are_left_out(tmp_path):
    def build(stage):
        mesh(stage, "/a")
        UsdGeom.Xform.Define(stage, "/b").MakeInvisible()
        mesh(stage, "/b/c")
        mesh(stage, "/d").GetPurposeAttr().Set("guide")

    scan = in_process(tmp_path, build)

    assert len(scan.points) == 4
    assert [note.text for note in scan.notes] == ["2 hidden meshes or clouds of the file were left out."]


def test_polygons_are_cut_and_holes_left_open(tmp_path):
    def build(stage):
        corners = [*range(6), 0, 1, 2, 0, 1]
        made = mesh(stage, "/log", points=ELL, faces=corners, counts=[6, 3, 2])
        made.GetHoleIndicesAttr().Set([1])

    scan = in_process(tmp_path, build)

    a, b, c = (scan.points[scan.faces[:, corner]] for corner in range(3))
    areas = np.cross(b - a, c - a)[:, 2] / 2.0
    assert len(areas) == 4
    assert (areas > 0.0).all()
    assert areas.sum() == pytest.approx(5.0)
    assert [note.text for note in scan.notes] == ["1 faces with fewer than 3 corners were left out."]


@pytest.mark.parametrize(
    ("way", "values", "expected"),
    [
        ("constant", [(1, 0, 0.5)], [(255, 0, 188)] * 4),
        (
            "vertex",
            [(0, 0, 0), (1, 1, 1), (0.5, 0.5, 0.5), (2, -1, 0)],
            [(0,) * 3, (255,) * 3, (188,) * 3, (255, 0, 0)],
        ),
        # Each corner of the body lies in three of its four faces.
        ("uniform", [(1, 1, 1), (0, 0, 0), (0, 0, 0), (0, 0, 0)], [(156,) * 3, (156,) * 3, (156,) * 3, (0,) * 3]),
        ("faceVarying", [(0.5, 0.5, 0.5)] * 12, [(188,) * 3] * 4),
        ("vertex", [(0, 0, 0), (1, 1, 1)], None),
    ],
)
def test_colours_come_to_the_points(tmp_path, way, values, expected):
    def build(stage):
        colour = mesh(stage, "/log").CreateDisplayColorPrimvar(way)
        colour.Set(Vt.Vec3fArray([Gf.Vec3f(*value) for value in values]))

    scan = in_process(tmp_path, build)

    # Half of the light is 188 of 255 in sRGB, a third 156 (IEC 61966-2-1).
    assert (scan.colours is None) == (expected is None)
    assert expected is None or scan.colours.tolist() == [list(colour) for colour in expected]


def test_colours_of_a_part_are_not_used(tmp_path):
    def build(stage):
        mesh(stage, "/a").CreateDisplayColorPrimvar("constant").Set(Vt.Vec3fArray([Gf.Vec3f(1.0)]))
        mesh(stage, "/b")

    scan = in_process(tmp_path, build)

    assert scan.colours is None
    assert "A part of the file has no colors, so that none are used." in [note.text for note in scan.notes]


def test_limits_on_points_and_faces_hold(tmp_path):
    def build(stage):
        mesh(stage, "/a")
        mesh(stage, "/b")

    written(tmp_path, build)

    with pytest.raises(ScanError, match="over 7 points"):
        read_stage(tmp_path, ["scan.usda"], ReadingLimits(points=7))
    with pytest.raises(ScanError, match="over 7 faces"):
        read_stage(tmp_path, ["scan.usda"], ReadingLimits(faces=7))
    assert len(read_stage(tmp_path, ["scan.usda"], ReadingLimits(points=8, faces=8)).faces) == 8


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[0, 1, 2]", "[0, 1, 3]", "names a point that is not among its 3"),
        ("[0, 1, 2]", "[0, 1, -1]", "names a point that is not among its 3"),
        ("[3]", "[4]", "ask for 4 corners, it holds 3"),
        ("[3]", "[2147483647, 2147483647]", "ask for 4294967294 corners"),
        ("(0, 1, 0)]", "(0, inf, 0)]", "1 points of /a are not finite"),
        ("}", "", "could not be read as USD"),
        ("def Mesh", "def Scope", "holds no mesh and no points"),
        ("def Mesh", "def PointInstancer", "repeats meshes"),
        ('def Mesh "a"', 'def Mesh "a" (references = @../other.usda@)', "draws on another"),
        ('def Mesh "a"', 'def Mesh "a" (payload = @/etc/hosts@)', "draws on another"),
        ('upAxis = "Y"', "subLayers = [@b.usda@]", "draws on another"),
    ],
)
def test_what_is_wrong_is_named(tmp_path, old, new, message):
    assert old in TRIANGLE
    (tmp_path / "scan.usda").write_text(TRIANGLE.replace(old, new))

    with pytest.raises(ScanError, match=message):
        read_stage(tmp_path, ["scan.usda"], LIMITS)


def test_what_is_no_usd_is_named():
    with pytest.raises(ScanError, match="empty"):
        read_usd(b"", "usda", LIMITS)
    with pytest.raises(ScanError, match="does not begin as USD"):
        read_usd(b"ply\nformat ascii 1.0\n", "usdc", LIMITS)
    with pytest.raises(ScanError, match="no whole zip"):
        read_usd(TRIANGLE.encode(), "usdz", LIMITS)
    with pytest.raises(ScanError, match=r"first file of the USDZ is 'bark.png'"):
        read_usd(packed({"bark.png": b"", "scan.usda": TRIANGLE}), "usdz", LIMITS)
    with pytest.raises(ScanError, match="outside itself"):
        read_usd(packed({"../scan.usda": TRIANGLE}), "usdz", LIMITS)
    with pytest.raises(ScanError, match="bytes of text, at most 100"):
        read_usd(TRIANGLE.encode(), "usda", ReadingLimits(text_bytes=100))


def test_layers_of_a_usdz_are_put_together():
    root = '#usda 1.0\n(\n    metersPerUnit = 1\n)\ndef "log" (references = @./parts/log.usda@</a>)\n{\n}\n'

    scan = read_usd(packed({"root.usda": root, "parts/log.usda": TRIANGLE}), "usdz", LIMITS)

    assert len(scan.points) == 3
    assert scan.unit_m == 1.0
    with pytest.raises(ScanError, match="draws on another"):
        read_usd(packed({"root.usda": root}), "usdz", LIMITS)


def test_a_cut_file_is_refused(tmp_path):
    binary = written(tmp_path, lambda stage: mesh(stage, "/log"), "usdc")

    for whole in (binary, TRIANGLE.encode(), packed({"scan.usdc": binary})):
        for size in np.linspace(20, len(whole) - 3, 4).astype(int):
            with pytest.raises(ScanError):
                read_usd(whole[:size], "usdz" if whole[:2] == b"PK" else "usd", LIMITS)


def test_a_file_that_ends_the_library_is_refused(tmp_path, monkeypatch):
    # Stands for a damaged file that the library meets with an abort: a program in its place that aborts.
    (tmp_path / "ends.py").write_text("import os\nos.abort()\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr("scans.formats.usd_stage.__name__", "ends")

    with pytest.raises(ScanError, match=r"could not be read as USD \(code -?\d+\)"):
        read_usd(TRIANGLE.encode(), "usda", LIMITS)


def test_odd_files_load(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        suffix = entry["file"].rpartition(".")[2]
        if suffix not in {"usd", "usda", "usdc", "usdz"}:
            continue
        seen += 1
        scan = read_usd((folder / entry["file"]).read_bytes(), suffix, LIMITS)
        assert entry["expect"] == "load"
        assert (len(scan.points), len(scan.faces)) == (26_407, 49_945)
        assert (scan.unit_m, scan.up) == (1.0, "z")
        # The mesh lies y up, and its node turns it.
        np.testing.assert_allclose(np.ptp(scan.points, axis=0), [0.9753, 1.4013, 0.2216], atol=1e-4)
    assert seen == 2


def doubling(depth, arc="references"):
    """A mesh, and things that each hold the one before twice."""
    parts = ["#usda 1.0\n", 'def Xform "A0"\n{\n' + TRIANGLE.partition(")\n")[2] + "}\n"]
    for turn in range(1, depth + 1):
        twice = "".join(f'def Xform "c{k}" (prepend {arc} = </A{turn - 1}>) {{}}\n' for k in range(2))
        parts.append(f'def Xform "A{turn}"\n{{\n{twice}}}\n')
    return "".join(parts).encode()


@pytest.mark.parametrize("arc", ["references", "payload", "inherits", "specializes"])
def test_what_references_repeat_without_end_is_refused_before_it_is_made(arc):
    with pytest.raises(ScanError, match="over a billion"):
        read_usd(doubling(40, arc), ".usda", ReadingLimits(seconds=60.0))


def test_a_few_references_are_read():
    scan = read_usd(doubling(3), ".usda", LIMITS)

    assert len(scan.points) == 3 * (1 + 2 + 4 + 8)


def test_references_to_what_only_references_bring_count_too():
    chain = doubling(10).replace(b"</A9>", b"</A9/c0/c1>")

    with pytest.raises(ScanError, match="repeats things"):
        read_usd(chain.replace(b"</A8>", b"</A8/c1/c0>"), ".usda", LIMITS)


def test_things_that_hold_themselves_are_refused():
    data = b'#usda 1.0\ndef Xform "A"\n{\n def Xform "b" (prepend references = </A>) {}\n}\n'

    with pytest.raises(ScanError, match="nested"):
        read_usd(data, ".usda", LIMITS)


def test_the_time_of_the_process_is_limited():
    with pytest.raises(ScanError, match=r"not be read as USD within 0\.09 s"):
        read_usd(TRIANGLE.encode(), ".usda", ReadingLimits(seconds=0.1))
