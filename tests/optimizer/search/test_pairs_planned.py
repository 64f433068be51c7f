"""Pairs, few thicknesses, sets and one thickness alone, in whole plans."""

import json
from dataclasses import replace

import auditor
import books
import numpy as np
import pytest
import shapes
from planned_logs import a_run, given_log, planned

from optimizer.bound.proof import prove
from optimizer.documents.prices import Pairs, PriceError
from optimizer.doubt.possible_logs import PossibleLogs
from optimizer.doubt.possible_net import Heights, outcomes
from optimizer.doubt.report import drawn
from optimizer.doubt.values import best_average_cuts, lay_values
from optimizer.planning import price_way
from optimizer.problem import SetAsked
from optimizer.search.given import Given
from optimizer.search.lays import price_scouted, scout

PAIRED = {"pairs": Pairs(premium=0.2), "money": books.Money(thicknesses=2)}


def menu_of_four(**changes):
    return books.prices((4, 6, 8, 12), (5.0, 6.4, 7.0, 8.0), **changes)


@pytest.mark.parametrize(
    ("make", "mill"),
    [(lambda: shapes.forked(lumpy=0.07), {}), (shapes.bent, {"can_flip": True}), (shapes.frustum, {"can_flip": True})],
)
def test_plans_of_pairs_and_two_thicknesses_stand_the_audit(make, mill):
    log = make()
    drying = (books.Drying(cost_per_board_foot=0.5, months=12.0, lost=0.1),)
    book = menu_of_four(pairs=Pairs(premium=0.2), money=books.Money(thicknesses=2, yearly_rate=0.1), drying=drying)
    document = json.loads(planned(log, books.mill(**mill), book, lays=60).model_dump_json())

    for plan in filter(None, [*document["plans"], document["plain_way"], document["hearts_level"]]):
        auditor.check_plan(log, document, plan)
    assert document["plans"][0]["pairs"]


def test_the_bound_holds_what_pairs_bring():
    # With so great a premium no bound without it is over the net.
    problem = books.problem(shapes.frustum(0.3, 0.3, 3.0), prices_=books.prices(pairs=Pairs(premium=1.0), heart=0.0))
    rolled = problem.supports.turned(0.0)
    best = price_scouted(problem, scout(problem, problem.fine, rolled, rolled.resting_tilt_deg, exact=True))

    assert len(best.pairs) > 1
    assert prove([problem], 0.0, work=1e6).upper_net >= best.net


def test_the_auditor_sees_a_pair_that_is_none():
    log = shapes.frustum()
    document = json.loads(planned(log, prices=menu_of_four(**PAIRED), lays=20).model_dump_json())
    plan = document["plans"][0]
    auditor.check_pairs(document, plan)
    plan["pairs"] = plan["pairs"][1:]

    with pytest.raises(AssertionError):
        auditor.check_pairs(document, plan)


def test_a_limit_that_never_binds_and_no_premium_change_nothing():
    log = shapes.forked(lumpy=0.07)
    free = planned(log, lays=40)
    same = planned(log, prices=books.prices(pairs=Pairs(premium=0.0), money=books.Money(thicknesses=3)), lays=40)

    assert [plan.passes for plan in same.plans] == [plan.passes for plan in free.plans]
    assert [plan.net for plan in same.plans] == [plan.net for plan in free.plans]


def test_one_thickness_stands_beside_a_plan_of_several():
    log = shapes.forked(lumpy=0.07)
    document = planned(log, prices=books.prices(amounts=(6.5, 7.0, 7.1)), lays=60)
    best, one = document.plans[0], document.one_thickness

    assert len({slab.quarters for slab in best.slabs}) > 1
    assert one.quarters in {4, 8, 12}
    assert 0.5 * best.net < one.net < best.net
    assert one.net_expected is None
    assert planned(log, prices=books.prices((8,), (7.0,)), lays=40).one_thickness is None


def slabs_of(plan, quarters):
    return sum(slab.quarters == quarters for slab in plan.slabs)


def test_a_set_is_planned_and_says_what_it_costs():
    log = shapes.forked(lumpy=0.07)
    free = planned(log, lays=60)
    rare = min((4, 8, 12), key=lambda quarters: slabs_of(free.plans[0], quarters))
    wanted = slabs_of(free.plans[0], rare) + 2

    document = planned(log, lays=60, asked=SetAsked(wanted, rare))

    assert all(slabs_of(plan, rare) >= wanted for plan in document.plans)
    assert document.set_.count == wanted
    assert document.set_.quarters == rare
    assert document.set_.net_without >= max(free.plans[0].net, document.plans[0].net) - 1e-9
    assert document.plans[0].net < document.set_.net_without
    assert json.loads(document.model_dump_json())["set"]["count"] == wanted


def test_a_set_that_no_plan_has_is_told_and_the_plans_do_without():
    log = shapes.frustum()
    free = planned(log, lays=20)
    document = planned(log, lays=20, asked=SetAsked(90, 8))

    assert document.set_ is None
    assert [plan.net for plan in document.plans] == [plan.net for plan in free.plans]
    assert any("No plan gives 90 slabs of 8/4" in note.text for note in document.warnings)
    with pytest.raises(PriceError, match="6/4"):
        planned(log, lays=20, asked=SetAsked(2, 6))


def test_the_rest_counts_what_is_sawn_already():
    log = shapes.frustum(0.35, 0.3, 3.0)
    book = menu_of_four(money=books.Money(thicknesses=1))
    mill = books.mill()
    step_m = mill.height_step_m
    rows = [round(0.62 / step_m)]
    rows.append(rows[0] - 22)  # thinner than what the book would choose by itself
    heights_m = tuple(row * step_m for row in rows)
    document = price_way(given_log(log), mill, book, Given(0.0, 0.0, 0.0, heights_m, made=2), run=a_run())
    free = planned(log, mill, book, lays=20)

    plan = document.plans[0]
    assert len(plan.passes) > 4
    assert {slab.quarters for slab in plan.slabs} == {4}
    assert {slab.quarters for slab in free.plans[0].slabs} != {4}


def test_pairs_and_few_thicknesses_count_in_doubt():
    log = shapes.frustum(0.3, 0.26, 3.0)
    problem = books.problem(log, prices_=menu_of_four(**PAIRED))
    rolled = problem.supports.turned(0.0)
    logs = drawn(PossibleLogs(problem), 0, 0, 12, 2)
    values = lay_values(problem, rolled, rolled.resting_tilt_deg, logs)

    cuts = best_average_cuts(values, problem.terms, problem.rules)
    alone = best_average_cuts(replace(values, brings=None), problem.terms, problem.rules)
    priced = problem.price(rolled.lay(rolled.resting_tilt_deg), cuts)
    tried = outcomes(problem, Heights.of(problem, priced), logs)

    assert len({entry for entry in cuts.entries if entry >= 0}) <= 2
    assert len(priced.pairs) > 1
    assert cuts.net > alone.net
    # The mean of the table is that of the logs, but for the blade that lands elsewhere at each pass.
    assert tried.net.mean() == pytest.approx(cuts.net - priced.set_up_cost, rel=0.03)
    dull = books.problem(log, prices_=menu_of_four(money=books.Money(thicknesses=2)))
    without = outcomes(dull, Heights.of(dull, priced), logs)
    assert np.all(tried.net >= without.net)
    assert tried.net.mean() - without.net.mean() == pytest.approx(priced.pairs_premium, rel=0.1)


def test_in_doubt_a_set_and_one_thickness_have_their_average():
    log = shapes.forked(lumpy=0.07)
    document = planned(log, lays=40, doubt=True, asked=SetAsked(3, 4))

    assert all(slabs_of(plan, 4) >= 3 for plan in document.plans)
    assert document.set_.net_without_expected >= document.plans[0].net_expected - 1e-9
    if document.one_thickness is not None:
        assert document.one_thickness.net_expected is not None
