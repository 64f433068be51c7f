"""From a scan to a Log in one way, and the tape's scale of the finished Log. All logs are invented."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from yards import round_log

from scans.errors import NotALogError, ScanError
from scans.fit.scanned_log import TAPED_SPREAD
from scans.formats.scan import Scan
from scans.log import SurfaceDoubt
from scans.log_of_scan import READING_STAGES, ScanChoices, log_of_file, log_of_scan
from scans.tape.log_from_sheet import LogSheet, TapedLimb, TapedSection, log_from_sheet

TAPED = ScanChoices(taped_length_m=1.02 * 3.0)


def forked():
    limbs = tuple(TapedLimb(1.5, 28.0, clock_deg, (TapedSection(1.2, girth_m=1.4),)) for clock_deg in (80.0, 260.0))
    sections = (TapedSection(0.0, girth_m=1.9), TapedSection(1.5, girth_m=1.9))
    return log_from_sheet(LogSheet("invented", None, True, sections, None, limbs), 1.0)


def straight():
    return log_from_sheet(LogSheet("invented", None, True, (TapedSection(0.0, 0.6), TapedSection(3.0, 0.5))), 1.0)


def test_a_scaled_log_is_scaled_in_all_that_has_a_length():
    plain = forked()
    ways, modes = np.ones((len(plain.outer.vertices_m), 3)), np.ones((len(plain.outer.vertices_m), 2), np.float32)
    log = replace(plain, bark_thickness_m=0.01, doubt=SurfaceDoubt(ways, modes, ways, modes, 0.002))

    scaled = log.scaled(1.1)

    assert scaled.length_m == pytest.approx(1.1 * log.length_m)
    assert scaled.wood.volume_m3 == pytest.approx(1.1**3 * log.wood.volume_m3)
    assert scaled.bark_thickness_m == pytest.approx(0.011)
    assert scaled.forks
    for fork, before in zip(scaled.forks, log.forks, strict=True):
        np.testing.assert_allclose(fork.crotch_m, 1.1 * before.crotch_m)
        assert [fork.diameter_m, fork.below_m, fork.above_m] == pytest.approx(
            [1.1 * before.diameter_m, 1.1 * before.below_m, 1.1 * before.above_m]
        )
    for line, before in zip(scaled.hearts, log.hearts, strict=True):
        np.testing.assert_allclose(line, 1.1 * before)
    assert scaled.surface_error_m == pytest.approx(1.1 * log.surface_error_m)
    assert (scaled.doubt.scale_spread, scaled.heart_radius_m) == (0.002, log.heart_radius_m)
    there = np.array([0.3, 0.2, 0.1, 1.0])
    np.testing.assert_allclose((scaled.scan_to_log @ there)[:3], 1.1 * (log.scan_to_log @ there)[:3])
    assert log.scaled(1.0) is log


def test_a_taped_mesh_is_the_mesh_scaled_and_its_bark_that_of_its_true_size():
    solid = straight().outer
    asked = []

    def bark_ratio(diameter_m):
        asked.append(diameter_m)
        return 0.9

    log, notes = log_of_scan(Scan(solid.vertices_m, solid.faces), "log", bark_ratio, TAPED)

    plain, _ = log_of_scan(Scan(solid.vertices_m, solid.faces), "log", 0.9)
    larger, _ = log_of_scan(Scan(1.02 * solid.vertices_m, solid.faces), "log", bark_ratio)
    # The library orders corners by their place, so that rounding may swap two.
    assert cKDTree(larger.outer.vertices_m).query(log.outer.vertices_m)[0].max() < 1e-9
    assert log.outer.volume_m3 == pytest.approx(larger.outer.volume_m3, rel=1e-9)
    np.testing.assert_allclose(log.scan_to_log[:3, :3], 1.02 * plain.scan_to_log[:3, :3], atol=1e-9)
    assert len(asked) == 2
    assert asked[0] == pytest.approx(asked[1])
    assert log.bark_thickness_m == pytest.approx(larger.bark_thickness_m, rel=1e-3)
    assert log.wood.volume_m3 == pytest.approx(larger.wood.volume_m3, rel=1e-3)
    assert any("+2.0%" in note.text for note in notes)


def test_a_taped_cloud_is_read_once_and_as_long_as_the_tape_says():
    scan = Scan(round_log(np.random.default_rng(1), density=4000.0))
    told = []

    log, notes = log_of_scan(scan, "log", 0.95, TAPED, told.append)

    assert log.length_m == pytest.approx(3.06, abs=1e-9)
    assert tuple(told) == READING_STAGES[1:]
    assert log.doubt.scale_spread == TAPED_SPREAD
    assert [note.kind for note in notes].count("scaled_by_tape") == 1
    there = scan.points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    off = np.abs(np.linalg.norm(there[:, 1:], axis=1).max() - 1.02 * 0.3)
    assert off < 0.02


@pytest.mark.parametrize(
    ("length_m", "taped_length_m", "said"), [(14.8, 15.4, "at most"), (0.51, 0.47, "or longer"), (3.0, 5.0, "longer")]
)
def test_a_log_that_the_tape_makes_none_is_refused(length_m, taped_length_m, said):
    sheet = LogSheet("invented", None, True, (TapedSection(0.0, 0.2), TapedSection(length_m, 0.2)))
    solid = log_from_sheet(sheet, 1.0).outer

    with pytest.raises(ScanError, match=said):
        log_of_scan(Scan(solid.vertices_m, solid.faces), "log", 1.0, ScanChoices("m", "z", None, taped_length_m))


def test_a_file_becomes_a_log_or_a_refusal():
    solid = straight().outer
    data = trimesh.Trimesh(solid.vertices_m, solid.faces, process=False).export(file_type="stl")

    log, _ = log_of_file(data, ".stl", "log", 1.0)

    assert log.length_m == pytest.approx(3.0, abs=1e-4)
    with pytest.raises(NotALogError, match="or longer"):
        log_of_file(data, ".stl", "log", 1.0, ScanChoices(unit="cm", up="z"))
