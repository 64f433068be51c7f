"""Marks on a log longer than the bed: their rods are those of the whole log, clipped to the stretch."""

import json
from itertools import count

import auditor
import books
import numpy as np
import pytest
import shapes
from scipy.spatial import Delaunay

from optimizer.bed.bucking import buck
from optimizer.bed.marks import place_on_girth
from optimizer.bed.stretch import clear_of_metal, stretch_cuts, stretches_of
from optimizer.bed.zones import clipped, feather, rod
from optimizer.documents.plan import Mark, Source
from optimizer.planning import LogGiven, Run, SearchSettings, plan_log
from optimizer.problem import Problem
from optimizer.wood.woods import find_wood

FOOT_M = 0.3048
LOG_M, BED_M = 24 * FOOT_M, 15 * FOOT_M
CUT_M = LOG_M - BED_M
"""Where the last stretch begins."""
PLACES = (1.0, CUT_M - 0.15, CUT_M - 0.03, CUT_M - 0.015, CUT_M, CUT_M + 0.005, CUT_M + 0.015, CUT_M + 0.2, 5.0)
"""Before the cut, at it and beyond."""


@pytest.fixture(scope="module")
def bowed():
    """A 24 ft log whose heart bends, so that rods lean along it."""
    return shapes.bent(0.3, 0.24, LOG_M, toward_deg=70.0)


def mark(log, kind, at_m, toward_deg=30.0, radius_m=0.02, depth_m=0.1):
    x, y, z = (float(v) for v in place_on_girth(log, at_m, toward_deg))
    return Mark(id=f"{kind} {at_m:.4f}", kind=kind, x_m=x, y_m=y, z_m=z, radius_m=radius_m, depth_m=depth_m)


def problem_of(log, marks, mill=None, prices=None):
    plain = books.problem(log, mill, prices)
    return Problem(plain.log, plain.mill, plain.prices, plain.menu, plain.end_trim_m, tuple(marks))


def points_in(zone, count=20000):
    """Points spread over a zone's hull, by weights of its corners."""
    weights = np.random.default_rng(1).dirichlet(np.full(len(zone.corners_m), 0.1), count)
    return weights @ zone.corners_m


@pytest.mark.parametrize("stretch_m", [(CUT_M, LOG_M), (0.0, CUT_M), (0.0, BED_M)])
@pytest.mark.parametrize("kind", ["metal", "knot"])
@pytest.mark.parametrize("at_m", PLACES)
def test_a_rod_in_a_stretch_is_the_whole_logs_clipped(bowed, at_m, kind, stretch_m):
    whole = problem_of(bowed, [mark(bowed, kind, at_m)], prices=books.prices(deduct=books.Deduct(knot=0.5)))
    stretch = whole.stretch(*stretch_m)
    low, high = stretch_m
    name = "metal" if kind == "metal" else "zones"
    (there,), here = getattr(whole, name), getattr(stretch, name)

    points = points_in(there)
    on_it = points[(points[:, 0] > low + 1e-6) & (points[:, 0] < high - 1e-6)]
    if not len(on_it):
        assert here == ()
        return
    (part,) = here
    assert (part.share, part.feather) == (there.share, False)
    assert part.corners_m[:, 0].min() >= low - 1e-9
    assert part.corners_m[:, 0].max() <= high + 1e-9
    # All of it that lies there, and nothing that the whole rod does not hold.
    assert (hull(part).find_simplex(on_it, tol=1e-6) >= 0).all()
    assert (hull(there).find_simplex(part.corners_m, tol=1e-6) >= 0).all()


def hull(zone):
    return Delaunay(zone.corners_m)


@pytest.mark.parametrize("at_m", PLACES)
def test_the_bed_heights_that_metal_forbids_are_those_of_the_whole_rod_in_the_stretch(bowed, at_m):
    metal = mark(bowed, "metal", at_m)
    stretch = problem_of(bowed, [metal], books.mill(metal_keep_out_m=0.04)).stretch(CUT_M, LOG_M)
    lay = stretch.supports.turned(25.0).lay(0.4)
    points = auditor.rod_points(bowed, bowed.hearts, metal.model_dump())
    points = points[points[:, 0] >= CUT_M]

    found = stretch.forbidden_m(lay)

    if not len(points):
        assert found == []
        return
    heights = lay.to_bed(points)[:, 2]
    assert found == [pytest.approx((heights.min() - 0.04, heights.max() + 0.04), abs=2e-3)]


@pytest.mark.parametrize("make", [shapes.bent, shapes.forked])
@pytest.mark.parametrize("cut_m", [0.0, 0.7, 1.4, 1.5])
def test_no_heart_of_a_stretch_holds_a_point_twice(make, cut_m):
    log = make()

    for from_m, to_m in ((cut_m, log.length_m), (0.0, cut_m + 0.5)):
        part = buck(log, stretch_cuts(log, from_m, to_m)).log
        assert part.hearts
        for line in part.hearts:
            assert np.linalg.norm(np.diff(line, axis=0), axis=1).min() > 1e-9
            assert line[0, 0] >= from_m - 1e-9
            assert line[-1, 0] <= to_m + 1e-9


def test_the_feather_goes_on_below_a_cut_under_the_crotch():
    log = shapes.forked()
    (fork,) = log.forks
    prices = books.prices(figure=books.FigurePremium(feather_per_board_foot=9.0))
    whole = problem_of(log, (), prices=prices)
    cut_m = float(fork.crotch_m[0]) - 0.3

    (below,), (above,) = whole.stretch(0.0, cut_m).zones, whole.stretch(cut_m, log.length_m).zones

    ends = feather(fork).corners_m[:, 0].min(), feather(fork).corners_m[:, 0].max()
    assert (below.corners_m[:, 0].min(), below.corners_m[:, 0].max()) == pytest.approx((ends[0], cut_m))
    assert (above.corners_m[:, 0].min(), above.corners_m[:, 0].max()) == pytest.approx((cut_m, ends[1]))
    assert below.feather
    assert below.normal == pytest.approx(fork.normal)


def test_a_zone_that_only_touches_a_cut_is_not_there():
    zone = rod(np.array([1.0, 0.0, 0.3]), np.array([1.5, 0.0, 0.3]), 0.02, 0.5)

    assert clipped(zone, 1.5, 3.0) is None
    assert clipped(zone, 0.0, 1.0) is None
    assert clipped(zone, 0.0, 0.9) is None
    assert clipped(zone, 1.0, 1.5) is zone
    assert np.ptp(clipped(zone, 1.2, 3.0).corners_m[:, 0]) == pytest.approx(0.3)


def document_of(log, marks, mill, prices, lays):
    ticks = count()
    given = LogGiven(
        log=log,
        source=Source(kind="solid", sha256="0" * 64),
        wood=find_wood("ash, white"),
        end_trim_m=(0.05, 0.05),
        bark_on=False,
        bark_ratio=1.0,
        marks=tuple(marks),
    )
    run = Run("audit", "2026-01-01T00:00:00+00:00", "test", lambda: float(next(ticks)))
    document = plan_log(given, mill, prices, settings=SearchSettings(lays=lays), run=run)
    return json.loads(document.model_dump_json())


def test_plans_of_a_long_log_keep_out_of_the_metal_at_every_cut():
    # Rods that lean along the log, at both ends of each stretch that is tried, and a knot at each.
    log = shapes.bent(0.15, 0.3, LOG_M, toward_deg=250.0)
    cuts_m = sorted({place for stretch in stretches_of(LOG_M, BED_M) for place in stretch} - {0.0, LOG_M})
    marks = [
        mark(log, "metal", cuts_m[0] + 0.012, 60.0, depth_m=0.05),
        mark(log, "metal", cuts_m[len(cuts_m) // 2], 60.0, depth_m=0.05),
        mark(log, "metal", cuts_m[-1] - 0.012, 60.0, depth_m=0.05),
        *(mark(log, "knot", place, 200.0, depth_m=0.15) for place in (cuts_m[0] + 0.01, 3.0, cuts_m[-1] - 0.01)),
    ]
    mill = books.mill(bed_length_m=BED_M, metal_keep_out_m=0.03, kerf_m=0.003, height_step_m=0.003)
    prices = books.prices((8, 12), (7.0, 8.0), deduct=books.Deduct(heart=0.4, knot=0.5))
    document = document_of(log, marks, mill, prices, lays=60)

    plans = [*document["plans"], document["plain_way"]]
    assert len(plans) > 2
    for plan in filter(None, plans):
        auditor.check_metal(log, document, plan)
    auditor.check_plan(log, document, document["plans"][0])
    assert not any(c["id"] == "metal_known" and c["level"] == "stop" for c in document["cautions"])


def test_no_crosscut_goes_through_metal_where_another_can_be_made():
    stretches = [(0.0, 4.0), (1.0, 5.0), (2.0, 6.0)]
    assert clear_of_metal(stretches, 6.0, []) == stretches
    assert clear_of_metal(stretches, 6.0, [(3.9, 4.1)]) == stretches[1:]
    assert clear_of_metal(stretches, 6.0, [(1.5, 4.5)]) == stretches[1:2]
    assert clear_of_metal(stretches, 6.0, [(4.5, 5.5)]) == [stretches[0], stretches[2]]
    assert clear_of_metal(stretches, 6.0, [(-0.1, 0.1), (5.9, 6.1)]) == stretches  # in the log's own ends
    assert clear_of_metal(stretches, 6.0, [(1.9, 4.1), (0.9, 1.1)]) == stretches  # nowhere is clear


def test_plans_of_a_long_log_are_crosscut_beside_the_metal():
    log = shapes.bent(0.15, 0.3, LOG_M, toward_deg=250.0)
    stretches = stretches_of(LOG_M, BED_M)
    kept = stretches[1]
    # Metal at every cut but those of one stretch, which is not the best.
    cuts_m = {place for stretch in stretches for place in stretch} - {0.0, LOG_M}
    apart_m = [place for place in cuts_m if min(abs(place - end) for end in kept) > 0.1]
    marks = [mark(log, "metal", place, 60.0, depth_m=0.02) for place in apart_m]
    mill = books.mill(bed_length_m=BED_M, metal_keep_out_m=0.01, kerf_m=0.003, height_step_m=0.003)
    document = document_of(log, marks, mill, books.prices(), lays=40)

    assert document["plans"]
    for plan in document["plans"]:
        assert plan["stretch_m"] == pytest.approx(kept)
