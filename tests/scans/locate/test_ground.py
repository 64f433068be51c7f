"""The log's points among those of invented yards, of clouds without ground, and of real stems."""

import numpy as np
import pytest
import trimesh
from yards import BOOT, BUNK, GRASS, LOG, OTHER_LOG, STONE, STRAY, box, round_log, yard

from scans.errors import NotALogError, ScanError
from scans.locate.grass import is_grass
from scans.locate.ground import find_log
from scans.locate.ground_surface import find_ground_surface
from scans.locate.outline import outline_of
from scans.locate.scan_surface import points_on_faces
from scans.locate.smooth_parts import near_places, normals_and_roughness, smooth_parts
from scans.locate.taped_length import taped_scale
from scans.locate.thinning import mask_from_some
from scans.messages import Note

UP = np.array([0.0, 0.0, 1.0])


def precision_and_recall(mask, labels):
    right = (mask & (labels == LOG)).sum()
    return right / mask.sum(), right / (labels == LOG).sum()


@pytest.mark.parametrize(
    ("things", "slope_deg", "yaw_deg"),
    [
        ((), 0.0, 0.0),
        ((), 15.0, 70.0),
        ((STRAY, OTHER_LOG), 5.0, 200.0),
        ((BUNK,), 0.0, 30.0),
        ((STONE, BOOT), 8.0, 120.0),
        ((GRASS,), 0.0, 0.0),
        ((GRASS, BUNK, STONE, BOOT, STRAY, OTHER_LOG), 10.0, 300.0),
    ],
)
def test_only_the_logs_points_are_kept(things, slope_deg, yaw_deg):
    points, labels = yard(1, things=things, slope_deg=slope_deg, yaw_deg=yaw_deg)

    precision, recall = precision_and_recall(find_log(points).mask, labels)

    assert precision >= 0.995
    assert recall >= 0.98


def test_the_same_points_give_the_same_log():
    points, _ = yard(2, things=(GRASS, STONE))

    assert np.array_equal(find_log(points).mask, find_log(points).mask)


def test_several_logs_are_listed_and_the_largest_is_taken():
    points, labels = yard(3, things=(OTHER_LOG,))

    first, second = find_log(points), find_log(points, pick=2)

    assert first.number == 1
    assert len(first.others) == 1
    assert first.outline.length_m == pytest.approx(3.0, abs=0.02)
    assert first.others[0].length_m == pytest.approx(1.8, abs=0.02)
    assert first.others[0].diameter_m == pytest.approx(0.32, abs=0.03)
    assert (labels[second.mask] == OTHER_LOG).mean() > 0.995
    assert second.others[0].length_m == first.outline.length_m
    assert any("{:pick 2}" in note.text for note in first.notes)
    assert any("{:pick 1}" in note.text for note in second.notes)
    assert all("\n" not in note.text for note in (*first.notes, *second.notes))


def test_a_number_that_no_log_has_is_refused():
    points, _ = yard(3, things=(OTHER_LOG,))

    with pytest.raises(ScanError, match=r"\{:pick\} must be 1 to 2.*got 3"):
        find_log(points, pick=3)


def test_a_limb_that_only_touches_by_its_end_stays_on_the_log():
    rng = np.random.default_rng(5)
    stem = round_log(rng, 2.6, 0.32, seen_below_deg=60.0)
    # Square off the stem's side, so that the crease is hollow all round.
    limb = round_log(rng, 1.2, 0.22, seen_below_deg=60.0, ends=False)
    turn = np.radians(60.0)
    limb = limb @ np.array([[np.cos(turn), np.sin(turn), 0], [-np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]])
    limb += [1.8, 0.0, 0.0]
    limb = limb[np.hypot(limb[:, 1], limb[:, 2] - 0.32) > 0.33]
    flat = rng.uniform([-1, -1.5, 0], [4.0, 2.0, 0], (80_000, 3))
    points = np.concatenate([stem, limb, flat]) + rng.normal(0.0, 0.002, (len(stem) + len(limb) + len(flat), 3))

    mask = find_log(points).mask

    assert mask[len(stem) : len(stem) + len(limb)].mean() > 0.95


def test_a_stub_in_the_air_stays_and_a_post_on_the_ground_goes():
    points, labels = yard(6)
    rng = np.random.default_rng(0)
    log = points[labels == LOG]
    top = log[np.argmax(log[:, 2])]
    stub = box(rng, top + np.array([0.0, 0.0, 0.08]), [0.1, 0.1, 0.2])
    post = box(rng, [4.5, -2.0 + 0.36, 0.7 + 0.2], [0.1, 0.1, 0.4])

    mask = find_log(np.concatenate([points, stub, post])).mask

    assert mask[len(points) : len(points) + len(stub)].mean() > 0.9
    # The side that all but touches the log, a fifth of the post, may stay in part.
    assert mask[len(points) + len(stub) :].mean() < 0.1


@pytest.mark.parametrize("seen_below_deg", [30.0, 90.0])
def test_a_log_without_ground_comes_through_whole(seen_below_deg):
    points = round_log(np.random.default_rng(1), seen_below_deg=seen_below_deg)

    found = find_log(points)

    assert found.ground is None
    assert found.mask.all()


def test_the_corners_of_a_closed_mesh_come_through_whole():
    mesh = trimesh.creation.cylinder(radius=0.3, height=3.0, sections=48).subdivide_to_size(0.1)
    turned = mesh.vertices[:, [2, 0, 1]]

    assert find_log(turned).mask.all()


def test_a_log_whose_top_was_not_seen_stays_one():
    points, labels = yard(8, seen_above_deg=65.0)

    found = find_log(points)

    precision, recall = precision_and_recall(found.mask, labels)
    assert precision >= 0.995
    assert recall >= 0.98
    assert not found.outline.forked
    assert found.outline.volume_m3 == pytest.approx(np.pi * 0.09 * 3.0 * 0.94, rel=0.25)


def test_a_noisy_scan_keeps_its_log():
    points, labels = yard(9, things=(STONE,), noise_m=0.006)

    precision, recall = precision_and_recall(find_log(points).mask, labels)

    assert precision >= 0.99
    assert recall >= 0.98


def test_grass_is_thin_ragged_or_turned_and_low():
    rng = np.random.default_rng(0)
    wood = rng.uniform([0, 0, 0], [1, 1, 0], (20_000, 3))
    blade = np.column_stack([np.full(10, 2.0), np.zeros(10), np.linspace(0.05, 0.3, 10)])
    points = np.concatenate([wood, blade])
    low, smooth, same = np.full(len(points), 0.2), np.zeros(len(points)), np.zeros(len(points), dtype=bool)

    assert np.array_equal(np.flatnonzero(is_grass(points, low, smooth, same, 0.007)), np.arange(20_000, 20_010))
    assert not is_grass(points, low + 1.0, smooth, same, 0.007).any()
    # A rim has a third of the neighbours of the rest: enough where the surface is smooth, not where it is ragged.
    sparse = np.arange(len(points)) % 4 == 0
    thinner = points[~((points[:, 0] < 0.5) & ~sparse)]
    level = np.full(len(thinner), 0.2)
    rough, turned = np.full(len(thinner), 0.3), np.ones(len(thinner), dtype=bool)
    thin = thinner[:, 0] < 0.4
    assert is_grass(thinner, level, 0.0 * level, turned & False, 0.01)[thin].mean() < 0.01
    assert is_grass(thinner, level, rough, turned & False, 0.01)[thin].mean() > 0.8
    assert is_grass(thinner, level, 0.0 * level, turned, 0.01)[thin].mean() > 0.8


def test_what_faces_join_stays_together_however_far_apart():
    points = np.concatenate([round_log(np.random.default_rng(1)), [[1.5, 0.0, 1.6], [1.5, 0.5, 1.6]]])
    faces = np.array([[0, 1, len(points) - 2]])

    mask = find_log(points, faces=faces).mask

    assert mask[:-1].all()
    assert not mask[-1]


def test_points_on_faces_lie_on_them_by_area():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 5], [3, 0, 5], [0, 3, 5], [9, 9, 9]])
    points = points_on_faces(corners, np.array([[0, 1, 2], [3, 4, 5], [6, 6, 6]]), 10_000)
    low = points[:, 2] < 2.5

    assert low.mean() == pytest.approx(0.1, abs=0.001)
    assert (points[:, :2] >= 0.0).all()
    assert (points[low, :2].sum(axis=1) <= 1.0 + 1e-12).all()
    assert np.allclose(points[low].mean(axis=0), [1 / 3, 1 / 3, 0.0], atol=0.02)
    assert np.array_equal(points_on_faces(corners, np.array([[6, 6, 6]]), 10), corners[[6, 6, 6]])


def test_points_far_from_a_log_without_ground_are_strays():
    points = round_log(np.random.default_rng(1))
    strays = np.array([[1.0, 1.0, 1.0], [-0.5, 0.0, 0.9], [2.0, -0.8, 0.0]])

    mask = find_log(np.concatenate([points, strays])).mask

    assert mask[:-3].all()
    assert not mask[-3:].any()


@pytest.mark.parametrize(
    "name",
    [
        "gpl3/amsterdam_stem_a.ply",
        "gpl3/carnutes_dense_44k.ply",
        "gpl3/carnutes_fork_two.ply",
        "gpl3/carnutes_oval_45cm.ply",
        "gpl3/carnutes_sweep.ply",
        "cc0/cc0_polyhaven_fork_log_partial_cloud.ply",
    ],
)
def test_real_stems_come_through_whole(name, data_folder):
    points = np.asarray(trimesh.load(data_folder / name, process=False).vertices, dtype=np.float64)

    # The mobile scanner's stem has some fifty points that hang in the air.
    assert find_log(points).mask.mean() > 0.998


@pytest.mark.parametrize("name", ["gpl3/amsterdam_stem_a.ply", "cc0/cc0_polyhaven_fork_log_partial_cloud.ply"])
def test_real_stems_laid_on_invented_ground_are_found(name, data_folder):
    log = np.asarray(trimesh.load(data_folder / name, process=False).vertices, dtype=np.float64)
    rng = np.random.default_rng(0)
    flat = rng.uniform([-1.0, -1.5, 0.0], [5.0, 1.5, 0.0], (120_000, 3))
    flat[:, 2] += log[:, 2].min() + rng.normal(0.0, 0.003, len(flat))
    points = np.concatenate([log, flat])

    mask = find_log(points).mask

    assert mask[: len(log)].mean() > 0.97
    assert mask[len(log) :].sum() < 0.005 * mask.sum()


@pytest.mark.parametrize(
    "points",
    [
        trimesh.creation.icosphere(subdivisions=4, radius=0.5).vertices,
        trimesh.creation.box((1.0, 1.0, 1.0)).subdivide_to_size(0.05).vertices,
        round_log(np.random.default_rng(0)) * 0.1,
        np.random.default_rng(0).uniform([-2, -2, 0], [2, 2, 0.01], (50_000, 3)),
        np.zeros((10, 3)),
        np.zeros((1000, 3)),
    ],
)
def test_what_is_no_log_is_refused_in_one_line(points):
    with pytest.raises(NotALogError) as error:
        find_log(np.asarray(points))

    assert "\n" not in str(error.value)


def test_the_ground_is_found_under_the_log_as_well():
    points, labels = yard(7, slope_deg=12.0, yaw_deg=40.0, uneven_m=0.0, noise_m=0.0)

    ground = find_ground_surface(points, 0.01)

    assert ground is not None
    assert np.degrees(np.arctan(np.hypot(*ground.slope))) == pytest.approx(12.0, abs=0.3)
    assert np.abs(ground.height_m(points[labels != LOG])).max() < 0.015
    # The log, 0.6 m thick, rests on it.
    assert ground.height_m(points[labels == LOG]).max() == pytest.approx(0.6, abs=0.02)


def test_a_log_alone_has_no_ground():
    for seen_below_deg in (10.0, 40.0, 90.0):
        points = round_log(np.random.default_rng(0), seen_below_deg=seen_below_deg)

        assert find_ground_surface(points, 0.012) is None


def test_a_surface_is_divided_at_hollow_creases_and_not_at_rims():
    step = 0.02
    u, v = (grid.ravel() * step for grid in np.meshgrid(np.arange(30), np.arange(30)))
    floor = np.stack([u, v, np.zeros_like(u)], axis=1)
    rising = np.stack([np.full_like(u, 30 * step), v, u + step], axis=1)
    falling = np.stack([np.full_like(u, -step), v, -u - step], axis=1)
    places = np.concatenate([floor, rising, falling])
    near = near_places(places, 3.0 * step)
    normals, roughness = normals_and_roughness(places, near)

    part = smooth_parts(places, near, normals, roughness, np.ones(len(places), dtype=bool))

    away = np.abs(places[:, 0] - 30 * step) + np.abs(places[:, 2]) > 4.5 * step
    names = [set(part[k * 900 : (k + 1) * 900][away[k * 900 : (k + 1) * 900]]) for k in range(3)]
    assert names[0] == names[2]
    assert len(names[0]) == 1
    assert not names[0] & names[1]


def test_an_outline_gives_length_diameter_and_the_thicker_end():
    points = round_log(np.random.default_rng(0), 3.2, 0.3, taper=0.05)
    turn = np.array([[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]])

    outline = outline_of(points @ turn.T, UP)

    assert outline.length_m == pytest.approx(3.2, abs=0.01)
    assert outline.diameter_m == pytest.approx(0.54, abs=0.06)
    assert outline.volume_m3 == pytest.approx(np.pi * 0.27**2 * 3.2, rel=0.2)
    assert np.linalg.norm(outline.butt_m - turn @ [0.0, 0.0, 0.3]) < 0.1
    assert outline.reversed_ends().butt_m is outline.top_m
    assert not outline.forked


def test_the_single_end_of_a_fork_is_its_butt():
    rng = np.random.default_rng(0)
    stem = round_log(rng, 1.5, 0.2)
    limbs = [round_log(rng, 1.5, 0.19) for _ in range(2)]
    spread = np.radians(22.0)
    for k, sign in enumerate((1.0, -1.0)):
        turn = np.array(
            [[np.cos(spread), -sign * np.sin(spread), 0], [sign * np.sin(spread), np.cos(spread), 0], [0, 0, 1]]
        )
        limbs[k] = limbs[k] @ turn.T + [1.4, 0.0, 0.0]

    outline = outline_of(np.concatenate([stem, *limbs]), UP)

    assert outline.forked
    assert outline.butt_m[0] < outline.top_m[0]


def test_the_butt_may_be_said():
    points = round_log(np.random.default_rng(0), 3.2, 0.3, taper=0.05)

    auto, other = find_log(points), find_log(points, butt="other")

    assert np.array_equal(auto.outline.butt_m, other.outline.top_m)


def test_a_taped_length_sets_the_scale():
    notes = list[Note]()

    assert taped_scale(3.0, 3.06, notes) == pytest.approx(1.02)
    assert "+2.0%" in notes[0].text
    assert taped_scale(3.0, None, notes) == 1.0
    assert len(notes) == 1


@pytest.mark.parametrize("taped_length_m", [0.0, -1.0, 2.4, 3.7, float("nan")])
def test_a_taped_length_far_off_is_refused(taped_length_m):
    with pytest.raises(ScanError) as error:
        taped_scale(3.0, taped_length_m, [])
    assert error.value.field == "taped_length"


def test_a_mask_of_some_points_becomes_one_of_all():
    rng = np.random.default_rng(0)
    points = rng.uniform(0.0, 1.0, (60_000, 3)) * [1.0, 1.0, 0.0]
    some = points[::20]

    mask = mask_from_some(points, some, some[:, 0] < 0.5)

    assert (mask != (points[:, 0] < 0.5)).mean() < 0.04
    away = np.abs(points[:, 0] - 0.5) > 0.08
    assert np.array_equal(mask[away], points[away, 0] < 0.5)
