"""The scan-line kernels against slow, obvious twins made with shapely."""

import numpy as np
import pytest
import shapely
import shapes

from optimizer.stations.chords import (
    chord_table,
    longest_by_row,
    reach_by_row,
    reach_of_chords,
    reach_on_mesh,
    turn_rings,
    wood_by_row,
)
from optimizer.stations.stations import cut, stations_of
from optimizer.stations.terms import worth_of_widths

STEP = 0.004


def turned_table(log, roll_deg, tilt_deg, lift_m, spacing_m=0.11):
    stations = stations_of(log, (0.05, 0.07), spacing_m)
    rings = turn_rings(
        stations.wood.offsets,
        stations.wood.segments,
        stations.x_m,
        np.radians(roll_deg),
        np.radians(tilt_deg),
        lift_m,
        0.0,
        STEP,
    )
    rows = int(rings[:, 1::2].max()) + 2
    return stations, rings, rows


def polygon_at(stations, i):
    part = stations.wood.segments[stations.wood.offsets[i] : stations.wood.offsets[i + 1]]
    lines = shapely.multilinestrings([part.reshape(-1, 2, 2)])[0]
    pieces = shapely.get_parts(shapely.polygonize([shapely.set_precision(shapely.union_all(lines), 1e-9)]))
    # Even-odd: holes are polygons of their own.
    shape = shapely.Polygon()
    for piece in pieces:
        shape = shape.symmetric_difference(piece)
    return shape


@pytest.mark.parametrize("slots", [2, 6])
@pytest.mark.parametrize(("roll", "tilt"), [(0.0, 0.0), (33.0, 2.5), (200.0, -4.0)])
def test_chords_are_the_wood_on_the_line(roll, tilt, slots):
    stations, rings, rows = turned_table(shapes.forked(lumpy=0.1), roll, tilt, 0.6)
    table = chord_table(stations.wood.offsets, rings, rows, 0.0, slots)
    t = np.radians(tilt)
    checked = 0
    for i in range(0, len(stations.x_m), 3):
        shape = shapely.affinity.rotate(polygon_at(stations, i), roll, origin=(0, 0))
        for r in range(1, rows, 17):
            z = (r * STEP - 0.6 - stations.x_m[i] * np.sin(t)) / np.cos(t)
            line = shapely.LineString([(-5, z), (5, z)])
            parts = shapely.get_parts(shape.intersection(line))
            expected = sorted(x for part in parts if part.length > 1e-6 for x in (part.bounds[0], part.bounds[2]))

            assert table.y[r, : table.counts[r, i], i] == pytest.approx(expected, abs=1e-6)
            checked += len(expected)
    assert checked > 100


def test_crossings_are_even_and_rise():
    stations, rings, rows = turned_table(shapes.forked(lumpy=0.1), 71.0, 1.0, 0.6, 0.03)
    table = chord_table(stations.wood.offsets, rings, rows, 0.4)

    assert (table.counts % 2 == 0).all()
    assert table.most == table.counts.max() > 2
    for r, i in np.argwhere(table.counts > 0):
        assert (np.diff(table.y[r, : table.counts[r, i], i]) >= 0).all()
    empty = table.y[:, :2][np.broadcast_to((table.counts == 0)[:, None], table.y[:, :2].shape)]
    assert np.isinf(empty).all()


def test_stations_on_the_mesh_s_own_rings_close_too():
    # The rings of this mesh stand exactly where the stations are.
    log = shapes.bent(stations=31, length_m=3.0)
    x = np.unique(log.outer.vertices_m[:, 0])

    rings = cut(log.outer, x)

    assert np.diff(rings.offsets)[:-1].min() >= 64
    for i in range(len(x) - 1):
        ends = rings.segments[rings.offsets[i] : rings.offsets[i + 1]].reshape(-1, 2)
        _, times = np.unique(ends.round(12), axis=0, return_counts=True)
        assert (times % 2 == 0).all()
    assert rings.offsets[-1] == rings.offsets[-2]  # the last plane lies on the end, with nothing beyond


def test_a_shift_of_a_whole_step_is_the_next_row():
    stations, rings, rows = turned_table(shapes.forked(), 12.0, 1.0, 0.6)
    here, shifted = (chord_table(stations.wood.offsets, rings, rows, shift) for shift in (0.0, 1.0))

    assert (here.counts[1:] == shifted.counts[:-1]).all()
    both = np.isfinite(here.y[1:]) & np.isfinite(shifted.y[:-1])
    assert here.y[1:][both] == pytest.approx(shifted.y[:-1][both], abs=1e-6)


def test_cells_fill_the_usable_length_exactly():
    stations = stations_of(shapes.cylinder(length_m=3.0), (0.05, 0.07), 0.02)

    usable = slice(stations.first, stations.last)
    assert stations.cell_m[usable].sum() == pytest.approx(3.0 - 0.12, abs=1e-12)
    assert np.ptp(stations.cell_m[usable]) < 1e-12
    assert stations.x_m[stations.first] - stations.cell_m[stations.first] / 2 == pytest.approx(0.05)
    assert stations.cell_m.sum() == pytest.approx(3.0, abs=1e-12)


def test_area_of_a_level_cylinder_is_width_times_length():
    log = shapes.cylinder(0.3, 3.0, points=720)
    stations, rings, rows = turned_table(log, 0.0, 0.0, 0.3)
    table = chord_table(stations.wood.offsets, rings, rows, 0.0)

    step_m, worth_m = worth_of_widths(np.array([0.3, 0.6, 0.8]), np.array([1.0, 1.5, 1.2]))
    measure = (stations.cell_m, stations.first, stations.last, 0.15, 1.2, step_m, worth_m)
    area, length, usable, worth, widest = wood_by_row(table, *measure)

    r = 100
    width = 2.0 * np.sqrt(0.3**2 - (r * STEP - 0.3) ** 2)
    assert widest[r] == pytest.approx(width, rel=1e-3)
    assert area[r] == pytest.approx(3.0 * width, rel=1e-3)
    assert 2.88 * width <= usable[r] <= 2.88 * width * (1.0 + 1.0 / 10)
    factor = np.interp(width, [0.3, 0.6], [1.0, 1.5])
    assert usable[r] * factor * 0.999 <= worth[r] <= usable[r] * factor * 1.02
    assert length[r] == pytest.approx(3.0)
    assert reach_by_row(rings, rows)[r] == pytest.approx(width, rel=1e-3)
    assert reach_of_chords(table, rows) == pytest.approx(reach_by_row(rings, rows), abs=1e-6)
    needed = longest_by_row(table, stations.first, stations.last, 0.99 * width)
    assert needed[r] == stations.last - stations.first
    assert longest_by_row(table, stations.first, stations.last, 1.01 * width)[r] == 0


def test_reach_on_the_mesh_is_never_under_that_at_stations():
    log = shapes.forked(lumpy=0.1)
    _stations, rings, rows = turned_table(log, 25.0, 0.0, 0.9, 0.01)
    a = np.radians(25.0)
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    matrix = np.eye(4)
    matrix[:3, :3], matrix[2, 3] = turn, 0.9

    exact = reach_on_mesh(log.outer.vertices_m, log.outer.faces, matrix, rows, 0.0, STEP)
    there = reach_by_row(rings, rows)

    assert (exact >= there - 1e-9).all()
    # A slice by a general-purpose library spans the same.
    body = shapes.manifold(log.outer).transform(np.hstack([turn, [[0], [0], [0.9]]]))
    for r in range(20, rows - 20, 37):
        bounds = body.slice(r * STEP).bounds()
        if not body.slice(r * STEP).is_empty():
            assert exact[r] == pytest.approx(bounds[3] - bounds[1], abs=1e-6)
