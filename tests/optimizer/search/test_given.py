"""My way, planning on from passes made, stretches and hearts level."""

import books
import numpy as np
import pytest
import shapes

from optimizer.bed.bucking import buck
from optimizer.bed.stretch import stretch_cuts, stretches_of
from optimizer.search.given import Given, GivenError, price_given, tilt_of_shims_deg
from optimizer.search.hearts_level import hearts_level
from optimizer.search.lays import price_scouted, scout, search
from optimizer.search.no_plan import NoPlanError

STEP = books.mill().height_step_m


def winner(problem, lays=80):
    return search(problem, lays).plans[0]


def way_of(priced, **changes):
    fields = {
        "roll_deg": priced.lay.roll_deg,
        "shim_butt_m": priced.gaps_m[0],
        "shim_top_m": priced.gaps_m[1],
        "heights_m": tuple(p.blade_height_m for p in priced.passes),
    }
    return Given(**{**fields, **changes})


@pytest.fixture(scope="module")
def fork():
    problem = books.problem(shapes.forked(lumpy=0.05))
    return problem, winner(problem)


def test_the_best_plan_typed_in_is_worth_what_it_said(fork):
    problem, best = fork

    priced, notes = price_given(problem, way_of(best))

    assert notes == ()
    assert priced.net == pytest.approx(best.net, rel=1e-6)
    assert priced.lay.tilt_deg == pytest.approx(best.lay.tilt_deg, abs=1e-6)


def test_other_heights_are_worth_no_more_than_the_best_passes_of_the_lay(fork):
    problem, best = fork
    moved = tuple(p.blade_height_m - 8 * STEP for p in best.passes)

    priced, _ = price_given(problem, way_of(best, heights_m=moved))

    assert priced.net < best.net


@pytest.mark.parametrize("made", [1, 2, 3])
def test_planning_on_from_the_best_plans_own_passes_finds_the_rest_again(fork, made):
    problem, best = fork
    rolled = problem.supports.turned(best.lay.roll_deg)
    exact = price_scouted(problem, scout(problem, problem.fine, rolled, best.lay.tilt_deg, exact=True))

    priced, _ = price_given(
        problem, way_of(exact, heights_m=tuple(p.blade_height_m for p in exact.passes)[:made], made=made)
    )

    assert priced.net == pytest.approx(exact.net, rel=1e-3)
    assert [p.row for p in priced.passes[:made]] == [p.row for p in exact.passes[:made]]


def test_planning_on_from_a_poor_pass_does_better_than_following_the_old_heights(fork):
    problem, best = fork
    poor = best.passes[0].blade_height_m - 11 * STEP
    old = (poor, *(p.blade_height_m for p in best.passes[1:] if p.blade_height_m < poor - 0.02))

    followed, _ = price_given(problem, way_of(best, heights_m=old))
    anew, notes = price_given(problem, way_of(best, heights_m=old, made=1))

    assert anew.net >= followed.net - 1e-6
    assert anew.passes[0].row == followed.passes[0].row
    assert any("planned anew" in note.text for note in notes)


@pytest.mark.parametrize(
    ("heights", "made", "note"),
    [
        (3, 1, "The heights after the cut made are planned anew."),
        (2, 1, "The height after the cut made is planned anew."),
        (4, 2, "The heights after the 2 cuts made are planned anew."),
        (3, 2, "The height after the 2 cuts made is planned anew."),
    ],
)
def test_what_is_planned_anew_is_counted_rightly(fork, heights, made, note):
    problem, best = fork

    _, notes = price_given(
        problem, way_of(best, heights_m=tuple(p.blade_height_m for p in best.passes)[:heights], made=made)
    )

    assert note in [each.text for each in notes]


@pytest.mark.parametrize(("butt", "top"), [(0.0, 0.0), (0.03, 0.0), (0.0, 0.05)])
def test_shims_give_the_tilt_that_asks_for_them(butt, top):
    rolled = books.problem(shapes.frustum()).supports.turned(40.0)

    tilt_deg = tilt_of_shims_deg(rolled, butt, top)

    gaps_m = rolled.gaps_m(tilt_deg)
    # Its lowest point lies between two bunks, so that neither gap is nothing: they differ as the shims do.
    assert gaps_m[0] - gaps_m[1] == pytest.approx(butt - top, abs=1e-6)
    assert min(gaps_m) < 0.008


def test_shims_that_cannot_both_fit_are_said(fork):
    problem, best = fork

    _, notes = price_given(problem, way_of(best, shim_butt_m=0.05, shim_top_m=0.05))

    assert any("will not fit" in note.text for note in notes)


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"heights_m": ()}, "heights"),
        ({"heights_m": (0.3, 0.4)}, "fall"),
        ({"heights_m": (0.3, 0.2), "made": 3}, "made"),
        ({"heights_m": (0.3,), "shim_butt_m": -0.1}, "shim_butt"),
    ],
)
def test_ways_that_contradict_themselves_are_refused(fields, word):
    with pytest.raises(GivenError, match=word):
        Given(**{"roll_deg": 0.0, "shim_butt_m": 0.0, "shim_top_m": 0.0, **fields})


@pytest.mark.parametrize(
    ("changes", "heights", "word"),
    [
        ({"throat_m": 0.4}, (0.3,), "throat"),
        ({"lowest_blade_m": 0.2}, (0.5, 0.1), "lowest_blade"),
        ({"highest_blade_m": 0.4}, (0.5, 0.3), "highest_blade"),
        ({"throat_depth_m": 0.2}, (0.2,), "throat_depth"),
        ({"between_posts_m": 0.5}, (0.3,), "between_posts"),
    ],
)
def test_what_the_mill_cannot_do_is_named(changes, heights, word):
    problem = books.problem(shapes.cylinder(0.3), books.mill(max_shim_m=0.0, **changes))

    with pytest.raises(NoPlanError, match=word):
        price_given(problem, Given(0.0, 0.0, 0.0, heights))


def test_heights_between_steps_are_taken_to_the_nearest():
    problem = books.problem(shapes.cylinder(0.3))

    priced, notes = price_given(problem, Given(0.0, 0.0, 0.0, (200.4 * STEP, 150 * STEP)))

    assert [p.row for p in priced.passes] == [200, 150]
    assert any("height steps" in note.text for note in notes)


def test_hearts_level_puts_three_hearts_at_one_height():
    problem = books.problem(shapes.turned(shapes.forked(), 33.0), books.mill(max_shim_m=0.3))

    level, _ = hearts_level(problem)

    hearts = problem.log.hearts
    heights = [level.lay.to_bed(p)[2] for p in (hearts[0][0], hearts[1][-1], hearts[2][-1])]
    assert np.ptp(heights) < 1e-9
    assert hearts_level(books.problem(shapes.cylinder())) == (None, None)


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({"max_shim_m": 0.0, "max_prop_m": 0.0}, "prop"),
        ({"max_shim_m": 0.005, "max_prop_m": 0.0}, "shim"),
        ({"between_posts_m": 0.6}, "posts"),
        ({"throat_m": 0.5}, "throat"),
    ],
)
def test_what_is_in_the_way_of_hearts_level_is_told_with_how_much(changes, kind):
    log = shapes.turned(shapes.forked(), 33.0)

    level, why = hearts_level(books.problem(log, books.mill(**{"max_shim_m": 0.3, **changes})))

    assert level is None
    assert why.kind == kind
    # With a little more than it is over by, something else is in the way, or nothing.
    eased = {"prop": "max_prop_m", "shim": "max_shim_m", "posts": "between_posts_m", "throat": "throat_m"}[kind]
    more = {"max_shim_m": 0.3, **changes}
    more[eased] += why.over_m + 0.01
    _, then = hearts_level(books.problem(log, books.mill(**more)))
    assert then is None or then.kind != kind


def test_stretches_cover_a_long_log():
    assert stretches_of(3.0, None) == [(0.0, 3.0)]
    assert stretches_of(3.0, 3.0) == [(0.0, 3.0)]
    found = stretches_of(5.0, 3.0)
    assert found[0] == (0.0, 3.0)
    assert found[-1] == pytest.approx((2.0, 5.0))
    assert max(np.diff([start for start, _ in found])) <= 0.25 + 1e-9


def test_a_cut_stretch_keeps_the_log_frame_and_closes():
    log = shapes.frustum(0.34, 0.2, 5.0)

    part = buck(log, stretch_cuts(log, 1.0, 4.0)).log

    assert part.outer.bounds_m[:, 0] == pytest.approx([1.0, 4.0])
    radius = lambda x: 0.34 - 0.14 * x / 5.0  # noqa: E731
    a, b = radius(1.0), radius(4.0)
    assert part.wood.volume_m3 == pytest.approx(np.pi * 3.0 / 3.0 * (a * a + a * b + b * b), rel=1e-3)
    assert part.hearts[0][[0, -1], 0] == pytest.approx([1.0, 4.0])
