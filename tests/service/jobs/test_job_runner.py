"""The runner alone, on a database of its own and slots whose jobs end as a test says."""

import time
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool

import pytest
from sqlalchemy.exc import OperationalError

from service.contract import job_state
from service.contract.job_state import MOST_LOSSES, JobState
from service.jobs import runner as job_runner
from service.jobs.runner import JobRunner
from service.settings import Settings
from service.store.database import Database
from service.store.store import Store
from service.typed.log_reading import AboutLog

AT_MOST_SECONDS = 10.0


class HandSlot:
    """A slot whose jobs a test ends by hand."""

    def __init__(self):
        self.orders, self.future, self.looks = [], None, 0

    def is_ready(self):
        self.looks += 1
        return True

    def submit(self, order):
        self.orders.append(order)
        self.future = Future()
        return self.future

    def takes_over(self, most_bytes):  # noqa: ARG002
        return False

    def stop(self):
        return True

    def close(self):
        pass


class FullDisk:
    """Steps of jobs that cannot be written as long as the disk is full."""

    def __init__(self, store, monkeypatch):
        self.is_full, self.refused, self._step = False, 0, store.step_job
        monkeypatch.setattr(store, "step_job", self.step_job)

    def step_job(self, *arguments, **named):
        if self.is_full:
            self.refused += 1
            raise OperationalError("UPDATE jobs", {}, Exception("database or disk is full"))
        return self._step(*arguments, **named)


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    for name in ("POLL_SECONDS", "AGAIN_SECONDS", "OUTLIVES_SECONDS"):
        monkeypatch.setattr(job_runner, name, 0.01)


@pytest.fixture
def store(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'pithline.db'}")
    database.migrate()
    yield Store(database)
    database.close()


@pytest.fixture
def job_id(store):
    log, _ = store.add_log(
        name="log", file_name="log.ply", file_sha256="a" * 64, file_bytes=3, about=AboutLog(), most_queued=10
    )
    return log.job_id


@pytest.fixture
def slot():
    return HandSlot()


@pytest.fixture
def begun(store, slot):
    """Start servers on the store, each of which must be closed or left as if it was killed."""
    runners = []

    def begin():
        runner = JobRunner(store, "files", [slot], Settings(slots=1))
        runner.start()
        runners.append(runner)
        return runner

    yield begin
    for runner in runners:
        runner.stop_taking()
        runner._thread.join()


def wait_until(condition):
    until = time.monotonic() + AT_MOST_SECONDS
    while not condition():
        assert time.monotonic() < until, "it did not come about"
        time.sleep(0.005)


def killed(runner):
    """End a runner as a kill does: nothing is noted."""
    runner.stop_taking()
    runner._thread.join()


def test_a_server_that_is_killed_again_and_again_never_fails_a_job(store, slot, begun, job_id):
    for k in range(1, MOST_LOSSES + 4):
        runner = begun()
        wait_until(lambda k=k: len(slot.orders) == k)
        killed(runner)

    assert store.job(job_id).state is JobState.RUNNING
    begun()
    wait_until(lambda: len(slot.orders) == MOST_LOSSES + 4)
    assert store.job(job_id).attempt == MOST_LOSSES + 4


def test_a_job_that_kills_its_process_thrice_fails_and_says_so(store, slot, begun, job_id):
    begun()
    for k in range(1, MOST_LOSSES + 2):
        wait_until(lambda k=k: len(slot.orders) == k)
        slot.future.set_exception(BrokenProcessPool("killed"))
    wait_until(lambda: store.job(job_id).state is JobState.FAILED)

    assert store.job(job_id).error.message == "its process died while it ran, 3 times; it is not tried again"


def test_a_job_whose_process_dies_with_the_server_is_put_back(store, slot, begun, job_id, monkeypatch):
    monkeypatch.setattr(job_runner, "OUTLIVES_SECONDS", AT_MOST_SECONDS)
    for k in range(1, MOST_LOSSES + 3):
        runner = begun()
        wait_until(lambda k=k: len(slot.orders) == k)
        slot.future.set_exception(BrokenProcessPool("killed"))
        before = slot.looks
        wait_until(lambda before=before: slot.looks > before + 3)  # long enough to have been counted
        runner.close()
        assert store.job(job_id).attempt == k
        assert store.job(job_id).state is JobState.QUEUED


def test_a_result_that_cannot_be_written_fails_the_job_once_that_can_be_written(
    store, slot, begun, job_id, monkeypatch
):
    disk = FullDisk(store, monkeypatch)
    begun()
    wait_until(lambda: slot.orders)
    disk.is_full = True
    slot.future.set_exception(OperationalError("INSERT INTO plans", {}, Exception("database or disk is full")))
    wait_until(lambda: disk.refused > 3)
    assert store.job(job_id).state is JobState.RUNNING
    disk.is_full = False
    wait_until(lambda: store.job(job_id).state is JobState.FAILED)

    assert store.job(job_id).error.status == 507
    assert store.job(job_id).error.message == "the result could not be written to the database"


def test_a_job_that_ends_and_notes_nothing_does_not_run_for_ever(store, slot, begun, job_id):
    begun()
    wait_until(lambda: slot.orders)
    slot.future.set_result(None)
    wait_until(lambda: store.job(job_id).state is JobState.FAILED)

    assert store.job(job_id).error.status == 500


def test_a_job_that_was_cancelled_when_nothing_could_be_written_is_cancelled_later(
    store, slot, begun, job_id, monkeypatch
):
    disk = FullDisk(store, monkeypatch)
    begun()
    wait_until(lambda: slot.orders)
    store.step_job(job_id, job_state.cancel_asked)
    disk.is_full = True
    wait_until(lambda: disk.refused > 3)
    disk.is_full = False

    wait_until(lambda: store.job(job_id).state is JobState.CANCELLED)


def test_a_job_that_a_slot_did_not_take_is_put_back_even_if_that_cannot_be_written_at_once(
    store, slot, begun, job_id, monkeypatch
):
    disk = FullDisk(store, monkeypatch)
    take = slot.submit

    def broken(order):  # noqa: ARG001
        disk.is_full = True
        monkeypatch.setattr(slot, "submit", take)
        raise BrokenProcessPool("ended while idle")

    monkeypatch.setattr(slot, "submit", broken)
    begun()
    wait_until(lambda: disk.refused > 3)
    disk.is_full = False
    wait_until(lambda: slot.orders)

    assert store.job(job_id).attempt == 2


def test_what_an_earlier_server_left_is_put_back_once_that_can_be_written(store, slot, begun, job_id, monkeypatch):
    killed_server = begun()
    wait_until(lambda: slot.orders)
    killed(killed_server)
    disk = FullDisk(store, monkeypatch)
    disk.is_full = True
    begun()
    wait_until(lambda: disk.refused > 3)
    disk.is_full = False
    wait_until(lambda: len(slot.orders) == 2)

    assert store.job(job_id).attempt == 2
