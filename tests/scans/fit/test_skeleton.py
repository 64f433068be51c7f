"""Stem and limbs told apart by circles in slices."""

import numpy as np
import pytest

from scans.errors import NotALogError
from scans.fit.scanned_log import log_from_points
from scans.fit.skeleton import find_skeleton
from scans.invented.simulator import random_settings, simulate
from scans.locate.ground import find_log


def tube(start, along, length_m, radius_m, seen_deg=(0.0, 250.0)):
    """Points about 2 cm apart on a straight tube, and their normals: an invented limb, seen in part."""
    along = np.array(along) / np.linalg.norm(along)
    side = np.cross(along, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, along)
    at = np.arange(0.0, length_m, 0.02)
    angle = np.radians(np.arange(*seen_deg, np.degrees(0.02 / radius_m)))
    normals = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * up
    points = np.array(start) + at[:, None, None] * along + radius_m * normals[None]
    return points.reshape(-1, 3), np.broadcast_to(normals, points.shape).reshape(-1, 3)


@pytest.mark.parametrize("short_m", [0.9, 1.4, 2.6])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_stem_is_where_limbs_come_together_however_short_one_is(short_m, sign):
    # The stem's circles reach less far than the long limb alone goes on beside nothing.
    parts = [
        tube((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.8, 0.32),
        tube((0.8, 0.0, 0.0), (1.0, 0.3, 0.0), 2.7, 0.25),
        tube((0.8, 0.0, 0.0), (1.0, -0.6, 0.1), short_m, 0.22),
    ]
    points, normals = (np.concatenate(part) * [sign, 1.0, 1.0] for part in zip(*parts, strict=True))

    found = find_skeleton(points, normals, np.zeros(len(points)))

    assert len(found.limbs) == 2
    assert found.meeting_m[0] * sign == pytest.approx(0.8, abs=0.15)
    assert len(found.stem.radii_m) >= 5
    assert (found.stem.centres_m[:, 0] * sign).max() < 1.0
    assert all((limb.centres_m[:, 0] * sign).min() > 0.7 for limb in found.limbs)


def test_limbs_without_a_stem_are_told_of_and_not_taken_for_a_log():
    parts = [tube((0.0, 0.0, 0.0), (1.0, 0.4, 0.0), 2.0, 0.2), tube((0.0, -0.42, 0.0), (1.0, -0.4, 0.0), 2.0, 0.2)]
    points, normals = (np.concatenate(part) for part in zip(*parts, strict=True))

    with pytest.raises(NotALogError, match="divides at its very end"):
        find_skeleton(points, normals, np.zeros(len(points)))


def test_limbs_meet_on_the_log_where_one_of_them_is_lost_early():
    # Invented. One limb is followed for 0.6 m: its line and the other's fit as well far before the butt end.
    scan = simulate(602, random_settings(602, clutter=False))
    found = find_log(scan.points_m, scan.normals)

    log, _ = log_from_points(scan.points_m[found.mask], found.outline, "fork", 1.0)

    assert len(log.forks) == 1
    assert log.wood.volume_m3 == pytest.approx(scan.truth.solid.volume_m3, rel=0.04)


def test_places_that_are_rough_everywhere_show_no_stem():
    places = np.random.default_rng(0).random((500, 3)) * [3.0, 0.6, 0.6]

    with pytest.raises(NotALogError, match="no round stem"):
        find_skeleton(places, np.tile([0.0, 0.0, 1.0], (500, 1)), np.ones(500))
