"""Logs, marks, mills, price books and ways over HTTP; and every error in one shape."""

import json
import tomllib

import httpx
import pytest
from meshes import read_mesh
from served import refused, serving
from small_log import MILL, PRICES, STRAIGHT

from optimizer.documents.mill import Mill
from scans.log import Solid
from service import desk
from service.settings import Settings
from service.web import api_mills

NOBODY = "0" * 32
FACES = {"throat": "30 in", "kerf": "1/16 in", "height_step": "1/16 in", "name": "Other mill"}


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "says"),
    [
        ("GET", "/api/nowhere", None, 404, "there is no such page"),
        ("GET", "/nowhere", None, 404, "there is no such page"),
        ("DELETE", "/api/logs", None, 405, "Method Not Allowed"),
        ("GET", f"/api/logs/{NOBODY}", None, 404, "there is no such log"),
        ("GET", f"/api/plans/{NOBODY}", None, 404, "there is no such plan"),
        ("GET", f"/api/jobs/{NOBODY}/events", None, 404, "there is no such job"),
        ("POST", f"/api/logs/{NOBODY}/plans", {}, 404, "there is no such log"),
        ("POST", f"/api/jobs/{NOBODY}/cancel", None, 404, "there is no such job"),
        ("GET", "/api/logs/..%2f..%2fetc", None, 404, "there is no such page"),
        ("GET", "/api/logs/ABC", None, 422, "log_id"),
        ("GET", "/api/logs?limit=0", None, 422, "limit"),
        ("POST", "/api/mills", {"throat": "56"}, 422, "throat"),
        ("POST", "/api/mills", {"thraot": "56 in"}, 422, "did you mean throat"),
        ("POST", "/api/price-books", {}, 422, "missing"),
        ("POST", "/api/session", {"passphrase": 1}, 422, "passphrase"),
    ],
)
def test_errors_have_one_shape(client, method, path, body, status, says):
    assert says.lower() in refused(client.request(method, path, json=body), status).lower()


def test_what_is_no_json_is_said_so(client):
    headers = {"Content-Type": "application/json"}

    assert refused(client.post("/api/mills", content=b"{", headers=headers), 422) == "the body is no JSON"
    assert refused(client.post("/api/mills", content=b"\xff\xfe", headers=headers), 422) == "the body is no JSON"


def test_a_body_over_the_limit_is_refused_stated_or_not(client):
    large = b'{"name": "' + b"x" * 1_100_000 + b'"}'

    def unstated():
        yield large

    headers = {"Content-Type": "application/json"}
    assert "over 1,000,000 bytes" in refused(client.post("/api/mills", content=large, headers=headers), 413)
    assert "over 1,000,000 bytes" in refused(client.post("/api/mills", content=unstated(), headers=headers), 413)


@pytest.mark.parametrize("path", ["/api/logs", "/logs"])
def test_a_large_scan_is_no_large_body(client, path):
    scan = b"not a scan, and over a million bytes %s " % path.encode() * 40_000
    answer = client.post(path, files={"file": (f"large{len(path)}.ply", scan)})
    log = client.get("/api/logs", params={"limit": 1}).json()[0]

    assert answer.status_code in {202, 303}
    assert (log["file_name"], log["file_bytes"]) == (f"large{len(path)}.ply", len(scan))


def test_what_breaks_here_is_500_and_says_nothing_of_the_inside(client, monkeypatch):
    def broken():
        raise ZeroDivisionError("a secret of the inside")

    monkeypatch.setattr(api_mills, "species_lines", broken)
    answer = client.get("/api/species")

    refused(answer, 500)
    assert "secret" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("name", "content", "data", "says"),
    [
        ("log.toml", "section = 1", {}, "section"),
        ("log.toml", "not toml", {}, "has a typo"),
        ("log.toml", STRAIGHT, {"bark": "maybe"}, "bark"),
        ("log.toml", STRAIGHT, {"colour": "red"}, "'colour' is not known here"),
        ("log.toml", STRAIGHT, {"species": "plastic"}, "plastic"),
        ("log.toml", STRAIGHT, {"end_trim": "2"}, "end_trim"),
        ("log.toml", "", {}, "is empty"),
    ],
)
def test_a_wrong_sheet_is_refused_at_once_and_not_kept(client, name, content, data, says):
    before = client.get("/api/logs").json()

    assert says in refused(client.post("/api/logs", files={"file": (name, content)}, data=data), 422)
    assert client.get("/api/logs").json() == before


def test_a_file_that_is_no_scan_fails_in_its_job_with_the_reason(client, ended):
    added = client.post("/api/logs", files={"file": ("cat.jpg", b"\xff\xd8\xff\xe0 a cat")}).json()
    job = ended(added["job"]["id"])
    log = client.get(f"/api/logs/{added['log']['id']}").json()

    assert job["state"] == "failed"
    assert job["error"]["status"] == 422
    assert "cat.jpg" in job["error"]["message"]
    assert (log["state"], log["error"]) == ("failed", job["error"])
    refused(client.post(f"/api/logs/{log['id']}/plans", json={}), 409)
    refused(client.get(f"/api/logs/{log['id']}/solid.ply"), 409)


def test_a_sheet_comes_as_json_too_and_is_the_same_log(client, ended):
    sheet = tomllib.loads(STRAIGHT) | {"name": 'By "JSON"\u007f'}
    added = client.post("/api/logs/sheet", json=sheet)
    again = client.post("/api/logs/sheet", json=sheet)
    ended(added.json()["job"]["id"])
    log = client.get(f"/api/logs/{added.json()['log']['id']}").json()

    assert (added.status_code, again.status_code) == (202, 200)
    assert (log["state"], log["name"]) == ("ready", 'By "JSON"\u007f')
    assert abs(log["facts"]["length_m"] - 1.524) < 1e-6


def test_what_is_said_with_a_bare_body_stands_in_its_address(client, ended):
    said = {"file_name": "log.toml", "name": "Bare", "cost": 7, "species": "northern red oak"}
    added = client.post("/api/logs", content=STRAIGHT.encode(), params=said).json()
    ended(added["job"]["id"])
    log = client.get(f"/api/logs/{added['log']['id']}").json()

    assert (log["name"], log["facts"]["cost"], log["facts"]["species"]) == ("Bare", 7.0, "oak, northern red")


def test_a_log_is_renamed_and_read_again_where_something_else_is_said(client, ended):
    added = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}, data={"cost": "1"}).json()
    ended(added["job"]["id"])
    path = f"/api/logs/{added['log']['id']}"
    named = client.patch(path, json={"name": "Renamed"}).json()
    said = client.patch(path, json={"about": {"cost": 2, "end_trim": "3 in"}}).json()
    ended(said["job_id"])
    log = client.get(path).json()

    assert (named["name"], named["state"], named["job_id"]) == ("Renamed", "ready", added["job"]["id"])
    assert said["job_id"] != added["job"]["id"]
    assert (log["name"], log["state"], log["facts"]["cost"]) == ("Renamed", "ready", 2.0)
    assert abs(log["facts"]["end_trim_m"] - 0.0762) < 1e-9
    assert client.delete(path).status_code == 204
    refused(client.get(path), 404)


@pytest.mark.parametrize("ending", ["ply", "stl", "obj", "glb"])
def test_the_solid_is_a_closed_mesh(client, log_id, ending):
    vertices, faces = read_mesh(client.get(f"/api/logs/{log_id}/solid.{ending}").content, ending)

    facts = client.get(f"/api/logs/{log_id}").json()["facts"]
    assert abs(Solid(vertices, faces).volume_m3 - facts["volume_m3"]) < 1e-6
    refused(client.get(f"/api/logs/{log_id}/solid.exe"), 422)


def test_marks_are_measured_or_pointed_out_and_change_the_plan(client, ended, log_id):
    path = f"/api/logs/{log_id}/marks"
    taped = client.post(path, json={"kind": "metal", "at": "2 ft", "toward_deg": 90, "radius": "1 in", "depth": "4 in"})
    placed = client.post(
        path, json={"kind": "knot", "x_m": 0.7, "y_m": 0.0, "z_m": 0.19, "radius_m": 0.03, "depth_m": 0.1}
    )
    off = client.post(path, json={"kind": "knot", "x_m": 9, "y_m": 0, "z_m": 0, "radius_m": 0.03, "depth_m": 0.1})
    beyond = client.post(path, json={"kind": "metal", "at": "20 ft", "radius": "1 in", "depth": "4 in"})
    bad = client.post(path, json={"kind": "knot", "at": "2 ft"})
    plan = client.get(
        f"/api/plans/{ended(client.post(f'/api/logs/{log_id}/plans', json={'lays': 12}).json()['id'])['plan_id']}"
    )
    marks = client.get(path).json()

    assert (taped.status_code, placed.status_code) == (201, 201)
    assert abs(taped.json()["mark"]["x_m"] - 0.6096) < 1e-6
    assert [mark["mark"]["id"] for mark in marks] == ["metal 1", "knot 1"]
    assert "x_m must lie on the log" in refused(off, 422)
    assert "at must lie on the log" in refused(beyond, 422)
    assert "radius is missing for knot" in refused(bad, 422)
    assert [mark["id"] for mark in plan.json()["log"]["marks"]] == ["metal 1", "knot 1"]
    for mark in marks:
        assert client.delete(f"{path}/{mark['mark_id']}").status_code == 204
    refused(client.delete(f"{path}/{marks[0]['mark_id']}"), 404)
    assert client.get(path).json() == []


def test_mills_and_price_books_are_kept_changed_and_taken_home(client):
    mill = client.post("/api/mills", json=FACES).json()
    changed = client.put(f"/api/mills/{mill['id']}", json=FACES | {"throat": "40 in"}).json()
    home = client.get(f"/api/mills/{mill['id']}/mill.toml")
    book = client.post("/api/price-books", json=tomllib.loads(PRICES)).json()
    book_home = client.get(f"/api/price-books/{book['id']}/prices.toml")

    assert abs(changed["mill"]["throat_m"] - 1.016) < 1e-9
    assert Mill.model_validate(tomllib.loads(home.text)) == Mill.model_validate(changed["mill"])
    assert tomllib.loads(book_home.text)["name"] == "Test book"
    assert [kept["name"] for kept in client.get("/api/mills").json()] == ["Other mill", "Test mill"]
    for path in (f"/api/mills/{mill['id']}", f"/api/price-books/{book['id']}"):
        assert client.delete(path).status_code == 204
        refused(client.get(path), 404)


def test_a_plan_is_made_on_the_mill_that_it_names(client, ended, log_id):
    mill = client.post("/api/mills", json=tomllib.loads(MILL) | {"name": "Named"}).json()
    last = client.post("/api/mills", json=FACES).json()
    job = client.post(f"/api/logs/{log_id}/plans", json={"mill_id": mill["id"], "lays": 12, "doubt": "off"}).json()
    for kept in (mill, last):
        client.delete(f"/api/mills/{kept['id']}")

    plan = client.get(f"/api/plans/{ended(job['id'])['plan_id']}").json()

    assert plan["mill"]["name"] == "Named"
    assert "there is no such mill" in refused(
        client.post(f"/api/logs/{log_id}/plans", json={"mill_id": last["id"]}), 404
    )


def test_a_way_that_goes_on_from_a_plan_is_priced_on_its_mill_though_it_is_gone(client, ended, log_id):
    mill = client.post("/api/mills", json=tomllib.loads(MILL) | {"name": "Gone", "scale_zero": "1 in"}).json()
    way = {"roll_deg": 0, "heights": "11, 8 1/2, 6", "doubt": "off"}
    first = ended(client.post(f"/api/logs/{log_id}/ways", json=way | {"mill_id": mill["id"]}).json()["id"])["plan_id"]
    client.delete(f"/api/mills/{mill['id']}")
    on = way | {"heights": "11", "made": 1, "of_plan": first}

    rest = client.get(f"/api/plans/{ended(client.post(f'/api/logs/{log_id}/ways', json=on).json()['id'])['plan_id']}")
    lost = client.post(f"/api/logs/{log_id}/ways", json=on | {"of_plan": "0" * 32})

    assert rest.json()["mill"] == client.get(f"/api/plans/{first}").json()["mill"]
    assert rest.json()["mill"]["name"] == "Gone"
    assert round(rest.json()["plans"][0]["passes"][0]["blade_height_m"] / 0.0254, 3) == 12.0  # its scale begins at 1 in
    assert "there is no such plan" in refused(lost, 404)


def test_a_way_is_priced_and_faces_compared(client, ended, log_id):
    way = {"roll_deg": 0, "heights": "12, 9 1/2, 7", "seen": ["1: 3 in x 5 ft"]}
    job = ended(client.post(f"/api/logs/{log_id}/ways", json=way).json()["id"])
    plan = client.get(f"/api/plans/{job['plan_id']}").json()

    assert plan["doubt"]["samples"] > 0
    assert [round(cut["blade_height_m"] / 0.0254, 3) for cut in plan["plans"][0]["passes"]] == [12.0, 9.5, 7.0]
    # Doubt was weighed by the face, and says itself that no log may show it: nobody is told so twice.
    assert any("Measure the face and the log again" in warning["text"] for warning in plan["warnings"])
    assert not any("Measure the log again" in warning["text"] for warning in plan["warnings"])
    assert [line["kind"] for line in client.get("/api/plans").json() if line["id"] == plan["id"]] == ["way"]


@pytest.mark.parametrize(
    ("way", "says", "status", "field"),
    [
        ({"roll_deg": 0, "heights": "7, 9"}, "heights must fall", 422, "heights"),
        ({"roll_deg": 0, "heights": "seven"}, "heights: ", 422, "heights"),
        ({"roll_deg": 0, "heights": "9, 7", "seen": ["wide"]}, "seen must hold", 422, "seen"),
        ({"roll_deg": 0, "heights": "0.1, 0.05", "units": "metric"}, "leave no wood", 422, "heights"),
    ],
)
def test_a_way_that_cannot_be_is_refused_with_the_reason(client, ended, log_id, way, says, status, field):
    answer = client.post(f"/api/logs/{log_id}/ways", json={"doubt": "off", **way})
    # What only the log itself can tell is told by the job.
    error = (ended(answer.json()["id"]) if answer.status_code == 202 else answer.json())["error"]

    assert says in error["message"]
    assert "--" not in error["message"]
    assert (error["status"], error["field"]) == (status, field)


def test_no_plan_is_a_conflict_that_says_why(client, ended, log_id):
    narrow = client.post("/api/mills", json=FACES | {"throat": "6 in"}).json()
    job = ended(client.post(f"/api/logs/{log_id}/plans", json={"lays": 12, "doubt": "off"}).json()["id"])
    client.delete(f"/api/mills/{narrow['id']}")

    assert (job["state"], job["error"]["status"]) == ("failed", 409)
    assert "throat" in job["error"]["message"]


def test_the_woods_are_those_of_the_table(client):
    woods = client.get("/api/species").json()

    assert len(woods) == 70
    assert {"maple, sugar", "walnut, black"} <= {wood["name"] for wood in woods}


def test_lays_are_bounded_by_the_settings(own_files, tmp_path):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path, slots=0, free_bytes=0, most_lays=50, most_queued=1)) as client:
        log_id = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()["log"]["id"]
        refused(client.post(f"/api/logs/{log_id}/plans", json={"lays": 50}), 409)
        assert "at most 50" in refused(client.post(f"/api/logs/{log_id}/plans", json={"lays": 51}), 422)
        waits = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}, data={"cost": "3"})

    assert "1 jobs wait already" in refused(waits, 429)
    assert waits.headers["retry-after"] == "60"


def test_uploads_are_limited_by_size_and_by_the_disk(own_files, tmp_path, monkeypatch):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path, slots=0, upload_bytes=1000, free_bytes=0)) as client:
        large = client.post("/api/logs", files={"file": ("log.ply", b"x" * 1001)})
        stated = client.post("/api/logs", content=b"x" * 300_000, params={"file_name": "log.ply"})
        monkeypatch.setattr("service.store.file_store.FileStore.free_bytes", lambda _: -1)
        full = client.post("/api/logs", files={"file": ("log.ply", b"x" * 10)})

    assert "over 1,000 bytes" in refused(large, 413)
    assert "over 1,000 bytes" in refused(stated, 413)
    assert "no room" in refused(full, 507)


def test_only_so_many_streams_may_be_open(own_files, tmp_path):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path, slots=0, most_streams=1)) as client:
        job_id = client.post("/api/logs/sample").json()["job"]["id"]
        with client.stream("GET", f"/api/jobs/{job_id}/events") as first:
            lines = first.iter_lines()
            shown = next(line for line in lines if line.startswith("data: "))
            refused(client.get(f"/api/jobs/{job_id}/events"), 429)
        assert json.loads(shown.removeprefix("data: "))["state"] == "queued"
        client.post(f"/api/jobs/{job_id}/cancel")
        # The stream before is closed as soon as the server sees it.
        for _ in range(40):
            answer = httpx.get(f"{client.base_url}/api/jobs/{job_id}/events")
            if answer.status_code == 200:
                break
        assert '"state":"cancelled"' in answer.text


def test_a_second_service_cannot_use_the_same_folder(own_files, tmp_path):  # noqa: ARG001
    settings = Settings(data_folder=tmp_path, slots=0)
    with serving(settings), pytest.raises(desk.InputError, match="another service uses"):
        desk.open_desk(settings)
    desk.open_desk(settings).close()


def test_what_the_asker_has_already_is_not_sent_again(client, ended, log_id):
    plan_id = ended(client.post(f"/api/logs/{log_id}/plans", json={"lays": 12, "doubt": "off"}).json()["id"])["plan_id"]
    for path in (f"/api/plans/{plan_id}", f"/api/logs/{log_id}/solid.ply"):
        first = client.get(path)
        again = client.get(path, headers={"If-None-Match": f'"other", {first.headers["etag"]}'})

        assert (again.status_code, again.content) == (304, b"")
        assert client.get(path, headers={"If-None-Match": '"other"'}).content == first.content


def test_a_log_that_is_removed_takes_its_running_job_with_it(client, ended, log_id):
    added = client.post("/api/logs/sample").json()
    ended(added["job"]["id"])
    job_id = client.post(f"/api/logs/{added['log']['id']}/plans", json={"lays": 20_000}).json()["id"]
    while client.get(f"/api/jobs/{job_id}").json()["state"] == "queued":
        pass
    assert client.delete(f"/api/logs/{added['log']['id']}").status_code == 204

    refused(client.get(f"/api/jobs/{job_id}"), 404)
    assert ended(client.post(f"/api/logs/{log_id}/plans", json={"lays": 12, "doubt": "off"}).json()["id"])["plan_id"]


def test_a_job_that_takes_too_long_is_stopped_and_says_so(own_files, tmp_path):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path, free_bytes=0, job_seconds=0.3)) as client:
        rows = b"\n".join(b"%d 1 2" % k for k in range(400_000))
        job_id = client.post("/api/logs", files={"file": ("invented.xyz", rows)}).json()["job"]["id"]
        with client.stream("GET", f"/api/jobs/{job_id}/events") as answer:
            last = [line for line in answer.iter_lines() if line.startswith("data: ")][-1]

    job = json.loads(last.removeprefix("data: "))
    assert (job["state"], job["attempt"]) == ("failed", 1)
    assert job["error"]["message"] == "it ran for 0.3 s, the most that a job may"


def test_a_job_that_takes_too_much_memory_is_stopped_and_says_so(own_files, tmp_path):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path, free_bytes=0, job_memory_bytes=60_000_000)) as client:
        rows = b"\n".join(b"%d 1 2" % k for k in range(400_000))
        job_id = client.post("/api/logs", files={"file": ("invented.xyz", rows)}).json()["job"]["id"]
        with client.stream("GET", f"/api/jobs/{job_id}/events") as answer:
            last = [line for line in answer.iter_lines() if line.startswith("data: ")][-1]

    job = json.loads(last.removeprefix("data: "))
    assert (job["state"], job["attempt"]) == ("failed", 1)
    assert job["error"]["message"] == "it took more than 0.06 GB of memory, the most that a job may"
    assert "PITHLINE_JOB_MEMORY_BYTES" in job["error"]["what_to_do"]


def test_an_address_says_all_methods_that_it_takes(client):
    assert client.put("/api/logs").headers["allow"] == "GET, POST"
    assert client.put(f"/api/logs/{NOBODY}").headers["allow"] == "DELETE, GET, PATCH"
