"""A real-looking log: Poly Haven, dead_tree_trunk_02 (CC0 1.0). Volume and faces as its data sheet says."""

import json

import numpy as np
import pytest
from meshes import read_mesh
from scipy.spatial import cKDTree
from solid_measures import section_centres, volume_outside

from scans.fit.scanned_log import log_from_points
from scans.formats.readers import read_scan
from scans.locate.ground import find_log
from scans.solids.log_from_mesh import log_from_mesh


@pytest.fixture(scope="module")
def mesh(data_folder):
    return read_mesh((data_folder / "cc0" / "cc0_polyhaven_fork_log.ply").read_bytes(), ".ply")


def test_it_becomes_a_log_of_its_published_volume(mesh, data_folder):
    sheet = json.loads((data_folder / "cc0" / "cc0_polyhaven_fork_log.json").read_text())
    log, notes = log_from_mesh(*mesh, "fallen log", 1.0)
    assert log.outer.volume_m3 == pytest.approx(sheet["volume_m3"], rel=0.005)
    # Its axis slopes 5 deg in the file, so its length is a little less than the file's extent in x.
    assert log.length_m == pytest.approx(sheet["bbox_m"][0], rel=0.01)
    assert len(log.outer.faces) == sheet["faces"]
    # Its branches are a third of the stem's thickness: stubs, no fork. It says so, and has one heart.
    assert len(log.hearts) == 1 + 2 * len(log.forks)
    assert log.forks or any("branch stub" in note.text for note in notes)
    line = log.hearts[0]
    x, centres = section_centres(log.outer.vertices_m, log.outer.faces)
    within = np.hypot(
        np.interp(x, line[:, 0], line[:, 1]) - centres[:, 0], np.interp(x, line[:, 0], line[:, 2]) - centres[:, 1]
    )
    assert np.median(within) < 0.03


def test_the_same_log_with_y_up_is_the_same_log(mesh, data_folder):
    glb = (data_folder / "cc0" / "cc0_polyhaven_fork_log_yup.glb").read_bytes()
    log, _ = log_from_mesh(*mesh, "fallen log", 1.0)
    other, _ = log_from_mesh(*read_mesh(glb, ".glb"), "fallen log", 1.0)
    np.testing.assert_allclose(other.outer.bounds_m, log.outer.bounds_m, atol=2e-4)


def test_the_wood_under_its_bark_is_one_body_inside(mesh):
    log, _ = log_from_mesh(*mesh, "fallen log", 0.92)
    assert log.wood.volume_m3 / log.outer.volume_m3 == pytest.approx(0.92**2, rel=0.02)
    assert volume_outside(log.wood, log.outer) < 1e-6
    assert log.wood.bounds_m[1, 0] <= log.outer.bounds_m[1, 0] + 1e-9


def test_a_cloud_of_what_does_not_face_down_becomes_a_log_of_its_volume(data_folder):
    # Its top end turns aside and up by some 35 deg, its section is far from round, and branches leave it.
    sheet = json.loads((data_folder / "cc0" / "cc0_polyhaven_fork_log.json").read_text())
    points = read_scan((data_folder / "cc0" / "cc0_polyhaven_fork_log_partial_cloud.ply").read_bytes(), ".ply").points
    found = find_log(points)
    log, _ = log_from_points(points[found.mask], found.outline, "fallen log", 1.0)
    there = points[::4] @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    assert log.outer.volume_m3 == pytest.approx(sheet["volume_m3"], rel=0.05)
    assert np.quantile(cKDTree(middles).query(there)[0], 0.9) < 0.02
