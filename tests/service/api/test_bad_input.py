"""What no program should send: each is refused in the one shape, and breaks nothing."""

import json

import pytest
from odd_texts import HALF, NINES
from served import refused, serving

from service.settings import Settings
from service.store.passphrase import keep_passphrase
from service.web.body_limit import stated_bytes

JSON = {"Content-Type": "application/json"}
SHEET = {"name": "x", "section": [{"at_m": 0, "wide_m": 0.4}, {"at_m": 2, "wide_m": 0.35}]}
MILL = {"throat_m": 1, "kerf_m": 0.002, "height_step_m": 0.001}
PRICES = {
    "per_board_foot": [{"species": "any", "quarters": 8, "price": 5}],
    "limits": {"min_width_m": 0.2, "min_length_m": 1},
}


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/logs/sheet", SHEET | {"name": HALF}),
        ("/api/logs/sheet", SHEET | {"species": HALF}),
        ("/api/logs/sheet", SHEET | {HALF: 1}),
        ("/api/logs/sheet", SHEET | {"length": HALF}),
        ("/api/logs/sheet", SHEET | {"length_m": HALF}),
        ("/api/logs/sheet", SHEET | {"length": NINES + " ft"}),
        ("/api/logs/sheet", SHEET | {"length": "9" * 5000 + " ft"}),
        ("/api/logs/sheet", SHEET | {"length": 10**400}),
        ("/api/logs/sheet", SHEET | {"length_m": 10**400}),
        ("/api/logs/sheet", SHEET | {"length_m": float("nan")}),
        ("/api/logs/sheet", SHEET | {"length": float("inf")}),
        ("/api/mills", MILL | {"name": HALF}),
        ("/api/mills", MILL | {"pace": {HALF: 1}}),
        ("/api/mills", {"throat": NINES + " in", "kerf_m": 0.002, "height_step_m": 0.001}),
        ("/api/mills", MILL | {"max_log_mass_kg": 10**400}),
        ("/api/price-books", PRICES | {"currency": HALF}),
        ("/api/price-books", PRICES | {HALF: HALF}),
        ("/api/logs/{log_id}/marks", {"kind": "metal", HALF: 1}),
        ("/api/logs/{log_id}/marks", {"kind": HALF, "x": HALF}),
        ("/api/logs/{log_id}/ways", {"heights": HALF, "roll_deg": 0}),
        ("/api/logs/{log_id}/plans", {"mill_id": HALF}),
        ("/api/session", {"passphrase": HALF}),
        ("/api/session", {HALF: HALF}),
    ],
)
def test_what_json_can_hold_and_no_document_takes_is_refused(client, log_id, path, body):
    refused(client.post(path.format(log_id=log_id), content=json.dumps(body), headers=JSON), 422)


@pytest.mark.parametrize("body", [b'{"length_m":' + b"9" * 5000 + b"}", b"[" * 50_000, b'{"name":"\xff"}', b""])
def test_what_is_no_json_is_refused(client, body):
    assert client.post("/api/logs/sheet", content=body, headers=JSON).status_code in {400, 422}


@pytest.mark.parametrize("heights", ["nan", "1/0", "inf", "-5", "", "1e400", NINES, "9999", "20, nan", "20,"])
def test_heights_that_are_none_are_refused_before_a_job_is_made(client, log_id, heights):
    before = client.get("/api/jobs").json()

    message = refused(client.post(f"/api/logs/{log_id}/ways", json={"heights": heights, "roll_deg": 0}), 422)

    assert message.startswith("heights")
    assert client.get("/api/jobs").json() == before


@pytest.mark.parametrize(
    "change", [{"shim_butt": "nan"}, {"shim_top": "-1"}, {"stretch": "1 ft to inf"}, {"seen": ["1: nan x 1/0"]}]
)
def test_other_lengths_of_a_way_too(client, log_id, change):
    way = {"heights": "10, 8", "roll_deg": 0, **change}

    refused(client.post(f"/api/logs/{log_id}/ways", json=way), 422)


@pytest.mark.parametrize("about", [{"end_trim": "-5 in"}, {"end_trim": "1/0 in"}, {"taped_length": "0"}])
def test_lengths_said_of_a_log_are_refused_while_whoever_says_them_is_there(client, log_id, about):
    refused(client.patch(f"/api/logs/{log_id}", json={"about": about}), 422)


@pytest.mark.parametrize("origin", ["http://[evil", "http://[", "http://evil.example:x", "//[::1"])
def test_an_origin_that_is_no_address_is_of_another_site(client, origin):
    refused(client.post("/api/logs/sample", headers={"Origin": origin}), 403)


@pytest.mark.parametrize("path", ["/api/logs", "/logs"])
@pytest.mark.parametrize("boundary", ["b" * 300, "", '"'])
def test_a_form_whose_parts_cannot_be_told_is_refused(client, path, boundary):
    kind = {"Content-Type": f"multipart/form-data; boundary={boundary}"}

    assert client.post(path, content=b"x", headers=kind).status_code == 422


def test_a_stated_length_is_read_whatever_stands_there():
    assert [stated_bytes(text) for text in (None, "", "12", "-1", "1e3", "²", " 7")] == [
        None, None, 12, None, None, None, None,
    ]  # fmt: skip
    assert (stated_bytes("9" * 5000) or 0) > 10**15


@pytest.mark.parametrize("host", ["localhost/static/x?", "127.0.0.1/healthz#", "localhost?/sign-in", "a@localhost"])
def test_no_host_opens_what_needs_the_passphrase(own_files, tmp_path, host):  # noqa: ARG001
    keep_passphrase("heron ladle quartz tide", tmp_path)
    with serving(Settings(data_folder=tmp_path, slots=0, free_bytes=0)) as client:
        assert client.get("/api/mills").status_code == 401
        refused(client.get("/api/mills", headers={"Host": host}), 421)
