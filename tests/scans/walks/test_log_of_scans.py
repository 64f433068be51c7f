"""Invented walks round one log to one Log: what the first walk did not see is where the truth has it."""

from collections.abc import Sequence

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from scans import log_of_scan
from scans.errors import ScanError
from scans.formats.scan import Scan
from scans.invented.simulator import SimulatedScan, random_settings, simulate_walks
from scans.locate.scan_surface import points_on_faces
from scans.log import Log
from scans.log_of_scan import READING_STAGES, ScanChoices, log_of_scans
from scans.walks.join import joined
from scans.walks.register import Registration

POINTS = 25_000


class Told:
    """Joins walks, and keeps what it was given and what came of it."""

    def __call__(self, one: Log, two: Log, number: int, rolled_deg: float | None = None) -> Registration:
        self.one, self.two = one, two
        self.how = joined(one, two, number, rolled_deg)
        return self.how


def scans_of(walks: Sequence[SimulatedScan]) -> list[Scan]:
    return [Scan(walk.points_m, colours=walk.colours, unit_m=1.0, up="z") for walk in walks]


def hidden_and_volume(walk: SimulatedScan, log: Log) -> tuple[float, float]:
    """How far the truth's side that a walk did not see lies off the log, and the error of its volume. [m]"""
    solid = walk.truth.solid.moved(log.scan_to_log @ walk.log_to_scan)
    middles = solid.vertices_m[solid.faces[~walk.face_seen & ~walk.truth.end_faces]].mean(axis=1)
    off = cKDTree(points_on_faces(log.outer.vertices_m, log.outer.faces, 200_000)).query(middles)[0]
    return float(np.sqrt((off**2).mean())), abs(log.outer.volume_m3 / solid.volume_m3 - 1.0)


@pytest.mark.parametrize("seed", [300, 303])
def test_two_walks_show_what_one_does_not(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    *walks, rolled_deg = simulate_walks(seed, random_settings(seed, clutter=seed % 2 == 1, points=POINTS))
    told, stages = Told(), []
    monkeypatch.setattr(log_of_scan, "joined", told)

    log, notes = log_of_scans(scans_of(walks), "log", 0.95, on_stage=stages.append)

    true = [alone.scan_to_log @ walk.log_to_scan for alone, walk in zip((told.one, told.two), walks, strict=True)]
    left = np.linalg.inv(true[0] @ np.linalg.inv(true[1])) @ told.how.matrix
    assert np.degrees(Rotation.from_matrix(left[:3, :3] / np.cbrt(np.linalg.det(left[:3, :3]))).magnitude()) < 2.0
    assert abs((told.how.roll_deg - rolled_deg + 180.0) % 360.0 - 180.0) < 10.0
    one, two = hidden_and_volume(walks[0], told.one), hidden_and_volume(walks[0], log)
    assert two[0] < 0.5 * one[0]
    assert two[0] < 0.010
    assert two[1] < 0.013
    assert (log.not_seen_share or 0.0) < 0.6 * (told.one.not_seen_share or 0.0)
    assert log.surface_error_m is not None
    assert told.one.surface_error_m is not None
    assert log.surface_error_m < told.one.surface_error_m
    assert log.doubt is not None
    assert told.one.doubt is not None
    assert log.doubt.scale_spread == pytest.approx(told.one.doubt.scale_spread / np.sqrt(2.0))
    assert log.colours is not None
    assert log.colours.known.mean() > 0.7
    assert log.wood.volume_m3 < log.outer.volume_m3
    first, second = log.walks
    assert (first.roll_deg, first.known_within_deg, first.apart_m) == (0.0, 0.0, 0.0)
    assert abs((second.roll_deg - rolled_deg + 180.0) % 360.0 - 180.0) < 10.0
    assert (second.known_within_deg, second.apart_m) == (told.how.known_within_deg, told.how.misfit_m)
    for seen, walk in zip(log.walks, walks, strict=True):
        # What the truth says of the surface that this walk saw; points of grass and ground are not the log's.
        corners = walk.truth.solid.vertices_m[walk.truth.solid.faces]
        areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        assert seen.seen_share == pytest.approx(areas[walk.face_seen].sum() / areas.sum(), abs=0.12)
        assert 0.2 * POINTS < seen.points <= len(walk.points_m)
        assert seen.seen_share < 1.0 - (log.not_seen_share or 0.0)
    assert {"walks_joined", "seen", "form"} <= {note.kind for note in notes}
    assert set(stages) == set(READING_STAGES[1:])


def test_one_scan_alone_is_read_as_it_always_was() -> None:
    walk, *_ = simulate_walks(300, random_settings(300, clutter=False, points=8_000))
    scan = scans_of([walk])[0]

    log, notes = log_of_scans([scan], "log", 0.95)
    same, same_notes = log_of_scan.log_of_scan(scan, "log", 0.95)

    assert np.array_equal(log.outer.vertices_m, same.outer.vertices_m)
    assert np.array_equal(log.scan_to_log, same.scan_to_log)
    assert notes == same_notes
    assert log.walks == ()


def test_what_is_wrong_with_one_of_several_scans_says_which() -> None:
    walk, *_ = simulate_walks(300, random_settings(300, clutter=False, points=8_000))
    scan = scans_of([walk])[0]
    tube = trimesh.creation.cylinder(0.3, 3.0)
    closed = Scan(np.array(tube.vertices), np.array(tube.faces), unit_m=1.0, up="x")

    with pytest.raises(ScanError, match=r"^scan 2: it is a closed mesh"):
        log_of_scans([scan, closed], "log", 0.95)
    with pytest.raises(ScanError, match=r"^scan 2: the file holds 3 points") as refused:
        log_of_scans([scan, Scan(scan.points[:3])], "log", 0.95)
    assert refused.value.mend
    with pytest.raises(ScanError, match=r"^scan 1: ") as refused:
        log_of_scans([scan, scan], "log", 0.95, ScanChoices(pick=5))
    assert refused.value.field == "pick"
    with pytest.raises(ScanError, match="no scan"):
        log_of_scans([], "log", 0.95)
