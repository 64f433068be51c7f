"""Logs made of invented scans, against their truth. The figures of many scans are those of benchmarks/scans.py."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from scans.errors import ScanError
from scans.fit.scanned_log import log_from_points
from scans.invented.simulator import LogSettings, random_settings, simulate
from scans.locate.ground import find_log
from scans.log import count_open_edges

SEEDS = {"single stem": 103, "fork of two": 105, "fork of three": 101}


@cache
def scanned(kind):
    seed = SEEDS[kind]
    scan = simulate(seed, random_settings(seed, clutter=seed % 2 == 1, points=90_000))
    found = find_log(scan.points_m, scan.normals)
    points = scan.points_m[found.mask]
    log, notes = log_from_points(points, found.outline, kind, 0.95)
    return scan, found, points, log, notes


@pytest.mark.parametrize("kind", SEEDS)
def test_a_log_is_as_large_and_long_as_the_truth(kind):
    scan, _, _, log, _ = scanned(kind)
    scale = np.cbrt(np.linalg.det(scan.log_to_scan[:3, :3]))

    assert log.outer.volume_m3 == pytest.approx(scan.truth.solid.volume_m3 * scale**3, rel=0.03)
    assert log.length_m == pytest.approx(scan.truth.length_m * scale, abs=0.02)


@pytest.mark.parametrize("kind", SEEDS)
def test_what_was_seen_is_followed_and_the_surface_is_closed(kind):
    scan, _, points, log, _ = scanned(kind)
    there = points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    corners = log.outer.vertices_m[log.outer.faces[log.face_seen]]
    middles = corners.mean(axis=1)

    assert np.quantile(cKDTree(middles).query(there)[0], 0.95) < 0.02
    assert count_open_edges(log.outer.faces, len(log.outer.vertices_m)) == 0
    assert log.not_seen_share == pytest.approx(1.0 - scan.seen_share, abs=0.06)


@pytest.mark.parametrize("kind", SEEDS)
def test_hearts_and_fork_are_the_truths(kind):
    scan, _, _, log, _ = scanned(kind)
    matrix = log.scan_to_log @ scan.log_to_scan
    turn = matrix[:3, :3] / np.cbrt(np.linalg.det(matrix[:3, :3]))

    assert len(log.hearts) == max(1, 1 + scan.truth.limbs)
    assert all((np.diff(line[:, 0]) > 0.0).all() for line in log.hearts)
    # The butt is where the truth's is.
    assert np.linalg.norm(log.hearts[0][0] - (matrix[:3, :3] @ scan.truth.hearts[0][0] + matrix[:3, 3])) < 0.06
    if scan.truth.limbs == 2:
        assert abs(log.forks[0].normal @ (turn @ scan.truth.forks[0].normal)) > np.cos(np.radians(2.0))
    if scan.truth.limbs:
        crotch = matrix[:3, :3] @ scan.truth.forks[0].crotch_m + matrix[:3, 3]
        along = (log.forks[0].crotch_m - crotch)[0]
        assert abs(along) < 0.12


def test_a_slender_stem_with_a_steep_crook_is_followed_round_it():
    settings = random_settings(3, clutter=False, points=60_000)
    shape = LogSettings(crook_deg=(50.0, 65.0), diameter_m=(0.25, 0.35), length_m=(3.0, 4.0), stubs=(0, 0))
    scan = simulate(3, replace(settings, log=shape))
    found = find_log(scan.points_m, scan.normals)
    points = scan.points_m[found.mask]
    log, _ = log_from_points(points, found.outline, "crooked", 1.0)
    scale = np.cbrt(np.linalg.det(scan.log_to_scan[:3, :3]))
    there = points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    matrix = log.scan_to_log @ scan.log_to_scan
    true_heart = scan.truth.hearts[0] @ matrix[:3, :3].T + matrix[:3, 3]
    at = np.linspace(0.0, len(log.hearts[0]) - 1.0, 2000)
    heart = np.stack([np.interp(at, np.arange(len(log.hearts[0])), column) for column in log.hearts[0].T], axis=1)
    off = cKDTree(heart).query(true_heart)[0]
    ends = true_heart[[0, -1]]
    on_chord = ends[0] + np.linspace(0.0, 1.0, 2000)[:, None] * (ends[1] - ends[0])

    # No straight line could: the heart itself bends away from the line between its ends by several times as much.
    assert off.max() < 0.07
    assert np.median(off) < 0.012
    assert cKDTree(on_chord).query(true_heart)[0].max() > 0.3
    assert len(log.hearts) == 1
    assert log.outer.volume_m3 == pytest.approx(scan.truth.solid.volume_m3 * scale**3, rel=0.04)
    assert np.quantile(cKDTree(middles).query(there)[0], 0.95) < 0.02


def test_samples_are_logs_that_differ_most_where_nothing_was_seen():
    log = scanned("fork of two")[3]
    samples = log.sample(8, 3)
    again = log.sample(3, 3)
    moves = np.array([np.linalg.norm(one.outer.vertices_m - log.outer.vertices_m, axis=1) for one in samples])
    seen = np.zeros(len(log.outer.vertices_m), dtype=bool)
    seen[log.outer.faces[log.face_seen]] = True

    assert all((one.outer.vertices_m == two.outer.vertices_m).all() for one, two in zip(samples, again, strict=False))
    assert moves[:, ~seen].mean() > 1.2 * moves[:, seen].mean()
    assert 0.001 < log.surface_error_m < 0.03
    assert log.guessed_within_m == pytest.approx(1.7 * log.surface_error_m)
    assert all(one.wood.volume_m3 < one.outer.volume_m3 for one in samples)
    assert np.std([one.outer.volume_m3 for one in samples]) / log.outer.volume_m3 > 0.008


def test_the_same_points_give_the_same_log():
    _, found, points, log, notes = scanned("single stem")
    again, again_notes = log_from_points(points, found.outline, "single stem", 0.95)

    assert (again.outer.vertices_m == log.outer.vertices_m).all()
    assert again_notes == notes


def test_the_other_end_is_the_butt_where_asked():
    _, found, points, log, _ = scanned("single stem")
    turned, notes = log_from_points(points, found.outline, "single stem", 0.95, "other")
    first = np.linalg.inv(log.scan_to_log)[:3, 0]
    second = np.linalg.inv(turned.scan_to_log)[:3, 0]

    assert first @ second < -0.999
    assert any("asked for" in note.text for note in notes)


def test_a_scan_that_saw_one_side_alone_is_refused():
    _, found, points, log, _ = scanned("single stem")
    there = points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    aside = there[:, 1:] - log.hearts[0][:, 1:].mean(axis=0)
    one_side = np.abs(np.degrees(np.arctan2(aside[:, 1], aside[:, 0])) - 20.0) < 45.0

    with pytest.raises(ScanError, match=r"of the girth.*walk all around it"):
        log_from_points(points[one_side], found.outline, "one side", 1.0)


def test_grass_under_the_log_does_not_make_it_thicker():
    scan, found, points, log, _ = scanned("single stem")
    rng = np.random.default_rng(0)
    there = np.linalg.inv(log.scan_to_log)
    low = log.outer.bounds_m[0, 2]
    grass = np.column_stack([
        rng.uniform(0.2, log.length_m - 0.2, 400),
        rng.uniform(-0.15, 0.15, 400),
        low + rng.uniform(-0.01, 0.07, 400),
    ])  # fmt: skip
    more = np.concatenate([points, grass @ there[:3, :3].T + there[:3, 3]])
    worse, _ = log_from_points(more, found.outline, "grass", 0.95)

    assert worse.outer.volume_m3 == pytest.approx(log.outer.volume_m3, rel=0.02)
    assert scan.truth.limbs == 0


def test_a_log_without_doubt_is_its_own_sample():
    log = replace(scanned("single stem")[3], doubt=None, face_seen=None)

    assert log.sample(3, 0) == [log, log, log]
    assert log.not_seen_share is None
    assert log.surface_error_m is None
    assert log.guessed_within_m is None
