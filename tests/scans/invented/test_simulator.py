"""Invented scans: what they say of themselves must be so. All data here is invented."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from scans.invented.roundwood import ANGLES, END_CELLS, STATIONS, RoundWood, body_of, outside_by_m
from scans.invented.simulated_phone import Walk, labels_of, look
from scans.invented.simulated_yard import Thing
from scans.invented.simulator import (
    Label,
    LogSettings,
    PhoneSettings,
    SimulatorSettings,
    YardSettings,
    random_settings,
    simulate,
    simulate_walks,
)
from scans.solids.bodies import body_from_mesh, mesh_from_body, section_at, upended
from scans.solids.frame import log_frame
from scans.solids.stems import read_stems

COARSE = LogSettings(edge_m=0.025)
FEW = PhoneSettings(points=40_000, pictures=40)
EXACT = replace(
    FEW,
    noise_m=(0.0, 0.0),
    drift_m=(0.0, 0.0),
    scale_error=(0.0, 0.0),
    stray_share=(0.0, 0.0),
)
CLUTTER = YardSettings(
    grass_per_m2=(800.0, 800.0),
    grass_touches=True,
    bunks=(2, 2),
    stones=(4, 4),
    stones_touch=True,
    persons=(1, 1),
    other_logs=(1, 1),
)


def scanned(seed=0, log=COARSE, yard=YardSettings(), phone=EXACT, **kinds):  # noqa: B008
    return simulate(seed, SimulatorSettings(log, yard, phone, **kinds))


def points_of(scan, label):
    return scan.points_m[scan.labels == label]


def in_log_frame(scan, points):
    back = np.linalg.inv(scan.log_to_scan)
    return points @ back[:3, :3].T + back[:3, 3]


def distance_to_truth(scan, points, count=1500):
    """Distance of some points to the truth's own surface, in the scan frame. [m]."""
    solid = scan.truth.solid
    mesh = trimesh.Trimesh(solid.vertices_m @ scan.log_to_scan[:3, :3].T + scan.log_to_scan[:3, 3], solid.faces)
    picked = points[:: max(1, len(points) // count)]
    return trimesh.proximity.closest_point(mesh, picked)[1]


def vertices_of(scan):
    """Vertices of the truth in the scan frame."""
    return scan.truth.solid.vertices_m @ scan.log_to_scan[:3, :3].T + scan.log_to_scan[:3, 3]


def nearest(one, other):
    """Least distance from one cloud to another. [m]."""
    return float(cKDTree(other).query(one)[0].min())


@pytest.fixture(scope="module")
def cluttered():
    return scanned(3, replace(COARSE, limbs=2), CLUTTER)


@pytest.fixture(scope="module")
def bare():
    return scanned(0)


def same(one, other):
    return all(
        np.array_equal(getattr(one, name), getattr(other, name))
        for name in ("points_m", "normals", "colours", "labels", "log_to_scan", "face_seen")
    )


def test_a_seed_gives_the_same_scan_and_another_seed_another():
    settings = random_settings(3, True, points=5000)

    first = simulate(3, settings)

    assert same(first, simulate(3, settings))
    assert not same(first, simulate(4, settings))


def test_clutter_does_not_change_the_log(bare):
    beside_clutter = scanned(0, yard=CLUTTER)

    assert np.array_equal(bare.truth.solid.vertices_m, beside_clutter.truth.solid.vertices_m)
    assert set(np.unique(beside_clutter.labels)) == set(Label) - {Label.STRAY}
    assert set(np.unique(bare.labels)) == {Label.LOG, Label.GROUND}


def test_without_error_log_points_lie_on_the_truth(cluttered):
    assert distance_to_truth(cluttered, points_of(cluttered, Label.LOG)).max() < 1e-6


def test_noise_is_as_asked():
    phone = replace(EXACT, noise_m=(0.004, 0.004), noise_per_m=0.0, noise_slant=0.0)
    scan = scanned(phone=phone)

    rms = np.sqrt((distance_to_truth(scan, points_of(scan, Label.LOG), 3000) ** 2).mean())

    # Bark and edges bring other faces nearer to some of the points.
    assert rms == pytest.approx(0.004, rel=0.06)


def test_noise_grows_with_slant():
    flat = scanned(phone=replace(EXACT, noise_m=(0.002, 0.002), noise_per_m=0.0, noise_slant=0.0))
    slanting = scanned(phone=replace(EXACT, noise_m=(0.002, 0.002), noise_per_m=0.0, noise_slant=2.0))

    rms = [np.sqrt((distance_to_truth(scan, points_of(scan, Label.LOG)) ** 2).mean()) for scan in (flat, slanting)]

    assert rms[1] > 1.3 * rms[0]


def test_drift_is_as_asked_and_leaves_no_mean():
    still = scanned()
    drifting = scanned(phone=replace(EXACT, drift_m=(0.008, 0.008)))

    moved = drifting.points_m - still.points_m

    assert 0.004 < np.sqrt((moved**2).sum(axis=1).mean()) < 0.014
    assert np.linalg.norm(moved.mean(axis=0)) < 0.004


@pytest.mark.parametrize("error", [-0.01, 0.01])
def test_scale_error_is_in_the_matrix_and_in_the_points(error):
    scan = scanned(phone=replace(EXACT, scale_error=(error, error)))

    assert np.cbrt(np.linalg.det(scan.log_to_scan[:3, :3])) == pytest.approx(1.0 + error)
    assert distance_to_truth(scan, points_of(scan, Label.LOG)).max() < 1e-6


def girth_seen(scan):
    """Share of 5 deg sectors about the stem's heart, in the middle of a single stem, that hold points."""
    points = in_log_frame(scan, points_of(scan, Label.LOG))
    heart = scan.truth.hearts[0]
    length = scan.truth.length_m
    points = points[(points[:, 0] > 0.2 * length) & (points[:, 0] < 0.8 * length)]
    aside = points[:, 1:] - np.column_stack([np.interp(points[:, 0], heart[:, 0], heart[:, k]) for k in (1, 2)])
    sector = (np.degrees(np.arctan2(aside[:, 0], aside[:, 1])) % 360.0 // 5.0).astype(int)
    slice_of = ((points[:, 0] / length - 0.2) / 0.6 * 12).astype(int).clip(0, 11)
    filled = np.zeros((12, 72), dtype=bool)
    filled[slice_of, sector] = True
    return filled


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_underside_is_not_seen(seed):
    scan = scanned(seed, replace(COARSE, stubs=(0, 0)))

    filled = girth_seen(scan)

    assert 0.6 < filled.mean() < 0.85
    assert scan.seen_share == pytest.approx(filled.mean(), abs=0.06)
    # Sector 36 begins right below, sector 0 right above.
    assert not filled[:, 33:39].any()
    assert filled[:, [0, 1, 70, 71]].all()


def test_a_strip_along_the_top_stays_unseen_when_asked():
    scan = scanned(0, replace(COARSE, stubs=(0, 0)), phone=replace(EXACT, unseen_top_deg=(30.0, 30.0)))

    filled = girth_seen(scan)

    assert not filled[:, [0, 1, 2, 69, 70, 71]].any()
    assert filled[:, [10, 11, 12, 59, 60, 61]].mean() > 0.95
    # The sawn ends were filmed, up to their upper edge.
    ends = scan.truth.end_faces
    middles = scan.truth.solid.vertices_m[scan.truth.solid.faces].mean(axis=1)
    upper = ends & (middles[:, 2] > 0.5 * middles[ends, 2].max())
    assert scan.face_seen[upper].mean() > 0.95


def test_faces_seen_are_those_with_points(bare):
    points = in_log_frame(bare, points_of(bare, Label.LOG))
    centres = bare.truth.solid.vertices_m[bare.truth.solid.faces].mean(axis=1)
    away = cKDTree(points).query(centres)[0]

    # A tenth more rays than points are cast, so that a few faces have lost theirs.
    assert (away[bare.face_seen] < 0.035).mean() > 0.99
    assert away[~bare.face_seen].min() > 0.0299


def test_density_falls_with_distance_from_the_way(bare):
    """The ground at the log's foot is farther from the phone than the log's upper flank."""
    ground = in_log_frame(bare, points_of(bare, Label.GROUND))
    wood = in_log_frame(bare, points_of(bare, Label.LOG))
    flank = wood[np.abs(wood[:, 0] - 0.5 * bare.truth.length_m) < 0.5]
    foot = ground[np.abs(ground[:, 0] - 0.5 * bare.truth.length_m) < 0.5]
    upper = flank[flank[:, 2] > np.percentile(flank[:, 2], 60)]

    def spacing(cloud):
        return np.median(cKDTree(cloud).query(cloud, k=2)[0][:, 1])

    near_foot = foot[np.abs(foot[:, 1]) < np.percentile(np.abs(foot[:, 1]), 30)]

    assert spacing(near_foot) > spacing(upper)


def plate(label, half_m, depth_m, closed=True):
    """Square plate square to y, its outside towards -y, in small triangles."""
    x, z = (grid.ravel() for grid in np.meshgrid(np.linspace(-half_m, half_m, 21), np.linspace(-half_m, half_m, 21)))
    first = (21 * np.arange(20)[:, None] + np.arange(20)).ravel()
    faces = np.concatenate(
        [
            np.stack([first, first + 1, first + 22], axis=1),
            np.stack([first, first + 22, first + 21], axis=1),
        ]
    )
    return Thing(label, np.column_stack([x, np.full(len(x), depth_m), z]), faces, np.full((len(faces), 3), 0.5), closed)


def ahead():
    """One picture from the origin along +y."""
    return Walk(np.zeros((1, 3)), np.array([[[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]]), np.zeros(1))


def test_rays_meet_the_first_surface_and_nothing_behind_it():
    things = [plate(Label.LOG, 3.0, 2.0), plate(Label.STONE, 0.25, 1.0)]

    hits = look(np.random.default_rng(0), ahead(), things, 120)
    labels = labels_of(things, hits)
    near, far = hits.points_m[labels == Label.STONE], hits.points_m[labels == Label.LOG]

    # The plate 0.5 m wide at 1 m hides a square metre at 2 m.
    assert np.abs(far[:, [0, 2]]).max(axis=1).min() > 0.5
    assert np.abs(near[:, [0, 2]]).max() < 0.25
    assert near[:, 1] == pytest.approx(1.0)
    assert far[:, 1] == pytest.approx(2.0)
    # Pictures are 1.2 m by 1.5 m wide at 1 m.
    assert len(near) / len(hits.points_m) == pytest.approx(0.25 / (1.2 * 1.5), rel=0.05)
    assert hits.normals == pytest.approx(np.tile([0.0, -1.0, 0.0], (len(hits.normals), 1)))
    assert hits.cosine == pytest.approx(hits.points_m[:, 1] / hits.distance_m)


def test_a_closed_thing_is_seen_from_outside_only_and_a_blade_from_both_sides():
    for closed in (True, False):
        front = plate(Label.LOG, 0.4, 1.0, closed=closed)
        back = replace(front, faces=front.faces[:, ::-1])

        assert len(look(np.random.default_rng(0), ahead(), [front], 60).points_m) > 1000
        assert (len(look(np.random.default_rng(0), ahead(), [back], 60).points_m) > 1000) is not closed


def test_labels_name_what_points_are(cluttered):
    # Neither yaw nor place changes heights; drawn anew, the ground's own shape is known from its points.
    ground = points_of(cluttered, Label.GROUND)
    tree = cKDTree(ground[:, :2])

    def above_ground(label):
        points = points_of(cluttered, label)
        return points[:, 2] - ground[tree.query(points[:, :2])[1], 2]

    other = points_of(cluttered, Label.GROUND)[::2]
    held_out = cKDTree(ground[1::2, :2]).query(other[:, :2])[1]
    assert np.abs(other[:, 2] - ground[1::2][held_out, 2]).max() < 0.06
    assert np.percentile(above_ground(Label.GRASS), [1, 99]) == pytest.approx([0.03, 0.1], abs=0.1)
    assert above_ground(Label.STONE).min() > -0.05
    assert above_ground(Label.STONE).max() < 0.3
    assert 0.4 < above_ground(Label.BOOT).max() < 0.6
    assert above_ground(Label.OTHER_LOG).max() < 0.6
    # Nothing but the log lies on the log's surface.
    for label in (Label.GROUND, Label.STONE, Label.BOOT, Label.OTHER_LOG):
        points = points_of(cluttered, label)
        assert np.median(distance_to_truth(cluttered, points, 300)) > 0.05


def test_bunks_touch_the_log(cluttered):
    assert nearest(points_of(cluttered, Label.BUNK), vertices_of(cluttered)) < 0.03


def test_grass_touches_the_log_when_asked():
    scan = scanned(2, yard=YardSettings(grass_per_m2=(800.0, 800.0), grass_touches=True))
    away = cKDTree(vertices_of(scan)).query(points_of(scan, Label.GRASS))[0]

    assert (away < 0.03).sum() > 100


def test_stones_touch_a_log_on_the_ground_when_asked():
    for touch in (True, False):
        scan = scanned(1, yard=YardSettings(stones=(2, 2), stones_touch=touch))

        assert (nearest(points_of(scan, Label.STONE), vertices_of(scan)) < 0.03) is touch


def test_grass_keeps_away_unless_asked():
    scan = scanned(2, yard=YardSettings(grass_per_m2=(800.0, 800.0)), phone=replace(EXACT, margin_m=(1.0, 1.0)))

    assert (scan.labels == Label.GRASS).sum() > 100
    assert nearest(points_of(scan, Label.GRASS), vertices_of(scan)) > 0.25


def test_the_second_log_keeps_its_distance():
    scan = scanned(1, yard=YardSettings(other_logs=(1, 1), other_log_away_m=(0.4, 0.4)))
    log = points_of(scan, Label.LOG)
    other = points_of(scan, Label.OTHER_LOG)
    gap = cKDTree(log[:, :2]).query(other[:, :2])[0].min()

    assert len(scan.other_logs) == 1
    assert gap == pytest.approx(0.4, abs=0.03)


def test_stray_points_stand_in_the_air():
    scan = scanned(0, phone=replace(EXACT, stray_share=(0.01, 0.01)))
    stray = points_of(scan, Label.STRAY)
    rest = scan.points_m[scan.labels != Label.STRAY]

    assert len(stray) == pytest.approx(0.01 * len(scan.labels), rel=0.2)
    assert np.median(cKDTree(rest).query(stray)[0]) > 0.1


@pytest.mark.parametrize("limbs", [0, 2, 3])
def test_logs_have_the_limbs_asked_for(limbs):
    for seed in range(2):
        truth = scanned(seed, replace(COARSE, limbs=limbs, stubs=(0, 0)), phone=replace(EXACT, points=2000)).truth
        standing = upended(body_from_mesh(truth.solid.vertices_m, truth.solid.faces))
        shares = np.linspace(0.1, 0.95, 40)
        pieces = [len(section_at(standing, share * truth.length_m, 0.01).pieces) for share in shares]

        assert pieces[0] == 1
        assert max(pieces) == max(1, limbs)
        assert len(truth.hearts) == 1 + limbs
        assert len(truth.forks) == (limbs > 0)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_fork_is_where_its_sections_put_it(seed):
    truth = scanned(seed, replace(COARSE, limbs=2, stubs=(0, 0)), phone=replace(EXACT, points=2000)).truth
    read = read_stems(upended(body_from_mesh(truth.solid.vertices_m, truth.solid.faces))).forks[0]
    fork = truth.forks[0]

    assert abs(fork.normal @ read.normal) > np.cos(np.radians(4.0))
    assert fork.direction @ read.direction > np.cos(np.radians(10.0))
    assert np.linalg.norm(fork.crotch_m - read.crotch_m) < 0.08
    assert fork.normal @ fork.direction == pytest.approx(0.0, abs=1e-9)
    # Limbs leave the stem at the hearts' meeting, below the crotch.
    meeting = truth.hearts[0][-1]
    assert fork.below_m == pytest.approx(np.linalg.norm(fork.crotch_m - meeting) + 0.25 * fork.diameter_m)


@pytest.mark.parametrize("limbs", [0, 2, 3])
def test_solids_are_closed_one_body_in_their_log_frame(limbs):
    truth = scanned(5, LogSettings(limbs=limbs), phone=replace(EXACT, points=2000)).truth
    body = body_from_mesh(truth.solid.vertices_m, truth.solid.faces)
    corners = truth.solid.vertices_m[truth.solid.faces]
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)

    assert len(body.decompose()) == 1
    assert body.genus() == 0
    assert truth.solid.bounds_m[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert 0.01 < np.median(edges) < 0.02
    assert log_frame(body, np.array([1.0, 0.0, 0.0])) == pytest.approx(np.eye(4), abs=1e-5)


def test_hearts_run_inside_the_wood_and_rise(cluttered):
    truth = cluttered.truth
    mesh = trimesh.Trimesh(truth.solid.vertices_m, truth.solid.faces)

    for line in truth.hearts:
        assert (np.diff(line[:, 0]) > 0.0).all()
        assert mesh.contains(line[1:-1]).all()
    # Just outside the crotch there is no wood, just inside there is.
    fork = truth.forks[0]
    beside = fork.crotch_m + np.array([[0.03], [-0.03]]) * fork.direction
    assert mesh.contains(beside).tolist() == [False, True]


def test_stubs_stand_out_of_the_log():
    truth = scanned(2, replace(COARSE, stubs=(3, 3), stub_m=(0.15, 0.15)), phone=replace(EXACT, points=2000)).truth
    heart = truth.hearts[0]

    assert len(truth.stubs) == 3
    for stub in truth.stubs:
        aside = stub.end_m[1:] - [np.interp(stub.end_m[0], heart[:, 0], heart[:, k]) for k in (1, 2)]
        assert np.hypot(*aside) > 0.5 * truth.diameter_m + 0.04
        assert cKDTree(truth.solid.vertices_m).query(stub.end_m)[0] < 0.03


def test_end_faces_are_the_sawn_ends(bare):
    truth = bare.truth
    centres = truth.solid.vertices_m[truth.solid.faces].mean(axis=1)
    to_end = np.minimum(centres[:, 0], truth.length_m - centres[:, 0])
    for stub in truth.stubs:
        to_end = np.minimum(to_end, np.linalg.norm(centres - stub.end_m, axis=1))

    assert to_end[truth.end_faces].max() < 0.2
    assert to_end[~truth.end_faces].max() > 1.0
    assert 0.02 < truth.end_faces.mean() < 0.12


@pytest.mark.parametrize(("unit_m", "up"), [(1.0, "y"), (0.001, "z"), (0.0254, "y")])
def test_units_and_up(bare, unit_m, up):
    scan = scanned(0, unit_m=unit_m, up=up)
    file = scan.as_in_file()
    upwards = file.points[:, {"z": 2, "y": 1}[up]]

    # Only what the file holds depends on them.
    assert np.array_equal(scan.points_m, bare.points_m)
    assert upwards * unit_m == pytest.approx(scan.points_m[:, 2])
    assert np.ptp(file.points, axis=0).max() * unit_m == pytest.approx(np.ptp(scan.points_m, axis=0).max(), rel=1e-9)
    assert np.linalg.det(scan.scan_to_file[:3, :3]) > 0.0
    assert np.linalg.norm(file.normals, axis=1) == pytest.approx(1.0)
    moved = scan.points_m @ scan.scan_to_file[:3, :3].T
    assert file.points == pytest.approx(moved)


def test_normals_face_the_phone_and_are_as_good_as_asked(bare):
    points = points_of(bare, Label.LOG)[::20]
    normals = bare.normals[bare.labels == Label.LOG][::20]
    solid = bare.truth.solid
    mesh = trimesh.Trimesh(solid.vertices_m, solid.faces)
    face = trimesh.proximity.closest_point(mesh, in_log_frame(bare, points))[2]
    true = mesh.face_normals[face] @ bare.log_to_scan[:3, :3].T

    off = np.degrees(np.arccos(np.clip((normals * true).sum(axis=1), -1.0, 1.0)))

    assert np.sqrt((off**2).mean()) == pytest.approx(bare.settings.phone.normal_error_deg, rel=0.15)


def test_what_can_be_left_out():
    scan = scanned(0, phone=replace(EXACT, ground=False, normals=False))

    assert set(np.unique(scan.labels)) == {Label.LOG}
    assert scan.normals is None
    assert scan.as_in_file().normals is None


def test_half_a_walk_sees_less(bare):
    half = scanned(0, phone=replace(EXACT, walk_share=(0.45, 0.45)))

    assert half.seen_share < bare.seen_share - 0.1


def test_the_suite_holds_every_kind_with_and_without_clutter():
    for start in (0, 1):
        wanted = [random_settings(seed, clutter=seed % 2 == 1) for seed in range(start, 24, 2)]

        assert sorted(settings.log.limbs for settings in wanted) == [0] * 4 + [2] * 4 + [3] * 4
        assert sum(settings.phone.unseen_top_deg[1] > 0.0 for settings in wanted) == 3


def test_points_asked_for_are_had(bare):
    assert len(bare.points_m) == EXACT.points
    assert bare.colours.dtype == np.uint8
    assert len(bare.colours) == len(bare.labels) == len(bare.normals) == EXACT.points


def test_wrong_settings_are_refused():
    with pytest.raises(ValueError, match="limbs: must be 0, 2 or 3, not 4"):
        LogSettings(limbs=4)


def test_the_grid_gives_the_same_surface_whatever_it_passes_over():
    """Every corner lies where the wood ends, and a grid twice as fine encloses the same volume."""
    rng = np.random.default_rng(4)
    stem = RoundWood(
        start_m=np.zeros(3),
        axes=np.eye(3),
        length_m=1.0,
        bend_m=np.zeros((STATIONS, 2)),
        radius_m=0.2 + 0.002 * rng.normal(size=(STATIONS, ANGLES)).cumsum(axis=0) / np.sqrt(STATIONS),
        blend_m=0.05,
        sawn=np.array([True, True]),
        lean=np.full((2, 2), 0.1),
        rough_m=np.zeros((2, END_CELLS, END_CELLS)),
    )
    limb = replace(stem, start_m=np.array([0.5, 0.0, 0.0]), axes=np.eye(3)[[1, 2, 0]], length_m=0.6)
    coarse, fine = (body_of([stem, limb], edge) for edge in (0.03, 0.015))
    outside, _ = outside_by_m([stem, limb], mesh_from_body(fine)[0])

    assert np.percentile(np.abs(outside), 98) < 0.004
    assert coarse.volume() == pytest.approx(fine.volume(), rel=0.01)


def test_a_smooth_union_is_never_less_than_its_parts():
    """Straight round bars, known by hand: inside either, inside both; only near both is more wood."""

    def bar(along):
        return RoundWood(
            start_m=np.zeros(3),
            axes=np.roll(np.eye(3), -along, axis=0),
            length_m=1.0,
            bend_m=np.zeros((STATIONS, 2)),
            radius_m=np.full((STATIONS, ANGLES), 0.1),
            blend_m=0.04,
            sawn=np.array([True, True]),
            lean=np.zeros((2, 2)),
            rough_m=np.zeros((2, END_CELLS, END_CELLS)),
        )

    bars = [bar(0), bar(1)]
    points = np.array([[0.5, 0.0, 0.05], [0.8, 0.3, 0.0], [1.02, 0.0, 0.0], [0.5, 0.0, 0.13], [0.11, 0.11, 0.0]])
    values, on_end = outside_by_m(bars, points)

    assert values[:4] == pytest.approx([-0.05, 0.2, 0.02, 0.03], abs=1e-9)
    assert on_end[:4].tolist() == [False, False, True, False]
    # As far from both: a quarter of the blend less than from either.
    assert values[4] == pytest.approx(0.01 - 0.04 / 4.0, abs=1e-9)


def test_a_second_walk_shows_the_same_log_rolled():
    settings = SimulatorSettings(COARSE, CLUTTER, replace(EXACT, points=8_000))
    first, second, rolled_deg = simulate_walks(3, settings, (100.0, 100.0))

    assert np.array_equal(first.points_m, simulate(3, settings).points_m)
    assert second.truth is first.truth
    assert abs(rolled_deg) == 100.0
    for walk in (first, second):
        assert distance_to_truth(walk, points_of(walk, Label.LOG)).max() < 0.002
    # What the log's own z axis does between the walks, about its own x axis: it turns from there towards -y.
    up = np.linalg.inv(first.log_to_scan)[:3, 2], np.linalg.inv(second.log_to_scan)[:3, 2]
    angles = [np.degrees(np.arctan2(one[1], one[2])) for one in up]
    assert (angles[1] - angles[0] - rolled_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=6.0)
    both = (first.face_seen | second.face_seen)[~first.truth.end_faces]
    assert both.mean() > first.face_seen[~first.truth.end_faces].mean() + 0.1
