"""What a worker does with a job: it needs the database and the file store, and nothing of the server.

A worker may go away at any time. What it made is kept in the one transaction that ends its job.
"""

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy.exc import SQLAlchemyError

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Mark, PlanDocument
from optimizer.documents.prices import PriceBook
from optimizer.planning import BestSoFar, Progress
from scans.log_of_scan import READING_STAGES
from service.contract import job_state
from service.contract.documents import BestCut, BestShown, ErrorShown, JobShown, PlanRequest, WayRequest
from service.contract.log_given import log_facts
from service.contract.refusals import DiskFullError, error_shown, ours
from service.contract.shares import seconds_left, share_done
from service.store.database import Database
from service.store.file_store import FileStore
from service.store.kept_log import kept_log
from service.store.log_file import pack_log, unpack_log
from service.store.named_files import naming_files
from service.store.store import Store
from service.typed.files import FileRead
from service.typed.log_reading import LogRead, read_log
from service.typed.mark_sheet import moved_mark
from service.typed.more_walks import MoreWalks
from service.use_cases import new_run, plan_read_log, price_own_way

PROGRESS_SECONDS = 0.2
"""Between notes of progress, each a write to the database (our own rule, no source)."""
BEST_SECONDS = 1.0
"""Between drawings of the best plan so far (our own rule, no source)."""
_END_TRIES, _END_SECONDS = 30, 2.0
"""How often, and how far apart, a worker tries to note on a full disk that its job failed."""
_LOGGER = logging.getLogger(__name__)


@dataclass(frozen=True)
class Order:
    """A job to do. files : folder of the file store. cores : processor cores that it may use."""

    database_url: str
    files: str
    job_id: str
    attempt: int
    cores: int


def not_kept() -> ErrorShown:
    """Return what is shown of a job whose result the database did not take."""
    return ErrorShown(
        status=507,
        message="the result could not be written to the database",
        what_to_do="Make room on the service's disk, and start the job again.",
    )


class StoppedError(Exception):
    """The job is not to go on: it was cancelled, or another attempt took it over."""


def work_off(order: Order) -> None:
    """Do a job and note how it ended. Raises nothing but what breaks the worker itself."""
    database = Database(order.database_url)
    try:
        _Worker(order, Store(database), FileStore(Path(order.files))).run()
    finally:
        database.close()


class _Worker:
    def __init__(self, order: Order, store: Store, files: FileStore) -> None:
        self.order, self.store, self.files = order, store, files
        self.job: JobShown = store.job(order.job_id)
        self._noted = -PROGRESS_SECONDS
        self._began, self._share = time.monotonic(), 0.0
        self._best: BestSoFar | None = None
        self._best_noted = -BEST_SECONDS
        self._stage = ""

    def run(self) -> None:
        """Do the job."""
        try:
            {"read": self.read, "walk": self.walk, "plan": self.plan, "way": self.way}[self.job.kind]()
        except StoppedError:
            self._end(job_state.stopped)
        except SQLAlchemyError:
            _LOGGER.exception("job %s could not be noted", self.order.job_id)
            self._fail(not_kept())
        except Exception as error:
            shown = error_shown(error)
            if shown is None:
                _LOGGER.exception("job %s broke", self.order.job_id)
                shown = ours()
            self._fail(shown)

    def read(self) -> None:
        """Read a log's files."""
        read = self._read()
        with self._kept(read) as (key, _):
            self.store.finish_read(self.order.job_id, self.order.attempt, key, log_facts(read), read.marks)

    def walk(self) -> None:
        """Read a log's files and one more scan of it; until that is done the log stays as it is."""
        walk_id = self._asked()["walk_id"]
        before_key = self.store.log_read_key(self.job.log_id)
        if before_key is None:
            raise StoppedError
        before, read = unpack_log(self.files.read(before_key)).log, self._read(walk_id)
        matrix = read.log.scan_to_log @ np.linalg.inv(before.scan_to_log)

        def mark_moved(mark: Mark) -> Mark:
            return moved_mark(mark, matrix, before.length_m, read.log.length_m)

        with self._kept(read) as (key, touched):
            touched.add(before_key)
            self.store.finish_walk(
                self.order.job_id, self.order.attempt, walk_id, before_key, key, log_facts(read), mark_moved
            )

    def _read(self, walk_id: str | None = None) -> LogRead:
        """Read a log with all scans that it is made of, and with one more of them."""
        log = self.store.log(self.job.log_id)
        stages = (*READING_STAGES, "keeping the log")
        walks = self.store.walks(log.id, walk_id)
        more = MoreWalks(
            tuple(self._file(walk.file_name, walk.file_sha256) for walk in walks),
            tuple(walk.rolled_deg for walk in walks),
        )
        read = read_log(
            self._file(log.file_name, log.file_sha256),
            log.about,
            on_stage=lambda stage: self.note(stage, stages.index(stage), len(stages)),
            walks=more,
        )
        self.note(stages[-1], len(stages) - 1, len(stages))
        return read

    def _file(self, name: str, key: str) -> FileRead:
        return FileRead(name, self.files.read(key), key)

    @contextmanager
    def _kept(self, read: LogRead) -> Iterator[tuple[str, set[str]]]:
        """Offer a file of a log that was read, to name it in the records: its key, and a set as of naming_files."""
        with self.files.incoming() as (stream, path):
            key = self.files.write(stream, pack_log(read))
            with naming_files(self.store, self.files) as touched:
                touched.add(self.files.keep(path, key))
                yield key, touched

    def plan(self) -> None:
        """Plan a log."""
        asked = self._asked()
        request = PlanRequest.model_validate(asked["request"])
        mill, prices = _assumed(asked)
        # The plan bears its job's id, so that no job can leave two.
        run, workers = new_run(self.order.job_id), self.order.cores
        read = self._log()
        self._finish(plan_read_log(read, mill, prices, request, run=run, workers=workers, on_progress=self.on_progress))

    def way(self) -> None:
        """Price a way that somebody chose."""
        asked = self._asked()
        request = WayRequest.model_validate(asked["request"])
        mill, prices = _assumed(asked)
        run, workers = new_run(self.order.job_id), self.order.cores
        read = self._log()
        self.note("pricing")
        self._finish(price_own_way(read, mill, prices, request, run=run, workers=workers))

    def note(
        self, stage: str, done: int = 0, total: int = 0, best_net: float | None = None, gap: float | None = None,
        best: BestSoFar | None = None,
    ) -> None:  # fmt: skip
        """Note how far it is. Raises StoppedError where it is not to go on."""
        self._share = max(self._share, share_done(stage, done, total))
        left = seconds_left(self._share, time.monotonic() - self._began)
        shown = None if best is None else _best_shown(best)
        noted = self.store.note_progress(
            self.order.job_id, self.order.attempt, stage, done, total, best_net, gap, shown, self._share, left
        )
        if not noted:
            raise StoppedError
        self._noted, self._stage = time.monotonic(), stage

    def on_progress(self, progress: Progress) -> None:
        """Note a search's progress, now and then."""
        late = time.monotonic() - self._noted > PROGRESS_SECONDS
        is_new = progress.best is not None and progress.best is not self._best
        if is_new and time.monotonic() - self._best_noted > BEST_SECONDS:
            self._best, self._best_noted = progress.best, time.monotonic()
            self.note(progress.stage, progress.done, progress.total, progress.best_net, progress.gap, progress.best)
        elif late or progress.stage != self._stage or progress.done == progress.total:
            self.note(progress.stage, progress.done, progress.total, progress.best_net, progress.gap)

    def _asked(self) -> dict[str, Any]:
        return self.store.job_request(self.order.job_id)

    def _log(self) -> LogRead:
        self.note("taking up the log")
        read = kept_log(self.store, self.files, self.job.log_id)
        if read is None:
            raise StoppedError
        return read

    def _finish(self, document: PlanDocument) -> None:
        self.store.finish_plan(self.order.job_id, self.order.attempt, document)

    def _fail(self, shown: ErrorShown) -> None:
        self._end(lambda status: job_state.failed(status, shown.message), shown)

    def _end(self, step: Callable[[job_state.JobStatus], job_state.JobStatus], shown: ErrorShown | None = None) -> None:
        # What the job wrote in vain is free again; where the disk is full to the last, somebody may make room.
        for tries_left in reversed(range(_END_TRIES)):
            try:
                self.store.step_job(self.order.job_id, step, attempt=self.order.attempt, error=shown)
            except job_state.JobStateError:
                _LOGGER.info("job %s ended otherwise", self.order.job_id)
            except DiskFullError:
                if not tries_left:
                    raise
                time.sleep(_END_SECONDS)
                continue
            return


def _best_shown(best: BestSoFar) -> BestShown:
    cuts = (BestCut(**asdict(cut)) for cut in best.buck_cuts)
    return BestShown(
        net=best.net, roll_deg=best.roll_deg, log_to_bed=tuple(tuple(map(float, row)) for row in best.log_to_bed),
        stretch_m=best.stretch_m, blade_heights_m=best.blade_heights_m, buck_cuts=tuple(cuts),
    )  # fmt: skip


def _assumed(asked: dict[str, Any]) -> tuple[Mill, PriceBook]:
    """Return the mill and the price book as they were when the job was asked for."""
    return Mill.model_validate(asked["mill"]), PriceBook.model_validate(asked["prices"])
