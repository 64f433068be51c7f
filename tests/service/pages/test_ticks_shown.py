"""Ticks of a cut list in the pages alone: without scripts each is a form, and everybody's are shown."""

import re

import httpx
from kept_pages import NASTY, Pages, desk_of

from service.contract.ticks import Change


def ticked(text: str) -> list[str]:
    return re.findall(r'data-tick="([\w-]+)" checked', text)


def test_a_tick_is_a_form_that_posts_and_everybody_sees_it(client: Pages, plan_id: str) -> None:
    cut_list = f"/plans/{plan_id}/plain/cut-list"
    before = client.get(cut_list).text
    assert f'<form method="post" action="/plans/{plan_id}/plain/ticks/pass-1" id="tick-pass-1"' in before
    assert ticked(before) == []

    answer = client.post(f"/plans/{plan_id}/plain/ticks/pass-1", data={"ticked": "on"})
    client.post(f"/plans/{plan_id}/plain/ticks/roll", data={"ticked": "on"})

    assert str(answer.url).endswith(f"{cut_list}#tick-pass-1")
    with httpx.Client(base_url=client.base_url) as other:
        assert ticked(other.get(cut_list).text) == ["roll", "pass-1"]
        other.post(f"/plans/{plan_id}/plain/ticks/pass-1")
    assert ticked(client.get(cut_list).text) == ["roll"]
    assert ticked(client.get(f"/plans/{plan_id}/1/cut-list").text) == []


def test_a_name_that_is_given_once_stands_beside_ticks_and_runs_nothing(client: Pages, plan_id: str) -> None:
    cut_list = f"/plans/{plan_id}/1/cut-list"
    client.post(f"/plans/{plan_id}/1/name", data={"name": f" Zoë {NASTY}"})
    try:
        client.post(f"/plans/{plan_id}/1/ticks/pass-2", data={"ticked": "on"})
        text = client.get(cut_list).text
    finally:
        client.cookies.clear()

    assert "data-by>Zoë &lt;script&gt;alert" in text
    assert "<script>alert" not in text
    (tick,) = [tick for tick in desk_of(client).store.ticks(plan_id) if (tick.way, tick.step) == ("1", "pass-2")]
    assert tick.who == f"Zoë {NASTY}"[:40]


def test_a_pass_that_is_made_already_can_be_unticked(client: Pages, plan_id: str) -> None:
    desk_of(client).store.change_tick(plan_id, "1", "sweep", Change(is_ticked=True))
    assert "sweep" in ticked(client.get(f"/plans/{plan_id}/1/cut-list").text)

    client.post(f"/plans/{plan_id}/1/ticks/sweep")

    assert "sweep" not in ticked(client.get(f"/plans/{plan_id}/1/cut-list").text)


def test_a_tick_of_what_is_not_there_is_a_page_that_says_so(client: Pages, plan_id: str) -> None:
    answer = client.post(f"/plans/{plan_id}/1/ticks/pass-99", data={"ticked": "on"}, headers={"accept": "text/html"})

    assert answer.status_code == 404
    assert "no step pass-99" in answer.text
    assert client.get(f"/plans/{plan_id}/1/ticks/pass-1").url.path == f"/plans/{plan_id}/1/cut-list"
    assert client.get(f"/plans/{plan_id}/1/name").url.path == f"/plans/{plan_id}/1/cut-list"
