"""Takes queued jobs up, watches over those that run, and takes back what was lost."""

import logging
import threading
import time
from collections.abc import Sequence
from concurrent.futures import BrokenExecutor, Future
from dataclasses import dataclass
from functools import partial

from service import job_state
from service.documents import ErrorShown, JobShown
from service.job_slots import Slot
from service.job_state import JobState
from service.job_work import Order
from service.refusals import NotFoundError
from service.settings import Settings
from service.store import Store

POLL_SECONDS = 0.1
ENDED = "the process that did it ended"
SERVER_ENDED = "the service ended while it ran"
_LOGGER = logging.getLogger(__name__)


@dataclass(frozen=True)
class _Running:
    job: JobShown
    future: Future[None]
    since: float


@dataclass(frozen=True)
class _Stop:
    """Why a job is stopped. setting : of the service, which would have let it go on."""

    why: str
    setting: str = ""


class JobRunner:
    """The one thread that starts and stops jobs.

    Its poll is the database alone, so that a cancel may come from any process.
    """

    def __init__(self, store: Store, files: str, slots: Sequence[Slot], settings: Settings) -> None:
        self._store, self._files, self._settings = store, files, settings
        self._running: dict[int, _Running | None] = dict.fromkeys(range(len(slots)))
        self._slots = slots
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)

    def start(self) -> None:
        """Take back what an earlier server left, and begin."""
        for job in self._store.running_jobs():
            _LOGGER.warning("job %s ran when the service ended", job.id)
            self._store.step_job(job.id, lambda status: job_state.lost(status, SERVER_ENDED), attempt=job.attempt)
        self._thread.start()

    def close(self) -> None:
        """Stop all jobs and let them wait for the next start."""
        self._closing.set()
        self._thread.join()
        for k, slot in enumerate(self._slots):
            running = self._running[k]
            slot.close()
            if running is not None:
                self._store.step_job(running.job.id, job_state.put_back, attempt=running.job.attempt)

    def _run(self) -> None:
        while not self._closing.wait(POLL_SECONDS):
            try:
                for k, slot in enumerate(self._slots):
                    self._tend(k, slot)
            except Exception:
                # The database may be away for a while; jobs wait, and the thread must not end.
                _LOGGER.exception("jobs could not be tended to")
                self._closing.wait(1.0)

    def _tend(self, k: int, slot: Slot) -> None:
        running = self._running[k]
        if running is None:
            if slot.is_ready():
                self._take_up(k, slot)
        elif running.future.done():
            self._running[k] = None
            self._settle(running)
        elif (stop := self._stop_because(running, slot)) is not None:
            if slot.stop():
                self._running[k] = None
                self._settle(running, stop)
            else:
                self._ask_to_stop(running)

    def _take_up(self, k: int, slot: Slot) -> None:
        job = self._store.next_job()
        if job is None:
            return
        order = Order(self._settings.database, self._files, job.id, job.attempt, self._settings.cores_a_job)
        try:
            self._running[k] = _Running(job, slot.submit(order), time.monotonic())
        except BrokenExecutor:
            # Its process ended while it was idle; that is nothing to hold against the job.
            self._store.step_job(job.id, job_state.put_back, attempt=job.attempt)
            slot.stop()

    def _stop_because(self, running: _Running, slot: Slot) -> _Stop | None:
        """Return why a job is to be stopped now; None where it may go on."""
        seconds, most_bytes = self._settings.job_seconds, self._settings.job_memory_bytes
        if time.monotonic() - running.since > seconds:
            return _Stop(f"it ran for {seconds:g} s, the most that a job may", "PITHLINE_JOB_SECONDS")
        if slot.takes_over(most_bytes):
            most = f"{most_bytes / 1e9:.3g} GB"
            return _Stop(f"it took more than {most} of memory, the most that a job may", "PITHLINE_JOB_MEMORY_BYTES")
        try:
            job = self._store.job(running.job.id)
        except NotFoundError:
            return _Stop("its log was removed")
        return _Stop("it was cancelled") if job.cancel_wanted else None

    def _ask_to_stop(self, running: _Running) -> None:
        """Set the flag for a worker that cannot be reached otherwise."""
        try:
            if not self._store.job(running.job.id).cancel_wanted:
                self._store.step_job(running.job.id, job_state.cancel_asked, attempt=running.job.attempt)
        except NotFoundError:
            _LOGGER.debug("job %s is gone; its worker will see that", running.job.id)

    def _settle(self, running: _Running, stop: _Stop | None = None) -> None:
        """Note how a job ended whose worker did not: a worker that ends by itself leaves nothing to settle."""
        try:
            job = self._store.job(running.job.id)
        except NotFoundError:
            return
        if job.state is not JobState.RUNNING or job.attempt != running.job.attempt:
            return
        error = running.future.exception() if stop is None else None
        if error is not None:
            _LOGGER.warning("job %s lost its process: %r", job.id, error)
        if stop is None or job.cancel_wanted:
            self._store.step_job(job.id, lambda status: job_state.lost(status, ENDED), attempt=job.attempt)
            return
        mend = f"Ask for fewer lays or a smaller scan{stop.setting and f', or raise {stop.setting}'}."
        shown = ErrorShown(status=500, message=stop.why, what_to_do=mend)
        failed = partial(job_state.failed, reason=stop.why)
        self._store.step_job(job.id, failed, attempt=job.attempt, error=shown)
