"""The API as its own description says: made-up requests from it get what it promises, and never break anything."""

import time
from collections import defaultdict

import pytest
from made_up import MEANINGLESS, ask_each, ask_oddly, walk
from schemathesis import GenerationMode
from served import serving
from small_log import STRAIGHT

from service.contract import job_state
from service.settings import FILES_FOLDER, Settings
from service.store.database import Database
from service.store.file_store import FileStore
from service.store.store import Store


@pytest.fixture(scope="module")
def idle(own_files, tmp_path_factory):  # noqa: ARG001
    """A service that does no jobs, with a log that was read: its client, and ids of what it has."""
    folder = tmp_path_factory.mktemp("schema")
    with serving(Settings(data_folder=folder, free_bytes=0)) as client:
        added = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()
        until = time.monotonic() + 300.0
        while client.get(f"/api/logs/{added['log']['id']}").json()["state"] != "ready":
            assert time.monotonic() < until
            time.sleep(0.05)
    scan_id = with_a_stopped_scan(folder, added["log"]["id"])
    with serving(Settings(data_folder=folder, free_bytes=0, slots=0, most_queued=1000)) as client:
        ids = {"log_id": added["log"]["id"], "job_id": added["job"]["id"], "scan_id": scan_id}
        ids["mill_id"] = client.get("/api/mills").json()[0]["id"]
        ids["prices_id"] = client.get("/api/price-books").json()[0]["id"]
        yield client, ids


def with_a_stopped_scan(folder, log_id):
    """Give a log another scan, whose fitting was stopped; return its id."""
    settings = Settings(data_folder=folder)
    database = Database(settings.database)
    store, files = Store(database), FileStore(folder / FILES_FOLDER)
    scan_id, job = store.add_walk(
        log_id,
        file_name="second.ply",
        file_sha256=files.add(b"a scan"),
        file_bytes=6,
        rolled_deg=None,
        most_queued=9,
    )
    store.step_job(job.id, job_state.cancel_asked)
    database.close()
    return scan_id


def operations(client):
    return client.get("/api/openapi.json").json()["paths"]


def test_everything_is_described(idle):
    client, _ = idle
    schema = client.get("/api/openapi.json").json()
    bare = [
        f"{method} {path}"
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
        if not operation.get("description") or any("description" not in p for p in operation.get("parameters", ()))
    ]
    unnamed = [
        f"{name}.{field}"
        for name, model in schema["components"]["schemas"].items()
        for field, about in model.get("properties", {}).items()
        if not {"description", "$ref"} & set(about)
    ]

    assert bare == []
    assert unnamed == []


def test_everything_that_is_asked_for_has_an_example(idle):
    client, _ = idle
    schema = client.get("/api/openapi.json").json()

    def resolved(about):
        name = about.get("$ref", "").rpartition("/")[2]
        return schema["components"]["schemas"][name] if name else about

    asked = [
        (f"{method} {path} {part}", about)
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
        for part, about in [
            *((p["name"], p) for p in operation.get("parameters", ())),
            *operation.get("requestBody", {}).get("content", {}).items(),
        ]
    ]

    assert len(asked) > 40
    bare = [at for at, about in asked if not (about.get("examples") or resolved(about["schema"]).get("examples"))]
    assert bare == []


def test_the_shortest_sheet_of_the_examples_is_taken_as_a_file(idle):
    client, _ = idle
    content = operations(client)["/api/logs"]["post"]["requestBody"]["content"]
    form, bare = content["multipart/form-data"], content["application/octet-stream"]

    by_form = client.post("/api/logs", files={"file": ("log.toml", form["examples"]["sheet"]["value"]["file"])})
    as_body = client.post(
        "/api/logs?file_name=log.toml",
        content=bare["examples"]["sheet"]["value"],
        headers={"Content-Type": "application/octet-stream"},
    )

    assert (by_form.status_code, as_body.status_code) == (202, 200)


@pytest.fixture
def asked():
    """What was answered, by operation."""
    return defaultdict(list)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_made_up_requests_get_what_is_promised(idle, asked, mode):
    client, ids = idle

    ask_each(client, ids, 6, lambda label, status: asked[label].append(status), mode)

    if mode is GenerationMode.POSITIVE:
        assert len(asked) == sum(map(len, operations(client).values())) - len(MEANINGLESS)
    else:
        assert {"POST /api/mills", "PUT /api/price-books/{prices_id}", "GET /api/jobs/{job_id}"} <= set(asked)
        assert 422 in asked["POST /api/mills"]


def test_sequences_that_use_each_others_answers_get_what_is_promised(idle, asked):
    client, ids = idle

    walk(client, ids, 20, lambda label, status: asked[label].append(status))

    # What was named by one answer was found by another request.
    found = {label for label, statuses in asked.items() if "_id}" in label and min(statuses) < 300}
    assert len(found) > 3


def test_what_no_description_could_think_of_breaks_nothing(idle, asked):
    client, ids = idle

    ask_oddly(client, ids, 10, lambda label, status: asked[label].append(status))

    assert len(asked) == sum(map(len, operations(client).values())) - len(MEANINGLESS)
    assert 422 in asked["POST /api/logs/sheet"]


def test_every_documented_example_is_taken(idle):
    client, ids = idle
    taken = []
    # What changes a log comes last, as the log is read again then.
    every = [(method, path, at) for path, methods in operations(client).items() for method, at in methods.items()]
    for method, path, operation in sorted(every, key=lambda one: (one[0] == "patch", -len(one[1]))):
        examples = operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("examples")
        for name, example in (examples or {}).items():
            answer = client.request(method, path.format(**ids), json=example["value"])
            taken.append((method, path, name, answer.status_code))

    assert len(taken) >= 14
    assert [one for one in taken if one[3] >= 400] == []
