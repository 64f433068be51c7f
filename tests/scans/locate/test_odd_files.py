"""Every odd file of the data folder ends as its manifest says; where the manifest errs, it is said here why."""

import io
import json
import time
import zipfile

import numpy as np
import pytest
from odd_files import OF_SHAPE, assert_whole

from scans.errors import ScanError
from scans.formats.readers import read_scan
from scans.locate.ground import find_log
from scans.locate.placing import place_scan

MOST_SECONDS = 20.0
FILE_COUNT = 180

# Its header promises more than it holds; the manifest leaves it open whether it is read.
EITHER = {"issue623.ply"}
# Its points lie in the .bin beside it, which is given in an archive with it.
IN_PIECES = {"Mesh_PrimitiveMode_04.gltf": "Mesh_PrimitiveMode_04.bin"}
# The manifest tells of another reader, which repeats points for each normal or picture corner, merges those at the
# same place, or drops those that no face uses; here they are as in the file.
OTHER_COUNT = {
    "cube_compressed.obj",
    "cube_with_vertexcolors.obj",
    "cube_with_vertexcolors_uni.obj",
    "joined_tetrahedra.obj",
    "multibody.stl",
    "multiple_spaces.obj",
    "negative_indices.obj",
    "number_formats.obj",
    "polyhaven_tree_stump_01.obj",
    "quadknot.obj",
    "two_objects_mixed_case_names.stl",
}
POINTS = {
    # Without those that are not finite.
    "stump_pts_inf.ply": 2940,
    "stump_pts_nan.ply": 2940,
    # No other reader took these: as the manifest's words say, and two points by the file's own count.
    "testWithNormals.e57": 2,
    "xyz_decimal_comma.xyz": 500,
    "xyz_semicolon_header.csv": 500,
    "xyz_seven_columns.xyz": 500,
    "platonic_shelf.ply": 50,
    "platonic_shelf_big_endian.ply": 50,
    "pcl_style_face0_camera1.ply": 3000,
}
FACES = {"platonic_shelf.ply": 80, "platonic_shelf_big_endian.ply": 80}
# The manifest's are those before the file's own nodes, items or units are applied.
EXTENTS = {
    "ambientcg_3DTreeStump001.usdc": [0.9753, 1.4013, 0.2216],
    "ambientcg_3DTreeStump001.usdz": [0.9753, 1.4013, 0.2216],
    "cube_and_sphere_same_name.3mf": [92.8005, 40.0, 40.0],
    "nested.glb": [1.4364, 3.3366, 0.5388],
    "no_indices_3storybuilding.glb": [56.0801, 9.0, 63.3614],
    "simple_pole.glb": [1.0, 20.5, 12.0],
    "simple.copc.laz": [3362.7, 4635.73, 179.8 * 0.3048006],
    "stump_pts_inf.ply": [0.9751, 0.2201, 1.3974],
}
# Warnings of how the file is written; all others are of units, holes, specks, kinds of body or far points, of which
# later rooms speak.
TELL = {
    "notenoughindices.obj": "fewer than 3 corners",
    "polyhaven_tree_stump_01.obj": "materials",
    "simple_pole.glb": "11 parts",
    "stump_pts_inf.ply": "60 points",
    "stump_pts_nan.ply": "60 points",
    "stump_scale_1cm.las": "rounds its coordinates to 0.01",
}
SAY = {
    "git_lfs_pointer.obj": "Git LFS pointer",
    "glb_named_obj.obj": "it is a GLB; rename it to .glb",
    "html_error_page.ply": "HTML",
    "stl_named_ply.ply": "it is an STL; rename it to .stl",
    "stump_mesh_ok_but_named.txt": "it is a PLY; rename it to .ply",
    "insulated.msh": "ending is .msh, which is not read",
    "Mesh_PrimitiveMode_04.bin": "ending is .bin, which is not read",
    "gaussian_splat_like.ply": "splats",
    "polyhaven_tree_stump_01_meshopt_webp.glb": "EXT_meshopt_compression",
    "stump_obj_decimal_comma.obj": "decimal commas",
}


@pytest.fixture(scope="module")
def entries(data_folder):
    folder = data_folder / "odd_files"
    found = json.loads((folder / "manifest.json").read_text())
    for entry in found:
        entry["path"] = folder / entry["file"]
        entry["name"] = entry["path"].name
    assert len(found) == FILE_COUNT
    return found


def as_given(path):
    """Return the bytes and the ending that a user would give."""
    if path.name not in IN_PIECES:
        return path.read_bytes(), path.suffix
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in (path, path.with_name(IN_PIECES[path.name])):
            archive.write(one, one.name)
    return stream.getvalue(), "zip"


def ended(entry):
    """Return the scan, or the line that refuses it, within the time that a user waits; nothing else may come."""
    started = time.monotonic()
    try:
        scan, line = read_scan(*as_given(entry["path"])), None
    except ScanError as error:
        scan, line = None, str(error)
    assert time.monotonic() - started < MOST_SECONDS, entry["name"]
    assert line is None or (line and "\n" not in line), entry["name"]
    return scan, line


def own_extent(scan):
    """Lengths of the box about the faces, or about all points where there are none: as the manifest measures."""
    return np.ptp(scan.points[np.unique(scan.faces)] if len(scan.faces) else scan.points, axis=0)


def check_loaded(entry, scan):
    name, known = entry["name"], entry["seen_here"]
    assert_whole(scan)
    points = POINTS.get(name, known.get("points"))
    assert points is not None, name
    assert (len(scan.points) != points) == (name in OTHER_COUNT), name
    assert len(scan.faces) == FACES.get(name, known.get("faces", 0)), name
    extent = EXTENTS.get(name, known.get("extent"))
    if extent is not None:
        np.testing.assert_allclose(own_extent(scan), extent, rtol=1e-3, atol=1e-9, err_msg=name)
    assert TELL.get(name, "") in " ".join(note.text for note in scan.notes), name


def test_every_odd_file_ends_as_the_manifest_says(entries):
    ends = {"load": 0, "warn": 0, "refuse": 0}
    for entry in entries:
        name = entry["name"]
        scan, line = ended(entry)
        if name in EITHER:
            assert (scan is None) != (line is None)
        elif entry["expect"] != "refuse" or name in OF_SHAPE:
            assert line is None, (name, line)
            check_loaded(entry, scan)
        else:
            assert scan is None, name
            assert SAY.get(name, "") in line, (name, line)
            if entry["path"].stat().st_size == 0:
                assert line == "the file is empty; copy or export it again"
        ends[entry["expect"]] += 1
    assert ends["load"] > 80
    assert ends["warn"] > 20
    assert ends["refuse"] > 40


@pytest.mark.parametrize("said", [{}, *({"unit": "m", "up": up} for up in "xyz")])
def test_points_that_span_no_body_are_refused_as_no_log(data_folder, said):
    for name in sorted(OF_SHAPE):
        scan = read_scan((data_folder / "odd_files" / "selfmade" / name).read_bytes(), "ply")
        with pytest.raises(ScanError) as caught:
            find_log(place_scan(scan, **said).points_m)
        assert "\n" not in str(caught.value)


def test_named_exceptions_are_files_of_the_manifest(entries):
    named = {*EITHER, *IN_PIECES, *OTHER_COUNT, *POINTS, *FACES, *EXTENTS, *TELL, *SAY, *OF_SHAPE}
    assert named <= {entry["name"] for entry in entries}


def test_a_mesh_is_the_same_in_every_format(data_folder):
    folder = data_folder / "odd_files" / "selfmade"
    found = {path.suffix: read_scan(path.read_bytes(), path.suffix) for path in folder.glob("stump_mesh_ok.*")}
    assert set(found) >= {".ply", ".obj", ".stl", ".off", ".glb"}
    corners = found.pop(".ply")
    for suffix, scan in found.items():
        np.testing.assert_allclose(
            scan.points[scan.faces], corners.points[corners.faces], rtol=0, atol=1e-5, err_msg=suffix
        )
