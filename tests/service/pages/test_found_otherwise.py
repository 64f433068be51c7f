"""What is seen at the mill becomes what the planner takes: a mark at its place on the log, or a lower cut."""

import numpy as np
import pytest
from kept_pages import Pages, Planned, desk_of, keep_plan

from scans.units import INCH_M, parse_length_m
from service.pages.found_otherwise import otherwise_typed
from service.words.units import Units


def seen(planned: Planned, **typed: str):
    plan = planned.document.plans[0]
    return otherwise_typed(typed, planned.document, plan, plan.passes[1], Units.IMPERIAL)


def on_bed(planned: Planned, mark) -> np.ndarray:
    return (np.array(planned.document.plans[0].log_to_bed) @ [mark.x_m, mark.y_m, mark.z_m, 1.0])[:3]


@pytest.mark.parametrize(
    ("what", "kind"), [("metal", "metal"), ("rot", "rot"), ("split", "crack"), ("bark", "bark_pocket")]
)
def test_a_flaw_lies_about_the_place_where_it_is_seen(planned: Planned, what: str, kind: str) -> None:
    mark = seen(planned, what=what, along="3", across="left", size="large").mark
    right = seen(planned, what=what, along="3", across="right", size="large").mark

    assert (mark.kind, mark.radius_m) == (kind, pytest.approx(0.1016))
    assert 0.1016 <= mark.depth_m <= 0.2033
    place = on_bed(planned, mark)
    assert np.abs(place - [0.9144, place[1], planned.document.plans[0].passes[1].blade_height_m]).max() < 0.1017
    assert place[1] > on_bed(planned, right)[1]  # left is +y


def test_a_blade_that_wandered_lowers_the_cut_and_the_heart_is_on_an_end(planned: Planned) -> None:
    height_m = planned.document.plans[0].passes[1].blade_height_m
    assert seen(planned, what="wandered", dip="3/8").dip_m == pytest.approx(0.375 * 0.0254)
    heart = seen(planned, what="heart", heart_end="butt", heart_below="2").mark
    above = seen(planned, what="heart", heart_end="butt", heart_below="-1").mark

    assert (heart.kind, heart.x_m, heart.radius_m) == ("pith", 0.0, 0.0)
    assert on_bed(planned, heart)[2] == pytest.approx(height_m - 0.0508, abs=0.01)
    assert on_bed(planned, above)[2] == pytest.approx(height_m + 0.0254, abs=0.01)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"what": "magic"}, "what"),
        ({"what": "rot", "along": ""}, "along"),
        ({"what": "rot", "along": "900"}, "along"),
        ({"what": "wandered", "dip": "9"}, "dip"),
        ({"what": "heart", "heart_below": "x"}, "heart_below"),
        ({"what": "heart", "heart_below": "0", "heart_end": "top"}, "heart_end"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(planned: Planned, typed: dict[str, str], field: str) -> None:
    found = seen(planned, **typed)

    assert list(found.errors) == [field]
    assert found.mark is None


def test_a_mark_is_kept_and_the_rest_is_planned_from_the_lowest_place(client: Pages, plan_id: str, log_id: str) -> None:
    before = len(desk_of(client).store.marks(log_id))
    answer = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "rot", "along": "3"})
    assert answer.url.query == b"to=cut-list"
    assert [mark.kind for _, mark in desk_of(client).store.marks(log_id)][before:] == ["rot"]

    bad = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "rot", "along": "900"})
    assert bad.status_code == 422
    assert len(desk_of(client).store.marks(log_id)) == before + 1

    whole = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "narrower"})
    low = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "wandered", "dip": "3/8"})
    asked = [desk_of(client).store.job_request(str(one.url.path)[-32:])["request"]["heights"] for one in (whole, low)]
    assert asked[0].split(", ")[0] == asked[1].split(", ")[0]
    assert asked[0].split(", ")[1] != asked[1].split(", ")[1]


def test_a_find_sent_twice_is_one_mark_and_joins_one_job(client: Pages, plan_id: str, log_id: str) -> None:
    desk = desk_of(client)
    before, typed = len(desk.store.marks(log_id)), {"made": "2", "what": "metal", "along": "4", "size": "small"}
    first, again = (client.post(f"/plans/{plan_id}/1/seen", data=typed).url.path for _ in range(2))

    assert len(desk.store.marks(log_id)) == before + 1
    assert first == again


def test_an_order_that_does_not_know_of_a_new_mark_is_not_joined(client: Pages, plan_id: str) -> None:
    jobs = []
    for along in ("2", "5"):
        typed = {"made": "2", "what": "metal", "along": along, "size": "small"}
        jobs.append(client.post(f"/plans/{plan_id}/1/seen", data=typed).url.path)

    assert jobs[0] != jobs[1]


def test_a_cut_that_wandered_is_taken_at_the_step_below(client: Pages, planned: Planned, log_id: str) -> None:
    mill = planned.document.mill.model_copy(update={"height_step_m": INCH_M / 8.0})
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"mill": mill}))
    found = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "wandered", "dip": "1/16"})
    asked = desk_of(client).store.job_request(found.url.path[-32:])["request"]["heights"].split(", ")[1]
    planned_m = planned.document.plans[0].passes[1].blade_height_m

    assert parse_length_m(asked, "in") <= planned_m - INCH_M / 16.0 + 1e-6


def test_a_find_is_not_put_on_a_log_that_was_read_again(client: Pages, planned: Planned, log_id: str) -> None:
    moved = planned.document.log.model_copy(update={"length_m": planned.document.log.length_m * 1.1})
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"log": moved}))
    before = len(desk_of(client).store.marks(log_id))
    answer = client.post(f"/plans/{plan_id}/1/seen", data={"made": "2", "what": "metal", "along": "3"})

    assert answer.status_code == 422
    assert "was read again since this plan" in answer.text
    assert len(desk_of(client).store.marks(log_id)) == before


def test_a_log_without_pith_is_not_given_half_of_it(planned: Planned) -> None:
    bare = planned.document.model_copy(update={"log": planned.document.log.model_copy(update={"hearts": ()})})
    plan = bare.plans[0]
    typed = {"what": "heart", "heart_end": "butt", "heart_below": "2"}
    found = otherwise_typed(typed, bare, plan, plan.passes[1], Units.IMPERIAL)

    assert (found.mark, list(found.errors)) == (None, ["heart_end"])
