import struct

import numpy as np
import pytest
import trimesh

from scans import readers
from scans.errors import ScanError
from scans.readers import read_mesh

BOX = trimesh.creation.box(extents=(3.0, 0.5, 0.4))


def exported(mesh, kind):
    with np.errstate(invalid="ignore"):
        data = mesh.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


@pytest.mark.parametrize("kind", ["ply", "obj", "stl", "off"])
@pytest.mark.parametrize("spelling", ["{}", ".{}", ".{}".upper()])
def test_the_same_box_comes_out_of_every_format(kind, spelling):
    vertices, faces = read_mesh(exported(BOX, kind), spelling.format(kind).upper())
    assert vertices.shape == (8, 3)
    assert faces.shape == (12, 3)
    assert vertices.dtype == np.float64
    assert faces.dtype == np.int64
    np.testing.assert_allclose(np.ptp(vertices, axis=0), [3.0, 0.5, 0.4], rtol=1e-6)
    assert trimesh.Trimesh(vertices, faces, process=False).volume == pytest.approx(0.6, rel=1e-6)


def test_a_text_stl_is_read():
    vertices, faces = read_mesh(exported(BOX, "stl_ascii"), ".stl")
    assert (len(vertices), len(faces)) == (8, 12)


def test_the_y_of_a_glb_is_up():
    # glTF 2.0 specification, section 3.4: metres, +y up. A box 0.5 high in y stands 0.5 high in z.
    vertices, faces = read_mesh(exported(BOX, "glb"), ".glb")
    np.testing.assert_allclose(np.ptp(vertices, axis=0), [3.0, 0.4, 0.5], rtol=1e-6)
    assert trimesh.Trimesh(vertices, faces, process=False).volume == pytest.approx(0.6, rel=1e-6)
    raised = BOX.copy()
    raised.apply_translation([0.0, 7.0, 0.0])
    assert read_mesh(exported(raised, "glb"), ".glb")[0][:, 2].min() == pytest.approx(6.75)


def test_all_meshes_of_a_glb_are_read_where_their_nodes_put_them():
    scene = trimesh.Scene()
    scene.add_geometry(BOX, transform=trimesh.transformations.translation_matrix([0.0, 0.0, 5.0]))
    scene.add_geometry(BOX)
    vertices, faces = read_mesh(exported(scene, "glb"), ".glb")
    assert len(faces) == 24
    assert np.ptp(vertices[:, 1]) == pytest.approx(5.4)


def with_one_vertex(value):
    vertices = np.array(BOX.vertices)
    vertices[3, 1] = value
    return trimesh.Trimesh(vertices, BOX.faces, process=False)


POINTS = trimesh.PointCloud(BOX.vertices)

REFUSED = [
    (b"ply", ".txt", "ending is .txt"),
    (b"ply", "", "ending is .(none)"),
    (b"", ".ply", "is empty"),
    (b" \n", ".obj", "is empty"),
    (exported(POINTS, "ply"), ".ply", "points without faces; scans as points are not read yet: export a closed mesh"),
    (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", ".obj", "points without faces"),
    (exported(with_one_vertex(np.nan), "ply"), ".ply", "1 vertices of the file are not finite"),
    (exported(with_one_vertex(np.inf), "stl"), ".stl", "not finite"),
    (exported(BOX, "ply")[:-40], ".ply", "cut off or damaged"),
    (exported(BOX, "stl")[:-40], ".stl", "cut off or damaged"),
    (exported(BOX, "stl_ascii")[:-200], ".stl", "cut off or damaged"),
    (exported(BOX, "glb")[:-40], ".glb", "cut off or damaged"),
    (exported(BOX, "off")[:-20], ".off", "cut off or damaged"),
    (exported(BOX, "stl"), ".ply", "does not begin as a PLY does"),
    (exported(BOX, "glb"), ".obj", "is no text"),
    (exported(BOX, "ply"), ".glb", "does not begin as a GLB does"),
    (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", ".obj", "damaged"),
    (b"OFF\n353535235358 1 0\n0 0 0\n", ".off", "more than its lines"),
]


@pytest.mark.parametrize(("data", "suffix", "line"), REFUSED)
def test_what_cannot_be_read_is_refused_in_one_line(data, suffix, line):
    with pytest.raises(ScanError) as caught:
        read_mesh(data, suffix)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_mesh_of_too_many_faces_is_refused_before_it_is_read(monkeypatch):
    stl = b"x" * 80 + struct.pack("<I", 5_000_001)
    with pytest.raises(ScanError, match="cut off"):
        read_mesh(stl, ".stl")
    header = b"ply\nformat ascii 1.0\nelement vertex 3\nelement face 5000001\nend_header\n"
    with pytest.raises(ScanError, match="5000001 faces, at most 5000000"):
        read_mesh(header, ".ply")
    monkeypatch.setattr(readers, "MOST_FACES", 11)
    for kind in ("ply", "stl", "obj", "off", "glb"):
        with pytest.raises(ScanError, match="12 faces, at most 11"):
            read_mesh(exported(BOX, kind), kind)


def test_odd_files_load_or_are_refused_cleanly(data_folder):
    folder = data_folder / "odd_files"
    read, refused = 0, []
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() not in {".ply", ".obj", ".stl", ".off", ".glb"}:
            continue
        try:
            vertices, faces = read_mesh(path.read_bytes(), path.suffix)
        except ScanError as error:
            refused.append(str(error))
        else:
            read += 1
            assert np.isfinite(vertices[np.unique(faces)]).all(), path.name
            assert faces.max() < len(vertices), path.name
    assert read > 70
    assert len(refused) > 40
    assert not [line for line in refused if "\n" in line]


@pytest.mark.parametrize("kind", ["ply", "obj", "stl", "off", "glb"])
def test_a_good_stump_has_all_its_faces_in_every_format(data_folder, kind):
    path = data_folder / "odd_files" / "selfmade" / f"stump_mesh_ok.{kind}"
    vertices, faces = read_mesh(path.read_bytes(), kind)
    assert len(faces) == 5999
    # The manifest's extent; a GLB comes out with its y up.
    extent = [0.9706, 1.398, 0.2216] if kind == "glb" else [0.9706, 0.2216, 1.398]
    np.testing.assert_allclose(np.ptp(vertices, axis=0), extent, rtol=1e-3)
