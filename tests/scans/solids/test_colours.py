"""A scan's colours on the surface that is made of it. Scans and colours are invented."""

from functools import cache

import numpy as np
import pytest
import trimesh

from scans.fit.scanned_log import log_from_points
from scans.invented.simulator import random_settings, simulate
from scans.locate.ground import find_log
from scans.locate.scan_surface import points_and_values_on_faces, points_on_faces
from scans.log import Log, Solid
from scans.solids.colours import NEUTRAL, coloured

RED, GREEN = (200, 30, 30), (20, 160, 40)
STRIPE_M = 0.25


def cylinder():
    mesh = trimesh.creation.cylinder(radius=0.2, height=1.5, sections=24)
    solid = Solid(mesh.vertices, mesh.faces)
    return Log(name="cylinder", outer=solid, wood=solid)


def stripes(x_m):
    return np.where((np.floor(x_m / STRIPE_M) % 2 == 0)[:, None], RED, GREEN).astype(np.uint8)


@cache
def striped():
    """A log made of an invented scan whose points are striped across the log as it truly lies."""
    scan = simulate(103, random_settings(103, clutter=False, points=60_000))
    found = find_log(scan.points_m, scan.normals)
    points = scan.points_m[found.mask]
    log, _ = log_from_points(points, found.outline, "striped", 0.95)
    back = np.linalg.inv(scan.log_to_scan)
    from_log = back @ np.linalg.inv(log.scan_to_log)
    colours = stripes(points @ back[0, :3] + back[0, 3])
    x_m = log.outer.vertices_m @ from_log[0, :3] + from_log[0, 3]
    return log, coloured(log, points, colours), x_m, points


def test_stripes_stand_on_the_surface_where_they_stood_on_the_log():
    log, made, x_m, _ = striped()
    rgb, known = made.colours.rgb, made.colours.known
    within = np.abs(x_m / STRIPE_M - np.round(x_m / STRIPE_M)) * STRIPE_M > 0.03
    seen = np.zeros(len(known), dtype=bool)
    seen[log.outer.faces[log.face_seen]] = True

    assert (rgb[known & within] == stripes(x_m)[known & within]).all()
    # A corner of a face whose middle is near a point may itself be a little farther off.
    assert known[seen].mean() > 0.95
    assert 0.4 < made.colours.known.mean() < 0.95
    assert (rgb[~known] == NEUTRAL).all()
    assert made.outer is log.outer


def test_a_sample_of_the_log_keeps_them():
    made = striped()[1]

    assert (made.sample(1, 0)[0].colours.rgb == made.colours.rgb).all()


def test_a_scan_without_colours_gives_none():
    log, _, _, points = striped()

    assert coloured(log, points, None).colours is None


def test_a_vertex_at_the_place_of_a_point_takes_its_colour_whole():
    log = cylinder()
    own = np.random.default_rng(0).integers(0, 256, log.outer.vertices_m.shape, dtype=np.uint8)
    made = coloured(log, log.outer.vertices_m, own)

    assert (made.colours.rgb == own).all()
    assert made.colours.known.all()


def test_colours_for_other_vertices_are_refused():
    made, other = striped()[1], cylinder()

    with pytest.raises(ValueError, match="colours"):
        type(other)(name="other", outer=other.outer, wood=other.wood, colours=made.colours)


def test_values_go_over_straight_across_a_face():
    vertices = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 2.0, 0.0]])
    faces = np.array([[0, 1, 2]])
    points, values = points_and_values_on_faces(vertices, vertices @ [[1.0], [10.0], [0.0]] + 5.0, faces, 50)

    assert values[:, 0] == pytest.approx(points[:, 0] + 10.0 * points[:, 1] + 5.0)
    assert (points == points_on_faces(vertices, faces, 50)).all()
