"""Who may ask: hosts, other sites' pages, the passphrase; and the headers of every answer."""

import re
import threading
import time

import pytest
from served import refused, serving

from service.contract.refusals import TooManyError, WrongHostError
from service.settings import Settings
from service.store.passphrase import keep_passphrase
from service.typed.errors import InputError
from service.web import sessions
from service.web.api_errors import routes_of
from service.web.app import create_app
from service.web.guard import check_host
from service.web.tries import Tries

PASSPHRASE = "heron ladle quartz tide"  # noqa: S105 - of these tests alone


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8100", "127.0.0.1.evil.example", "", "localhost.evil"])
def test_a_strange_host_is_refused(client, host):
    assert "does not go by" in refused(client.get("/api/mills", headers={"Host": host}), 421)


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:99", "127.0.0.1:1", "[::1]:8100", "192.168.1.7", "mill.lan"])
def test_own_hosts_are_known(host):
    check_host(host, Settings(allowed_hosts=("Mill.lan",)))


def test_a_name_of_somebody_elses_settings_is_not_known():
    with pytest.raises(WrongHostError):
        check_host("mill.lan", Settings())


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_sites_page_changes_nothing(client, headers):
    before = client.get("/api/logs").json()

    refused(client.post("/api/logs/sample", headers=headers), 403)
    assert client.get("/api/logs").json() == before


def test_no_route_that_changes_anything_is_open_to_another_site(own_files, tmp_path):  # noqa: ARG001
    app = create_app(Settings(data_folder=tmp_path, slots=0))
    changing = {
        (method, re.sub(r"{[^}]*}", "0" * 32, route.path))
        for router in app.state.routers
        for route in routes_of(router)
        for method in route.methods - {"GET", "HEAD", "OPTIONS"}
    }
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    with serving(Settings(data_folder=tmp_path, slots=0, free_bytes=0)) as client:
        own = {"Origin": f"http://{client.base_url.host}:{client.base_url.port}", "Sec-Fetch-Site": "same-origin"}
        answers = {
            (site, method, path): client.request(
                method, path, headers={**form, **headers}, content=b"units=metric"
            ).status_code
            for site, headers in (
                ("origin", {"Origin": "https://evil.example"}),
                ("fetch", {"Sec-Fetch-Site": "cross-site"}),
                ("own", own),
            )
            for method, path in sorted(changing)
        }

    assert len(changing) > 30
    assert {"/units", "/sign-in", "/logs"} <= {path for _, path in changing}  # form posts are among them
    assert {status for (site, *_), status in answers.items() if site != "own"} == {403}
    assert 403 not in {status for (site, *_), status in answers.items() if site == "own"}


def test_own_pages_and_programs_may(client):
    own = f"http://{client.base_url.host}:{client.base_url.port}"

    assert client.post("/api/logs/sample", headers={"Origin": own, "Sec-Fetch-Site": "same-origin"}).is_success
    assert client.post("/api/logs/sample").is_success


@pytest.mark.parametrize(("method", "path"), [("GET", "/api/mills"), ("GET", "/nowhere"), ("PUT", "/api/logs")])
def test_every_answer_keeps_browsers_careful(client, method, path):
    headers = client.request(method, path).headers

    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert "server" not in headers


def test_others_can_be_let_in_with_a_passphrase_alone(tmp_path):
    with pytest.raises(InputError, match="needs a passphrase"):
        create_app(Settings(host="0.0.0.0", data_folder=tmp_path))  # noqa: S104 - that is what is refused
    keep_passphrase(PASSPHRASE, tmp_path)

    create_app(Settings(host="0.0.0.0", data_folder=tmp_path))  # noqa: S104


def test_only_the_hash_of_the_passphrase_is_kept_and_for_its_owner_alone(tmp_path):
    path = keep_passphrase(PASSPHRASE, tmp_path)

    assert path.read_text().startswith("$argon2id$")
    assert PASSPHRASE not in path.read_text()
    assert path.stat().st_mode & 0o077 == 0
    with pytest.raises(InputError, match="12 to 1000 letters, got 5"):
        keep_passphrase("short", tmp_path)


@pytest.fixture(scope="module")
def locked(own_files, tmp_path_factory):  # noqa: ARG001
    folder = tmp_path_factory.mktemp("locked")
    keep_passphrase(PASSPHRASE, folder)
    with serving(Settings(data_folder=folder, slots=0, tries=3, free_bytes=0)) as client:
        yield client


def test_without_a_session_there_is_nothing_to_see(locked):
    for path in ("/api/logs", "/api/openapi.json", "/api/nowhere", "/api/session/x"):
        assert "signed in" in refused(locked.get(path), 401)
    refused(locked.post("/api/logs/sample"), 401)
    page = locked.get("/plans/x", headers={"Accept": "text/html"})
    assert (page.status_code, page.headers["location"]) == (303, "/sign-in?next=/plans/x")
    assert locked.get("/healthz").json()["status"] == "ok"
    assert locked.get("/api/session").json() == {"is_needed": True, "signed_in": False}


def test_signing_in_and_out(locked):
    answer = locked.post("/api/session", json={"passphrase": PASSPHRASE})
    cookie = answer.headers["set-cookie"]
    token = locked.cookies["pithline"]
    seen = locked.get("/api/logs")
    locked.delete("/api/session")
    after = locked.get("/api/logs", headers={"Cookie": f"pithline={token}"})

    assert answer.json() == {"is_needed": True, "signed_in": True}
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    assert seen.status_code == 200
    refused(after, 401)


def test_a_made_up_token_is_no_session(locked):
    refused(locked.get("/api/logs", headers={"Cookie": "pithline=made-up"}), 401)


def test_a_session_ends_with_its_passphrase_and_its_time(own_files, tmp_path):  # noqa: ARG001
    keep_passphrase(PASSPHRASE, tmp_path)
    settings = Settings(data_folder=tmp_path, slots=0, free_bytes=0)
    with serving(settings) as client:
        client.post("/api/session", json={"passphrase": PASSPHRASE})
        token = {"Cookie": f"pithline={client.cookies['pithline']}"}
        assert client.get("/api/logs", headers=token).status_code == 200
    with serving(settings) as client:
        assert client.get("/api/logs", headers=token).status_code == 200
    keep_passphrase("another set of words", tmp_path)
    with serving(settings) as client:
        refused(client.get("/api/logs", headers=token), 401)
    with serving(settings.model_copy(update={"session_hours": 1e-9})) as client:
        answer = client.post("/api/session", json={"passphrase": "another set of words"})
        # The browser forgets the cookie by itself; who sends it all the same is told that it is over.
        token = {"Cookie": answer.headers["set-cookie"].partition(";")[0]}
        refused(client.get("/api/logs", headers=token), 401)


def test_over_https_the_cookie_is_for_https_alone(own_files, tmp_path):  # noqa: ARG001
    keep_passphrase(PASSPHRASE, tmp_path)
    with serving(Settings(data_folder=tmp_path, slots=0, behind_https=True)) as client:
        cookie = client.post("/api/session", json={"passphrase": PASSPHRASE}).headers["set-cookie"]

    assert cookie.startswith("__Host-pithline=")
    assert "Secure" in cookie


def test_wrong_tries_are_limited_and_many_at_once_are_no_way_round(own_files, tmp_path):  # noqa: ARG001
    keep_passphrase(PASSPHRASE, tmp_path)
    answers = []
    with serving(Settings(data_folder=tmp_path, slots=0, tries=3)) as client:

        def guess(k: int) -> None:
            answers.append(client.post("/api/session", json={"passphrase": f"a wrong guess {k}"}))

        threads = [threading.Thread(target=guess, args=(k,)) for k in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        last = client.post("/api/session", json={"passphrase": PASSPHRASE})

    assert sorted(answer.status_code for answer in answers) == [401] * 3 + [429] * 5
    assert "too often" in refused(last, 429)
    assert 0 < int(last.headers["retry-after"]) <= 900


class Clock:
    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        return self.now_s


def test_tries_are_forgotten_in_time():
    clock = Clock()
    tries = Tries(2, 60.0, clock)
    tries.begin("a")
    clock.now_s = 1.0
    tries.begin("a")
    clock.now_s = 11.0
    with pytest.raises(TooManyError, match="wait 50 s"):
        tries.begin("a")
    tries.begin("b")
    clock.now_s = 61.5
    tries.begin("a")
    tries.begin("a")
    with pytest.raises(TooManyError, match="wait 60 s"):
        tries.begin("a")


def test_who_was_right_begins_anew():
    tries = Tries(2, 60.0)
    tries.begin("a")
    tries.was_right("a")
    tries.begin("a")
    tries.begin("a")
    with pytest.raises(TooManyError):
        tries.begin("a")


def test_many_addresses_lock_nobody_else_out():
    tries = Tries(2, 60.0)
    for k in range(1000):
        tries.begin(f"10.0.{k // 250}.{k % 250}")
        tries.begin(f"10.0.{k // 250}.{k % 250}")

    tries.begin("192.168.1.7")


@pytest.mark.parametrize(
    ("first", "second"), [("2001:db8:1:2::1", "2001:db8:1:2:ffff::9"), ("::ffff:10.0.0.1", "10.0.0.1")]
)
def test_addresses_of_one_owner_are_counted_together(first, second):
    tries = Tries(1, 60.0)
    tries.begin(first)
    with pytest.raises(TooManyError):
        tries.begin(second)
    tries.begin("2001:db8:1:3::1")


def test_whoever_knows_the_passphrase_gets_in_while_many_addresses_guess(own_files, tmp_path, monkeypatch):  # noqa: ARG001
    """Addresses are told by a proxy's header here, as all come from this machine."""
    keep_passphrase(PASSPHRASE, tmp_path)
    is_guessing = threading.Event()

    def slow(passphrase, _hash_text):
        is_guessing.set()
        time.sleep(0.02)
        return passphrase == PASSPHRASE

    monkeypatch.setattr(sessions, "is_right", slow)
    settings = Settings(data_folder=tmp_path, slots=0, tries=3, free_bytes=0, behind_https=True)
    with serving(settings) as client:
        answer = client.post("/api/session", json={"passphrase": PASSPHRASE})
        own = {"Cookie": answer.headers["set-cookie"].partition(";")[0]}
        statuses = []

        def guess(k: int) -> None:
            sent = client.post(
                "/api/session", json={"passphrase": f"a wrong guess {k}"}, headers={"X-Forwarded-For": f"10.0.0.{k}"}
            )
            statuses.append(sent.status_code)

        is_guessing.clear()
        threads = [threading.Thread(target=guess, args=(k,)) for k in range(60)]
        for thread in threads:
            thread.start()
        is_guessing.wait()
        signed_in = client.get("/api/logs", headers=own)
        before = len(statuses)
        right = client.post("/api/session", json={"passphrase": PASSPHRASE}, headers={"X-Forwarded-For": "192.168.1.7"})
        for thread in threads:
            thread.join()

    assert signed_in.status_code == 200
    assert before < 60  # it was answered while guesses waited
    assert right.status_code == 200
    assert statuses == [401] * 60


def test_no_passphrase_no_signing_in(client):
    assert client.get("/api/session").json() == {"is_needed": False, "signed_in": False}
    refused(client.post("/api/session", json={"passphrase": PASSPHRASE}), 409)
