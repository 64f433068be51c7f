"""The passes of one lay are exact: brute force on short logs, the flow LP on long ones."""

from itertools import combinations, pairwise

import books
import numpy as np
import pytest
import shapes
from scipy.optimize import linprog
from scipy.sparse import coo_matrix

from optimizer.lengths import INCH_M
from optimizer.passes import WASTE, best_cuts, lay_table, value_of_layer
from optimizer.search import scout


def tables(problem, roll_deg, tilt_deg=None):
    rolled = problem.supports.turned(roll_deg)
    tilt_deg = rolled.resting_tilt_deg if tilt_deg is None else tilt_deg
    lay, height_m = rolled.lay(tilt_deg), rolled.height_m(tilt_deg)
    return lay, height_m, lay_table(problem.coarse, lay, height_m, problem.terms)


def layer(problem, table, entry, upper, lower):
    row = table.lowest_row
    return value_of_layer(problem.coarse, table, problem.terms, entry, upper + row, lower + row)


def brute_force(problem, table, height_m):
    """Try every set of passes; give each layer its best use."""
    terms = problem.terms
    rows = np.flatnonzero(table.possible)
    heights = (rows + table.lowest_row) * terms.step_m
    may_be_first = dict(zip(rows, height_m - heights <= terms.throat_depth_m, strict=True))
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
            if not may_be_first[chosen[0]]:
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
    lay, height_m, table = tables(problem, roll)

    found = best_cuts(problem.coarse, lay, height_m, problem.terms)

    assert 8 <= table.possible.sum() <= 20
    assert found.net == pytest.approx(brute_force(problem, table, height_m), abs=1e-9)
    assert found.net > 0.0


def flow_lp(problem, table, height_m):
    """Interval packing as a flow from the first pass down: the LP is integral."""
    terms, rows = problem.terms, len(table.possible)
    # Nodes: 0..rows-1 passes made; then source and sink.
    source, sink = rows, rows + 1
    arcs, gains = [], []

    def arc(a, b, gain):
        arcs.append((a, b))
        gains.append(gain)

    arc(source, sink, 0.0)
    least_waste = int(np.floor(terms.kerf_m / terms.step_m + 1e-9)) + 1
    for k in range(rows):
        if not table.possible[k]:
            continue
        cost = table.pass_cost[k]
        if height_m - (k + table.lowest_row) * terms.step_m <= terms.throat_depth_m:
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
    lay, height_m, table = tables(problem, roll)

    found = best_cuts(problem.coarse, lay, height_m, problem.terms)

    assert len(table.possible) > 200
    assert found.net == pytest.approx(flow_lp(problem, table, height_m), abs=1e-6)
    assert found.net > 0.0


def test_the_net_is_that_of_the_cuts():
    problem = books.problem(shapes.forked(lumpy=0.08))
    lay, _, table = tables(problem, 77.0)
    found = scout(problem, problem.coarse, problem.supports.turned(77.0), lay.tilt_deg).cuts
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
