"""The passes of one lay are exact: brute force on short logs, the flow LP on long ones."""

from itertools import combinations, pairwise

import books
import numpy as np
import pytest
import shapes
from layer_values import value_of_bed_layer, value_of_flipped_layer, value_of_layer
from scipy.optimize import linprog
from scipy.sparse import coo_matrix

from optimizer.search.lays import scout
from optimizer.stations.passes import (
    WASTE,
    _pair_most,
    best_cuts,
)
from optimizer.stations.terms import worth_of_widths
from scans.units import INCH_M


def tables(problem, roll_deg, tilt_deg=None):
    rolled = problem.supports.turned(roll_deg)
    tilt_deg = rolled.resting_tilt_deg if tilt_deg is None else tilt_deg
    return problem.table(problem.coarse, rolled, tilt_deg)


def layer(problem, table, entry, upper, lower):
    row = table.lowest_row
    return value_of_layer(table, problem.terms, entry, upper + row, lower + row)


def brute_force(problem, table):
    """Try every set of passes; give each layer its best use."""
    terms = problem.terms
    rows = np.flatnonzero(table.possible)
    values = {}

    def worth(upper, lower):
        if (upper, lower) not in values:
            drop_m = (upper - lower) * terms.step_m
            fits = terms.kerf_m + 1e-9 < drop_m <= terms.throat_depth_m + 1e-9
            uses = [0.0 if fits else -np.inf]
            uses += [
                layer(problem, table, m, upper, lower)
                for m, drop in enumerate(terms.drop_steps)
                if drop == upper - lower
            ]
            values[upper, lower] = max(uses)
        return values[upper, lower]

    best = 0.0
    for count in range(2, len(rows) + 1):
        for chosen in combinations(rows[::-1], count):
            if not table.may_be_first[chosen[0]]:
                continue
            net = -sum(table.pass_cost[k] for k in chosen)
            net += sum(worth(a, b) for a, b in pairwise(chosen))
            best = max(best, net)
    return best


@pytest.mark.parametrize("kerf_in", [1 / 16, 0.3, 0.75])
@pytest.mark.parametrize("roll", [0.0, 65.0])
def test_equals_brute_force_on_a_short_log(kerf_in, roll):
    mill = books.mill(height_step_m=0.75 * INCH_M, kerf_m=kerf_in * INCH_M, throat_m=0.42, throat_depth_m=0.15)
    limits = books.Limits(min_width_m=0.12, min_length_m=0.5)
    log = shapes.bent(bow_m=0.05, radius_m=0.14, length_m=1.5)
    problem = books.problem(log, mill, books.prices((4, 8), (9.0, 12.0), limits=limits))
    table = tables(problem, roll)

    found = best_cuts(table, problem.terms)

    assert 8 <= table.possible.sum() <= 20
    assert found.net == pytest.approx(brute_force(problem, table), abs=1e-9)
    assert found.net > 0.0


def flip_brute_force(problem, table):
    """Try every set of passes, each made before or after one flip; give each layer its best use."""
    terms, lowest = problem.terms, table.lowest_row
    rows = [int(k) for k in np.flatnonzero(table.possible)]
    seen = {}

    def worth(kind, upper, lower):
        key = (kind, upper, lower)
        if key not in seen:
            drop_m = (upper - lower) * terms.step_m
            fits = terms.kerf_m + 1e-9 < drop_m <= terms.throat_depth_m + 1e-9
            uses = [0.0 if fits or kind == "bed" else -np.inf]
            for m, (drop, bed) in enumerate(zip(terms.drop_steps, terms.bed_steps, strict=True)):
                if kind == "bed" and bed == upper - lower:
                    uses.append(value_of_bed_layer(table, terms, m, upper + lowest, lower + lowest))
                elif kind != "bed" and drop == upper - lower:
                    value = value_of_layer if kind == "before" else value_of_flipped_layer
                    uses.append(value(table, terms, m, upper + lowest, lower + lowest))
            seen[key] = max(uses)
        return seen[key]

    best = 0.0
    for count in range(2, len(rows) + 1):
        for chosen in combinations(rows[::-1], count):
            cost = sum(table.pass_cost[k] for k in chosen) + terms.flip_cost
            if not table.may_be_first[chosen[0]] or not table.may_be_first_flipped[chosen[-1]]:
                continue
            for split in range(1, count):  # so many before the flip
                before, after = chosen[:split], chosen[split:]
                assert all(table.possible_flipped[k] for k in after)
                if before[-1] - after[0] < lowest:  # the blade does not go down so far
                    continue
                net = -cost + worth("bed", before[-1], after[0])
                net += sum(worth("before", a, b) for a, b in pairwise(before))
                net += sum(worth("after", a, b) for a, b in pairwise(after))
                best = max(best, net)
    return best


@pytest.mark.parametrize("kerf_in", [0.75, 0.3])
@pytest.mark.parametrize("depth_m", [None, 0.12])
def test_flip_equals_brute_force_on_a_short_log(kerf_in, depth_m):
    mill = books.mill(
        height_step_m=0.75 * INCH_M,
        kerf_m=kerf_in * INCH_M,
        throat_m=0.42,
        throat_depth_m=depth_m,
        can_flip=True,
        lowest_blade_m=1.5 * INCH_M,
        max_shim_m=0.0,
    )
    limits = books.Limits(min_width_m=0.1, min_length_m=0.5)
    log = shapes.frustum(0.12, 0.09, 1.5)
    problem = books.problem(log, mill, books.prices((4, 6), (19.0, 22.0), limits=limits))
    table = tables(problem, 0.0)

    found = best_cuts(table, problem.terms)

    assert 8 <= table.possible.sum() <= 12
    expected = max(flip_brute_force(problem, table), brute_force(problem, table))
    assert found.net == pytest.approx(expected, abs=1e-9)
    assert found.net > 0.0
    if depth_m is None:
        assert found.flipped_rows  # what lies low is reached from the other side


def test_a_flip_never_lowers_the_net():
    for make, roll in [(shapes.forked, 80.0), (shapes.bent, 120.0), (shapes.frustum, 0.0)]:
        nets = []
        for can_flip in (False, True):
            problem = books.problem(make(), books.mill(can_flip=can_flip))
            nets.append(best_cuts(tables(problem, roll), problem.terms).net)

        assert nets[0] <= nets[1]
    assert nets[0] < nets[1]


def flow_lp(problem, table):
    """Interval packing as a flow from the first pass down: the LP is integral."""
    terms, rows = problem.terms, len(table.possible)
    # Nodes: 0..rows-1 passes made; then source and sink.
    source, sink = rows, rows + 1
    arcs, gains = [], []

    def arc(a, b, gain):
        arcs.append((a, b))
        gains.append(gain)

    arc(source, sink, 0.0)
    least_waste = int(np.ceil((0.0127 + terms.kerf_m) / terms.step_m - 1e-9))
    for k in range(rows):
        if not table.possible[k]:
            continue
        cost = table.pass_cost[k]
        if table.may_be_first[k]:
            arc(source, k, -cost)
        arc(k, sink, 0.0)
        for j in np.flatnonzero(table.possible[: max(0, k - least_waste + 1)]):
            if (k - j) * terms.step_m <= terms.throat_depth_m + 1e-9:
                arc(k, int(j), -table.pass_cost[j])
        for m, drop in enumerate(terms.drop_steps):
            j = k - drop
            if j >= 0 and table.possible[j]:
                value = layer(problem, table, m, k, j)
                if value > 0.0:
                    arc(k, j, value - table.pass_cost[j])
    arcs = np.array(arcs)
    count = len(arcs)
    balance = coo_matrix(
        (
            np.concatenate([np.ones(count), -np.ones(count)]),
            (np.concatenate([arcs[:, 0], arcs[:, 1]]), np.tile(np.arange(count), 2)),
        ),
        shape=(rows + 2, count),
    ).tocsr()
    supply = np.zeros(rows + 2)
    supply[source], supply[sink] = 1.0, -1.0
    result = linprog(-np.array(gains), A_eq=balance, b_eq=supply, bounds=(0, 1), method="highs")
    assert result.status == 0
    return -result.fun


@pytest.mark.parametrize(("make", "roll"), [(shapes.forked, 80.0), (shapes.bent, 120.0), (shapes.frustum, 0.0)])
@pytest.mark.parametrize("depth_m", [None, 0.2])
def test_equals_the_flow_lp_on_a_long_log(make, roll, depth_m):
    problem = books.problem(make(), books.mill(throat_depth_m=depth_m, throat_m=0.7))
    table = tables(problem, roll)

    found = best_cuts(table, problem.terms)

    assert len(table.possible) > 200
    assert found.net == pytest.approx(flow_lp(problem, table), abs=1e-6)
    assert found.net > 0.0


@pytest.mark.parametrize(("make", "roll"), [(shapes.forked, 80.0), (shapes.bent, 120.0), (shapes.frustum, 0.0)])
@pytest.mark.parametrize("depth_m", [None, 0.2])
def test_a_floor_takes_nothing_from_cuts_worth_more(make, roll, depth_m):
    problem = books.problem(make(), books.mill(throat_depth_m=depth_m, throat_m=0.7))
    table = tables(problem, roll)
    found = best_cuts(table, problem.terms)

    for share in (0.5, 0.9, 0.99, 0.9999):
        assert best_cuts(table, problem.terms, share * found.net) == found
    for share in (1.0, 1.001, 1.2, 2.0):
        assert best_cuts(table, problem.terms, share * found.net).net <= found.net


CURVES = [
    (),
    (books.WidthFactor(at_m=0.3, factor=0.9), books.WidthFactor(at_m=0.6, factor=1.3)),
    (books.WidthFactor(at_m=0.25, factor=1.5), books.WidthFactor(at_m=0.4, factor=0.5)),
    (
        books.WidthFactor(at_m=0.3, factor=1.0),
        books.WidthFactor(at_m=0.31, factor=1.4),
        books.WidthFactor(at_m=0.5, factor=0.8),
        books.WidthFactor(at_m=0.55, factor=1.6),
    ),
]


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("make", [shapes.forked, shapes.bent])
@pytest.mark.parametrize("drying", [0.0, 0.8, 3.0])
def test_no_layer_brings_more_than_its_bound(curve, make, drying):
    book = books.prices(width_factor=curve, heart=0.0, drying=books.Drying(cost_per_board_foot=drying))
    problem = books.problem(make(), prices_=book)
    terms = problem.terms
    pairs = 0
    for roll_deg in (0.0, 55.0, 90.0):
        table = tables(problem, roll_deg)
        top, bottom = table.upper, table.lower
        for k in range(0, len(table.possible), 3):
            for m, drop in enumerate(terms.drop_steps):
                j = k - drop
                if j < 0:
                    continue
                most = _pair_most(
                    terms.slab_cost, terms.price[m], -drying, terms.board_feet_per_m2[m], top.usable_m2[k],
                    bottom.usable_m2[j], top.usable_worth_m2[k], bottom.usable_worth_m2[j], top.best_factor[k],
                    bottom.best_factor[j],
                )  # fmt: skip
                found = layer(problem, table, m, k, j)
                assert found <= most + 1e-9
                pairs += found > 0.0
    assert pairs > 50


@pytest.mark.parametrize("curve", [([0.0], [1.0]), ([0.3, 0.6], [0.9, 1.3]), ([0.3, 0.4, 0.9], [0.5, 1.5, 0.7])])
def test_wood_is_worth_no_less_than_any_run_of_it(curve):
    at_m, factor = np.array(curve[0]), np.array(curve[1])
    step_m, worth_m = worth_of_widths(at_m, factor)
    places = step_m * np.arange(len(worth_m))
    steepest = (worth_m[-1] - worth_m[-2]) / step_m

    def worth(width_m):
        return np.interp(width_m, places, worth_m) + steepest * np.maximum(0.0, width_m - places[-1])

    random = np.random.default_rng(0)
    for _ in range(300):
        face = random.uniform(0.0, 1.2) + np.cumsum(random.normal(0.0, 0.05, 40))
        face = np.maximum(face, 0.0)
        run = face * random.uniform(0.5, 1.0)
        begin, end = np.sort(random.choice(41, 2, replace=False))
        mean_m = run[begin:end].mean()
        brings = run[begin:end].sum() * np.interp(mean_m, at_m, factor)
        assert brings <= worth(face).sum() * (1.0 + 1e-12)


def test_the_net_is_that_of_the_cuts():
    problem = books.problem(shapes.forked(lumpy=0.08))
    table = tables(problem, 77.0)
    found = scout(
        problem, problem.coarse, problem.supports.turned(77.0), problem.supports.turned(77.0).resting_tilt_deg
    ).cuts
    rows = [row - table.lowest_row for row in found.rows]

    net = -sum(table.pass_cost[k] for k in rows)
    for upper, lower, entry in zip(rows[:-1], rows[1:], found.entries, strict=True):
        if entry != WASTE:
            assert upper - lower == problem.terms.drop_steps[entry]
            net += layer(problem, table, entry, upper, lower)

    assert found.net == pytest.approx(net, abs=1e-9)


def test_waste_is_sawn_through_where_slabs_cannot_use_the_wood():
    # Only wide slabs sell, and the reach forbids the middle: what is above and below is still sold.
    limits = books.Limits(min_width_m=0.3, min_length_m=1.2)
    mill = books.mill(throat_m=0.58, max_shim_m=0.0)
    problem = books.problem(shapes.cylinder(0.3, 3.0), mill, books.prices(limits=limits))

    found = scout(problem, problem.coarse, problem.supports.turned(0.0), 0.0).cuts

    assert WASTE in found.entries
    assert found.entries[0] != WASTE
    assert found.entries[-1] != WASTE


def test_no_layer_is_thicker_than_what_fits_above_the_blade():
    # A first pass that shaves the top, then one far below, would lift more wood than the head has room for.
    problem = books.problem(shapes.cylinder(0.3, 3.0), books.mill(throat_depth_m=0.1, max_shim_m=0.0))

    found = scout(problem, problem.coarse, problem.supports.turned(0.0), 0.0).cuts

    drops = -np.diff(found.rows)
    assert drops.max() * problem.terms.step_m <= 0.1 + 1e-9


def test_nothing_is_sawn_where_nothing_pays():
    problem = books.problem(shapes.cylinder(), prices_=books.prices(amounts=(0.1, 0.1, 0.1)))

    assert scout(problem, problem.coarse, problem.supports.turned(0.0), 0.0).cuts.rows == ()
