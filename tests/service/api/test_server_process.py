"""`pithline serve` as a process: a real scan to its plan; cancelled, killed, restarted; nothing lost, nothing twice.

Worker processes are looked up in /proc, so that this runs on Linux alone.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks processes up in /proc")

COMMAND = [sys.executable, "-c", "from service.cli.command_line import main; main()", "serve", "--port", "0"]
SOME = {"lays": 100, "doubt": "off"}
SEARCHING = ("scouting", "refining", "pricing", "polishing")
LONG = {"lays": 20_000, "doubt": "off"}
"""Lays that no test waits for."""


class Server:
    def __init__(self, folder, environment):
        arguments = [*COMMAND, "--data", str(folder)]
        self.process = subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True, env=environment)
        line = self.process.stdout.readline()
        address = re.search(r"http://127\.0\.0\.1:\d+", line)
        assert address, f"the service said {line!r}"
        self.client = httpx.Client(base_url=address[0], timeout=30.0)

    def events(self, job_id):
        """Yield a job as it changes, until it ends."""
        with self.client.stream("GET", f"/api/jobs/{job_id}/events") as answer:
            for line in answer.iter_lines():
                if line.startswith("data: "):
                    yield json.loads(line.removeprefix("data: "))

    def ended(self, job_id):
        *_, last = self.events(job_id)
        return last

    def until(self, job_id, *stages):
        return next(job for job in self.events(job_id) if job["stage"] in stages)

    def upload(self, name, content, **said):
        added = self.client.post("/api/logs", files={"file": (name, content)}, data=said).json()
        return added["log"]["id"], added["job"]["id"]

    def plan(self, log_id, lays):
        return self.client.post(f"/api/logs/{log_id}/plans", json=lays).json()["id"]

    def document(self, plan_id):
        return self.client.get(f"/api/plans/{plan_id}").json()

    def workers(self):
        """Return the processes that the server started, and those that these did."""
        return {pid for pid in descendants(self.process.pid) if b"resource_tracker" not in command_of(pid)}

    def kill(self):
        self.process.kill()
        self.process.wait()

    def close(self):
        self.client.close()
        if self.process.poll() is None:
            self.process.terminate()
        try:
            code = self.process.wait(timeout=60)
        finally:
            self.process.kill()
            self.process.wait()
            self.process.stdout.close()
        assert code in {0, -signal.SIGKILL}


def parents():
    found = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if fields[0] != "Z":
            found[int(path.parent.name)] = int(fields[1])
    return found


def command_of(pid):
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def descendants(pid):
    every = parents()
    found, new = set(), {pid}
    while new:
        new = {child for child, parent in every.items() if parent in new} - found
        found |= new
    return found


def wait_until(condition, at_most=20.0):
    """Wait, for far less than what is stopped here would take by itself."""
    start = time.monotonic()
    while not condition():
        assert time.monotonic() - start < at_most, "it did not come about"
        time.sleep(0.01)


def gone(pids):
    return not pids & set(parents())


def ticks_used(pids):
    """Return the processor time of those processes that are still there, in clock ticks."""
    used = 0
    for pid in pids & set(parents()):
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        used += int(fields[11]) + int(fields[12])
    return used


def at_rest(pids):
    """Whether processes are gone or do nothing: a worker that saw the flag itself lives on and waits for a job."""
    before = ticks_used(pids)
    time.sleep(0.3)
    return ticks_used(pids) <= before + 1


@pytest.fixture(scope="module")
def environment(tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    root = Path(__file__).parents[3]
    changed = {"XDG_CONFIG_HOME": str(home), "PYTHONPATH": str(root), "PITHLINE_FREE_BYTES": "0"}
    return {name: value for name, value in os.environ.items() if not name.startswith("PITHLINE_")} | changed


class Service:
    """A data folder, and the server that was last started on it."""

    def __init__(self, folder, environment):
        self.folder, self.environment = folder, environment
        self.server = None

    def running(self):
        """Return a server, started anew where the last one has ended."""
        if self.server is None or self.server.process.poll() is not None:
            self.close()
            self.server = Server(self.folder, self.environment)
        return self.server

    def close(self):
        if self.server is not None:
            self.server.close()


@pytest.fixture(scope="module")
def service(tmp_path_factory, environment):
    service = Service(tmp_path_factory.mktemp("data"), environment)
    yield service
    service.close()


@pytest.fixture(scope="module")
def log_id(service):
    """The sample log, once it was read: its search takes seconds."""
    server = service.running()
    added = server.client.post("/api/logs/sample").json()
    assert server.ended(added["job"]["id"])["state"] == "done"
    return added["log"]["id"]


@pytest.fixture(scope="module")
def undisturbed(service, log_id):
    """The plan that a search makes whom nobody disturbs."""
    server = service.running()
    return server.document(server.ended(server.plan(log_id, SOME))["plan_id"])


def comparable(document):
    """Return a plan without what two runs may differ in."""
    document = {name: value for name, value in document.items() if name not in {"id", "made_at"}}
    return document | {"work": document["work"] | {"seconds": None}}


def test_a_real_scan_is_uploaded_and_watched_to_its_plan(service, data_folder):
    scan = (data_folder / "cc0" / "cc0_polyhaven_fork_log.ply").read_bytes()
    server = service.running()
    log_id, job_id = server.upload("fork.ply", scan, species="sugar maple")
    read = list(server.events(job_id))
    jobs = list(server.events(server.plan(log_id, {"lays": 40, "doubt": "off"})))
    document = server.document(jobs[-1]["plan_id"])

    assert [job["state"] for job in (read[-1], jobs[-1])] == ["done", "done"]
    assert "reading the file" in [job["stage"] for job in read]
    # A stage that lasts less than the time between two events may go by unseen.
    assert len({job["stage"] for job in jobs} & set(SEARCHING)) >= 2
    # At the end it is what the best plan nets: looked at on the solid itself, it may take a block more.
    bests = [job["best_net"] for job in jobs[:-1] if job["best_net"] is not None and job["state"] == "running"]
    assert bests == sorted(bests)
    assert jobs[-1]["best_net"] == pytest.approx(document["plans"][0]["net"], abs=0.01)
    assert document["log"]["source"]["kind"] == "solid"
    assert document["plans"][0]["slabs"]
    assert server.upload("fork.ply", scan, species="sugar maple")[0] == log_id


def test_a_search_is_cancelled_at_once(service, log_id):
    server = service.running()
    job_id = server.plan(log_id, LONG)
    server.until(job_id, *SEARCHING)
    workers = server.workers()
    server.client.post(f"/api/jobs/{job_id}/cancel")
    wait_until(lambda: server.client.get(f"/api/jobs/{job_id}").json()["state"] == "cancelled")

    assert workers
    wait_until(lambda: at_rest(workers))
    assert server.ended(server.plan(log_id, {"lays": 12, "doubt": "off"}))["state"] == "done"


def test_reading_is_cancelled_at_once_and_its_own_process_with_it(service):
    server = service.running()
    _, job_id = server.upload("invented.xyz", b"0.1234 0.5678 0.9012\n" * 6_000_000)
    server.until(job_id, "reading the file")
    wait_until(lambda: len(server.workers()) == 2)  # the slot's process, and its reader
    time.sleep(1.0)  # until the reader has the bytes, as it ends by itself without them
    workers = server.workers()
    server.client.post(f"/api/jobs/{job_id}/cancel")
    wait_until(lambda: server.client.get(f"/api/jobs/{job_id}").json()["state"] == "cancelled")

    assert len(workers) == 2
    wait_until(lambda: gone(workers))


def test_a_killed_worker_loses_nothing(service, log_id, undisturbed):
    server = service.running()
    job_id = server.plan(log_id, SOME)
    server.until(job_id, *SEARCHING)
    for pid in server.workers():
        os.kill(pid, signal.SIGKILL)
    job = server.ended(job_id)

    assert (job["state"], job["attempt"]) == ("done", 2)
    assert comparable(server.document(job["plan_id"])) == comparable(undisturbed)


@pytest.mark.parametrize("worker_too", [False, True])
def test_a_killed_server_loses_nothing_and_its_worker_goes_with_it(service, log_id, undisturbed, worker_too):
    server = service.running()
    job_id = server.plan(log_id, SOME)
    server.until(job_id, *SEARCHING)
    workers = server.workers()
    if worker_too:
        for pid in workers:
            os.kill(pid, signal.SIGKILL)
    server.kill()
    wait_until(lambda: gone(workers))
    server = service.running()
    job = server.ended(job_id)
    plans = server.client.get("/api/plans", params={"log_id": log_id}).json()

    assert (job["state"], job["attempt"]) == ("done", 2)
    assert comparable(server.document(job["plan_id"])) == comparable(undisturbed)
    assert [plan["id"] for plan in plans].count(job_id) == 1


def test_a_job_that_kills_its_process_again_and_again_is_given_up(service, log_id):
    server = service.running()
    job_id = server.plan(log_id, LONG)
    for attempt in (1, 2, 3):
        wait_until(lambda attempt=attempt: server.client.get(f"/api/jobs/{job_id}").json()["attempt"] == attempt)
        server.until(job_id, *SEARCHING)
        for pid in server.workers():
            os.kill(pid, signal.SIGKILL)
    job = server.ended(job_id)

    assert (job["state"], job["attempt"]) == ("failed", 3)
    assert job["error"]["message"] == "its process died while it ran, 3 times; it is not tried again"
    assert server.ended(server.plan(log_id, {"lays": 12, "doubt": "off"}))["state"] == "done"


SLOW_WORKERS = """
import sys, time
if "--multiprocessing-fork" in sys.orig_argv:
    time.sleep(60)
"""


def test_a_server_that_is_told_to_end_does_not_wait_for_a_worker_that_starts(tmp_path, environment):
    (tmp_path / "sitecustomize.py").write_text(SLOW_WORKERS)
    path = f"{tmp_path}:{environment['PYTHONPATH']}"
    server = Server(tmp_path / "data", environment | {"PYTHONPATH": path})
    wait_until(server.workers)
    workers = server.workers()
    server.process.terminate()
    server.process.wait(timeout=20)  # a fraction of what the worker would take

    assert gone(workers)
    server.close()


def test_a_server_that_is_told_to_end_puts_its_job_back(service, log_id):
    server = service.running()
    job_id = server.plan(log_id, LONG)
    server.until(job_id, *SEARCHING)
    workers = server.workers()
    server.process.terminate()
    server.process.wait(timeout=60)
    wait_until(lambda: gone(workers))
    server = service.running()
    wait_until(lambda: server.client.get(f"/api/jobs/{job_id}").json()["attempt"] == 2)
    server.client.post(f"/api/jobs/{job_id}/cancel")

    assert server.ended(job_id)["state"] == "cancelled"
