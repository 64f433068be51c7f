"""What a measurement is worth before it is made, and what a face seen tells."""

import re
from dataclasses import replace

import books
import numpy as np
import pytest
import shapes
from planned_logs import planned
from scipy.spatial import ConvexHull

from optimizer.documents.mill import SetUp
from optimizer.doubt import seen as doubt_seen
from optimizer.doubt import worth as doubt_worth
from optimizer.doubt.possible_logs import PossibleLogs, doubt_of
from optimizer.doubt.possible_net import Heights, outcomes
from optimizer.doubt.report import drawn, weighed
from optimizer.doubt.seen import face_weights, picked, price_given_in_doubt
from optimizer.doubt.worth import gain_of, would_pay
from optimizer.search.given import FaceSeen, Given, GivenError
from optimizer.search.lays import search
from optimizer.stations.stations import Rings
from scans.units import INCH_M

STEP = {"height_step_m": INCH_M / 4, "kerf_m": INCH_M / 8}


@pytest.fixture(scope="module")
def problem():
    mill = books.mill(set_up=SetUp(roll_error_deg=6.0), **STEP)
    return books.problem(shapes.forked(lumpy=0.06), mill)


@pytest.fixture(scope="module")
def given(problem):
    top_m = problem.supports.turned(30.0).height_m(0.0)
    return Given(30.0, 0.0, 0.0, (top_m - 0.08, top_m - 0.14), made=1)


def test_a_reading_that_tells_nothing_gains_nothing_and_one_that_tells_all_gains_the_difference():
    rng = np.random.default_rng(0)
    truth = rng.normal(size=400)
    nets = np.stack([1000.0 + 50.0 * truth, 1000.0 - 50.0 * truth]) + 5.0

    told, told_error = gain_of(nets, truth[:, None])
    blind, blind_error = gain_of(nets, rng.normal(size=(400, 60)))

    # Of two plans that are as good in the mean, the better by 100 |t|, half of the time: 50 E|t|.
    assert told == pytest.approx(50.0 * np.sqrt(2.0 / np.pi), abs=3.0 * told_error)
    assert told > 10.0 * told_error > 0.0
    assert abs(blind) < 3.0 * blind_error


def test_only_what_pays_more_than_its_minutes_is_named(problem):
    possible = PossibleLogs(problem)
    logs = drawn(possible, 0, 1000, 60, 2)
    tried = weighed(problem, search(problem, 60, workers=1).plans, logs, 2)
    tried.sort(key=lambda w: -w.expected)
    dear = problem.mill.model_copy(update={"pace": problem.mill.pace.model_copy(update={"hourly_rate": 1e5})})
    cheap = would_pay(possible, tried, logs, 0)

    assert all(way.gain > problem.mill.money(way.minutes) for way in cheap)
    assert would_pay(PossibleLogs(books.problem(problem.log, dear)), tried, logs, 0) == ()


def test_places_to_measure_are_told_from_the_butt_end_of_the_log():
    stretch = books.problem(shapes.cylinder(0.25, 6.0), books.mill(**STEP)).stretch(3.0, 6.0)
    possible = PossibleLogs(stretch)
    readings = doubt_worth._readings(possible, drawn(possible, 0, 1000, 4, 1), np.random.default_rng(0))
    places_m = [
        float(found[1]) for r in readings if (found := re.search(r"Measure \{([\d.]+) m\} from the butt", r.action))
    ]

    assert len(places_m) > 1
    assert all(3.0 < place_m < 6.0 for place_m in places_m)


def test_a_scanned_trunk_is_taped_around_and_a_log_sheet_is_not():
    log = shapes.cylinder(0.25, 6.0)
    scanned = replace(log, face_seen=np.ones(len(log.outer.faces), dtype=bool))

    def kinds(of):
        possible = PossibleLogs(books.problem(of, books.mill(**STEP)))
        return {
            r.kind for r in doubt_worth._readings(possible, drawn(possible, 0, 1000, 4, 1), np.random.default_rng(0))
        }

    assert {"girth", "caliper"} & kinds(scanned) == {"girth"}
    assert {"girth", "caliper"} & kinds(log) == {"caliper"}


def test_a_girth_is_what_a_tape_around_the_outline_reads():
    from_m, hull = 2.0, ConvexHull(np.random.default_rng(3).normal(0.0, 0.3, (40, 2)))
    corners = hull.points[hull.vertices]
    segments = np.hstack([corners, np.roll(corners, -1, axis=0)])
    rings = Rings(np.array([0, len(corners)]), segments)

    # scipy's hull of points in a plane has its length for its area.
    assert doubt_worth._girth_m(rings, np.array([from_m]), 2.01) == pytest.approx(hull.area, rel=2e-3)


def test_a_face_seen_makes_logs_that_show_it_count_and_others_not(problem, given):
    logs = drawn(PossibleLogs(problem), 0, 0, 60, 2)
    heights = Heights(
        30.0, 0.0, np.array(given.heights_m), *(np.zeros(0, dtype=np.int64) for _ in range(5)), fixed_cost=0.0
    )
    shown = outcomes(problem, heights, logs)
    wide = int(np.argmax(shown.face_width_m))
    face = FaceSeen(1, shown.face_width_m[wide], shown.face_length_m[wide])

    weights, likely, plausible = face_weights(problem, heights, [face], logs)
    every, all_of_them, _ = face_weights(problem, heights, [], logs)
    _, _, odd = face_weights(problem, heights, [FaceSeen(1, 2.0, 9.0)], logs)

    assert weights.sum() == pytest.approx(1.0)
    assert weights[wide] == weights.max()
    assert (weights * shown.face_width_m).sum() > shown.face_width_m.mean()
    assert 9.9 < likely < all_of_them == pytest.approx(60.0)
    assert np.ptp(every) == 0.0
    assert plausible
    assert not odd


def test_logs_are_drawn_as_often_as_their_weights_say():
    assert picked(np.array([0.5, 0.25, 0.0, 0.25]), 8) == [0, 0, 0, 0, 1, 1, 3, 3]


def test_what_is_made_stays_and_the_face_changes_the_rest(problem, given, monkeypatch):
    monkeypatch.setattr(doubt_seen, "REPORT_LOGS", 30)
    monkeypatch.setattr(doubt_seen, "PLANNED_LOGS", 8)
    blind = price_given_in_doubt(problem, given, 0, 2)
    low, high = np.quantile(blind.weighed.outcomes.face_width_m, [0.05, 0.95])
    length_m = float(np.median(blind.weighed.outcomes.face_length_m))
    narrow, wide = (
        price_given_in_doubt(problem, Given(**{**vars(given), "seen": (FaceSeen(1, w, length_m),)}), 0, 2)
        for w in (low, high)
    )

    assert narrow.priced.passes[0].row == wide.priced.passes[0].row == round(given.heights_m[0] / (INCH_M / 4))
    assert narrow.weighed.outcomes.face_width_m.mean() < wide.weighed.outcomes.face_width_m.mean()
    assert any(note.kind in {"face_fits", "face_fits_none"} for note in wide.notes)
    with pytest.raises(GivenError, match="1 to 1, got 2"):
        price_given_in_doubt(problem, Given(**{**vars(given), "seen": (FaceSeen(2, 0.3, 2.0),)}), 0, 2)


def test_a_pass_that_is_made_went_through_the_throat(problem, monkeypatch):
    monkeypatch.setattr(doubt_seen, "REPORT_LOGS", 12)
    monkeypatch.setattr(doubt_seen, "PLANNED_LOGS", 4)
    log = replace(problem.log, doubt=doubt_of(problem.log))
    plan = search(problem, 40, workers=1).plans[0]
    heights = tuple(p.blade_height_m for p in plan.passes)

    def on(throat_m, made):
        other = replace(problem, log=log, mill=problem.mill.model_copy(update={"throat_m": throat_m}))
        way = Given(plan.lay.roll_deg, *plan.gaps_m, heights[:made] if made else heights, made=made)
        return price_given_in_doubt(other, way, 0, 1)

    reach_m = [p.reach_m for p in on(3.0, None).priced.passes]
    widest = int(np.argmax(reach_m))

    def net(over_m, made):
        return on(reach_m[widest] + over_m, made).weighed.expected

    assert net(0.006, None) < 0.9 * net(0.5, None)
    assert net(0.006, len(heights)) == pytest.approx(net(0.5, len(heights)), rel=1e-6)


def test_a_document_in_doubt_may_say_what_would_pay(monkeypatch):
    monkeypatch.setattr("optimizer.planning.would_pay", lambda *_: ())
    monkeypatch.setattr("optimizer.planning.CHOICE_LOGS", 4)
    monkeypatch.setattr("optimizer.planning.REPORT_LOGS", 10)
    monkeypatch.setattr("optimizer.doubt.report.SHARE_LOGS", 4)

    assert planned(shapes.frustum(0.3, 0.25, 2.0), books.mill(**STEP), lays=20, doubt=True).doubt.would_pay == ()
