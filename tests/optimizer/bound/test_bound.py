"""The proven bound: never under any lay's net, whatever log, prices and mill; lower where boxes are smaller."""

from dataclasses import replace
from functools import cache

import books
import numpy as np
import pytest
import shapely
import shapes

from optimizer.bound import proof as bound_module
from optimizer.bound.parts import parts_of
from optimizer.bound.proof import Bounder, Box, prove
from optimizer.bound.widths import widths_at
from optimizer.documents.plan import Mark
from optimizer.documents.prices import Pairs, PricePerSlab, Tally
from optimizer.search.lays import price_scouted, scout, search


def steep_curve():
    at = ((0.2, 0.5), (0.35, 1.0), (0.36, 1.6), (0.5, 0.4), (0.7, 1.2))
    return tuple(books.WidthFactor(at_m=w, factor=f) for w, f in at)


def falling_curve():
    return (books.WidthFactor(at_m=0.2, factor=1.8), books.WidthFactor(at_m=0.5, factor=0.6))


def rough(log, size_m=0.01, seed=1):
    """Move every vertex at random: a mesh with bumps between any stations."""
    rng = np.random.default_rng(seed)
    vertices = log.outer.vertices_m + rng.normal(0.0, size_m, log.outer.vertices_m.shape)
    solid = replace(log.outer, vertices_m=vertices)
    return replace(log, outer=solid, wood=solid)


def forked_with_feather():
    return shapes.forked(lumpy=0.06)


FEATHER = books.FigurePremium(feather_per_board_foot=9.0)
ODD_STEP = {"height_step_m": 0.0011, "kerf_m": 0.0017}


BY_SLAB = tuple(
    PricePerSlab(species="any", quarters=q, price=p, least_width_m=w, least_length_m=x)
    for q, p, w, x in ((8, 250.0, 0.3, 1.3), (8, 120.0, 0.2, 1.2), (12, 420.0, 0.35, 2.0))
)
COUNTED = {
    "dry": (lambda: shapes.cylinder(0.25), {"tally": Tally(moisture="dry"), "heart": 0.0}),
    "dry and figured": (
        lambda: shapes.forked(lumpy=0.06),
        {"tally": Tally(moisture="dry", width="least"), "figure": FEATHER, "pairs": Pairs(premium=0.1)},
    ),
    "narrow, rounded": (
        lambda: shapes.bent(0.05, 0.3),
        {"tally": Tally(face="narrow", round_width_m=0.0254, round_length_m=0.1), "heart": 0.0},
    ),
    "by the slab": (shapes.frustum, {"per_slab": BY_SLAB, "tally": Tally(moisture="dry")}),
    "ripped": (
        lambda: shapes.cylinder(0.4),
        {
            "deduct": books.Deduct(heart=0.4, slab_with_heart=0.8),
            "limits": books.Limits(min_width_m=0.15, max_width_m=0.36, min_length_m=1.2),
        },
    ),
}


@cache
def cases():
    mark = Mark(id="m1", kind="rot", x_m=1.2, y_m=0.0, z_m=0.25, radius_m=0.05, depth_m=0.2)
    long = books.problem(shapes.bent(0.1, 0.22, 4.2))
    return {
        "cylinder": books.problem(shapes.cylinder(0.25)),
        "flat price": books.problem(shapes.frustum(), prices_=books.prices(flat=True, heart=0.0)),
        "bent": books.problem(shapes.bent(0.09, 0.25, 2.6, toward_deg=70.0)),
        "ellipse, odd curve": books.problem(shapes.ellipse(), prices_=books.prices(width_factor=steep_curve())),
        "falling curve": books.problem(shapes.bent(0.05, 0.3), prices_=books.prices(width_factor=falling_curve())),
        "rough": books.problem(rough(shapes.frustum(0.28, 0.2, 2.0, 32))),
        "fork": books.problem(shapes.forked(lumpy=0.06)),
        "feather": books.problem(forked_with_feather(), prices_=books.prices(figure=FEATHER)),
        "narrow throat": books.problem(shapes.forked(), books.mill(throat_m=0.7)),
        "flip, odd kerf": books.problem(shapes.bent(0.04, 0.3), books.mill(can_flip=True, **ODD_STEP)),
        "slabs stay on": books.problem(shapes.frustum(), books.mill(slabs_stay_on=True, throat_depth_m=0.3)),
        "stay on and flip": books.problem(
            shapes.frustum(), books.mill(slabs_stay_on=True, throat_depth_m=0.25, can_flip=True)
        ),
        "limits": books.problem(
            shapes.frustum(0.45, 0.3, 3.0),
            prices_=books.prices(
                limits=books.Limits(min_width_m=0.3, max_width_m=0.6, min_length_m=0.7, max_length_m=1.0)
            ),
        ),
        "marks": replace(books.problem(shapes.cylinder(0.3)), marks=(mark,)),
        "bark": books.problem(shapes.with_bark(shapes.bent(0.05, 0.3), 0.9)),
        "stretch": long.stretch(0.7, 3.4),
        "no shims": books.problem(shapes.bent(0.05, 0.25), books.mill(max_shim_m=0.0)),
        "posts": books.problem(shapes.ellipse(), books.mill(between_posts_m=0.7)),
        **{name: books.problem(make(), prices_=books.prices(**rules)) for name, (make, rules) in COUNTED.items()},
    }


NAMES = (
    "cylinder", "flat price", "bent", "ellipse, odd curve", "falling curve", "rough", "fork", "feather",
    "narrow throat", "flip, odd kerf", "slabs stay on", "stay on and flip", "limits", "marks", "bark", "stretch",
    "no shims", "posts", *COUNTED,
)  # fmt: skip


def lays_within(problem, count, seed=0):
    """Lays that the mill allows, at random, each with its best passes; whether they stand is left out of the bound."""
    problem = problem.on(clamps_hold=True)
    rng = np.random.default_rng(seed)
    found = []
    while len(found) < count:
        rolled = problem.supports.turned(float(rng.uniform(0.0, 360.0)))
        limits = problem.tilt_range_deg(rolled)
        if limits is not None:
            found.append(scout(problem, problem.coarse, rolled, float(rng.uniform(*limits))))
    return found


def half_turn(lay):
    """A lay's roll in the half turn that boxes are of, and its tilt there."""
    return (lay.roll_deg - 180.0, -lay.tilt_deg) if lay.roll_deg >= 180.0 else (lay.roll_deg, lay.tilt_deg)


def box_around(lay, level, tilt_share, rng):
    roll_deg, tilt_deg = half_turn(lay)
    width = bound_module.FINEST_DEG * 2.0**level
    low = tilt_deg - tilt_share * rng.uniform()
    return Box(0, level, int(roll_deg / width), (low, low + tilt_share))


@pytest.mark.parametrize("name", NAMES)
def test_no_lay_is_worth_more_than_any_box_that_holds_it(name):
    problem, rng = cases()[name], np.random.default_rng(3)
    bounder = Bounder(problem)
    for scouted in lays_within(problem, 12):
        priced = price_scouted(problem, scouted)
        if priced is None:
            continue
        for level, tilt_share in ((-2, 1e-6), (0, 0.2), (2, 0.8), (3, 3.0)):
            assert bounder.most(box_around(scouted.lay, level, tilt_share, rng)) >= priced.net


@pytest.mark.parametrize("roll_deg", [0.1, 4.1, 8.1, 180.1])
def test_no_level_fork_is_worth_more_where_most_of_it_is_figure(roll_deg):
    dear = books.FigurePremium(feather_per_board_foot=1000.0)
    mill = books.mill(throat_m=3.0, clamps_hold=True)
    problem = books.problem(forked_with_feather(), mill, books.prices(figure=dear, heart=0.0))
    rolled = problem.supports.turned(roll_deg)
    low, high = problem.tilt_range_deg(rolled)
    scouted = scout(problem, problem.coarse, rolled, min(max(0.0, low), high))
    priced = price_scouted(problem, scouted)
    plain = sum(slab.board_feet for slab in priced.slabs) * 10.0
    bounder, rng = Bounder(problem), np.random.default_rng(3)

    assert priced.net > 5.0 * plain  # most of it is figure
    for level, tilt_share in ((-2, 1e-6), (0, 0.2), (2, 0.8)):
        assert bounder.most(box_around(scouted.lay, level, tilt_share, rng)) >= priced.net


@pytest.mark.parametrize("name", ["narrow throat", "rough", "bark"])
def test_every_pass_in_a_barred_row_reaches_farther_than_the_throat(name):
    problem, rng = cases()[name], np.random.default_rng(5)
    problem = replace(problem, mill=books.mill(throat_m={"narrow throat": 0.7, "rough": 0.4, "bark": 0.5}[name]))
    bounder, found = Bounder(problem), 0
    for scouted in lays_within(problem, 8, seed=2):
        lay = scouted.lay
        if lay.roll_deg >= 180.0:
            continue
        body = shapes.manifold(problem.log.outer).transform(lay.log_to_bed[:3])
        middle = lay.to_bed(np.array([bounder.parts.middle_m, *bounder.parts.centre_m]))[2]
        for level, tilt_share in ((-2, 1e-6), (0, 0.3), (2, 0.8)):
            box = box_around(lay, level, tilt_share, rng)
            planes = bounder.planes_from_m + bounder.row_m * np.arange(bounder.rows + 1)
            scale = 1.0 / np.cos(np.radians([*box.tilt_deg, max(0.0, box.tilt_deg[0])]))
            ends = (
                np.stack([planes[:-1] * scale.min(), planes[:-1] * scale.max()]),
                np.stack([planes[1:] * scale.min(), planes[1:] * scale.max()]),
            )
            barred = bounder.barred(box, np.stack([ends[0].min(axis=0), ends[1].max(axis=0)], axis=1))
            for k in rng.choice(np.flatnonzero(barred), min(6, int(barred.sum())), replace=False):
                found += 1
                for height in (planes[k] + bounder.row_m * rng.uniform(), planes[k] + problem.mill.kerf_m):
                    bounds = body.slice(middle + height).bounds()
                    assert bounds[3] - bounds[1] > problem.mill.throat_m
    assert found > 20


def test_the_throat_brings_the_bound_of_a_fork_down():
    problem = cases()["narrow throat"]
    wide = replace(problem, mill=books.mill(throat_m=10.0))

    assert prove([problem], 0.0, work=2e6).upper_net < 0.95 * prove([wide], 0.0, work=2e6).upper_net


@pytest.mark.parametrize("name", NAMES)
def test_the_roots_hold_every_lay_that_the_mill_allows(name):
    problem = cases()[name]
    roots = Bounder(problem).roots()
    for scouted in lays_within(problem, 60, seed=1):
        roll_deg, tilt_deg = half_turn(scouted.lay)
        assert any(
            abs(box.roll_deg - roll_deg) <= 0.5 * box.width_deg + 1e-9
            and box.tilt_deg[0] <= tilt_deg <= box.tilt_deg[1]
            for box in roots
        )


@pytest.mark.parametrize("name", ["cylinder", "bent", "feather", "flip, odd kerf", "stretch"])
def test_the_bound_is_never_under_the_best_found(name):
    problem = cases()[name]
    best = search(problem, 60).plans[0].net
    # As if nothing had been found: the bound must find its own way there.
    assert prove([problem], 0.0, work=2e6).upper_net >= best


def test_more_work_brings_the_bound_down_and_the_workers_change_nothing():
    problem = cases()["bent"]
    uppers = [prove([problem], 0.0, work=work).upper_net for work in (0.0, 1e7, 3e7)]
    assert uppers[0] > 1.01 * uppers[1]
    assert uppers[1] > 1.002 * uppers[2]
    assert prove([problem], 0.0, work=1e7, workers=1) == prove([problem], 0.0, work=1e7, workers=3)


@pytest.mark.parametrize("name", ["rough", "fork", "bent"])
def test_no_section_is_wider_than_its_table_at_any_roll_of_its_range(name):
    problem, rng = cases()[name], np.random.default_rng(4)
    bounder = Bounder(problem)
    parts = bounder.parts
    body = shapes.manifold(problem.log.wood)
    tightest = np.inf
    for _ in range(40):
        index = int(rng.integers(0, 360))
        box = Box(0, 0, index, (0.0, 0.0))
        table = bounder.table(0, index)
        cell = int(rng.integers(0, len(parts.low_m)))
        x = rng.uniform(parts.low_m[cell], parts.high_m[cell])
        # Bed y to the left and rolled z: the section square to x, turned by any roll of the range.
        roll = np.radians(box.roll_deg + box.width_deg * rng.uniform(-0.5, 0.5))
        section = across(body, x)
        section = shapely.affinity.translate(section, *(-np.array(parts.centre_m)))
        section = shapely.affinity.rotate(section, roll, origin=(0.0, 0.0), use_radians=True)
        _, low, _, high = section.bounds
        for z in rng.uniform(low, high, 12):
            width = section.intersection(shapely.LineString([(-9.0, z), (9.0, z)])).length
            row = int((z - bounder.zero_m) // bounder.table_row_m)
            most = table[row, cell] * bounder.unit_m
            assert most >= width
            tightest = min(tightest, most - width)
    assert tightest < 0.006


def across(body, x):
    """The section of a body square to x, in (y, z)."""
    turned = body.transform(np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0]]))
    rings = [shapely.Polygon(ring) for ring in turned.slice(x).to_polygons()]
    found = shapely.Polygon()
    for ring in rings:
        found = found.symmetric_difference(ring)
    return found


def test_a_stop_ends_the_proof_and_what_is_proven_stands():
    problem = cases()["bent"]
    stopped = prove([problem], 0.0, stop=lambda: "time")
    assert (stopped.reason, stopped.boxes) == ("time", 45)
    assert stopped.upper_net == prove([problem], 0.0, work=0.0).upper_net


def test_a_gap_ends_the_proof_as_soon_as_it_is_reached():
    problem = cases()["bent"]
    best = search(problem, 60).plans[0].net
    gaps = []
    proven = prove([problem], best, gap=0.16, on_progress=lambda progress: gaps.append(progress.gap))
    assert proven.reason == "gap"
    assert gaps == sorted(gaps, reverse=True)
    assert gaps[-1] == proven.gap(best) <= 0.16 < gaps[-2]


def test_the_bound_of_stretches_holds_for_each():
    whole = books.problem(shapes.bent(0.1, 0.22, 4.2))
    problems = [whole.stretch(0.0, 2.7), whole.stretch(1.5, 4.2)]
    each = [prove([problem], 0.0, work=0.0).upper_net for problem in problems]
    together = prove(problems, 0.0, work=0.0).upper_net
    # Many stretches are bounded less closely, each in less time.
    assert max(each) <= together <= 1.2 * max(each)
    for problem in problems:
        assert together >= search(problem, 40).plans[0].net


def test_widths_hold_for_every_roll_of_a_wide_range():
    beam = shapes.log_of(shapes.tube([(0.0, 0.0, 0.0), (2.0, 0.0, 0.0)], 0.4, 0.15, 4))
    parts = parts_of(beam.wood, 0.1, 1.9, 0.3, 0.001)
    half, row_m, rows, unit_m = np.radians(3.0), 0.001, 1000, 1e-4
    section = across(shapes.manifold(beam.wood), 1.0)
    spare = []
    for roll in np.radians([0.0, 15.0, 60.0, 90.0]):
        table = widths_at(
            parts.first, parts.offsets, parts.points, parts.off_m, roll, half, -0.5, row_m, rows, unit_m
        )  # fmt: skip
        for off in np.linspace(-half, half, 7):
            turned = shapely.affinity.rotate(section, roll + off, origin=(0.0, 0.0), use_radians=True)
            _, low, _, high = turned.bounds
            for z in np.linspace(low + 1e-4, high - 1e-4, 200):
                width = turned.intersection(shapely.LineString([(-9.0, z), (9.0, z)])).length
                spare.append(table[int((z + 0.5) // row_m), 3] * unit_m - width)
    assert min(spare) >= 0.0
