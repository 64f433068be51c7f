import numpy as np
import pytest
import trimesh
from solid_measures import rotation, section_centres, volume_outside

from scans.errors import NotALogError, OpenSolidError
from scans.solids.log_from_mesh import log_from_mesh
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection, log_from_sheet


def round_section(at_m, diameter_m):
    return TapedSection(at_m, girth_m=np.pi * diameter_m)


def taper():
    """An invented oval, bowed, tapering log."""
    sections = (TapedSection(0.0, 0.8, 0.65, 20.0), TapedSection(1.5, 0.6, 0.55, 30.0), TapedSection(3.0, 0.55, 0.5))
    return log_from_sheet(LogSheet("invented", None, True, sections, Bow(0.1, 1.4, 60.0)), 1.0).outer


def forked():
    """An invented log whose limbs together are thicker than its stem."""
    limbs = (
        TapedLimb(1.5, 25.0, 80.0, (round_section(1.2, 0.5),)),
        TapedLimb(1.5, 30.0, 260.0, (round_section(1.1, 0.45),)),
    )
    sheet = LogSheet("invented", None, True, (round_section(0.0, 0.6), round_section(1.5, 0.6)), None, limbs)
    return log_from_sheet(sheet, 1.0)


def moved(solid, turn, shift):
    return solid.vertices_m @ turn.T + np.asarray(shift), np.array(solid.faces)


def log_and_notes(vertices, faces, bark_ratio=1.0, **options):
    return log_from_mesh(vertices, faces, "invented", bark_ratio, **options)


def test_a_log_that_lies_in_its_frame_stays_where_it_is():
    solid = taper()
    log, notes = log_and_notes(solid.vertices_m, solid.faces)
    np.testing.assert_allclose(log.scan_to_log, np.eye(4), atol=1e-5)
    assert log.outer.volume_m3 == pytest.approx(solid.volume_m3, rel=1e-9)
    assert "butt end is the one towards -x" in notes[0].text


@pytest.mark.parametrize("angle_deg", [0.0, 37.0, 90.0, 180.0, 251.0])
def test_a_log_that_lies_another_way_round_is_the_same_log(angle_deg):
    solid = taper()
    turn = rotation([0, 0, 1], angle_deg)
    log, _ = log_and_notes(*moved(solid, turn, [4.0, -2.0, 0.7]))
    np.testing.assert_allclose(log.scan_to_log[:3, :3], turn.T, atol=1e-5)
    assert log.length_m == pytest.approx(np.ptp(solid.vertices_m[:, 0]), abs=1e-5)
    np.testing.assert_allclose(log.outer.bounds_m, solid.bounds_m, atol=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_a_log_moved_at_random_has_the_same_axis_length_and_butt(seed):
    solid = taper()
    generator = np.random.default_rng(seed)
    turn = rotation(generator.normal(size=3), generator.uniform(0.0, 360.0))
    log, _ = log_and_notes(*moved(solid, turn, generator.uniform(-5.0, 5.0, 3)))
    np.testing.assert_allclose(turn.T @ log.scan_to_log[0, :3], [1, 0, 0], atol=1e-4)
    assert log.outer.bounds_m[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert log.length_m == pytest.approx(np.ptp(solid.vertices_m[:, 0]), abs=1e-4)
    # z is the scan's up, made square to x; y is to the left.
    assert log.scan_to_log[1, 2] == pytest.approx(0.0, abs=1e-9)
    assert log.scan_to_log[2, 2] > 0.0
    np.testing.assert_allclose(np.linalg.det(log.scan_to_log[:3, :3]), 1.0)
    x, centres = section_centres(log.outer.vertices_m, log.outer.faces)
    np.testing.assert_allclose(np.polyfit(x, centres, 1)[0], 0.0, atol=1e-3)


def test_a_log_that_stands_upright_is_read_and_says_so():
    solid = taper()
    log, notes = log_and_notes(*moved(solid, rotation([0, 1, 0], 90.0), [0, 0, 0]))
    assert log.length_m == pytest.approx(np.ptp(solid.vertices_m[:, 0]), abs=1e-4)
    assert any("stands upright" in note.text for note in notes)


@pytest.mark.parametrize("turn_deg", [0.0, 180.0])
def test_the_thicker_end_is_the_butt_and_the_user_may_say_otherwise(turn_deg):
    vertices, faces = moved(taper(), rotation([0, 0, 1], turn_deg), [0, 0, 0])
    log, _ = log_and_notes(vertices, faces)
    other, notes = log_and_notes(vertices, faces, butt="other")
    x, _ = section_centres(log.outer.vertices_m, log.outer.faces)
    near, far = (np.ptp(log.outer.vertices_m[abs(log.outer.vertices_m[:, 0] - at) < 0.1, 2]) for at in (x[0], x[-1]))
    assert near > far
    assert any("asked for" in note.text for note in notes)
    np.testing.assert_allclose(other.scan_to_log[0, :3], -log.scan_to_log[0, :3], atol=1e-4)
    assert other.outer.bounds_m[0, 0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("turn_deg", [0.0, 180.0])
def test_of_a_forked_log_the_butt_is_the_end_that_is_one_stem(turn_deg):
    taped = forked()
    log, notes = log_and_notes(*moved(taped.outer, rotation([0, 0, 1], turn_deg), [0, 0, 0]))
    assert any("divides into limbs" in note.text for note in notes)
    assert log.scan_to_log[0, 0] == pytest.approx(np.cos(np.radians(turn_deg)), abs=1e-4)
    assert len(log.hearts) == 3
    np.testing.assert_allclose(log.forks[0].crotch_m, taped.forks[0].crotch_m, atol=0.01)


def test_a_fork_scanned_from_its_side_keeps_its_frame():
    taped = forked()
    turn = rotation([0, 0, 1], 70.0)
    log, _ = log_and_notes(*moved(taped.outer, turn, [1.0, 2.0, 3.0]))
    np.testing.assert_allclose(log.scan_to_log[:3, :3] @ turn, np.eye(3), atol=1e-4)
    np.testing.assert_allclose(log.outer.bounds_m, taped.outer.bounds_m, atol=1e-4)
    # The hearts read off the sections lie on those that the sheet gave.
    np.testing.assert_allclose(log.hearts[0][-1], taped.hearts[0][-1], atol=0.05)


def test_bark_is_taken_off_by_a_number_or_by_a_rule():
    solid = taper()
    log, notes = log_and_notes(solid.vertices_m, solid.faces, 0.9)
    assert log.wood.volume_m3 / log.outer.volume_m3 == pytest.approx(0.81, rel=0.01)
    assert volume_outside(log.wood, log.outer) < 1e-6
    assert any("bark" in note.text.lower() for note in notes)
    asked = []
    by_rule, _ = log_and_notes(solid.vertices_m, solid.faces, lambda diameter_m: asked.append(diameter_m) or 0.9)
    assert by_rule.wood.volume_m3 == pytest.approx(log.wood.volume_m3)
    assert asked[0] == pytest.approx(2.0 * np.sqrt(solid.volume_m3 / np.pi / log.length_m), rel=1e-6)
    with pytest.raises(NotALogError, match="bark ratio"):
        log_and_notes(solid.vertices_m, solid.faces, 1.2)


def test_an_inside_out_mesh_is_turned():
    solid = taper()
    log, notes = log_and_notes(solid.vertices_m, solid.faces[:, ::-1])
    assert log.outer.volume_m3 == pytest.approx(solid.volume_m3, rel=1e-9)
    assert any("inside out" in note.text for note in notes)


def test_faces_that_do_not_agree_are_turned():
    solid = taper()
    faces = np.array(solid.faces)
    faces[::3] = faces[::3, ::-1]
    log, notes = log_and_notes(solid.vertices_m, faces)
    assert log.outer.volume_m3 == pytest.approx(solid.volume_m3, rel=1e-9)
    assert any("turned back" in note.text for note in notes)


def test_repeated_faces_are_left_out():
    solid = taper()
    log, _ = log_and_notes(solid.vertices_m, np.concatenate([solid.faces, solid.faces[:50]]))
    assert log.outer.volume_m3 == pytest.approx(solid.volume_m3, rel=1e-9)


def with_ball(radius_m):
    solid = taper()
    ball = trimesh.creation.icosphere(radius=radius_m)
    vertices = np.concatenate([solid.vertices_m, ball.vertices + np.array([1.0, 3.0, 0.0])])
    return vertices, np.concatenate([solid.faces, ball.faces + len(solid.vertices_m)])


def test_a_loose_bit_is_dropped_and_reported():
    log, notes = log_and_notes(*with_ball(0.05))
    assert log.outer.volume_m3 == pytest.approx(taper().volume_m3, rel=1e-9)
    assert any("1 loose bit was dropped" in note.text for note in notes)


def test_two_bodies_are_refused():
    with pytest.raises(NotALogError, match="2 separate bodies"):
        log_and_notes(*with_ball(0.3))


def test_a_cavity_inside_is_refused():
    solid = taper()
    ball = trimesh.creation.icosphere(radius=0.2)
    vertices = np.concatenate([solid.vertices_m, ball.vertices + np.array([1.5, 0.0, 0.0])])
    faces = np.concatenate([solid.faces, ball.faces[:, ::-1] + len(solid.vertices_m)])
    with pytest.raises(NotALogError, match="closed cavity"):
        log_and_notes(vertices, faces)


def test_a_small_hole_is_filled_and_reported():
    solid = taper()
    log, notes = log_and_notes(solid.vertices_m, np.delete(solid.faces, 5000, axis=0))
    assert log.outer.volume_m3 == pytest.approx(solid.volume_m3, rel=1e-6)
    assert "Small holes were filled with 1 faces." in [note.text for note in notes]


def test_an_open_end_is_refused_with_the_number_of_open_edges():
    solid = taper()
    a, b, c = (solid.vertices_m[solid.faces[:, k], 0] for k in range(3))
    open_end = solid.faces[(np.maximum(np.maximum(a, b), c) > 0.03)]
    with pytest.raises(OpenSolidError, match=r"9\d of its \d+ edges have a face on one side only.*mesh editor"):
        log_and_notes(solid.vertices_m, open_end)


@pytest.mark.parametrize(
    ("scale", "line"),
    [
        (1000.0, "looks like millimeters"),
        (100.0, "centimeters or inches"),
        (39.37, "inches"),
        (1 / 10, "{0.5 m} or longer"),
    ],
)
def test_a_wrong_unit_is_refused_with_a_guess(scale, line):
    solid = taper()
    with pytest.raises(NotALogError, match=line):
        log_and_notes(solid.vertices_m * scale, solid.faces)


def test_what_has_no_long_side_is_refused():
    ball = trimesh.creation.icosphere(radius=1.0)
    with pytest.raises(NotALogError, match="no side is clearly the longest"):
        log_and_notes(np.array(ball.vertices), np.array(ball.faces))


def test_what_is_too_thick_is_refused():
    pipe = trimesh.creation.cylinder(radius=2.0, height=14.0)
    with pytest.raises(NotALogError, match=r"thick, at most \{250 cm\}"):
        log_and_notes(np.array(pipe.vertices), np.array(pipe.faces))


def test_an_empty_mesh_and_one_that_is_not_finite_are_refused():
    solid = taper()
    with pytest.raises(OpenSolidError, match="no faces"):
        log_and_notes(solid.vertices_m, solid.faces[:0])
    vertices = np.array(solid.vertices_m)
    vertices[7] = np.nan
    with pytest.raises(OpenSolidError, match="not finite"):
        log_and_notes(vertices, solid.faces)


def test_what_is_as_thin_as_a_wire_is_no_log():
    solid = taper()
    with pytest.raises(NotALogError, match="thick on average"):
        log_and_notes(solid.vertices_m * [1.0, 0.01, 0.01], solid.faces)
