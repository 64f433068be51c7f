"""Doubt: possible logs, layer values averaged over them, plans chosen and reported in the mean."""

import json
from dataclasses import replace
from itertools import pairwise

import books
import numpy as np
import pytest
import shapes
from planned_logs import planned

from optimizer import planning
from optimizer.documents.mill import SetUp
from optimizer.doubt import report as doubt_report
from optimizer.doubt.choice import chosen_in_doubt
from optimizer.doubt.possible_logs import (
    BLADE,
    ROLL,
    SHIMS,
    SIZE,
    SURFACE,
    PossibleLogs,
    doubt_of,
)
from optimizer.doubt.possible_net import Heights, outcomes
from optimizer.doubt.report import chances_best, doubt_of_plan, drawn, in_order, is_tie, weighed
from optimizer.doubt.values import best_average_cuts, lay_values, possible_terms
from optimizer.planning import ONE_STRETCH
from optimizer.report.describe import describe
from optimizer.search.lays import search
from optimizer.stations.lay_table import lay_table
from optimizer.stations.passes import best_cuts
from optimizer.stations.terms import REACH_SPARE_M, terms_for
from optimizer.wood.woods import find_wood
from scans.units import INCH_M

SET_UP = SetUp(roll_error_deg=3.0, shim_error_m=0.006, thickness_error_m=0.001)
STEP = {"height_step_m": INCH_M / 4, "kerf_m": INCH_M / 8}


def fork(**changes):
    # Whether it stands is no matter here.
    mill = books.mill(set_up=SET_UP, clamps_hold=True, max_prop_m=0.0, **STEP, **changes)
    return books.problem(shapes.forked(lumpy=0.06), mill)


@pytest.fixture(scope="module")
def problem():
    return fork()


@pytest.fixture(scope="module")
def plan(problem):
    return search(problem, 60, workers=1).plans[0]


def as_given(problem):
    return PossibleLogs(problem).some(0, [0], ())


@pytest.mark.parametrize("flip", [False, True])
def test_a_plan_on_the_log_as_given_brings_what_it_is_priced_at(flip):
    problem = fork(can_flip=flip, slabs_stay_on=flip, throat_depth_m=0.45 if flip else None)
    plan = search(problem, 60, workers=1).plans[0]

    found = outcomes(problem, Heights.of(problem, plan), as_given(problem))

    assert (plan.flip_face_m is not None) == flip
    assert found.net[0] == pytest.approx(plan.net, rel=2e-3)
    assert found.board_feet[0] == pytest.approx(sum(slab.board_feet for slab in plan.slabs), rel=2e-3)


def test_the_face_of_a_pass_is_as_large_as_on_the_mesh(problem, plan):
    bed = problem.bodies.on_bed(plan.lay)
    section = bed.wood.slice(plan.passes[2].blade_height_m)
    largest = max(section.decompose(), key=lambda part: part.area())
    low_x, _, high_x, _ = largest.bounds()

    found = outcomes(problem, Heights.of(problem, plan), as_given(problem), face=2)

    assert found.face_length_m[0] == pytest.approx(high_x - low_x, abs=0.03)
    assert found.face_width_m[0] <= largest.bounds()[3] - largest.bounds()[1] + 1e-3


@pytest.mark.parametrize("flip", [False, True])
def test_with_nothing_in_doubt_the_average_is_the_exact_optimum(flip):
    problem = fork(can_flip=flip, throat_depth_m=0.4)
    rolled = problem.supports.turned(40.0)
    tilt_deg = rolled.resting_tilt_deg
    log = as_given(problem)[0]
    values = lay_values(problem, rolled, tilt_deg, [log])
    terms = terms_for(problem.mill, problem.prices, problem.menu, margins=False)
    table = lay_table(log.stations, log.lay(40.0, tilt_deg), rolled.height_m(tilt_deg), terms, problem.heart)
    may = ("possible", "may_be_first", "possible_flipped", "may_be_first_flipped")
    table = table._replace(**{name: getattr(values.table, name) for name in may})

    found = best_average_cuts(values, problem.terms)

    assert found.net == pytest.approx(best_cuts(table, terms).net, rel=1e-6)


def test_the_best_average_is_what_its_passes_bring_in_the_mean(problem):
    rolled = problem.supports.turned(20.0)
    logs = PossibleLogs(problem, 3.0).some(5, range(6), (SURFACE, SIZE, ROLL, SHIMS))
    cuts = best_average_cuts(lay_values(problem, rolled, rolled.resting_tilt_deg, logs), problem.terms)
    priced = problem.price(rolled.lay(rolled.resting_tilt_deg), cuts)

    assert outcomes(problem, Heights.of(problem, priced), logs).net.mean() == pytest.approx(cuts.net, rel=1e-6)


def test_the_choice_counts_a_blade_that_lands_high_or_low(problem):
    rolled = problem.supports.turned(20.0)
    coarse = problem.mill.set_up.model_copy(update={"thickness_error_m": 0.01})
    dull = replace(problem, mill=problem.mill.model_copy(update={"set_up": coarse}))
    logs = PossibleLogs(dull).some(5, range(8), (BLADE,))
    cuts = best_average_cuts(lay_values(dull, rolled, rolled.resting_tilt_deg, logs), dull.terms)
    heights = Heights.of(dull, dull.price(rolled.lay(rolled.resting_tilt_deg), cuts))
    alike = [replace(log, blade_off_m=np.full_like(log.blade_off_m, log.blade_off_m[0])) for log in logs]

    assert outcomes(dull, heights, alike).net.mean() == pytest.approx(cuts.net, rel=1e-6)
    assert outcomes(dull, heights, as_given(dull)).net[0] > 1.001 * cuts.net


def test_rows_left_out_lie_on_straight_lines(problem):
    rolled = problem.supports.turned(20.0)
    logs = PossibleLogs(problem).some(5, range(2))
    every, some = (lay_values(problem, rolled, rolled.resting_tilt_deg, logs, stride=stride) for stride in (1, 3))
    inner = every.down[10:-10]

    assert not np.array_equal(every.down, some.down)
    assert np.abs(some.down[10:-10] - inner).mean() < 0.02 * inner.max()


def test_each_source_moves_only_what_it_is_named_for(problem):
    possible = PossibleLogs(problem)
    base, rolled, sized, bladed, surface = (
        possible.some(3, [1], on)[0] for on in ((), (ROLL,), (SIZE,), (BLADE,), (SURFACE,))
    )

    assert rolled.roll_off_deg == pytest.approx(3.0 * rolled.draw.roll)
    assert base.roll_off_deg == sized.roll_off_deg == base.tilt_off_deg == 0.0
    assert np.array_equal(base.stations.wood.segments, rolled.stations.wood.segments)
    assert sized.log.length_m == pytest.approx(problem.log.length_m * (1.0 + 0.003 * sized.draw.size))
    assert bladed.blade_off_m.std() == pytest.approx(0.001 / np.sqrt(2.0), rel=0.3)
    assert surface.log.wood.volume_m3 > base.log.wood.volume_m3 or surface.draw.form[0] < 0.0
    assert np.array_equal(base.log.outer.vertices_m, problem.log.outer.vertices_m)


def test_a_pass_that_fails_in_the_throat_takes_the_layers_beside_it(problem, plan):
    heights = Heights.of(problem, plan)
    logs = as_given(problem)
    reach = [p.reach_m for p in plan.passes]
    narrow = replace(problem, mill=problem.mill.model_copy(update={"throat_m": max(reach) - 0.001}))
    widest = int(np.argmax(reach))

    lost = outcomes(problem, heights, logs).net[0] - outcomes(narrow, heights, logs).net[0]

    beside = [slab for slab in plan.slabs if slab.layer in {widest, widest + 1}]
    worth = sum(slab.price - 0.8 * slab.board_feet - 8.0 for slab in beside)
    assert lost == pytest.approx(worth, rel=0.01)


def test_a_pass_near_the_throat_fails_where_a_surface_may_bulge(problem, plan):
    log = replace(problem.log, doubt=doubt_of(problem.log))
    widest_m = max(p.reach_m for p in plan.passes)

    def net(spare_m, sources, log=log):
        mill = problem.mill.model_copy(update={"throat_m": widest_m + spare_m})
        other = replace(problem, log=log, mill=mill)
        possible = PossibleLogs(other)
        still = replace(possible.draw(0, 0), size=0.0, form=np.zeros_like(possible.draw(0, 0).form))
        logs = [possible.of(replace(still, roll=0.0), frozenset(sources))]
        values = lay_values(other, problem.supports.turned(plan.lay.roll_deg), plan.lay.tilt_deg, logs)
        return outcomes(other, Heights.of(other, plan), logs).net[0], values.down.sum()

    free = net(0.2, (SURFACE,))
    assert net(REACH_SPARE_M + 0.002, (SURFACE,))[0] == free[0]
    assert net(REACH_SPARE_M - 0.002, (SURFACE,))[0] < 0.98 * free[0]
    assert net(REACH_SPARE_M - 0.002, (SURFACE,))[1] < net(REACH_SPARE_M - 0.002, (ROLL,))[1]
    # Set-up alone makes no bumps, and a closed mesh with no doubt of its own was seen all round.
    assert net(0.002, (ROLL,))[0] == net(0.002, (SURFACE,), problem.log)[0] == free[0]


def test_a_roll_that_is_never_just_so_makes_a_sharp_peak_worth_less(problem, plan):
    heights = Heights.of(problem, plan)
    possible = PossibleLogs(problem)

    off = outcomes(problem, heights, drawn(possible, 0, 0, 30, 1, (ROLL,))).net

    assert off.mean() < plan.net
    assert off.std() > 0.0


def test_the_choice_is_the_same_whatever_the_workers_and_better_in_the_mean(problem):
    found = search(problem, 120, workers=1)
    possible = PossibleLogs(problem)
    logs = drawn(possible, 0, 0, 12, 2)
    one, two = (chosen_in_doubt(problem, found, logs, workers) for workers in (1, 2))
    fresh = drawn(possible, 0, 1000, 40, 2)
    means = [w.expected for w in weighed(problem, [one[0], found.plans[0]], fresh, 2)]

    assert [(p.lay, p.net) for p in one] == [(p.lay, p.net) for p in two]
    assert means[0] > means[1]


def test_plans_are_ranked_by_the_mean_and_their_chances_make_one(problem):
    found = search(problem, 60, workers=1)
    possible = PossibleLogs(problem)
    shown = in_order(weighed(problem, found.plans, drawn(possible, 0, 1000, 20, 1), 1))
    doubt = doubt_of_plan(possible, shown[0].priced, 0, 1)

    # Of plans that chance may have parted the least trouble comes first.
    for better, worse in pairwise(shown):
        assert better.expected >= worse.expected or is_tie(better, worse)
    assert sum(chances_best(shown)) == pytest.approx(1.0)
    assert sum(s.share for s in doubt.sources) == pytest.approx(1.0, abs=0.03)
    assert doubt.sources[0].source == ROLL


@pytest.fixture
def few_logs(monkeypatch):
    monkeypatch.setattr(planning, "CHOICE_LOGS", 6)
    monkeypatch.setattr(planning, "REPORT_LOGS", 25)
    monkeypatch.setattr(doubt_report, "SHARE_LOGS", 6)


@pytest.mark.usefixtures("few_logs")
def test_a_document_in_doubt_holds_its_ranges_and_one_without_is_exact():
    mill = books.mill(set_up=SET_UP, **STEP)
    log = shapes.forked(lumpy=0.06)
    sure, doubtful, again = (
        planned(log, mill, lays=20, doubt=doubt, workers=w) for doubt, w in ((0, 1), (1, 1), (1, 2))
    )
    plan = doubtful.plans[0]

    assert sure.doubt is None
    assert sure.plans[0].net_p10 is sure.plans[0].first_face.length_m_p10 is None
    assert plan.net_p10 < plan.net_expected < plan.net_p90
    # What the log may cost is told by what plans are ranked by.
    assert plan.break_even_log_price == plan.net_expected != plan.net
    assert sure.plans[0].break_even_log_price == sure.plans[0].net
    # Four in five make money at a price that less than one in five falls short of, but more than one in ten.
    assert sure.plans[0].break_even_safe is None
    assert plan.net_p10 < plan.break_even_safe < plan.break_even_log_price
    assert plan.board_feet_p10 < plan.board_feet_p90
    assert plan.first_face.max_width_m_p10 <= plan.first_face.max_width_m_p90
    assert sum(p.chance_best for p in doubtful.plans) == pytest.approx(1.0)
    assert doubtful.plain_way.net_expected is not None
    assert json.loads(doubtful.model_dump_json())["doubt"]["samples"] == 200
    assert doubtful.plans == again.plans
    assert plan.net_expected >= max(p.net_expected for p in doubtful.plans) - 0.005


def test_a_layer_without_a_slab_says_what_it_was_sawn_for(problem, plan):
    least = problem.menu[0]
    top = plan.passes[0].row
    rows = [top + 2 * least.drop_steps, top + least.drop_steps, *(p.row for p in plan.passes)]
    priced = problem.price_rows(plan.lay, rows, [least, None, *plan.entries])
    assert min(slab.layer for slab in priced.slabs) > 2

    described = describe(problem, find_wood("ash, white"), priced, 1, problem.log.wood.volume_m3)

    assert {w.layer: w.quarters for w in described.waste if w.layer < 3} == {1: least.quarters, 2: None}
    sold = {slab.layer for slab in priced.slabs}
    assert all(w.quarters is None for w in described.waste if w.layer in sold)


def test_layers_after_a_flip_say_what_they_were_sawn_for():
    problem = fork(can_flip=True, slabs_stay_on=True, throat_depth_m=0.45)
    plan = search(problem, 60, workers=1).plans[0]
    before, after = ([p.blade_height_m for p in plan.passes if p.flipped == flipped] for flipped in (False, True))
    kerf_m = problem.mill.kerf_m
    green_m = [*(-np.diff(before) - kerf_m), *(-np.diff(after) - kerf_m)]
    green_m += [after[-1]] if plan.bed_entry is not None else []

    described = describe(problem, find_wood("ash, white"), replace(plan, slabs=()), 1, problem.log.wood.volume_m3)

    told = {waste.layer: waste.quarters for waste in described.waste}
    thick = {entry.quarters: entry.drop_steps * problem.mill.height_step_m - kerf_m for entry in problem.menu}
    meant = [layer for layer, entry in enumerate((*plan.entries, plan.bed_entry), start=1) if entry is not None]
    assert len(after) > 1
    assert meant
    for layer in meant:
        assert thick[told[layer]] == pytest.approx(green_m[layer - 1], abs=problem.mill.height_step_m)


@pytest.mark.usefixtures("few_logs")
def test_a_stretch_is_cut_from_the_possible_log():
    mill = books.mill(set_up=SET_UP, bed_length_m=2.4, **STEP)
    document = planned(shapes.frustum(0.35, 0.25, 2.8), mill, lays=20, doubt=True)

    assert ONE_STRETCH in document.warnings
    assert document.plans[0].net_p10 < document.plans[0].net < 1.2 * document.plans[0].net_p90


def test_possible_terms_have_no_margins_and_no_depth(problem):
    terms = possible_terms(problem)

    assert terms.min_width_m == problem.prices.limits.min_width_m
    assert terms.throat_depth_m == np.inf
