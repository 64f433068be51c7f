"""Marks: where they are placed, what their rods hold, what they forbid and cost."""

import books
import numpy as np
import pytest
import shapes
from shapely import box

from optimizer.bed.marks import MarkError, flaw_zones, inwards, metal_rods, place_on_girth, rod_of, with_pith
from optimizer.bed.zones import alignment, feather, in_plan, rod, sections
from optimizer.documents.plan import Mark
from optimizer.search.lays import scout
from optimizer.stations.inside import largest_share


def mark(kind, place, radius_m=0.03, depth_m=0.1):
    x, y, z = (float(v) for v in place)
    return Mark(id=kind, kind=kind, x_m=x, y_m=y, z_m=z, radius_m=radius_m, depth_m=depth_m)


@pytest.mark.parametrize(("toward_deg", "y", "z"), [(0, 0, 0.3), (90, -0.3, 0), (180, 0, -0.3), (270, 0.3, 0)])
def test_places_turn_clockwise_seen_from_the_butt(toward_deg, y, z):
    # Looking along +x with up up, clockwise from upright goes to the right, which is -y.
    place = place_on_girth(shapes.cylinder(0.3, points=720), 1.0, toward_deg)

    assert place == pytest.approx([1.0, y, z], abs=1e-4)


def test_places_off_the_log_are_refused():
    with pytest.raises(MarkError, match="must lie on the log"):
        place_on_girth(shapes.cylinder(length_m=3.0), 3.2, 0.0)


def test_rods_go_towards_the_heart_and_from_the_ends_along_the_log():
    log = shapes.cylinder(0.3, 3.0)

    def way(place, log=log):
        corners = rod_of(log, mark("knot", place, 0.03, 0.1), 0.5).corners_m
        half = len(corners) // 2
        return (corners[half:].mean(axis=0) - corners[:half].mean(axis=0)) / 0.1

    assert way([1.0, 0.0, 0.3]) == pytest.approx([0, 0, -1])
    assert way([1.0, 0.3, 0.0]) == pytest.approx([0, -1, 0])
    assert way([0.0, 0.1, 0.1]) == pytest.approx([1, 0, 0])
    assert way([3.0, 0.1, 0.1]) == pytest.approx([-1, 0, 0])
    blind = shapes.cylinder(0.3, 3.0, heart=False)
    assert way([1.0, 0.0, 0.3], blind) == pytest.approx([0, 0, -1], abs=1e-6)


def test_a_heart_point_given_twice_changes_no_rod():
    line = np.array([[0.0, 0.0, 0.0], [1.0, 0.05, 0.0], [3.0, 0.0, 0.0]])
    place = np.array([1.0, 0.3, 0.0])

    once, twice = (inwards(place, [hearts], (0.0, 3.0), None) for hearts in (line, line[[0, 0, 1, 1, 1, 2, 2]]))

    assert twice == pytest.approx(once, abs=1e-12)
    assert once[1] < -0.9


def test_a_rod_seen_in_plan():
    upright = rod(np.array([1.0, 0.0, 0.3]), np.array([1.0, 0.0, 0.1]), 0.03, 0.5)
    lying = rod(np.array([1.0, 0.3, 0.0]), np.array([1.0, 0.1, 0.0]), 0.03, 0.5)

    assert in_plan(upright.corners_m, 0.15, 0.2).area == pytest.approx(np.pi * 0.03**2, rel=1e-6)
    assert in_plan(upright.corners_m, 0.31, 0.4).is_empty
    assert in_plan(lying.corners_m, -0.1, 0.1).area == pytest.approx(0.2 * 0.06, rel=0.01)
    # Above its middle by half its radius it is narrower by sqrt(3)/2.
    assert in_plan(lying.corners_m, 0.015, 0.1).area == pytest.approx(0.2 * 0.06 * np.sqrt(0.75), rel=0.01)


def test_sections_of_a_rod():
    zone = rod(np.array([1.0, 0.0, 0.3]), np.array([1.0, 0.0, 0.1]), 0.03, 0.5)

    ring, none = sections(zone, np.array([1.0, 1.2]))

    assert len(none) == 0
    assert np.ptp(ring[:, 0]) == pytest.approx(0.06, rel=0.01)
    assert ring[:, 1].min() == pytest.approx(0.1, abs=1e-3)
    assert ring[:, 1].max() == pytest.approx(0.3, abs=1e-3)


def test_the_feather_is_where_common_practice_puts_it():
    (fork,) = shapes.forked().forks
    zone = feather(fork)

    assert np.ptp(zone.corners_m[:, 2]) == pytest.approx(0.3 * fork.diameter_m)
    assert np.ptp(zone.corners_m[:, 1]) == pytest.approx(fork.diameter_m, rel=1e-3)
    assert np.ptp(zone.corners_m[:, 0]) == pytest.approx(fork.below_m + fork.above_m)
    flat = in_plan(zone.corners_m, -0.01, 0.01)
    assert flat.area == pytest.approx(fork.diameter_m * (fork.below_m + fork.above_m), rel=1e-3)


@pytest.mark.parametrize(("off_deg", "expected"), [(0, 1.0), (30, 0.0), (60, 0.0), (90, 0.0), (180, 1.0)])
def test_alignment(off_deg, expected):
    a = np.radians(off_deg)

    assert alignment(np.array([0, np.sin(a), np.cos(a)]), np.array([0, 0, 1.0])) == pytest.approx(expected, abs=1e-9)


def test_each_point_takes_the_largest_share_and_never_a_sum():
    strips = np.zeros((4, 4, 1))
    strips[:3, :3, 0] = [(0.0, 0.4, 0.4), (0.2, 0.6, 1.0), (0.5, 0.9, 0.5)]

    # 0 to 0.2 at 0.4, 0.2 to 0.6 at 1, 0.6 to 0.8 at 0.5.
    assert largest_share(strips, 0, 3, 0.0, 0.8) == pytest.approx(0.2 * 0.4 + 0.4 + 0.2 * 0.5)
    assert largest_share(strips, 0, 2, 0.0, 0.8) == pytest.approx(0.2 * 0.4 + 0.4)
    assert largest_share(strips, 0, 1, 0.1, 0.8) == pytest.approx(0.3 * 0.4)
    assert largest_share(strips, 0, 0, 0.1, 0.8) == 0.0


def test_no_pass_comes_near_metal():
    log = shapes.cylinder(0.3, 3.0)
    nail = mark("metal", place_on_girth(log, 1.5, 90.0), 0.01, 0.05)
    problem = books.problem(log, books.mill(metal_keep_out_m=0.03, max_shim_m=0.0))
    marked = type(problem)(**{**vars_of(problem), "marks": (nail,)})
    rolled = marked.supports.turned(0.0)
    (span,) = marked.forbidden_m(rolled.lay(0.0))

    free, kept = (scout(p, p.coarse, rolled, 0.0) for p in (problem, marked))

    assert span == pytest.approx((0.3 - 0.01 - 0.03, 0.3 + 0.01 + 0.03), abs=1e-3)
    heights = np.array(kept.cuts.rows) * problem.mill.height_step_m
    assert ((heights + problem.mill.kerf_m <= span[0] + 1e-9) | (heights >= span[1] - 1e-9)).all()
    assert 0.0 < kept.net <= free.net
    assert len(metal_rods(log, (nail,))) == 1
    assert flaw_zones(log, (nail,), problem.prices.deduct) == ()


def vars_of(problem):
    return {name: getattr(problem, name) for name in ("log", "mill", "prices", "menu", "end_trim_m", "marks")}


def test_a_knot_costs_its_share_and_is_turned_away_from_the_best_slabs():
    log = shapes.cylinder(0.3, 3.0, points=360)
    prices = books.prices((8,), (7.0,), deduct=books.Deduct(heart=0.0, knot=0.5))
    knot = mark("knot", place_on_girth(log, 1.5, 0.0), 0.05, 0.28)
    problem = books.problem(log, prices_=prices)
    marked = type(problem)(**{**vars_of(problem), "marks": (knot,)})
    (entry,) = problem.menu
    rows = [300, 300 - entry.drop_steps]
    lay = problem.supports.turned(0.0).lay(0.0)

    (sound,), (flawed,) = (p.price_rows(lay, rows, [entry]).slabs for p in (problem, marked))

    area = np.pi * 0.05**2  # the knot goes straight through the layer
    assert flawed.marked.area == pytest.approx(area, rel=1e-3)
    assert flawed.price == pytest.approx(sound.price * (1.0 - 0.5 * area / sound.uncapped_m2), rel=1e-5)
    assert sound.marked.area == 0.0


def test_pith_moves_the_heart():
    log = shapes.cylinder(0.3, 3.0)

    moved = with_pith(log, [mark("pith", (0.0, 0.05, 0.02)), mark("pith", (3.0, -0.05, 0.0))])

    assert moved.hearts[0][0] == pytest.approx([0.0, 0.05, 0.02])
    assert moved.hearts[0][-1] == pytest.approx([3.0, -0.05, 0.0])
    blind = shapes.cylinder(0.3, 3.0, heart=False)
    with pytest.raises(MarkError, match="both ends"):
        with_pith(blind, [mark("pith", (0.0, 0.0, 0.0))])
    with pytest.raises(MarkError, match="on an end"):
        with_pith(log, [mark("pith", (1.0, 0.0, 0.0))])
    assert with_pith(log, []) is log


def test_pith_marked_again_on_the_butt_counts_as_it_was_marked_last():
    log = shapes.cylinder(0.3, 3.0)
    again = with_pith(log, [mark("pith", (0.0, 0.0, 0.05)), mark("pith", (0.0, 0.0, 0.1))])

    assert again.hearts[0][0] == pytest.approx([0.0, 0.0, 0.1])


def test_the_feather_raises_what_a_slab_in_the_fork_plane_brings():
    log = shapes.forked()
    plain, figured = (
        books.problem(log, prices_=books.prices((8,), (7.0,), heart=0.0, figure=figure))
        for figure in (books.FigurePremium(), books.FigurePremium(feather_per_board_foot=10.0))
    )
    rolled = plain.supports.turned(0.0)
    lay = rolled.lay(0.0)
    (entry,) = plain.menu
    upper = round((lay.lift_m + entry.green_m / 2.0) / plain.mill.height_step_m)
    (without,), (with_it,) = (
        p.price_rows(lay, [upper, upper - entry.drop_steps], [entry]).slabs for p in (plain, figured)
    )

    area = with_it.figured_m2
    (fork,) = log.forks
    inside = with_it.piece.intersection(box(with_it.span_m[0], -9, with_it.span_m[1], 9))
    # At a height off the fork plane the zone, round about its middle line, is as wide as a circle's chord.
    faces = []
    for face_m in (with_it.upper_face_m, with_it.lower_face_m):
        half_m = np.sqrt((0.5 * fork.diameter_m) ** 2 - (face_m - lay.lift_m) ** 2)
        strip = box(fork.crotch_m[0] - fork.below_m, -half_m, fork.crotch_m[0], half_m)
        faces.append(inside.intersection(strip).area)
    assert area == pytest.approx(0.5 * sum(faces), rel=1e-3)
    assert with_it.price == pytest.approx(without.price + 10.0 * area / 0.3048**2 * 2.0, rel=1e-6)
