"""The log cut across its axis, against slow, obvious twins."""

from itertools import pairwise

import books
import numpy as np
import pytest
import shapes
from sheets_made import forked

from optimizer.doubt.possible_logs import PossibleLogs
from optimizer.stations.chords import most_crossings
from optimizer.stations.stations import Rings, cut, stations_of
from scans.log import Solid
from scans.tape.log_from_sheet import log_from_sheet


def cut_slowly(solid, x):
    """The segments at a plane, face by face."""
    found = []
    for face in solid.faces:
        ends = []
        for p, q in zip(face, np.roll(face, -1), strict=True):
            a, b = solid.vertices_m[min(p, q)], solid.vertices_m[max(p, q)]
            if (a[0] > x) != (b[0] > x):
                share = (x - a[0]) / (b[0] - a[0])
                ends += list(a[1:] + share * (b[1:] - a[1:]))
        found += [ends] if ends else []
    return np.array(found).reshape(-1, 4)


def check(solid, x_m):
    rings = cut(solid, x_m)
    for i, (start, end) in enumerate(pairwise(rings.offsets)):
        # To the last bit, and in the order of the faces: what is reckoned from it stays as it was.
        assert np.array_equal(rings.segments[start:end], cut_slowly(solid, x_m[i]))
    assert len(rings.offsets) == len(x_m) + 1
    assert len(rings.segments) == rings.offsets[-1]


def rough(log):
    """A mesh as scans give it: corners in no order, off any way, along the log too."""
    rng = np.random.default_rng(3)
    order = rng.permutation(len(log.outer.vertices_m))
    vertices_m = np.empty_like(log.outer.vertices_m)
    vertices_m[order] = log.outer.vertices_m + rng.normal(0.0, 0.01, log.outer.vertices_m.shape)
    return Solid(vertices_m, order[log.outer.faces])


@pytest.mark.parametrize("number", [0, 1])
def test_a_possible_log_of_a_sheet_is_cut_as_face_by_face(number):
    problem = books.problem(log_from_sheet(forked(), 0.95))
    one = PossibleLogs(problem).some(1, [number])[0]

    for solid, rings in ((one.log.outer, one.stations.outer), (one.log.wood, one.stations.wood)):
        check(solid, one.stations.x_m[:: len(one.stations.x_m) // 6])
        assert np.array_equal(rings.segments, cut(solid, one.stations.x_m).segments)


def test_a_rough_mesh_is_cut_as_face_by_face_wherever_the_planes_lie():
    solid = rough(shapes.forked(lumpy=0.1))
    low, high = solid.bounds_m[:, 0]

    check(solid, np.linspace(low - 0.2, high + 0.2, 9))
    check(solid, low + (high - low) * np.array([0.01, 0.011, 0.012, 0.5, 0.98]))
    check(solid, np.array([0.7]))


def test_planes_through_corners_of_the_mesh_give_closed_rings():
    solid = shapes.forked().outer
    x_m = np.unique(solid.vertices_m[:, 0])[5:-5:25]

    check(solid, x_m)
    rings = cut(solid, x_m)
    for start, end in pairwise(rings.offsets):
        starts, ends = rings.segments[start:end, :2], rings.segments[start:end, 2:]
        corners, times = np.unique(np.concatenate([starts, ends]), axis=0, return_counts=True)
        assert len(corners) > 2
        assert (times % 2 == 0).all()


def test_hearts_cross_a_station_where_they_pass_it():
    log = shapes.forked()
    stations = stations_of(log, (0.05, 0.05), 0.3)

    for i, x in enumerate(stations.x_m):
        crossed = []
        for line in log.hearts:
            for a, b in pairwise(line):
                if a[0] <= x < b[0]:
                    way = (b - a) / np.linalg.norm(b - a)
                    crossed.append([*(a + (b - a) * (x - a[0]) / (b[0] - a[0]))[1:], *way[1:]])
        here = stations.hearts[stations.heart_offsets[i] : stations.heart_offsets[i + 1]]
        assert np.allclose(here, np.array(crossed).reshape(-1, 4), rtol=0.0, atol=1e-12)
    assert len(stations.hearts) > len(stations.x_m)


def test_a_log_rests_on_the_outermost_points_all_round():
    one = PossibleLogs(books.problem(shapes.forked(lumpy=0.1))).some(1, [0], ())[0]
    rings = one.stations.outer

    for degrees in np.arange(0.0, 360.0, 5.625):
        y, z = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        for i, x in enumerate(one.stations.x_m[::9]):
            ring = rings.segments[rings.offsets[9 * i] : rings.offsets[9 * i + 1]]
            points_m = one.supports_m[one.supports_m[:, 0] == x]
            assert (points_m[:, 1:] @ [y, z]).max() == pytest.approx((ring[:, :2] @ [y, z]).max(), abs=1e-12)


def test_there_is_room_for_more_crossings_than_a_look_round_shows():
    """Ripples as fine as on a scan are met by some levels alone."""
    angles = np.linspace(0.0, 2.0 * np.pi, 2001)
    reach_m = 0.3 + 0.0005 * np.sin(70.0 * angles)
    points_m = np.stack([reach_m * np.cos(angles), reach_m * np.sin(angles)], axis=1)
    rings = Rings(np.array([0, 2000]), np.concatenate([points_m[:-1], points_m[1:]], axis=1))
    finely = most_crossings(rings.offsets, rings.segments, 8, 0.0001)

    assert most_crossings(rings.offsets, rings.segments, 8, 0.004) < finely <= rings.slots
