"""Circles of the arcs in a slice."""

import numpy as np
import pytest

from scans.fit.arcs import arcs_in


def ring(middle, radius, from_deg, to_deg, spacing=0.015, noise=0.002, seed=0):
    rng = np.random.default_rng(seed)
    count = max(3, round(radius * np.radians(to_deg - from_deg) / spacing))
    angle = np.radians(np.linspace(from_deg, to_deg, count))
    normals = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = np.asarray(middle) + (radius + rng.normal(0.0, noise, count))[:, None] * normals
    return points, normals * np.where(rng.random(count) < 0.5, 1.0, -1.0)[:, None]


def found(*rings):
    points, normals = (np.concatenate(parts) for parts in zip(*rings, strict=True))
    return arcs_in(points, normals, (0.05, 1.0), np.random.default_rng(0))


def test_a_circle_seen_on_three_quarters_of_its_girth():
    arcs = found(ring((0.2, -0.1), 0.3, -45.0, 225.0))

    assert len(arcs) == 1
    assert arcs[0].middle_m == pytest.approx([0.2, -0.1], abs=0.003)
    assert arcs[0].radius_m == pytest.approx(0.3, abs=0.003)
    assert arcs[0].seen_share == pytest.approx(0.75, abs=0.05)


def test_two_flanks_of_one_trunk_are_one_circle():
    arcs = found(ring((0.0, 0.0), 0.3, -30.0, 50.0), ring((0.0, 0.0), 0.3, 130.0, 210.0, seed=1))

    assert len(arcs) == 1
    assert arcs[0].radius_m == pytest.approx(0.3, abs=0.004)


def test_two_limbs_are_two_circles_and_not_one_round_both():
    arcs = found(ring((-0.3, 0.0), 0.2, 0.0, 360.0), ring((0.25, 0.1), 0.15, -60.0, 230.0, seed=1))

    assert sorted(round(arc.radius_m, 2) for arc in arcs) == [0.15, 0.2]


def test_points_whose_normals_are_not_radial_make_no_circle():
    points, normals = ring((0.0, 0.0), 0.3, 0.0, 360.0)

    assert arcs_in(points, normals[:, ::-1] * [1.0, -1.0], (0.25, 0.35), np.random.default_rng(0)) == []
