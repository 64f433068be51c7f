"""Plans stand: on supports that the auditor finds from mesh and matrix alone, before, between and after all passes."""

import json
from dataclasses import replace

import auditor
import books
import numpy as np
import pytest
import shapes
from planned_logs import a_run, given_log, planned

from optimizer.bed.pricing import Priced
from optimizer.planning import ROLL_NO_MATTER, SearchSettings, plan_log, price_way
from optimizer.search.given import Given, price_given
from optimizer.search.lays import as_it_lies, price_scouted, scout, search
from optimizer.search.plain_way import plain_rolls_deg, plain_way, why_stopped
from scans.invented.simulated_log import LogSettings, simulate_log
from scans.log import Log
from scans.tape.log_from_sheet import LogSheet, TapedSection, log_from_sheet

BUNKS = {"first_bunk_m": 0.1524, "bunk_spacing_m": 0.6096}
PACE = books.Pace(
    sawing_rate_m2_per_min=0.5,
    feed_max_m_per_min=3.0,
    minutes_per_pass=3,
    minutes_per_slab=8,
    minutes_per_log=20,
    minutes_per_roll=5,
    minutes_per_support=3,
    minutes_per_flip=15,
    hourly_rate=60,
)


FALLS_DEG = 300.0
"""Turned so, the fork of these tests lies on its stem and one limb, and its other limb pulls it over."""


def yard_mill(**changes):
    return books.mill(**{**BUNKS, "pace": PACE, **changes})


def invented_fork(seed):
    made = simulate_log(np.random.default_rng(seed), LogSettings(limbs=2, edge_m=0.05))
    return Log(name=f"invented fork {seed}", outer=made.solid, wood=made.solid, hearts=made.hearts, forks=made.forks)


def all_plans(document):
    return [plan for plan in (*document["plans"], document["plain_way"], document["hearts_level"]) if plan]


@pytest.mark.parametrize("seed", range(6))
def test_every_plan_of_an_invented_fork_stands(seed):
    log = invented_fork(seed)
    mill = yard_mill(throat_m=2.0, can_flip=seed % 2 == 1)

    document = json.loads(planned(log, mill, lays=60).model_dump_json())

    assert document["plans"]
    for plan in all_plans(document):
        auditor.check_stands(log, document, plan)
        assert plan["overturning"] is None


def test_the_auditor_sees_a_fork_that_falls():
    log = shapes.turned(shapes.forked(lumpy=0.08), FALLS_DEG)
    mill = yard_mill()
    way = Given(0.0, 0.0, 0.0, (0.45, 0.4))

    document = json.loads(price_way(given_log(log), mill, books.prices(), way, run=a_run()).model_dump_json())
    plan = document["plans"][0]

    assert plan["stands_by_m"] < 0.0
    with pytest.raises(AssertionError):
        auditor.check_stands(log, document, {**plan, "supports": [{**s, "load_kg": 0.0} for s in plan["supports"]]})


def test_a_way_that_does_not_stand_is_priced_and_tells_how_it_falls():
    log = shapes.turned(shapes.forked(lumpy=0.08), FALLS_DEG)
    way = Given(0.0, 0.0, 0.0, (0.45, 0.4))

    document = price_way(given_log(log), yard_mill(), books.prices(), way, run=a_run())

    over = document.plans[0].overturning
    assert over.outside_m == pytest.approx(-document.plans[0].stands_by_m, abs=0.06)
    assert document.plans[0].net != 0.0
    stop = next(caution for caution in document.cautions if caution.id == "log_overturns")
    assert stop.level == "stop"
    clamped = price_way(given_log(log), yard_mill(clamps_hold=True), books.prices(), way, run=a_run())
    assert next(caution for caution in clamped.cautions if caution.id == "log_overturns").level == "warning"


def test_passes_are_made_only_where_the_rest_stands():
    problem = books.problem(shapes.forked(), yard_mill())
    found = search(problem, 60).plans

    assert all(problem.standing(plan).stands for plan in found)
    held = books.problem(shapes.forked(), yard_mill(clamps_hold=True))
    assert search(held, 60).plans[0].net >= found[0].net - 1e-6


@pytest.mark.parametrize("stays_on", [False, True])
def test_slabs_that_stay_on_are_judged_before_the_first_pass_alone(stays_on):
    # A hoop: its ends are cut off by a low pass and fall to both sides, where nothing holds them.
    problem = books.problem(shapes.forked(), yard_mill(slabs_stay_on=stays_on))
    rolled = problem.supports.turned(0.0)
    tilt_deg = rolled.resting_tilt_deg

    held = problem.table(problem.coarse, rolled, tilt_deg).possible
    free = problem.table(problem.coarse, rolled, tilt_deg, must_stand=False).possible

    assert rolled.stands(tilt_deg)
    if stays_on:
        assert (held == free).all()
    else:
        heights_m = problem.mill.height_step_m * np.arange(1, len(free) + 1)
        assert (held == (free & rolled.stands_after(tilt_deg, heights_m[-len(free) :]))).sum() > 0


def test_no_pass_is_possible_where_the_log_falls_before_the_first():
    problem = books.problem(shapes.turned(shapes.forked(lumpy=0.08), FALLS_DEG), yard_mill())
    rolled = problem.supports.turned(0.0)

    assert not problem.table(problem.coarse, rolled, rolled.resting_tilt_deg).possible.any()
    assert scout(problem, problem.coarse, rolled, rolled.resting_tilt_deg).cuts.rows == ()


def test_a_log_costs_its_minutes_a_turn_and_its_supports():
    problem = books.problem(shapes.bent(0.08), yard_mill())
    free = books.problem(shapes.bent(0.08), yard_mill(pace=PACE.model_copy(update=dict.fromkeys(
        ("minutes_per_log", "minutes_per_roll", "minutes_per_support"), 0.0))))  # fmt: skip
    rolled = problem.supports.turned(180.0)  # its belly is down

    def on(problem):
        scouted = scout(problem, problem.fine, problem.supports.turned(180.0), rolled.resting_tilt_deg)
        return scouted, problem.checked(price_scouted(problem, scouted))

    (scouted, priced), (free_scouted, free_priced) = on(problem), on(free)
    minutes = 20 + 5 + 3 * priced.placed
    assert priced.placed == 2
    assert free_priced.net - priced.net == pytest.approx(minutes, abs=1e-6)
    assert free_scouted.net - scouted.net == pytest.approx(minutes, abs=1e-6)


def test_trouble_that_does_not_pay_is_not_taken():
    # Turned, this log is worth a little more; not so where a turn takes an hour.
    easy = books.problem(shapes.ellipse(0.3, 0.29), yard_mill())
    dear = books.problem(shapes.ellipse(0.3, 0.29), yard_mill(pace=PACE.model_copy(update={"minutes_per_roll": 600.0})))

    assert search(dear, 60).plans[0].lay.roll_deg == 0.0
    assert as_it_lies(easy)[0].lay.roll_deg == 0.0


def walnut():
    sheet = LogSheet(
        name="invented walnut",
        length_m=2.54,
        bark_on=False,
        sections=(TapedSection(at_m=0.0, girth_m=2.0), TapedSection(at_m=2.54, girth_m=1.7)),
    )
    return log_from_sheet(sheet, 1.0)


def test_a_round_walnut_is_sawn_as_it_lies():
    document = planned(walnut(), yard_mill(), species="walnut, black", lays=120, doubt=True)

    assert document.plans[0].roll_deg == 0.0
    assert ROLL_NO_MATTER in document.warnings


def test_hauling_and_a_fee_change_what_the_log_may_cost_and_no_plan():
    log, mill = walnut(), yard_mill()
    given = given_log(log, "walnut, black")
    settings = SearchSettings(lays=20)
    plain, hauled = (
        plan_log(one, mill, books.prices(), settings=settings, run=a_run())
        for one in (given, replace(given, haul=80.0, fee_received=30.0))
    )

    assert (hauled.log.haul, hauled.log.fee_received) == (80.0, 30.0)
    for before, after in (*zip(plain.plans, hauled.plans, strict=True), (plain.plain_way, hauled.plain_way)):
        assert after.break_even_log_price == pytest.approx(before.break_even_log_price - 50.0)
        assert (after.net, after.roll_deg, after.passes) == (before.net, before.roll_deg, before.passes)


def test_the_same_plan_has_the_same_figures_whether_planned_or_priced():
    log, mill = walnut(), yard_mill()
    plan = planned(log, mill, species="walnut, black", lays=60, doubt=True).plans[0]
    way = Given(plan.roll_deg, *plan.gaps_m, tuple(cut.blade_height_m for cut in plan.passes))

    priced = price_way(given_log(log, "walnut, black"), mill, books.prices(), way, run=a_run(), doubt=True)

    typed = priced.plans[0]
    assert typed.net == pytest.approx(plan.net, rel=1e-6)
    assert typed.net_expected == pytest.approx(plan.net_expected, rel=1e-3)
    assert (typed.net_p10, typed.net_p90) == pytest.approx((plan.net_p10, plan.net_p90), rel=1e-3)
    assert [s.kind for s in typed.supports] == [s.kind for s in plan.supports]


def test_habit_lays_a_stem_as_it_lies_and_a_fork_flat():
    assert plain_rolls_deg(books.problem(shapes.bent())) == (0.0,)
    rolls_deg = plain_rolls_deg(books.problem(shapes.turned(shapes.forked(), 40.0)))
    # It was turned clockwise by so much.
    assert sorted(abs((roll_deg + 40.0 + 90.0) % 180.0 - 90.0) for roll_deg in rolls_deg) == pytest.approx(
        [0.0, 0.0], abs=1e-6
    )


def test_a_plain_way_that_stops_at_once_says_why():
    problem = books.problem(shapes.forked(), yard_mill(throat_m=0.45))
    way = plain_way(problem)

    assert why_stopped(problem, way) == "throat" if way is not None and not way.slabs else True
    one_pass = books.problem(shapes.cylinder(), yard_mill())
    stopped = one_pass.price_rows(plain_way(one_pass).lay, [plain_way(one_pass).passes[0].row], [])
    assert isinstance(stopped, Priced)
    assert why_stopped(one_pass, stopped) == "wood"


def test_an_own_way_counts_supports_as_the_plan_does():
    problem = books.problem(shapes.bent(0.08), yard_mill())
    best = search(problem, 60).plans[0]
    way = Given(best.lay.roll_deg, *best.gaps_m, tuple(cut.blade_height_m for cut in best.passes))

    priced, _ = price_given(problem, way)

    assert priced.placed == best.placed
    assert priced.net == pytest.approx(best.net, rel=1e-6)
