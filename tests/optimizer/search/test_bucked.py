"""Where to buck a log: against cuts made by hand, and what the plan says of them."""

from dataclasses import replace

import books
import numpy as np
import pytest
import shapes
from planned_logs import a_run, given_log, planned

from optimizer.bed.buck_cuts import limb_cut, limb_leaves_m, limb_length_m
from optimizer.planning import price_way
from optimizer.report.cuts_made import cuts_made, past_crotch_m
from optimizer.search.bucked import Scouting, ways_to_buck
from optimizer.search.bucked_search import search_bucked
from optimizer.search.given import Given
from optimizer.wood.woods import find_wood
from scans.log import Solid
from scans.units import FOOT_M, INCH_M

LAYS = 60
PACE = books.Pace(
    sawing_rate_m2_per_min=0.5,
    feed_max_m_per_min=3.0,
    minutes_per_pass=3,
    minutes_per_slab=8,
    minutes_per_buck_cut=4,
    hourly_rate=60,
)


def long_limbs():
    """A fork whose limbs spread past the throat, each of them 7 ft long beyond the crotch."""
    return shapes.forked(spread_deg=30.0, limb_length_m=0.45 + 7.0 * FOOT_M + 0.3, stem_length_m=1.4)


def best_of(log, mill=None, prices=None, buck="best"):
    """The best plan of a search, bucked or not; None where there is none."""
    problem, weigh = books.problem(log, mill, prices), given_log(log).weigh
    found = search_bucked(problem, [problem], LAYS, buck, weigh).found
    return next(iter(found.plans), None)


def by_hand(log, limb, at_m):
    """The log without a limb's end, cut with the mesh library alone."""
    cut = limb_cut(log, limb, at_m)
    body = shapes.manifold(log.outer)
    beyond, _ = body.split_by_plane(cut.normal, float(np.dot(cut.point_m, cut.normal)))
    tip = log.hearts[limb][-1]
    lost = min(beyond.decompose(), key=lambda piece: float(np.linalg.norm(_middle(piece) - tip)))
    mesh = (body - lost).to_mesh64()
    solid = Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    return replace(log, outer=solid, wood=solid)


def _middle(piece):
    box = np.array(piece.bounding_box())
    return 0.5 * (box[:3] + box[3:])


@pytest.fixture(scope="module")
def log():
    return long_limbs()


@pytest.fixture(scope="module")
def mill():
    return books.mill(pace=PACE)


@pytest.fixture(scope="module")
def document(log, mill):
    return planned(log, mill, lays=LAYS, buck="best")


def test_no_cut_made_by_hand_beats_the_plan(log, mill, document):
    best = document.plans[0].net
    for limb in (1, 2):
        from_m, to_m = limb_leaves_m(log, limb) + INCH_M, limb_length_m(log, limb)
        for at_m in np.linspace(from_m, to_m - 0.2, 4):
            cut = best_of(by_hand(log, limb, float(at_m)), mill, buck="no")
            assert cut is None or cut.net <= 1.005 * best


def barked(log):
    """The same with 2 cm of bark all around, but for the ends."""
    vertices = np.array(log.outer.vertices_m)
    hearts = np.concatenate(
        [np.stack([np.interp(np.linspace(0, 1, 80), np.linspace(0, 1, len(h)), h[:, k]) for k in range(3)], 1)
         for h in log.hearts]
    )  # fmt: skip
    nearest = hearts[np.argmin(((vertices[:, None, :] - hearts) ** 2).sum(axis=2), axis=1)]
    shrunk = nearest + 0.93 * (vertices - nearest)
    shrunk[:, 0] = vertices[:, 0]
    return replace(log, wood=log.outer.bent(shrunk), bark_thickness_m=0.02)


def test_what_is_sawn_and_what_is_cut_off_is_the_log(log, document):
    with_bark = barked(shapes.forked())
    prices = books.prices(money=books.Money(offcut_per_kg=0.5))
    of_barked = planned(with_bark, books.mill(pace=PACE), prices, lays=LAYS, buck="limbs")
    assert any(plan.bolts for plan in of_barked.plans)
    for whole, found in ((log, document), (with_bark, of_barked)):
        for plan in found.plans:
            parts_kg = [part.mass_kg for part in (*plan.slabs, *plan.waste, *plan.offcuts, *plan.bolts)]
            assert sum(parts_kg) + plan.kerf_mass_kg == pytest.approx(found.log.mass_kg, rel=1e-4)
        wood = find_wood("ash, white")
        assert found.log.mass_kg == pytest.approx(wood.log_mass_kg(whole.wood.volume_m3, whole.outer.volume_m3))


def test_the_net_counts_the_bolts_and_the_cuts(document, mill):
    bucked = [plan for plan in document.plans if plan.buck_cuts]
    assert bucked
    for plan in document.plans:
        bolts = sum(bolt.worth for bolt in plan.bolts)
        assert plan.net == pytest.approx(plan.gross - plan.sawing_cost - plan.drying_cost + bolts)
        passes = sum(p.minutes for p in plan.passes) + PACE.minutes_per_slab * len(plan.slabs)
        minutes = passes + PACE.minutes_per_buck_cut * len(plan.buck_cuts)
        assert plan.sawing_cost == pytest.approx(mill.money(minutes))
        assert len(plan.bolts) >= len(plan.buck_cuts)


def test_limbs_of_seven_feet_give_slabs_of_their_own(log, mill):
    # Nothing of the limbs goes through so narrow a throat together.
    narrow = mill.changed(throat_m=0.9)
    plan = best_of(log, narrow, buck="limbs")

    assert any(bolt.net is not None and bolt.net > 0.0 for bolt in plan.bolts)
    assert all(bolt.net is None or bolt.worth == bolt.net for bolt in plan.bolts)


def test_the_plain_way_bucks_nothing_and_no_bucking_is_found_where_none_is_asked_for(log, mill, document):
    assert document.plain_way is None or document.plain_way.buck_cuts == ()
    as_it_came = best_of(log, mill, buck="no")
    assert (as_it_came.buck_cuts, as_it_came.bolts) == ((), ())
    assert document.plans[0].net >= as_it_came.net * 0.995


def test_what_is_cut_off_brings_its_price_as_firewood():
    log = shapes.forked()
    prices = books.prices(money=books.Money(offcut_per_kg=0.5))
    sold = best_of(log, prices=prices, buck="limbs")

    assert sold.bolts
    for bolt in sold.bolts:
        assert bolt.worth == pytest.approx(bolt.net if bolt.net is not None else 0.5 * bolt.mass_kg)


def test_a_bowed_stem_is_halved_where_it_pays():
    log = shapes.bent(0.3, 0.2, 16.0 * FOOT_M, toward_deg=90.0)
    mill = books.mill(pace=PACE, throat_m=0.6)
    whole, best = best_of(log, mill, buck="no"), best_of(log, mill)

    assert len(best.buck_cuts) == 1
    (cut,) = best.buck_cuts
    assert 0.2 * log.length_m < cut.at_m < 0.8 * log.length_m
    (half,) = best.bolts
    assert half.net is not None
    assert best.net > 1.05 * whole.net


def test_a_straight_stem_goes_on_the_bed_as_it_came():
    assert best_of(shapes.cylinder(0.3, 5.2), books.mill(pace=PACE)).buck_cuts == ()


def test_the_rest_of_a_log_longer_than_the_bed_is_told():
    log = shapes.frustum(0.35, 0.25, 7.0)
    document = planned(log, books.mill(pace=PACE, bed_length_m=3.0), lays=LAYS)

    for plan in document.plans:
        on_bed_m = plan.stretch_m[1] - plan.stretch_m[0]
        assert on_bed_m + sum(bolt.length_m for bolt in plan.bolts) == pytest.approx(log.length_m, abs=0.02)
        assert all(bolt.length_m <= 3.0 + 1e-6 for bolt in plan.bolts)
        assert len(plan.buck_cuts) == sum(0.01 < x < log.length_m - 0.01 for x in plan.stretch_m)
    assert any(bolt.net is not None for bolt in document.plans[0].bolts)


def test_a_fork_too_heavy_for_the_mill_is_bucked_to_go_on_it():
    log = long_limbs()
    wood = given_log(log).weigh(log)
    mill = books.mill(pace=PACE, max_log_mass_kg=0.8 * wood)
    plan = planned(log, mill, lays=LAYS, buck="best").plans[0]

    assert plan.buck_cuts
    assert wood - sum(bolt.mass_kg for bolt in plan.bolts) <= 0.8 * wood


def test_a_plan_that_is_chosen_as_ones_own_way_is_worth_the_same(log, mill, document):
    best = document.plans[0]
    assert best.buck_cuts
    assert not best.flipped_log_to_bed
    found = document.log
    cuts = tuple(
        (cut.member, cut.at_m if cut.limb is None else past_crotch_m(found, cut))
        for cut in cuts_made(best, found.length_m)
    )
    heights_m = tuple(cut.blade_height_m for cut in best.passes)
    way = Given(best.roll_deg, *best.gaps_m, heights_m, buck_at=cuts)

    own = price_way(given_log(log), mill, books.prices(), way, run=a_run()).plans[0]

    assert [cut.member for cut in own.buck_cuts] == [cut.member for cut in best.buck_cuts]
    for ours, theirs in zip(own.buck_cuts, best.buck_cuts, strict=True):
        assert ours.point_m == pytest.approx(theirs.point_m, abs=1e-6)
    assert own.gross == pytest.approx(best.gross, rel=0.01)
    assert [bolt.mass_kg for bolt in own.bolts] == pytest.approx([bolt.mass_kg for bolt in best.bolts], rel=0.01)


def test_with_doubt_the_log_as_it_came_is_weighed_on_the_same_possible_logs(log, mill):
    document = planned(log, mill, lays=40, buck="limbs", doubt=True)
    plan = document.plans[0]

    assert all(p.net_expected is not None for p in document.plans)
    assert [p.rank for p in document.plans] == list(range(1, len(document.plans) + 1))
    if plan.buck_cuts:
        spread = plan.net_p90 - plan.net_p10
        assert abs(plan.net_expected - plan.net) < max(spread, 0.2 * plan.net)
    assert document.plain_way is None or document.plain_way.net_expected is not None


def test_ways_to_buck_are_the_same_whatever_the_workers(log, mill):
    problem, weigh = books.problem(log, mill), given_log(log).weigh
    one, three = (Scouting(problem, weigh, workers=workers) for workers in (1, 3))

    found = ways_to_buck(one, "best"), ways_to_buck(three, "best")

    assert found[0]
    assert found[0] == found[1]
    assert [one.closer_value(way) for way in found[0]] == [three.closer_value(way) for way in found[1]]
