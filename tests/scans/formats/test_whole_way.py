"""From points and faces of any kind to a Log or one line that says why not: nothing else comes, not even a warning."""

import warnings

import numpy as np
import pytest
import trimesh

from scans import log_of_scan as log_of_scan_module
from scans.errors import ScanError
from scans.formats.finite_points import only_finite
from scans.formats.scan import Scan
from scans.log import Log
from scans.log_of_scan import ScanChoices, log_of_scan

RNG = np.random.default_rng(7)
COUNT = 600
TURN = RNG.uniform(-np.pi, np.pi, COUNT)
CYLINDER = np.stack([RNG.uniform(0.0, 3.0, COUNT), 0.3 * np.cos(TURN), 0.3 * np.sin(TURN)], axis=1)
BALL = RNG.normal(size=(COUNT, 3))
BALL /= np.linalg.norm(BALL, axis=1)[:, None]

CLOUDS = {
    "random": RNG.random((COUNT, 3)) * [3.0, 0.6, 0.6],
    "cube": RNG.random((COUNT, 3)),
    "normal": RNG.normal(size=(COUNT, 3)),
    "flat": RNG.random((COUNT, 3)) * [3.0, 0.6, 0.0],
    "tilted plane": RNG.random((COUNT, 3)) @ np.array([[3.0, 1.0, 0.5], [0.0, 0.6, 0.6], [0.0, 0.0, 0.0]]),
    "line": np.linspace(0.0, 3.0, COUNT)[:, None] * [1.0, 0.0, 0.0],
    "slanted line": np.linspace(0.0, 3.0, COUNT)[:, None] * [1.0, 0.5, 0.2],
    "two lines": np.repeat(np.linspace(0.0, 3.0, COUNT // 2), 2)[:, None] * [1.0, 0, 0]
    + np.arange(COUNT)[:, None] % 2 * [0, 0.5, 0],
    "one point": np.array([[1.0, 2.0, 3.0]]),
    "two points": np.array([[1.0, 2.0, 3.0], [4.0, 2.0, 3.0]]),
    "four points": np.array([[0.0, 0, 0], [3, 0, 0], [3, 0.5, 0], [3, 0, 0.5]]),
    "five points": np.array([[0.0, 0, 0], [3, 0, 0], [3, 0.5, 0], [3, 0, 0.5], [1, 1, 1]]),
    "all equal": np.full((COUNT, 3), 1.5),
    "two places": np.repeat([[0.0, 0, 0], [3.0, 0, 0]], COUNT // 2, axis=0),
    "cylinder": CYLINDER,
    "doubled": np.concatenate([CYLINDER, CYLINDER]),
    "ball": BALL,
    "grid": np.stack(np.meshgrid(*[np.arange(8.0)] * 3), axis=-1).reshape(-1, 3) * 0.3,
    "one far point": np.concatenate([CYLINDER, [[1e7, 1e7, 1e7]]]),
    "one point beyond all": np.concatenate([CYLINDER, [[1e40, 0.0, 0.0]]]),
    "not numbers": np.where(RNG.random((COUNT, 3)) < 0.1, np.nan, CYLINDER),
    "infinite": np.where(RNG.random((COUNT, 3)) < 0.1, np.inf, CYLINDER),
    "no numbers at all": np.full((COUNT, 3), np.nan),
}
SIZES = {"as it is": (1.0, 0.0), "far off": (1.0, 1e7), "tiny": (1e-6, 0.0), "huge": (1e6, 0.0), "beyond": (1e45, 0.0)}


def meshes():
    tube = trimesh.creation.cylinder(0.3, 3.0, sections=12)
    tube.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2.0, [0, 1, 0]))
    box, ball = trimesh.creation.box((3.0, 0.5, 0.5)), trimesh.creation.icosphere(2)
    both = trimesh.util.concatenate([box, box.copy().apply_translation([0.0, 2.0, 0.0])])
    crossed = trimesh.util.concatenate([box, box.copy().apply_translation([0.1, 0.1, 0.1])])
    shapes = {"tube": tube, "box": box, "ball": ball, "two boxes": both, "crossed boxes": crossed}
    made = {name: (np.array(shape.vertices), np.array(shape.faces)) for name, shape in shapes.items()}
    points, faces = made["tube"]
    made["inside out"] = points, faces[:, ::-1]
    made["open"] = points, faces[:-20]
    made["nearly closed"] = points, faces[:-1]
    made["one face"] = points, faces[:1]
    made["faces twice"] = points, np.concatenate([faces, faces])
    made["faces both ways"] = points, np.concatenate([faces, faces[:, ::-1]])
    made["one corner thrice"] = points, np.repeat(faces[:, :1], 3, axis=1)
    made["corners at random"] = points, RNG.integers(0, len(points), (60, 3))
    made["all in one place"] = np.ones_like(points), faces
    made["flattened"] = points * [1.0, 1.0, 0.0], faces
    made["a line"] = points * [1.0, 0.0, 0.0], faces
    made["one corner far off"] = np.concatenate([points[:-1], [[1e7, 0.0, 0.0]]]), faces
    made["thin"] = points * [1.0, 1e-9, 1e-9], faces
    return made


MESHES = meshes()


@pytest.fixture(autouse=True)
def few_points_on_faces(monkeypatch):
    """Keep open meshes from making as many points as real ones need."""
    monkeypatch.setattr(log_of_scan_module, "_ON_FACES", 4_000)


def ends_well(points, faces=None, choices=None, **more):
    """Hold the way of a scan to what is promised of it; return the Log, or None where it is refused."""
    faces = np.zeros((0, 3), np.int64) if faces is None else np.asarray(faces, dtype=np.int64)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            scan = only_finite(Scan(np.asarray(points, dtype=np.float64), faces, **more))
            log, notes = log_of_scan(scan, "odd", 1.0, choices or ScanChoices())
        except ScanError as error:
            line, log, notes = str(error), None, ()
        else:
            line = "a log"
    assert line
    assert "\n" not in line
    if log is None:
        return None
    assert isinstance(log, Log)
    assert all(notes)
    assert 0.4 < log.length_m < 16.0
    assert 0.0 < log.wood.volume_m3 <= log.outer.volume_m3
    return log


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kind", CLOUDS)
def test_a_cloud_becomes_a_log_or_one_line(kind, size):
    scale, shift = SIZES[size]
    ends_well(scale * CLOUDS[kind] + shift)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kind", MESHES)
def test_a_mesh_becomes_a_log_or_one_line(kind, size):
    scale, shift = SIZES[size]
    points, faces = MESHES[kind]
    ends_well(scale * points + shift, faces)


SAID = ScanChoices(unit="m", up="z")


@pytest.mark.parametrize("kind", CLOUDS)
def test_a_cloud_whose_unit_and_up_are_said_becomes_a_log_or_one_line(kind):
    ends_well(CLOUDS[kind], None, SAID)
    ends_well(CLOUDS[kind], None, ScanChoices("m", "-y", "other", 3.0))


@pytest.mark.parametrize("kind", MESHES)
def test_a_mesh_whose_unit_and_up_are_said_becomes_a_log_or_one_line(kind):
    ends_well(*MESHES[kind], SAID)
    ends_well(*MESHES[kind], ScanChoices("m", "z", "other", 3.0))


@pytest.mark.parametrize("kind", ["cylinder", "flat", "all equal", "random", "four points"])
def test_normals_and_colours_change_nothing_of_this(kind):
    points = CLOUDS[kind]
    normals = RNG.normal(size=points.shape)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    colours = RNG.integers(0, 256, points.shape).astype(np.uint8)
    ends_well(points, None, SAID, normals=normals, colours=colours)
    ends_well(points, None, SAID, normals=np.tile([0.0, 0.0, 1.0], (len(points), 1)))
    ends_well(points, None, None, colours=colours)


@pytest.mark.parametrize("kind", ["tube", "open", "corners at random", "all in one place"])
def test_colours_of_a_mesh_change_nothing_of_this(kind):
    points, faces = MESHES[kind]
    colours = RNG.integers(0, 256, points.shape).astype(np.uint8)
    ends_well(points, faces, SAID, colours=colours)


def test_some_of_this_is_a_log():
    assert ends_well(*MESHES["tube"]) is not None
    assert ends_well(*MESHES["inside out"]) is not None
    assert ends_well(*MESHES["nearly closed"]) is not None


@pytest.mark.parametrize("height", [1e20, 1e40])
def test_a_point_far_beyond_all_others_is_left_out(height):
    ends_well(np.concatenate([CYLINDER[:190], [[0.0, 0.0, height]]]))
