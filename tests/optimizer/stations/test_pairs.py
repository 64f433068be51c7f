"""Pairs, few thicknesses and sets in the passes of one lay: brute force on short logs, an integer programme on long."""

from dataclasses import replace
from itertools import combinations, pairwise

import books
import numpy as np
import pytest
import shapes
from layer_values import value_of_bed_layer, value_of_flipped_layer, value_of_layer
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_matrix

from optimizer.stations.pair_tables import paired_layers, pairs_bring, slabs_given
from optimizer.stations.passes import WASTE, Known, best_cuts
from optimizer.stations.ruled_passes import best_ruled_cuts
from optimizer.stations.rules import NO_RULES, Rules, Wanted, only
from scans.units import INCH_M

EVERYTHING = Rules(pair_premium=0.3, thicknesses=2, wanted=Wanted(0, 3))
RULES = [
    NO_RULES,
    Rules(pair_premium=0.3),
    Rules(thicknesses=1),
    Rules(thicknesses=2),
    Rules(thicknesses=2, sawn=frozenset({2})),
    Rules(wanted=Wanted(0, 2)),
    Rules(wanted=Wanted(2, 1)),
    Rules(pair_premium=0.3, thicknesses=1),
    EVERYTHING,
]


def short_lay(flips=False):
    mill = books.mill(
        height_step_m=INCH_M, kerf_m=0.3 * INCH_M, throat_m=0.42, can_flip=flips,
        lowest_blade_m=1.5 * INCH_M, max_shim_m=0.0,
    )  # fmt: skip
    limits = books.Limits(min_width_m=0.1, min_length_m=0.5)
    log = shapes.frustum(0.14 if flips else 0.16, 0.1, 1.5)
    book = books.prices((4, 8, 12), (19.0, 22.0, 21.0), limits=limits)
    problem = books.problem(log, mill, book)
    rolled = problem.supports.turned(0.0)
    return problem, problem.table(problem.coarse, rolled, rolled.resting_tilt_deg)


def known_layers(problem, table):
    """Every layer's value, one by one."""
    terms, lowest, rows = problem.terms, table.lowest_row, len(table.possible)
    ways = []
    for value, steps in [
        (value_of_layer, terms.drop_steps),
        (value_of_flipped_layer, terms.drop_steps),
        (value_of_bed_layer, terms.bed_steps),
    ]:
        found = np.zeros((rows, len(steps)))
        for m, step in enumerate(steps):
            for u in range(int(step), rows):
                if terms.can_flip or value is value_of_layer:
                    found[u, m] = value(table, terms, m, u + lowest, u - step + lowest)
        ways.append(found)
    return Known(*ways)


def pairing(extra):
    """The most that disjoint pairs of neighbours bring, tried one and all."""
    if not extra:
        return 0.0
    return max(pairing(extra[1:]), extra[0] + pairing(extra[2:]))


def brute_force(problem, table, rules):
    """Try every set of passes, flip and part of the menu; give each layer its use."""
    terms, lowest = problem.terms, table.lowest_row
    known = known_layers(problem, table)
    brings = pairs_bring(paired_layers(terms, table, rules.pair_premium), known, terms)
    nothing = np.zeros(known.down.shape)
    given = Known(nothing, nothing, nothing)
    if rules.wanted is not None:
        given = slabs_given(terms, table, rules.wanted.entry)
    entries = range(len(terms.price))
    most = len(terms.price) if rules.thicknesses is None else rules.thicknesses
    menus = [set(part) for part in combinations(entries, most) if rules.sawn <= set(part)]
    rows = [int(k) for k in np.flatnonzero(table.possible)]
    least_waste = int(np.ceil((0.0127 + terms.kerf_m) / terms.step_m - 1e-9))

    def layers_of(way, chosen, menu):
        found = []
        for upper, lower in pairwise(chosen):
            m = next((m for m in menu if terms.drop_steps[m] == upper - lower and known[way][upper, m] > 0.0), None)
            if m is None and upper - lower < least_waste:
                return None
            found.append(None if m is None else (way, upper, m))
        return found

    def worth(layers):
        singly, slabs = 0.0, 0
        for layer in layers:
            if layer is not None:
                way, upper, m = layer
                singly += known[way][upper, m]
                slabs += given[way][upper, m]
        return singly + pairing([pair(a, b) for a, b in pairwise(layers)]), slabs

    def pair(above, below):
        if rules.pair_premium == 0.0 or above is None or below is None or above[2] != below[2]:
            return 0.0
        return brings[1 + above[0]][above[1], above[2]]

    best, wanted = 0.0, 0 if rules.wanted is None else rules.wanted.count
    for menu in menus:
        for count in range(2, len(rows) + 1):
            for chosen in combinations(rows[::-1], count):
                if not table.may_be_first[chosen[0]]:
                    continue
                cost = sum(table.pass_cost[k] for k in chosen)
                layers = layers_of(0, chosen, menu)
                if layers is not None:
                    brought, slabs = worth(layers)
                    if slabs >= wanted:
                        best = max(best, brought - cost)
                if not terms.can_flip or not table.may_be_first_flipped[chosen[-1]]:
                    continue
                for split in range(1, count):
                    before, after = chosen[:split], chosen[split:]
                    steps = before[-1] - after[0]
                    first, second = layers_of(0, before, menu), layers_of(1, after, menu)
                    if steps < lowest or first is None or second is None:
                        continue
                    beds = [None, *(m for m in menu if terms.bed_steps[m] == steps and known[2][before[-1], m] > 0.0)]
                    for bed in beds:
                        on_bunks = [None if bed is None else (2, before[-1], bed)]
                        one, its = worth(first)
                        other, others = worth([*on_bunks, *second])
                        if its + others >= wanted:
                            best = max(best, one + other - cost - terms.flip_cost)
    return best


@pytest.mark.parametrize("rules", RULES)
@pytest.mark.parametrize("flips", [False, True])
def test_equals_brute_force_on_a_short_log(rules, flips):
    problem, table = short_lay(flips)
    found = best_ruled_cuts(table, problem.terms, rules)

    assert 8 <= table.possible.sum() <= 16
    assert found.net == pytest.approx(brute_force(problem, table, rules), abs=1e-9)
    if rules is not EVERYTHING:
        assert found.net > 0.0


@pytest.mark.parametrize("rules", RULES)
@pytest.mark.parametrize("flips", [False, True])
def test_known_layers_bring_the_same_as_those_worked_out(rules, flips):
    problem, table = short_lay(flips)
    known = known_layers(problem, table)
    brings = pairs_bring(paired_layers(problem.terms, table, rules.pair_premium), known, problem.terms)

    found = best_ruled_cuts(table, problem.terms, rules, known=known, brings=brings)

    assert found.net == pytest.approx(best_ruled_cuts(table, problem.terms, rules).net, abs=1e-9)


def long_lay(make=shapes.forked, roll=80.0, **changes):
    mill = books.mill(throat_m=0.7, throat_depth_m=0.2, height_step_m=INCH_M / 8, **changes)
    problem = books.problem(make(), mill, books.prices((4, 6, 8, 10, 12), (5.0, 6.2, 7.0, 7.2, 8.0)))
    rolled = problem.supports.turned(roll)
    return problem, problem.table(problem.coarse, rolled, rolled.resting_tilt_deg)


def programme(problem, table, rules):
    """The same as an integer programme: a flow from the first pass down, pairs as arcs over two layers."""
    terms, rows = problem.terms, len(table.possible)
    entries, wanted = len(terms.price), rules.wanted
    known = known_layers(problem, table)
    brings = pairs_bring(paired_layers(terms, table, rules.pair_premium), known, terms)
    given = slabs_given(terms, table, 0 if wanted is None else wanted.entry)
    source, sink, arcs = rows, rows + 1, [(rows, rows + 1, 0.0, -1, 0)]
    least_waste = int(np.ceil((0.0127 + terms.kerf_m) / terms.step_m - 1e-9))
    most_drop = int(np.floor(terms.throat_depth_m / terms.step_m + 1e-9))
    for k in np.flatnonzero(table.possible):
        if table.may_be_first[k]:
            arcs.append((source, k, -table.pass_cost[k], -1, 0))
        arcs.append((k, sink, 0.0, -1, 0))
        below = np.flatnonzero(table.possible[: max(0, k - least_waste + 1)])
        arcs += [(k, j, -table.pass_cost[j], -1, 0) for j in below if k - j <= most_drop]
        for m, drop in enumerate(terms.drop_steps):
            j, i = k - drop, k - 2 * drop
            if j < 0 or not table.possible[j] or known.down[k, m] <= 0.0:
                continue
            own = known.down[k, m] - table.pass_cost[j]
            arcs.append((k, j, own, m, given.down[k, m]))
            if i >= 0 and table.possible[i] and brings.down[k, m] > 0.0:
                both = own + known.down[j, m] + brings.down[k, m] - table.pass_cost[i]
                arcs.append((k, i, both, m, given.down[k, m] + given.down[j, m]))
    count = len(arcs)
    a, b, gains, uses, slabs = (np.array(column) for column in zip(*arcs, strict=True))
    size = count + entries
    flow = coo_matrix(
        (np.repeat([1.0, -1.0], count), (np.concatenate([a, b]), np.tile(np.arange(count), 2))), (rows + 2, size)
    )
    supply = np.zeros(rows + 2)
    supply[source], supply[sink] = 1.0, -1.0
    constraints = [LinearConstraint(flow.tocsr(), supply, supply)]
    sawn = np.flatnonzero(uses >= 0)
    at = np.arange(len(sawn))
    opened = coo_matrix(
        (np.repeat([1.0, -1.0], len(sawn)), (np.tile(at, 2), np.concatenate([sawn, count + uses[sawn]]))),
        (len(sawn), size),
    )
    constraints.append(LinearConstraint(opened.tocsr(), -np.inf, 0.0))
    if rules.thicknesses is not None:
        constraints.append(LinearConstraint(np.repeat([0.0, 1.0], [count, entries]), -np.inf, rules.thicknesses))
    if wanted is not None:
        constraints.append(LinearConstraint(np.concatenate([slabs, np.zeros(entries)]), wanted.count, np.inf))
    result = milp(
        -np.concatenate([gains, np.zeros(entries)]), integrality=np.ones(size), bounds=Bounds(0, 1),
        constraints=constraints, options={"mip_rel_gap": 1e-9},
    )  # fmt: skip
    assert result.status == 0
    return -result.fun


@pytest.mark.parametrize(
    "rules",
    [
        Rules(pair_premium=0.15),
        Rules(thicknesses=2),
        Rules(wanted=Wanted(1, 5)),
        Rules(pair_premium=0.15, thicknesses=2, wanted=Wanted(2, 4)),
    ],
)
@pytest.mark.parametrize(("make", "roll"), [(shapes.forked, 80.0), (shapes.bent, 120.0)])
def test_equals_an_integer_programme_on_a_long_log(make, roll, rules):
    problem, table = long_lay(make, roll)

    found = best_ruled_cuts(table, problem.terms, rules)

    assert len(table.possible) > 100
    assert found.net == pytest.approx(programme(problem, table, rules), abs=1e-6)
    assert found.net > 0.0


def test_rules_that_bind_nothing_change_nothing():
    problem, table = long_lay()

    plain = best_cuts(table, problem.terms)

    for rules in (NO_RULES, Rules(thicknesses=5), Rules(thicknesses=4, pair_premium=1e-12)):
        found = best_ruled_cuts(table, problem.terms, rules)
        assert found.net == pytest.approx(plain.net, abs=1e-6)
        assert found.rows == plain.rows


def test_a_premium_pays_for_pairs():
    problem, table = long_lay()
    nets = [best_ruled_cuts(table, problem.terms, Rules(pair_premium=share)).net for share in (0.0, 0.05, 0.1, 0.3)]

    assert nets == sorted(nets)
    assert nets[0] < nets[1]


def test_a_set_and_few_thicknesses_are_kept():
    problem, table = long_lay()
    plain = best_cuts(table, problem.terms)
    assert len(set(plain.entries) - {WASTE}) > 1

    one = best_ruled_cuts(table, problem.terms, Rules(thicknesses=1))
    asked = Rules(wanted=Wanted(0, plain.entries.count(0) + 2))
    with_set = best_ruled_cuts(table, problem.terms, asked)

    assert len(set(one.entries) - {WASTE}) == 1
    assert one.net < plain.net
    assert one.net == max(best_ruled_cuts(table, problem.terms, only(m, NO_RULES)).net for m in range(5))
    given = slabs_given(problem.terms, table, 0).down
    rows = [row - table.lowest_row for row in with_set.rows]
    slabs = sum(given[k, 0] for k, entry in zip(rows[:-1], with_set.entries, strict=True) if entry == 0)
    assert slabs >= asked.wanted.count
    assert with_set.net < plain.net
    assert not best_ruled_cuts(table, problem.terms, Rules(wanted=Wanted(4, 200))).rows


@pytest.mark.parametrize("rules", [Rules(pair_premium=0.1), Rules(thicknesses=1), Rules(0.1, thicknesses=2)])
def test_a_floor_takes_nothing_from_cuts_worth_more(rules):
    problem, table = long_lay()
    found = best_ruled_cuts(table, problem.terms, rules)

    for share in (0.5, 0.9, 0.9999):
        assert best_ruled_cuts(table, problem.terms, rules, share * found.net) == found
    for share in (1.0, 1.001, 2.0):
        assert best_ruled_cuts(table, problem.terms, rules, share * found.net).net <= found.net


def test_thicknesses_sawn_before_count():
    problem, table = long_lay()
    rules = Rules(thicknesses=2)
    free = best_ruled_cuts(table, problem.terms, rules)
    start = free.rows[2] - table.lowest_row
    sawn = next(m for m in range(5) if m not in free.entries)

    rest = best_ruled_cuts(table, problem.terms, replace(rules, sawn=frozenset({sawn})), start_row=start)

    assert rest.rows[0] == free.rows[2]
    assert len({*rest.entries, sawn} - {WASTE}) <= 2
    # More were sawn than the book takes: none comes on top.
    most = best_ruled_cuts(table, problem.terms, replace(rules, sawn=frozenset({0, 1, 2})), start_row=start)
    assert set(most.entries) <= {0, 1, 2, WASTE}
