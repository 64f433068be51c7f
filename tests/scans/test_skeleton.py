"""Stem and limbs told apart by circles in slices."""

import numpy as np
import pytest

from scans.skeleton import find_skeleton


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
