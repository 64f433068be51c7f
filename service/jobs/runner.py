"""Takes queued jobs up, watches over those that run, and takes back what was lost.

Nothing that the database cannot take just now is forgotten: it is tried again until it is written.
"""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Future
from dataclasses import dataclass, field
from functools import partial

from service.contract import job_state
from service.contract.documents import ErrorShown, JobShown
from service.contract.job_state import JobState
from service.contract.refusals import NotFoundError, ours
from service.jobs.slots import Slot
from service.jobs.work import Order, not_kept
from service.settings import Settings
from service.store.store import Store

POLL_SECONDS = 0.1
"""Between looks for jobs that wait or are cancelled (our own rule, no source)."""
AGAIN_SECONDS = 1.0
"""So long after the database could not be had it is asked again."""
OUTLIVES_SECONDS = 2.0
"""A server that ends within this time of a job's process was ended with it: that is no fault of the job's."""
CLOSE_SECONDS = 1.0
"""So long closing waits for the thread that starts jobs (our own rule, no source)."""
DIED = "its process died while it ran"
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


@dataclass(frozen=True)
class _Ended:
    """A job that runs no more, whose record may still say that it does."""

    running: _Running
    stop: _Stop | None = None
    at: float = field(default_factory=time.monotonic)


class JobRunner:
    """The one thread that starts and stops jobs.

    Its poll is the database alone, so that a cancel may come from any process.
    """

    def __init__(self, store: Store, files: str, slots: Sequence[Slot], settings: Settings) -> None:
        self._store, self._files, self._settings = store, files, settings
        self._running: dict[int, _Running | None] = dict.fromkeys(range(len(slots)))
        self._ended: list[_Ended] = []
        self._slots = slots
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)

    def start(self) -> None:
        """Take back what an earlier server left, and begin."""
        self._thread.start()

    def stop_taking(self) -> None:
        """Begin to close: from now on no job is started, and none that ends is held to have failed."""
        self._closing.set()

    def close(self) -> None:
        """Stop all jobs at once and let them wait for the next start."""
        self._closing.set()
        # The thread may be waiting for the database; it must not keep the service.
        self._thread.join(CLOSE_SECONDS)
        for slot in self._slots:
            slot.close()
        left = [running for running in self._running.values() if running is not None]
        for running in (*left, *(ended.running for ended in self._ended)):
            try:
                self._store.step_job(running.job.id, job_state.put_back, attempt=running.job.attempt)
            except Exception:
                _LOGGER.exception("job %s is put back at the next start", running.job.id)

    def _run(self) -> None:
        usual: list[Callable[[], None]] = [self._settle_all]
        usual += [partial(self._tend, k, slot) for k, slot in enumerate(self._slots)]
        is_broken, wait_seconds = True, 0.0
        while not self._closing.wait(wait_seconds):
            # After an error it is not known what was written: a job may be marked as running that nobody runs.
            steps = [self._take_back, *usual] if is_broken else usual
            is_broken = not all([self._is_done(step) for step in steps])  # noqa: C419 - each is tried
            wait_seconds = AGAIN_SECONDS if is_broken else POLL_SECONDS

    @staticmethod
    def _is_done(step: Callable[[], None]) -> bool:
        try:
            step()
        except Exception:
            # The database may be away for a while; jobs wait, and the thread must not end.
            _LOGGER.exception("jobs could not be tended to")
            return False
        return True

    def _take_back(self) -> None:
        """Put back what is marked as running and is not here, which is no fault of the job's."""
        here = [running for running in self._running.values() if running is not None]
        own = {(running.job.id, running.job.attempt) for running in (*here, *(ended.running for ended in self._ended))}
        for job in self._store.running_jobs():
            if (job.id, job.attempt) not in own:
                _LOGGER.warning("job %s ran when the service ended", job.id)
                self._store.step_job(job.id, job_state.put_back, attempt=job.attempt)

    def _tend(self, k: int, slot: Slot) -> None:
        running = self._running[k]
        if running is None:
            if slot.is_ready():
                self._take_up(k, slot)
        elif running.future.done():
            self._end(k, _Ended(running))
        elif (stop := self._stop_because(running, slot)) is not None:
            if slot.stop():
                self._end(k, _Ended(running, stop))
            else:
                self._ask_to_stop(running)

    def _end(self, k: int, ended: _Ended) -> None:
        self._running[k] = None
        self._ended.append(ended)

    def _take_up(self, k: int, slot: Slot) -> None:
        job = self._store.next_job()
        if job is None:
            return
        order = Order(self._settings.database, self._files, job.id, job.attempt, self._settings.cores_a_job)
        try:
            self._running[k] = _Running(job, slot.submit(order), time.monotonic())
        except BrokenExecutor:
            # Its process ended while it was idle; that is nothing to hold against the job.
            slot.stop()
            self._store.step_job(job.id, job_state.put_back, attempt=job.attempt)

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

    def _settle_all(self) -> None:
        """Settle what ended; what the database cannot take now stays for the next time."""
        for ended in list(self._ended):
            if self._is_settled(ended):
                self._ended.remove(ended)

    def _is_settled(self, ended: _Ended) -> bool:
        """Note how a job ended whose worker did not: a worker that ends by itself leaves nothing to settle."""
        attempt = ended.running.job.attempt
        try:
            job = self._store.job(ended.running.job.id)
        except NotFoundError:
            return True
        if job.state is not JobState.RUNNING or job.attempt != attempt:
            return True
        if job.cancel_wanted:
            self._store.step_job(job.id, job_state.stopped, attempt=attempt)
            return True
        if ended.stop is not None:
            mend = f"Ask for fewer lays or a smaller scan{ended.stop.setting and f', or raise {ended.stop.setting}'}."
            self._fail(job, ErrorShown(status=500, message=ended.stop.why, what_to_do=mend))
            return True
        error = ended.running.future.exception()
        if isinstance(error, BrokenExecutor):
            if time.monotonic() - ended.at < OUTLIVES_SECONDS:
                return False
            _LOGGER.warning("job %s lost its process: %r", job.id, error)
            self._store.step_job(job.id, lambda status: job_state.lost(status, DIED), attempt=attempt)
        else:
            _LOGGER.error("job %s left no result", job.id, exc_info=error)
            self._fail(job, ours() if error is None else not_kept())
        return True

    def _fail(self, job: JobShown, shown: ErrorShown) -> None:
        failed = partial(job_state.failed, reason=shown.message)
        self._store.step_job(job.id, failed, attempt=job.attempt, error=shown)
