"""Girths by the tape, weighed with the points of an invented scan that saw one side of a stem."""

from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull, cKDTree

from scans import log_of_scan as log_of_scan_module
from scans.errors import ScanError
from scans.fit import scanned_log
from scans.fit.girths import CONTRADICTS, GirthsFitted, GirthTaped, _along_m, _around_body_m, _slopes, with_girths
from scans.fit.seen_surface import closed_surface
from scans.formats.scan import Scan
from scans.invented.simulator import SimulatedScan, random_settings, simulate
from scans.locate.scan_surface import points_on_faces
from scans.log import Log
from scans.log_of_scan import ScanChoices, log_of_scan
from scans.messages import Note
from scans.tape.sheet_doubt import RADIUS_READ_M

SEED = 492
OFF_SEED = 490
"""A forked one, whose unseen side is guessed far too large."""
ERROR_M = 2.0 * pi * RADIUS_READ_M


@dataclass(frozen=True)
class Asked:
    """What a scan's reading asks of `with_girths`, and the scan."""

    walk: SimulatedScan
    scan: Scan
    log: Log
    given: tuple[Any, ...]
    more: dict[str, Any]

    def weighed(self, *girths: GirthTaped, **other: Any) -> GirthsFitted:
        fit, members, body, to_log, _ = self.given
        return with_girths(fit, members, body, to_log, girths, **{**self.more, **other})

    def around_m(self, at_m: float) -> float:
        """The girth that the scan alone shows. [m]"""
        _, members, body, to_log, _ = self.given
        return _around_body_m(members, body, _along_m(members, to_log, GirthTaped(at_m, 1.0, 0.0), 1.0))


@pytest.fixture(scope="module")
def asked() -> Asked:
    walk = simulate(SEED, random_settings(SEED, clutter=False, points=20_000))
    scan = Scan(walk.points_m, unit_m=1.0, up="z")
    caught: list[Any] = []

    def catch(*given: Any, **more: Any) -> GirthsFitted:
        caught.append((given, more))
        raise _CaughtError

    log, _ = log_of_scan(scan, "log", 1.0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scanned_log, "with_girths", catch)
        with pytest.raises(_CaughtError):
            log_of_scan(scan, "log", 1.0, ScanChoices(girths=(GirthTaped(1.0, 1.0, ERROR_M),)))
    return Asked(walk, scan, log, *caught[0])


class _CaughtError(Exception):
    """The fit is at hand."""


def kinds(notes: tuple[Note, ...]) -> list[str]:
    return [note.kind for note in notes]


def sure_m(asked: Asked, at_m: float) -> float:
    """How sure the scan is of a girth: what a tape that is as sure moves by half. [m]"""
    seen = asked.around_m(at_m)
    low, high = 1e-4, 1.0
    for _ in range(40):
        error = np.sqrt(low * high)
        moved = asked.weighed(GirthTaped(at_m, seen + 0.01, error), spread=1e-9)
        share = (after_m(asked, moved, at_m) - seen) / 0.01
        low, high = (error, high) if share > 0.5 else (low, error)
    return float(np.sqrt(low * high))


def after_m(asked: Asked, found: GirthsFitted, at_m: float) -> float:
    """The girth that the members show then; the seen side's own roughness is left out. [m]"""
    _, members, _, to_log, _ = asked.given
    along = _along_m(members, to_log, GirthTaped(at_m, 1.0, 0.0), 1.0)
    bare = closed_surface(members, np.zeros((0, 3)))
    moved = closed_surface(found.members, np.zeros((0, 3)))
    return asked.around_m(at_m) + _around_body_m(found.members, moved, along) - _around_body_m(members, bare, along)


def test_a_girth_moves_the_surface_as_far_as_tape_and_scan_are_sure(asked: Asked) -> None:
    seen, off = asked.around_m(1.2), 0.03

    exact = asked.weighed(GirthTaped(1.2, seen + off, 1e-6), spread=1e-9)
    vague = asked.weighed(GirthTaped(1.2, seen + off, 10.0), spread=1e-9)

    assert after_m(asked, exact, 1.2) - seen == pytest.approx(off, abs=0.003)
    assert after_m(asked, vague, 1.2) - seen == pytest.approx(0.0, abs=0.001)
    assert (exact.factor, vague.factor) == pytest.approx((1.0, 1.0), abs=1e-9)


def test_the_doubt_of_a_girth_is_what_scan_and_tape_leave_together(asked: Asked) -> None:
    fit, members, _, to_log, _ = asked.given
    slopes = _slopes(fit, members, _along_m(members, to_log, GirthTaped(1.2, 1.0, 0.0), 1.0))
    seen, spread, widened = asked.around_m(1.2), asked.more["spread"], asked.more["widened"]

    found = asked.weighed(GirthTaped(1.2, seen, ERROR_M))

    before, after = (widened**2 * slopes @ np.linalg.solve(one.precision, slopes) for one in (fit, found.fit))
    tape = ERROR_M**2 + (spread * seen) ** 2
    assert after == pytest.approx(1.0 / (1.0 / before + 1.0 / tape), rel=1e-6)
    assert after < 0.7 * before


def test_what_the_scan_saw_stays_and_the_other_side_moves(asked: Asked) -> None:
    seen_m = asked.around_m(1.2)
    moved = asked.weighed(GirthTaped(1.2, seen_m + 0.03, ERROR_M), spread=1e-9).members
    _, members, _, to_log, _ = asked.given
    vertices = (asked.log.outer.vertices_m - to_log[:3, 3]) @ to_log[:3, :3]
    shift = members.values_m(vertices) - moved.values_m(vertices)
    near = np.abs(asked.log.outer.vertices_m[:, 0] - 1.2) < 0.2
    unseen = asked.log._unseen_at[0]

    assert shift[near & (unseen == 1.0)].mean() > 4.0 * np.abs(shift[near & (unseen == 0.0)]).mean()
    assert shift[near & (unseen == 1.0)].mean() > 0.002


def test_girths_that_all_say_larger_correct_the_size_where_no_tape_gave_it(asked: Asked) -> None:
    girths = [GirthTaped(at, 1.02 * asked.around_m(at), 0.002) for at in (0.6, 1.2, 1.8)]

    free = asked.weighed(*girths)
    held = asked.weighed(*girths, holds_scale=True)

    assert 1.0005 < free.factor < 1.02
    assert free.spread < asked.more["spread"]
    assert (held.factor, held.spread) == (1.0, asked.more["spread"])
    assert "Its size was corrected by +" in free.notes[0].text
    assert "size" not in held.notes[0].text


def test_what_contradicts_is_left_out_and_told(asked: Asked) -> None:
    seen = asked.around_m(1.2)
    right = GirthTaped(0.6, asked.around_m(0.6) + 0.01, ERROR_M)

    alone = asked.weighed(right)
    both = asked.weighed(GirthTaped(1.2, 1.4 * seen, ERROR_M), right)
    none = asked.weighed(GirthTaped(1.2, 1.4 * seen, ERROR_M))

    assert kinds(both.notes) == ["girths_fitted", "girth_contradicts"]
    assert both.notes[1].bears_on_plan
    assert np.array_equal(both.members.terms_m, alone.members.terms_m)
    assert kinds(none.notes) == ["girth_contradicts"]
    assert none.members is asked.given[1]
    assert (none.factor, none.spread) == (1.0, asked.more["spread"])
    # Told from about three deviations of both on.
    deviation = np.hypot(np.hypot(sure_m(asked, 1.2), ERROR_M), asked.more["spread"] * seen)
    for times, is_told in ((0.9, False), (1.1, True)):
        girth = GirthTaped(1.2, seen + times * CONTRADICTS * deviation, ERROR_M)
        assert ("girth_contradicts" in kinds(asked.weighed(girth).notes)) is is_told


def test_a_girth_that_the_others_contradict_is_left_out_though_the_scan_alone_would_bear_it(asked: Asked) -> None:
    """As one round a stub is."""
    less = [GirthTaped(at, asked.around_m(at) - 0.05, ERROR_M) for at in (0.7, 1.7)]
    more = GirthTaped(1.2, asked.around_m(1.2) + 0.08, ERROR_M)

    assert kinds(asked.weighed(more).notes) == ["girths_fitted"]
    together = asked.weighed(less[0], more, less[1])

    assert kinds(together.notes) == ["girths_fitted", "girth_contradicts"]
    assert np.array_equal(together.members.terms_m, asked.weighed(*less).members.terms_m)


@pytest.mark.parametrize("at_m", [30.0, 5.5])
def test_a_place_beyond_the_trunk_is_refused(asked: Asked, at_m: float) -> None:
    with pytest.raises(ScanError, match="is not on the trunk, which ends or begins to divide at about") as refused:
        asked.weighed(GirthTaped(at_m, 1.5, ERROR_M))
    assert refused.value.field == "girth"


def true_girths(walk: SimulatedScan, log: Log) -> tuple[GirthTaped, ...]:
    """The truth's own, three of them on the trunk, by the sections of its solid."""
    matrix = log.scan_to_log @ walk.log_to_scan
    true = walk.truth.solid.moved(matrix)
    size = float(np.cbrt(np.linalg.det(matrix[:3, :3])))
    mesh = trimesh.Trimesh(true.vertices_m, true.faces, process=False)
    found = []
    for share in (0.08, 0.18, 0.28):
        x = share * log.length_m
        section = mesh.section(plane_normal=[1.0, 0.0, 0.0], plane_origin=[x, 0.0, 0.0])
        # In the plane the "area" of a hull is its outline's length.
        found.append(GirthTaped(x / size, float(ConvexHull(section.vertices[:, 1:]).area) / size, ERROR_M))
    return tuple(found)


def off_m(walk: SimulatedScan, log: Log) -> float:
    """How far the truth's side that nobody saw lies off the log. [m]"""
    true = walk.truth.solid.moved(log.scan_to_log @ walk.log_to_scan)
    middles = true.vertices_m[true.faces[~walk.face_seen & ~walk.truth.end_faces]].mean(axis=1)
    apart = cKDTree(points_on_faces(log.outer.vertices_m, log.outer.faces, 200_000)).query(middles)[0]
    return float(np.sqrt((apart**2).mean()))


def test_true_girths_bring_a_scan_nearer_to_the_truth_and_its_doubt_says_so() -> None:
    walk = simulate(OFF_SEED, random_settings(OFF_SEED, clutter=False, points=20_000))
    scan = Scan(walk.points_m, unit_m=1.0, up="z")
    alone, _ = log_of_scan(scan, "log", 1.0)
    girths = true_girths(walk, alone)

    log, notes = log_of_scan(scan, "log", 1.0, ScanChoices(girths=girths))

    assert "girths_fitted" in kinds(notes)
    assert "girth_contradicts" not in kinds(notes)
    assert off_m(walk, log) < 0.85 * off_m(walk, alone)
    assert abs(log.outer.volume_m3 / walk.truth.solid.volume_m3 - 1.0) < 0.02
    assert abs(alone.outer.volume_m3 / walk.truth.solid.volume_m3 - 1.0) > 0.03
    assert (log.surface_error_m or 0.0) < 0.97 * (alone.surface_error_m or 0.0)
    assert log.doubt is not None
    assert log.doubt.scale_spread < scanned_log.SCALE_SPREAD
    # The doubt narrows where the tape was, more than farther from it.
    at = np.array([girth.at_m for girth in girths])

    def said(one: Log, *, near: bool) -> float:
        assert one.doubt is not None
        away = np.abs(one.outer.vertices_m[:, :1] - at).min(axis=1)
        part = (one._unseen_at[0] == 1.0) & ((away < 0.1) if near else (away > 0.3))
        return float(np.sqrt((one.doubt.outer_error_m()[part] ** 2).mean()))

    gained = [said(log, near=near) / said(alone, near=near) for near in (True, False)]
    assert gained[0] < 0.97
    assert gained[0] < gained[1]


def test_a_closed_mesh_takes_no_girth() -> None:
    tube = trimesh.creation.cylinder(0.3, 3.0)
    scan = Scan(np.array(tube.vertices), np.array(tube.faces), unit_m=1.0, up="x")

    with pytest.raises(ScanError, match="closed mesh, whose surface is taken as it is") as refused:
        log_of_scan_module.log_of_scan(scan, "log", 1.0, ScanChoices(girths=(GirthTaped(1.0, 1.9, ERROR_M),)))
    assert refused.value.field == "girth"
