"""Prices on the mesh against arithmetic, and the search's measure against prices on the mesh."""

from dataclasses import replace

import books
import numpy as np
import pytest
import shapes
from layer_values import value_of_layer
from shapely import box

from optimizer.bed.hearts import heart_strip_in_plan
from optimizer.bed.lay import Lay
from optimizer.search.lays import price_scouted, scout
from optimizer.stations.lay_table import lay_table
from optimizer.stations.passes import WASTE
from optimizer.stations.stations import stations_of
from optimizer.stations.terms import terms_for
from scans.units import FOOT_M, INCH_M

STEP = INCH_M / 16


def chord_m(radius_m, height_m):
    return 2.0 * np.sqrt(radius_m**2 - (height_m - radius_m) ** 2)


def test_slab_of_a_cylinder_is_what_arithmetic_says():
    radius, length = 0.3, 3.0
    problem = books.problem(shapes.cylinder(radius, length, points=2880), prices_=books.prices((8,), (7.0,)))
    (entry,) = problem.menu
    upper = 300
    lay = Lay(0.0, 0.0, radius)

    priced = problem.pricer.price(lay, [upper, upper - entry.drop_steps], [entry])

    (slab,) = priced.slabs
    width = min(chord_m(radius, slab.upper_face_m), chord_m(radius, slab.lower_face_m))
    assert slab.upper_face_m == pytest.approx(300 * STEP)
    assert slab.lower_face_m == pytest.approx(300 * STEP - entry.green_m)
    assert slab.span_m == pytest.approx((0.05, length - 0.05))
    assert slab.area_m2 == pytest.approx(width * 2.9, rel=1e-5)
    assert slab.board_feet == pytest.approx(width * 2.9 / FOOT_M**2 * 2.0, rel=1e-5)
    factor = np.interp(width, [0.3, 0.6], [0.9, 1.3])
    # This layer lies above the heart, so nothing is lost.
    assert slab.lower_face_m > radius + problem.log.heart_radius_m
    assert slab.price == pytest.approx(slab.board_feet * 7.0 * factor, rel=1e-5)
    cut = [chord_m(radius, p.blade_height_m) * length for p in priced.passes]
    minutes = sum(max(length / 3.0, area / 0.5) + 3.0 for area in cut) + 8.0
    assert priced.sawing_cost == pytest.approx(minutes, rel=1e-5)  # 60 an hour
    assert priced.net == pytest.approx(slab.price - minutes - 0.8 * slab.board_feet, rel=1e-5)


def test_heart_strip_costs_its_share():
    radius = 0.3
    problem = books.problem(shapes.cylinder(radius, points=720), prices_=books.prices((8,), (7.0,), heart=0.4))
    (entry,) = problem.menu
    upper = round((radius + entry.green_m / 2) / STEP)
    rows = [upper, upper - entry.drop_steps]

    (slab,) = problem.pricer.price(Lay(0.0, 0.0, radius), rows, [entry]).slabs
    free = books.problem(shapes.cylinder(radius, points=720, heart=False), prices_=books.prices((8,), (7.0,)))
    (whole,) = free.pricer.price(Lay(0.0, 0.0, radius), rows, [entry]).slabs

    strip = 2.0 * problem.log.heart_radius_m * slab.length_m
    assert slab.heart.area == pytest.approx(strip, rel=1e-3)
    assert slab.price == pytest.approx(whole.price * (1.0 - 0.4 * strip / slab.uncapped_m2), rel=1e-4)


@pytest.mark.parametrize("off_m", [0.0, 0.01, 0.02])
def test_strip_narrows_as_the_heart_leaves_the_layer(off_m):
    line = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0]])

    strip = heart_strip_in_plan([line], 0.0254, off_m, off_m + 0.05)

    half = np.sqrt(0.0254**2 - off_m**2)
    assert strip.bounds[3] == pytest.approx(half, rel=1e-2)
    inside = strip.intersection(strip.envelope.intersection(strip.envelope.buffer(-0.03)))
    assert inside.is_valid
    # Its middle part, away from the round ends.
    assert strip.intersection(box(0.5, -1, 1.5, 1)).area == pytest.approx(2.0 * half, rel=1e-2)


def test_no_strip_where_the_heart_is_out_of_reach():
    line = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0]])

    assert heart_strip_in_plan([line], 0.0254, 0.03, 0.08).is_empty


def test_margins_only_take():
    problem = books.problem(shapes.forked(lumpy=0.1))
    with_margins = problem.terms
    without = terms_for(problem.mill, problem.prices, problem.menu, margins=False)

    assert with_margins.min_width_m == pytest.approx(without.min_width_m + 0.001)
    assert with_margins.min_length_m == pytest.approx(without.min_length_m + 0.005)
    assert with_margins.widest_reach_m == pytest.approx(without.widest_reach_m - 0.005)


@pytest.mark.parametrize(
    ("make", "roll", "tilt"),
    [
        (shapes.forked, 85.0, None),
        (lambda: shapes.forked(lumpy=0.08), 20.0, None),
        (lambda: shapes.forked(lumpy=0.08), 85.0, 2.5),
        (shapes.bent, 30.0, None),
        (shapes.frustum, 0.0, 1.5),
    ],
)
@pytest.mark.parametrize("kerf_in", [1 / 16, 0.09])
def test_layers_at_stations_are_worth_what_the_mesh_says(make, roll, tilt, kerf_in):
    problem = books.problem(make(), books.mill(kerf_m=kerf_in * INCH_M))
    rolled = problem.supports.turned(roll)
    tilt = rolled.resting_tilt_deg if tilt is None else rolled.resting_tilt_deg + tilt
    lay, height_m = rolled.lay(tilt), rolled.height_m(tilt)
    stations = stations_of(problem.log, problem.end_trim_m, 0.005, problem.zones)
    terms = terms_for(problem.mill, problem.prices, problem.menu, margins=False)
    table = lay_table(stations, lay, height_m, terms, problem.heart)
    pace = problem.mill.pace
    compared = 0
    for m, entry in enumerate(problem.menu):
        for upper in range(table.lowest_row + entry.drop_steps, table.lowest_row + len(table.possible), 47):
            rows = [upper, upper - entry.drop_steps]
            here = value_of_layer(table, terms, m, *rows)
            slabs = problem.pricer.price(lay, rows, [entry]).slabs
            there = sum(s.price - s.drying_cost - problem.mill.money(pace.minutes_per_slab) for s in slabs)

            # A price on the mesh may differ by what 5 mm of stations cannot see, and by a slab that
            # stands or falls with its last millimetre.
            assert here == pytest.approx(there, rel=0.01, abs=0.5)
            compared += there > 0.0
    assert compared >= 5


def test_the_winner_on_fine_stations_is_priced_alike_on_the_mesh():
    problem = books.problem(shapes.forked(lumpy=0.05), books.mill(clamps_hold=True))
    for roll in (10.0, 95.0, 250.0):
        rolled = problem.supports.turned(roll)
        scouted = scout(problem, problem.fine, rolled, rolled.resting_tilt_deg, exact=True)
        priced = price_scouted(problem, scouted)

        # Margins only take; the mesh only gives.
        assert priced.net == pytest.approx(scouted.net, rel=0.005)


def test_a_layer_meant_for_waste_gives_no_slab():
    problem = books.problem(shapes.cylinder())

    priced = problem.pricer.price(Lay(0.0, 0.0, 0.3), [300, 200], problem.menu_entries([WASTE]))

    assert priced.slabs == ()
    assert priced.net == -priced.sawing_cost


def test_buyers_maximum_caps_the_width_and_not_the_shape():
    limits = books.Limits(min_width_m=0.15, max_width_m=0.4, min_length_m=1.2)
    problem = books.problem(shapes.cylinder(0.3, points=720), prices_=books.prices((8,), (7.0,), limits=limits))
    (entry,) = problem.menu

    (slab,) = problem.pricer.price(Lay(0.0, 0.0, 0.3), [200, 200 - entry.drop_steps], [entry]).slabs

    assert slab.area_m2 == pytest.approx(0.4 * slab.length_m)
    assert slab.max_width_m > 0.55
    assert slab.mean_width_m == pytest.approx(0.4)


def test_a_run_longer_than_buyers_take_is_crosscut():
    limits = books.Limits(min_width_m=0.15, min_length_m=1.0, max_length_m=1.6)
    problem = books.problem(shapes.cylinder(0.3, 3.0, points=720), prices_=books.prices((8,), (7.0,), limits=limits))
    (entry,) = problem.menu

    slabs = problem.pricer.price(Lay(0.0, 0.0, 0.3), [200, 200 - entry.drop_steps], [entry]).slabs

    assert [slab.span_m for slab in slabs] == [pytest.approx((0.05, 1.5)), pytest.approx((1.5, 2.95))]
    eased = replace(problem)
    found = scout(eased, eased.fine, eased.supports.turned(0.0), 0.0).cuts
    assert price_scouted(eased, scout(eased, eased.fine, eased.supports.turned(0.0), 0.0)).net == pytest.approx(
        found.net, rel=0.005
    )


def test_a_slab_that_does_not_pay_for_itself_is_waste():
    problem = books.problem(shapes.cylinder(0.3, points=720), prices_=books.prices((8,), (0.9,), flat=True))
    (entry,) = problem.menu

    # 0.9 a board foot less 0.8 for drying does not pay for 8 minutes of handling.
    assert problem.pricer.price(Lay(0.0, 0.0, 0.3), [200, 200 - entry.drop_steps], [entry]).slabs == ()
