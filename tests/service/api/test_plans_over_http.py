"""From an upload to its plan, over HTTP."""

import gzip
import json

import pytest
from served import refused
from small_log import STRAIGHT

from optimizer.documents.plan import PlanDocument
from service.cli.command_line import run

QUICK = {"lays": 12, "doubt": "off"}


def test_a_log_sheet_is_uploaded_read_and_planned(client, ended, log_id):
    asked = client.post(f"/api/logs/{log_id}/plans", json=QUICK)
    job = ended(asked.json()["id"])
    answer = client.get(f"/api/plans/{job['plan_id']}")
    document = PlanDocument.model_validate_json(answer.content)

    assert asked.status_code == 202
    assert asked.headers["location"] == f"/api/jobs/{job['id']}"
    assert job["state"] == "done"
    assert document.log.name == "Invented cylinder"
    assert document.mill.name == "Test mill"
    assert document.plans[0].net > 0.0
    assert abs(document.plans[0].net - job["best_net"]) < 1e-6
    assert [line["id"] for line in client.get("/api/plans", params={"log_id": log_id}).json()] == [job["plan_id"]]


def test_a_log_that_was_read_says_what_it_is(client, log_id):
    log = client.get(f"/api/logs/{log_id}").json()

    assert (log["state"], log["name"], log["facts"]["source"]) == ("ready", "Invented cylinder", "sheet")
    assert abs(log["facts"]["length_m"] - 1.524) < 1e-6
    assert log["facts"]["cost"] == 20.0


def test_the_same_upload_again_is_the_same_log(client, log_id):
    again = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)})
    other = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}, data={"cost": "35"})

    assert (again.status_code, again.json()["again"], again.json()["log"]["id"]) == (200, True, log_id)
    assert (other.status_code, other.json()["again"]) == (202, False)
    assert other.json()["log"]["id"] != log_id


def test_a_plan_is_told_as_the_command_line_prints_it(client, ended, log_id, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    plan_id = ended(client.post(f"/api/logs/{log_id}/plans", json=QUICK).json()["id"])["plan_id"]
    document = client.get(f"/api/plans/{plan_id}").json()
    answer = client.get(f"/api/plans/{plan_id}/text")
    metric = client.get(f"/api/plans/{plan_id}/text", params={"units": "metric", "whole": True})
    tag = {"If-None-Match": answer.headers["etag"]}
    (tmp_path / "log.toml").write_text(STRAIGHT)

    assert run(["plan", "log.toml", "--lays", "12", "--doubt", "off", "--seconds", "60"]) == 0
    typed = capsys.readouterr().out
    told = answer.text.partition("\nPlan 1: ")[2]

    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert len(told.splitlines()) > 20
    assert told == typed.partition("\nPlan 1: ")[2]
    assert max(map(len, answer.text.splitlines())) <= 80
    assert f"{1000.0 * document['plans'][0]['passes'][0]['blade_height_m']:.0f}" in metric.text
    assert "Straight through: net" in metric.text
    assert " lb" not in metric.text.partition("Cautions")[0]
    assert client.get(f"/api/plans/{plan_id}/text", headers=tag).status_code == 304
    assert client.get(f"/api/plans/{plan_id}/text", params={"units": "metric"}, headers=tag).status_code == 200
    refused(client.get(f"/api/plans/{'0' * 32}/text"), 404)
    refused(client.get(f"/api/plans/{plan_id}/text", params={"units": "ells"}), 422)


def test_a_plan_travels_compressed_where_that_is_taken(client, ended, log_id):
    plan_id = ended(client.post(f"/api/logs/{log_id}/plans", json=QUICK).json()["id"])["plan_id"]
    with client.stream("GET", f"/api/plans/{plan_id}") as packed:
        small = b"".join(packed.iter_raw())
    plain = client.get(f"/api/plans/{plan_id}", headers={"Accept-Encoding": "identity"})

    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert json.loads(gzip.decompress(small)) == plain.json()
    assert len(small) < len(plain.content) / 2


def test_a_job_is_followed_as_events(client, log_id):
    job_id = client.post(f"/api/logs/{log_id}/plans", json=QUICK).json()["id"]
    with client.stream("GET", f"/api/jobs/{job_id}/events") as answer:
        jobs = [json.loads(line.removeprefix("data: ")) for line in answer.iter_lines() if line.startswith("data: ")]

    assert answer.headers["content-type"].startswith("text/event-stream")
    assert jobs[-1]["state"] == "done"
    assert {job["id"] for job in jobs} == {job_id}
    assert len({job["stage"] for job in jobs}) > 2


def test_doubt_is_weighed_unless_it_is_turned_off(client, ended, log_id):
    jobs = [
        client.post(f"/api/logs/{log_id}/plans", json={"lays": 12, **more}).json() for more in ({}, {"doubt": "off"})
    ]
    weighed, plain = (client.get(f"/api/plans/{ended(job['id'])['plan_id']}").json() for job in jobs)
    lines = {line["id"]: line["net_expected"] for line in client.get("/api/plans").json()}

    assert weighed["doubt"]["samples"] > 0
    assert lines[weighed["id"]] == weighed["plans"][0]["net_expected"]
    assert (plain["doubt"], lines[plain["id"]]) == (None, None)


@pytest.fixture(scope="module")
def ticks_at(client, ended, log_id):
    """Where the ticks of a plan are."""
    return f"/api/plans/{ended(client.post(f'/api/logs/{log_id}/plans', json=QUICK).json()['id'])['plan_id']}/ticks"


def test_ticks_of_two_phones_are_all_there(client, ticks_at):
    made = client.put(f"{ticks_at}/1/pass-1", params={"who": "  Ann \n"})
    client.put(f"{ticks_at}/1/pass-2", params={"who": "Ben"})
    client.put(f"{ticks_at}/1/roll")
    taken_back = client.delete(f"{ticks_at}/1/roll")

    assert (made.status_code, made.json()["who"], made.json()["changes"]) == (200, "Ann", 1)
    assert (taken_back.status_code, taken_back.json()["is_ticked"]) == (200, False)
    ticks = {tick["step"]: (tick["is_ticked"], tick["who"]) for tick in client.get(ticks_at).json()}
    assert ticks == {"pass-1": (True, "Ann"), "pass-2": (True, "Ben"), "roll": (False, "")}


def test_an_untick_that_comes_late_takes_back_no_tick_that_it_did_not_see(client, ticks_at):
    client.put(f"{ticks_at}/1/sweep", params={"who": "Ben"})

    late = client.delete(f"{ticks_at}/1/sweep", params={"who": "Ann", "seen": 0, "seconds_ago": 5})
    aimed = client.delete(f"{ticks_at}/1/sweep", params={"who": "Ann", "seen": 1, "seconds_ago": 5})

    assert (late.status_code, late.json()["is_ticked"], late.json()["who"]) == (200, True, "Ben")
    assert (aimed.json()["is_ticked"], aimed.json()["changes"]) == (False, 2)


@pytest.mark.parametrize(
    ("path", "params", "status", "said"),
    [
        ("1/pass-99", {}, 404, "no step pass-99; its passes are pass-1 to pass-"),
        ("9/pass-1", {}, 404, "no way called 9"),
        ("1/PASS", {}, 422, "step"),
        ("1/pass-1", {"who": "x" * 41}, 422, "who"),
        ("1/pass-1", {"seen": -1}, 422, "seen"),
        ("1/pass-1", {"seconds_ago": "inf"}, 422, "seconds_ago"),
        ("1/pass-1", {"by": "Ann"}, 422, "'by' is not known here"),
    ],
)
def test_a_tick_of_what_is_not_there_is_refused_in_one_line(client, ticks_at, path, params, status, said):
    assert said in refused(client.put(f"{ticks_at}/{path}", params=params), status)
    assert said in refused(client.delete(f"{ticks_at}/{path}", params=params), status)
    refused(client.get(f"/api/plans/{'0' * 32}/ticks"), 404)
