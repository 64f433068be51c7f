"""Unit and up axis: as the file says, as the user says, as makes a log of it; or a question."""

import numpy as np
import pytest
import trimesh
from yards import GRASS, OTHER_LOG, STONE, STRAY, round_log, yard

from scans.errors import DoubtfulScanError, ScanError
from scans.formats.scan import Scan
from scans.locate.ground_plane import find_ground_plane
from scans.locate.placing import UNITS_M, UP_TURNS, place_scan

WITH_GROUND = yard(1, things=(GRASS, STONE, STRAY, OTHER_LOG), slope_deg=8.0, yaw_deg=25.0).points_m
ALONE = round_log(np.random.default_rng(0), seen_below_deg=35.0)


def in_file(points_m, unit="m", up="z"):
    """Points as a file in another unit, another axis up, holds them."""
    return points_m @ UP_TURNS[up] / UNITS_M[unit]


def test_the_turns_are_no_mirrors_and_bring_each_axis_up():
    axes = {"z": [0, 0, 1], "y": [0, 1, 0], "x": [1, 0, 0], "-z": [0, 0, -1], "-y": [0, -1, 0], "-x": [-1, 0, 0]}
    for up, turn in UP_TURNS.items():
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert np.array_equal(turn @ axes[up], [0, 0, 1])


@pytest.mark.parametrize("up", list(UP_TURNS))
@pytest.mark.parametrize("unit", ["m", "cm", "mm"])
def test_ground_tells_which_is_up_and_the_log_its_unit(unit, up):
    placed = place_scan(Scan(in_file(WITH_GROUND, unit, up)))

    assert (placed.unit, placed.up) == (unit, up)
    assert np.allclose(placed.points_m, WITH_GROUND)
    assert len(placed.notes) == 2
    assert all("\n" not in note.text for note in placed.notes)


@pytest.mark.parametrize("up", ["z", "y", "x"])
def test_without_ground_the_unseen_side_is_underneath(up):
    placed = place_scan(Scan(in_file(ALONE[:, [1, 0, 2]] * [-1, 1, 1] if up == "x" else ALONE, "mm", up)))

    assert (placed.unit, placed.up) == ("mm", up)


def test_a_log_that_would_stand_on_its_end_has_y_up():
    whole = round_log(np.random.default_rng(0), seen_below_deg=90.0)

    assert place_scan(Scan(whole)).up == "z"
    assert place_scan(Scan(whole[:, [1, 2, 0]])).up == "y"


def test_an_unseen_side_that_lies_over_the_log_is_a_question():
    with pytest.raises(DoubtfulScanError, match=r"\{:up z, y or x\}"):
        place_scan(Scan(ALONE * [1.0, -1.0, -1.0]))


def test_ground_between_two_axes_is_a_question():
    lean = np.radians(44.0)
    turn = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])

    with pytest.raises(DoubtfulScanError, match=r"\{:up z, y or x\}"):
        place_scan(Scan(yard(1).points_m @ turn.T))


@pytest.mark.parametrize(("unit", "other"), [("ft", "m"), ("in", "cm")])
def test_units_that_are_both_likely_are_a_question_that_names_both(unit, other):
    with pytest.raises(DoubtfulScanError) as error:
        place_scan(Scan(in_file(WITH_GROUND, unit)))

    assert {f"{{:unit {unit} or {other}}}", f"{{:unit {other} or {unit}}}"} & {error.value.mend.removeprefix("choose ")}
    assert error.value.field == "unit"
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("unit", list(UNITS_M))
def test_a_taped_length_settles_the_unit(unit):
    placed = place_scan(Scan(in_file(WITH_GROUND, unit)), taped_length_m=3.05)

    assert placed.unit == unit


@pytest.mark.parametrize("unit", list(UNITS_M))
@pytest.mark.parametrize("up", list(UP_TURNS))
def test_what_the_user_says_is_done(unit, up):
    points = in_file(ALONE, unit, up)
    normals = np.tile([0.0, 0.0, 1.0], (len(points), 1))

    placed = place_scan(Scan(points, normals=normals, unit_m=1.0, up="y"), unit=unit, up=up)

    assert np.allclose(placed.points_m, ALONE)
    assert np.allclose(points @ placed.placing[:3, :3].T + placed.placing[:3, 3], ALONE)
    assert placed.normals is not None
    assert np.allclose(placed.normals, normals @ UP_TURNS[up].T)


def test_what_the_format_says_is_taken():
    placed = place_scan(Scan(in_file(WITH_GROUND, "ft", "y"), unit_m=0.3048, up="y"))

    assert (placed.unit, placed.up) == ("ft", "y")
    assert np.allclose(placed.points_m, WITH_GROUND)
    assert all("as the file says" in note.text for note in placed.notes)


def test_a_format_that_the_scan_contradicts_is_a_question():
    with pytest.raises(DoubtfulScanError, match=r"\{:up z or y\}"):
        place_scan(Scan(WITH_GROUND, unit_m=1.0, up="y"))
    with pytest.raises(DoubtfulScanError, match=r"\{:unit mm"):
        place_scan(Scan(in_file(WITH_GROUND, "mm"), unit_m=1.0, up="z"))


@pytest.mark.parametrize("scale", [1e-4, 1e6])
def test_a_size_that_is_no_logs_is_a_question(scale):
    with pytest.raises(DoubtfulScanError, match=r"\{:unit "):
        place_scan(Scan(ALONE * scale))


def test_unknown_options_and_empty_scans_are_refused():
    with pytest.raises(ScanError, match=r"\{:unit\} must be one of m, cm, mm, in, ft, got yd"):
        place_scan(Scan(ALONE), unit="yd")
    with pytest.raises(ScanError, match=r"\{:up\} must be one of .* got w"):
        place_scan(Scan(ALONE), up="w")
    with pytest.raises(ScanError, match="3 points"):
        place_scan(Scan(ALONE[:3]))


@pytest.mark.parametrize("points", [np.zeros((5000, 3)), np.tile([[0.0, 0, 0], [1, 0, 0]], (500, 1))])
def test_points_that_span_nothing_are_a_question_and_no_crash(points):
    with pytest.raises(ScanError):
        place_scan(Scan(points))


def test_neither_a_log_nor_a_ball_is_ground():
    assert find_ground_plane(ALONE) is None
    assert find_ground_plane(round_log(np.random.default_rng(0), seen_below_deg=90.0)) is None
    assert find_ground_plane(np.asarray(trimesh.creation.icosphere(subdivisions=5).vertices)) is None


def test_the_grounds_plane_is_found_with_its_upper_side():
    points = yard(1, slope_deg=20.0).points_m
    plane = find_ground_plane(points)

    assert plane is not None
    assert plane.normal @ [0.0, -np.sin(np.radians(20.0)), np.cos(np.radians(20.0))] > np.cos(np.radians(1.0))
    assert np.median(plane.above(points)) > -plane.tolerance


@pytest.mark.parametrize(
    "name",
    ["gpl3/amsterdam_stem_a.ply", "gpl3/carnutes_sweep.ply", "gpl3/carnutes_fork_two.ply",
     "gpl3/carnutes_oval_45cm.ply", "cc0/cc0_polyhaven_fork_log_partial_cloud.ply"],
)  # fmt: skip
@pytest.mark.parametrize("unit", ["m", "cm", "mm"])
def test_real_stems_are_metres_z_up(name, unit, data_folder):
    points = np.asarray(trimesh.load(data_folder / name, process=False).vertices, dtype=np.float64)

    placed = place_scan(Scan(in_file(points, unit)))

    assert (placed.unit, placed.up) == (unit, "z")
