"""What is kept in the database, in and out as documents. Each method is one transaction."""

import gzip
import hashlib
import json
import sys
import uuid
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import and_, case, func, inspect, or_, select
from sqlalchemy.orm import Session

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Mark, PlanDocument
from optimizer.documents.prices import PriceBook
from service.contract import job_state
from service.contract.documents import (
    BestShown,
    ErrorShown,
    JobKind,
    JobShown,
    LogFacts,
    LogShown,
    MillKept,
    PlanLine,
    PriceBookKept,
    ScanShown,
    TickShown,
)
from service.contract.job_state import JobState, JobStatus
from service.contract.refusals import ConflictError, NotFoundError, NotReadyError, TooManyError
from service.contract.ticks import Change, Tick, changed
from service.store.database import Database
from service.store.records import JobRow, LogRow, MarkRow, MillRow, PlanRow, PriceBookRow, TickRow, WalkRow
from service.typed.log_reading import AboutLog
from service.typed.mark_sheet import kind_said

_MOST_MARKS = 500
"""On one log: more than anybody points out by hand (our own rule, no source)."""
SMALL_BYTES = 1_000_000
"""A file up to this size is read in seconds, as every log sheet is (our own rule, no source)."""
HEAD_START = 100
"""So many jobs ahead of its place a small job is taken up."""


MOST_WALKS = 7
"""Beside the first scan: more than the sides that a log has to lie on (our own rule, no source)."""


@dataclass(frozen=True)
class WalkKept:
    """A scan beside the first as it is kept. rolled_deg : as of WalkRow."""

    file_name: str
    file_sha256: str
    rolled_deg: float | None


def now() -> str:
    """Return the time, ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def new_id() -> str:
    """Return 32 hexadecimal digits that nothing else bears."""
    return uuid.uuid4().hex


def log_key(file_sha256: str, about: AboutLog) -> str:
    """Return the hash of a file and what was said of it."""
    said = json.dumps(about.model_dump(exclude_none=True), sort_keys=True)
    return hashlib.sha256(f"{file_sha256} {said}".encode()).hexdigest()


class Store:
    """The records: logs, marks, mills, price books, jobs and plans."""

    def __init__(self, database: Database) -> None:
        self.database = database

    # Logs

    def logs(self, limit: int = 100, offset: int = 0) -> list[LogShown]:
        """Return logs, the newest first."""
        with self.database.reading() as session:
            rows = session.scalars(select(LogRow).order_by(LogRow.number.desc()).limit(limit).offset(offset)).all()
            return _logs(session, rows)

    def log(self, log_id: str) -> LogShown:
        """Return a log. Raises NotFoundError."""
        with self.database.reading() as session:
            return _shown(session, _row(session, LogRow, log_id, "log"))

    def log_read_key(self, log_id: str) -> str | None:
        """Return the key of the file of what was read of a log; None before. Raises NotFoundError."""
        with self.database.reading() as session:
            return _row(session, LogRow, log_id, "log").read_key

    def add_log(
        self, *, name: str, file_name: str, file_sha256: str, file_bytes: int, about: AboutLog, most_queued: int
    ) -> tuple[LogShown, bool]:
        """Keep a log and queue its reading; return it, and whether it was here already.

        The same file with the same words is the same log; where its reading was given up or cancelled, it is queued
        anew. Raises TooManyError.
        """
        key = log_key(file_sha256, about)
        with self.database.writing() as session:
            row = session.scalars(select(LogRow).where(LogRow.key == key)).one_or_none()
            was_here = row is not None
            if row is None:
                row = LogRow(
                    id=new_id(), key=key, name=name, file_name=file_name, file_sha256=file_sha256,
                    file_bytes=file_bytes, about=about.model_dump(exclude_none=True), read_key=None, facts=None,
                    made_at=now(), number=_next_number(session, LogRow),
                )  # fmt: skip
                session.add(row)
                session.flush()
            read = _latest_reads(session, [row.id]).get(row.id)
            if row.read_key is None and (read is None or _may_read_again(read)):
                _queue(session, "read", row.id, {}, most_queued)
            return _shown(session, row), was_here

    def change_log(self, log_id: str, *, name: str | None, about: AboutLog | None, most_queued: int) -> LogShown:
        """Give a log another name, or say something else of it, which queues its reading. Raises NotFoundError."""
        with self.database.writing() as session:
            row = _row(session, LogRow, log_id, "log")
            row.name = name or row.name
            if about is not None and (key := log_key(row.file_sha256, about)) != row.key:
                if session.scalars(select(LogRow).where(LogRow.key == key)).one_or_none() is not None:
                    raise ConflictError("the same file with the same words is a log of its own already; use that one")
                if about.butt != row.about.get("butt"):
                    # How far it was rolled was said looking at the other end.
                    for walk in _walks(session, [log_id]):
                        walk.rolled_deg = None if walk.rolled_deg is None else -walk.rolled_deg
                row.key, row.about = key, about.model_dump(exclude_none=True)
                _read_again(session, row, most_queued)
            return _shown(session, row)

    def read_keys(self) -> dict[str, str]:
        """Return the key of the file of what was read, by log; logs that were not read yet are left out."""
        with self.database.reading() as session:
            rows = session.execute(select(LogRow.id, LogRow.read_key)).all()
            return {log_id: key for log_id, key in rows if key is not None}

    def read_again(self, log_id: str) -> None:
        """Forget what was read of a log, and queue its reading, however many jobs wait. Raises NotFoundError."""
        with self.database.writing() as session:
            _read_again(session, _row(session, LogRow, log_id, "log"), sys.maxsize)

    def remove_log(self, log_id: str) -> set[str]:
        """Forget a log with its marks, jobs and plans; return the keys of the files that it named.

        Its jobs end by themselves, as their records are gone. Raises NotFoundError.
        """
        with self.database.writing() as session:
            row = _row(session, LogRow, log_id, "log")
            keys = {key for key in (row.file_sha256, row.read_key) if key is not None}
            keys |= {walk.file_sha256 for walk in _walks(session, [log_id])}
            session.delete(row)
            return keys

    def count_logs(self) -> int:
        """Return how many logs there are."""
        with self.database.reading() as session:
            return session.scalar(select(func.count(LogRow.id))) or 0

    def named(self) -> set[str]:
        """Return the keys of all files that some log needs."""
        with self.database.reading() as session:
            rows = session.execute(select(LogRow.file_sha256, LogRow.read_key)).all()
            keys = {key for row in rows for key in row if key is not None}
            # A backup of before, which is not brought up to date before it is in place, has no such table.
            if inspect(session.connection()).has_table(WalkRow.__tablename__):
                keys.update(session.scalars(select(WalkRow.file_sha256)))
            return keys

    def unnamed(self, keys: set[str]) -> set[str]:
        """Return those of some keys whose files no log needs."""
        with self.database.reading() as session:
            return {key for key in keys if not _is_named(session, key)}

    # Scans beside the first

    def walks(self, log_id: str, walk_id: str | None = None) -> list[WalkKept]:
        """Return the scans beside the first that a log is made of, and another of them, in the order that they came.

        Raises NotFoundError.
        """
        with self.database.reading() as session:
            rows = _walks(session, [log_id])
            if walk_id is not None and walk_id not in {row.id for row in rows}:
                raise NotFoundError("the log has no such scan")
            return [
                WalkKept(row.file_name, row.file_sha256, row.rolled_deg)
                for row in rows
                if row.is_part or row.id == walk_id
            ]

    def add_walk(
        self,
        log_id: str,
        *,
        file_name: str,
        file_sha256: str,
        file_bytes: int,
        rolled_deg: float | None,
        most_queued: int,
    ) -> tuple[str, JobShown]:
        """Keep another scan of a log, and queue its fitting to the others; return its id, and the job.

        The log stays as it is meanwhile. The same file again, where it was refused, is the same scan.
        Raises NotFoundError, NotReadyError, TooManyError.
        """
        with self.database.writing() as session:
            _row(session, LogRow, log_id, "log")
            rows = _walks(session, [log_id])
            row = next((row for row in rows if row.file_sha256 == file_sha256 and not row.is_part), None)
            if row is None and len(rows) >= MOST_WALKS:
                raise TooManyError(f"a log takes at most {MOST_WALKS} scans beside its first; remove one not taken", 0)
            if row is None:
                number = rows[-1].number + 1 if rows else 1
                row = WalkRow(
                    id=new_id(), log_id=log_id, number=number, file_sha256=file_sha256, file_bytes=file_bytes,
                    is_part=False,
                )  # fmt: skip
            job = _queue_walk(session, log_id, row.id, most_queued)
            session.add(row)
            row.file_name, row.rolled_deg, row.job_id = file_name, rolled_deg, job.id
            return row.id, _job(job)

    def fit_walk(self, log_id: str, walk_id: str, rolled_deg: float | None, most_queued: int) -> JobShown:
        """Queue the fitting of a scan that was refused, rolled as is said now.

        Raises NotFoundError, NotReadyError, ConflictError, TooManyError.
        """
        with self.database.writing() as session:
            row = _walk(session, log_id, walk_id)
            job = _queue_walk(session, log_id, walk_id, most_queued)
            row.rolled_deg, row.job_id = rolled_deg, job.id
            return _job(job)

    def remove_walk(self, log_id: str, walk_id: str) -> str:
        """Forget a scan that a log is not made of; return the key of its file. Raises NotFoundError, ConflictError."""
        with self.database.writing() as session:
            row = _walk(session, log_id, walk_id)
            job = session.get(JobRow, row.job_id)
            if job is not None and not JobState(job.state).is_ended:
                _apply(job, job_state.cancel_asked)
            session.delete(row)
            return row.file_sha256

    def finish_walk(
        self,
        job_id: str,
        attempt: int,
        walk_id: str,
        before_key: str,
        read_key: str,
        facts: LogFacts,
        mark_moved: Callable[[Mark], Mark],
    ) -> bool:
        """Keep a log that is made of one more scan and end the job, both or neither; return whether it came about.

        before_key : of what was read of the log when the job began. mark_moved : brings a mark over to the new log.
        """
        with self.database.writing() as session:
            row = session.get(JobRow, job_id, with_for_update=True)
            if row is None or not _is_own(row, attempt):
                return False
            log, walk = _row(session, LogRow, row.log_id, "log"), session.get(WalkRow, walk_id)
            if walk is None or log.read_key != before_key:
                # What was said of the log changed meanwhile: it is read again without this scan.
                _apply(row, job_state.stopped)
                return False
            _apply(row, job_state.finished)
            log.read_key, log.facts, walk.is_part = read_key, facts.model_dump(), True
            for mark in _marks(session, log.id):
                mark.document = mark_moved(Mark.model_validate(mark.document)).model_dump()
            return True

    # Marks

    def marks(self, log_id: str) -> list[tuple[str, Mark]]:
        """Return the marks of a log with their ids, the oldest first. Raises NotFoundError."""
        with self.database.reading() as session:
            _row(session, LogRow, log_id, "log")
            return [(row.id, Mark.model_validate(row.document)) for row in _marks(session, log_id)]

    def add_mark(self, log_id: str, mark: Mark) -> tuple[str, Mark]:
        """Keep a mark, named by its kind and the next number. Raises NotFoundError, TooManyError."""
        with self.database.writing() as session:
            _row(session, LogRow, log_id, "log")
            rows = _marks(session, log_id)
            if len(rows) >= _MOST_MARKS:
                raise TooManyError(f"a log has at most {_MOST_MARKS} marks; remove some", 0)
            numbers = [int(row.document["id"].rpartition(" ")[2]) for row in rows if row.document["kind"] == mark.kind]
            named = mark.model_copy(update={"id": f"{kind_said(mark.kind)} {max(numbers, default=0) + 1}"})
            row = MarkRow(id=new_id(), log_id=log_id, document=named.model_dump(), made_at=now())
            session.add(row)
            return row.id, named

    def remove_mark(self, log_id: str, mark_id: str) -> None:
        """Forget a mark. Raises NotFoundError."""
        with self.database.writing() as session:
            row = _row(session, MarkRow, mark_id, "mark")
            if row.log_id != log_id:
                raise NotFoundError("the log has no such mark")
            session.delete(row)

    # Mills and price books

    def mills(self) -> list[MillKept]:
        """Return the mills, the one that was written last first."""
        with self.database.reading() as session:
            return [_mill(row) for row in session.scalars(select(MillRow).order_by(MillRow.number.desc()))]

    def mill(self, mill_id: str | None = None) -> MillKept:
        """Return a mill, or the one that was written last. Raises NotFoundError."""
        with self.database.reading() as session:
            return _mill(_row_or_last(session, MillRow, mill_id, "mill"))

    def write_mill(self, mill: Mill, mill_id: str | None = None) -> MillKept:
        """Keep a mill, or write over one. Raises NotFoundError."""
        with self.database.writing() as session:
            return _mill(_written(session, MillRow, mill, mill_id, "mill"))

    def remove_mill(self, mill_id: str) -> None:
        """Forget a mill; plans hold theirs whole. Raises NotFoundError."""
        with self.database.writing() as session:
            session.delete(_row(session, MillRow, mill_id, "mill"))

    def price_books(self) -> list[PriceBookKept]:
        """Return the price books, the one that was written last first."""
        with self.database.reading() as session:
            rows = session.scalars(select(PriceBookRow).order_by(PriceBookRow.number.desc()))
            return [_prices(row) for row in rows]

    def price_book(self, prices_id: str | None = None) -> PriceBookKept:
        """Return a price book, or the one that was written last. Raises NotFoundError."""
        with self.database.reading() as session:
            return _prices(_row_or_last(session, PriceBookRow, prices_id, "price book"))

    def write_price_book(self, prices: PriceBook, prices_id: str | None = None) -> PriceBookKept:
        """Keep a price book, or write over one. Raises NotFoundError."""
        with self.database.writing() as session:
            return _prices(_written(session, PriceBookRow, prices, prices_id, "price book"))

    def remove_price_book(self, prices_id: str) -> None:
        """Forget a price book; plans hold theirs whole. Raises NotFoundError."""
        with self.database.writing() as session:
            session.delete(_row(session, PriceBookRow, prices_id, "price book"))

    # Jobs

    def queue(self, kind: JobKind, log_id: str, request: dict[str, Any], most_queued: int) -> JobShown:
        """Queue a job, or join one that does the same already. Raises NotFoundError, TooManyError."""
        with self.database.writing() as session:
            _row(session, LogRow, log_id, "log")
            going = select(JobRow).where(
                JobRow.log_id == log_id, JobRow.kind == kind, _unended(), JobRow.cancel_wanted.is_(False)
            )
            for row in session.scalars(going):
                if row.request == request:
                    return _job(row)
            return _job(_queue(session, kind, log_id, request, most_queued))

    def jobs(self, log_id: str | None = None, limit: int = 100) -> list[JobShown]:
        """Return jobs, of a log or of all, the newest first."""
        chosen = select(JobRow).order_by(JobRow.number.desc()).limit(limit)
        if log_id is not None:
            chosen = chosen.where(JobRow.log_id == log_id)
        with self.database.reading() as session:
            return [_job(row) for row in session.scalars(chosen)]

    def ahead_of(self, job_id: str) -> list[JobShown]:
        """Return what runs while a job waits, and what was asked for before it; none where it does not wait."""
        with self.database.reading() as session:
            row = _row(session, JobRow, job_id, "job")
            if row.state != JobState.QUEUED:
                return []
            before = (JobRow.state == JobState.RUNNING) | (
                (JobRow.state == JobState.QUEUED) & (JobRow.number < row.number)
            )
            return [_job(other) for other in session.scalars(select(JobRow).where(before).order_by(JobRow.number))]

    def job(self, job_id: str) -> JobShown:
        """Return a job. Raises NotFoundError."""
        with self.database.reading() as session:
            return _job(_row(session, JobRow, job_id, "job"))

    def job_request(self, job_id: str) -> dict[str, Any]:
        """Return what was asked of a job. Raises NotFoundError."""
        with self.database.reading() as session:
            return _row(session, JobRow, job_id, "job").request

    def next_job(self) -> JobShown | None:
        """Take up the job whose turn it is; None where none waits.

        Small jobs (a small file is read, a way priced) go before scans and plans, else the oldest goes first. They
        count as asked for `HEAD_START` jobs earlier: nothing starves, as no job is passed by one of a later place.
        """
        waiting = (
            select(JobRow)
            .join(LogRow, LogRow.id == JobRow.log_id)
            .where(JobRow.state == JobState.QUEUED)
            .order_by(JobRow.number - case((_is_small(), HEAD_START), else_=0), JobRow.number, JobRow.id)
        )
        with self.database.reading() as session:
            if session.scalars(waiting.limit(1)).one_or_none() is None:
                return None
        with self.database.writing() as session:
            row = session.scalars(waiting.limit(1).with_for_update(of=JobRow, skip_locked=True)).one_or_none()
            if row is None:
                return None
            _apply(row, job_state.started)
            row.started_at, row.stage, row.done, row.total, row.best_net = now(), "starting", 0, 0, None
            row.gap, row.best, row.share, row.seconds_left = None, None, 0.0, None
            return _job(row)

    def running_jobs(self) -> list[JobShown]:
        """Return the jobs that run, or did when their server went away."""
        with self.database.reading() as session:
            return [_job(row) for row in session.scalars(select(JobRow).where(JobRow.state == JobState.RUNNING))]

    def step_job(
        self,
        job_id: str,
        step: Callable[[JobStatus], JobStatus],
        *,
        attempt: int | None = None,
        error: ErrorShown | None = None,
    ) -> JobShown | None:
        """Take a job one step on, by the rules of `job_state`; return it.

        attempt : whose step it is; None is returned where the job went on without it, or is gone.
        error : why the step is a failure. Raises NotFoundError where nobody's attempt is named; JobStateError.
        """
        with self.database.writing() as session:
            row = session.get(JobRow, job_id, with_for_update=True)
            if row is None and attempt is None:
                raise NotFoundError("there is no such job")
            if row is None or not _is_own(row, attempt):
                return None
            _apply(row, step, error)
            return _job(row)

    def note_progress(
        self,
        job_id: str,
        attempt: int,
        stage: str,
        done: int,
        total: int,
        best_net: float | None,
        gap: float | None = None,
        best: BestShown | None = None,
        share: float = 0.0,
        seconds_left: float | None = None,
    ) -> bool:
        """Note how far a job is; return whether it is to go on.

        best_net, gap, best : None leaves what was noted before. share, seconds_left : as of JobShown.
        """
        with self.database.writing() as session:
            row = session.get(JobRow, job_id, with_for_update=True)
            if row is None or not _is_own(row, attempt) or row.cancel_wanted:
                return False
            row.stage, row.done, row.total = stage, done, total
            row.best_net = row.best_net if best_net is None else best_net
            row.gap = row.gap if gap is None else gap
            row.best = row.best if best is None else best.model_dump(mode="json")
            row.share, row.seconds_left = max(row.share, share), seconds_left
            return True

    def finish_read(self, job_id: str, attempt: int, read_key: str, facts: LogFacts, marks: Sequence[Mark]) -> bool:
        """Keep what was read of a log and end the job, both or neither; return whether it was this attempt's."""
        with self.database.writing() as session:
            row = session.get(JobRow, job_id, with_for_update=True)
            if row is None or not _is_own(row, attempt):
                return False
            _apply(row, job_state.finished)
            log = _row(session, LogRow, row.log_id, "log")
            log.read_key, log.facts = read_key, facts.model_dump()
            if not _marks(session, log.id):
                # What is made at once stands in the order of its ids, so that the same marks give the same plan.
                ids, made_at = sorted(new_id() for _ in marks), now()
                session.add_all(
                    MarkRow(id=mark_id, log_id=log.id, document=mark.model_dump(), made_at=made_at)
                    for mark_id, mark in zip(ids, marks, strict=True)
                )
            return True

    def finish_plan(self, job_id: str, attempt: int, document: PlanDocument) -> bool:
        """Keep a plan and end its job, both or neither; return whether it was this attempt's to end."""
        packed = gzip.compress(document.model_dump_json().encode(), compresslevel=6, mtime=0)
        with self.database.writing() as session:
            row = session.get(JobRow, job_id, with_for_update=True)
            if row is None or not _is_own(row, attempt):
                return False
            _apply(row, job_state.finished)
            row.best_net = document.plans[0].net
            row.gap = None if document.bound is None else document.bound.gap
            session.add(
                PlanRow(
                    id=job_id, log_id=row.log_id, kind=row.kind, mill=document.mill.name, prices=document.prices.name,
                    currency=document.currency, net=document.plans[0].net,
                    net_expected=document.plans[0].net_expected, made_at=document.made_at, document=packed,
                )
            )  # fmt: skip
            return True

    # Plans

    def plans(self, log_id: str | None = None, limit: int = 100) -> list[PlanLine]:
        """Return plans, of a log or of all, those that were asked for last first."""
        chosen = select(PlanRow).join(JobRow, JobRow.id == PlanRow.id).order_by(JobRow.number.desc()).limit(limit)
        if log_id is not None:
            chosen = chosen.where(PlanRow.log_id == log_id)
        with self.database.reading() as session:
            return [PlanLine.model_validate(row, from_attributes=True) for row in session.scalars(chosen)]

    def plan_gzip(self, plan_id: str) -> bytes:
        """Return a plan document as JSON, compressed with gzip. Raises NotFoundError."""
        with self.database.reading() as session:
            return _row(session, PlanRow, plan_id, "plan").document

    def remove_plan(self, plan_id: str) -> None:
        """Forget a plan. Raises NotFoundError."""
        with self.database.writing() as session:
            session.delete(_row(session, PlanRow, plan_id, "plan"))

    # Ticks

    def ticks(self, plan_id: str) -> list[TickShown]:
        """Return the ticks on a plan's cut lists, those that were taken back too. Raises NotFoundError."""
        chosen = select(TickRow).where(TickRow.plan_id == plan_id).order_by(TickRow.way, TickRow.step)
        with self.database.reading() as session:
            _row(session, PlanRow, plan_id, "plan")
            return [TickShown.model_validate(row, from_attributes=True) for row in session.scalars(chosen)]

    def change_tick(self, plan_id: str, way: str, step: str, change: Change) -> TickShown:
        """Make a tick or take it back, by the rules of `ticks`; return how it stands now. Raises NotFoundError."""
        with self.database.writing() as session:
            # The plan's row is locked, so that of two first ticks at once the second finds the first.
            if session.get(PlanRow, plan_id, with_for_update=True) is None:
                raise NotFoundError("there is no such plan")
            row = session.get(TickRow, (plan_id, way, step))
            kept = None
            if row is not None:
                kept = Tick(row.is_ticked, row.who, datetime.fromisoformat(row.changed_at), row.changes)
            tick = changed(kept, change, datetime.now(UTC))
            if row is None:
                row = TickRow(plan_id=plan_id, way=way, step=step)
                session.add(row)
            row.is_ticked, row.who, row.changes = tick.is_ticked, tick.who, tick.changes
            row.changed_at = tick.changed_at.isoformat(timespec="milliseconds")
            return TickShown.model_validate(row, from_attributes=True)


def _row(session: Session, table: Any, row_id: str, what: str) -> Any:
    row = session.get(table, row_id)
    if row is None:
        raise NotFoundError(f"there is no such {what}")
    return row


def _next_number(session: Session, table: Any) -> int:
    return 1 + (session.scalar(select(func.max(table.number))) or 0)


def _written(session: Session, table: Any, document: Mill | PriceBook, row_id: str | None, what: str) -> Any:
    row = table(id=new_id()) if row_id is None else _row(session, table, row_id, what)
    row.name, row.document, row.changed_at = document.name, document.model_dump(mode="json"), now()
    row.number = _next_number(session, table)
    session.add(row)
    return row


def _row_or_last(session: Session, table: Any, row_id: str | None, what: str) -> Any:
    if row_id is not None:
        return _row(session, table, row_id, what)
    row = session.scalars(select(table).order_by(table.number.desc()).limit(1)).one_or_none()
    if row is None:
        raise NotFoundError(f"there is no {what} yet; add one first")
    return row


def _marks(session: Session, log_id: str) -> Sequence[MarkRow]:
    return session.scalars(select(MarkRow).where(MarkRow.log_id == log_id).order_by(MarkRow.made_at, MarkRow.id)).all()


def _is_named(session: Session, key: str) -> bool:
    used = select(func.count()).select_from(LogRow).where((LogRow.file_sha256 == key) | (LogRow.read_key == key))
    walks = select(func.count()).select_from(WalkRow).where(WalkRow.file_sha256 == key)
    return bool(session.scalar(used) or session.scalar(walks))


def _walks(session: Session, log_ids: Sequence[str]) -> Sequence[WalkRow]:
    return session.scalars(select(WalkRow).where(WalkRow.log_id.in_(log_ids)).order_by(WalkRow.number)).all()


def _walk(session: Session, log_id: str, walk_id: str) -> WalkRow:
    """Return a scan that the log is not made of. Raises NotFoundError, ConflictError."""
    row = session.get(WalkRow, walk_id)
    if row is None or row.log_id != log_id:
        raise NotFoundError("the log has no such scan")
    if row.is_part:
        raise ConflictError("the log is made of this scan; to leave it out, remove the log and send the others again")
    return row


def _queue_walk(session: Session, log_id: str, walk_id: str, most_queued: int) -> JobRow:
    waiting = select(func.count()).select_from(JobRow)
    if session.scalar(waiting.where(JobRow.log_id == log_id, JobRow.kind == "walk", _unended())):
        raise NotReadyError("another scan of this log is being fitted; wait until that is done")
    return _queue(session, "walk", log_id, {"walk_id": walk_id}, most_queued)


def _latest_reads(session: Session, log_ids: Sequence[str]) -> dict[str, JobRow]:
    chosen = select(JobRow).where(JobRow.kind == "read", JobRow.log_id.in_(log_ids)).order_by(JobRow.number, JobRow.id)
    return {row.log_id: row for row in session.scalars(chosen)}


def _read_again(session: Session, row: LogRow, most_queued: int) -> JobRow:
    row.read_key = row.facts = None
    for job in session.scalars(select(JobRow).where(JobRow.log_id == row.id, _unended())):
        _apply(job, job_state.cancel_asked)
    return _queue(session, "read", row.id, {}, most_queued)


def _may_read_again(read: JobRow) -> bool:
    """Whether reading was cancelled, or ended without the file's fault."""
    failed = read.state == JobState.FAILED and (read.error or {}).get("status") in {404, 500, 507}
    return failed or read.state == JobState.CANCELLED


def _is_small() -> Any:
    return or_(JobRow.kind == "way", and_(JobRow.kind == "read", LogRow.file_bytes <= SMALL_BYTES))


def _unended() -> Any:
    return JobRow.state.in_([JobState.QUEUED, JobState.RUNNING])


def _queue(session: Session, kind: JobKind, log_id: str, request: dict[str, Any], most_queued: int) -> JobRow:
    waiting = session.scalar(select(func.count()).select_from(JobRow).where(JobRow.state == JobState.QUEUED)) or 0
    if waiting >= most_queued:
        raise TooManyError(f"{waiting} jobs wait already, the most that may", 60)
    status = JobStatus()
    row = JobRow(
        id=new_id(), number=_next_number(session, JobRow), kind=kind, log_id=log_id, request=request,
        state=status.state, attempt=status.attempt, losses=status.losses, cancel_wanted=status.cancel_wanted,
        error=None, stage="waiting", done=0, total=0, best_net=None, gap=None, best=None,
        share=0.0, seconds_left=None, made_at=now(), started_at=None, ended_at=None,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row


def _is_own(row: JobRow, attempt: int | None) -> bool:
    return attempt is None or (row.attempt == attempt and row.state == JobState.RUNNING)


def _apply(row: JobRow, step: Callable[[JobStatus], JobStatus], error: ErrorShown | None = None) -> None:
    reason = None if row.error is None else str(row.error["message"])
    before = JobStatus(JobState(row.state), row.attempt, row.losses, row.cancel_wanted, reason)
    after = step(before)
    for name, value in asdict(after).items():
        if name != "reason":
            setattr(row, name, value)
    row.state = str(after.state)
    if after.state is JobState.FAILED:
        shown = error or ErrorShown(
            status=500,
            message=after.reason or "it failed",
            what_to_do="Start it again; if that fails too, ask for fewer lays or a smaller scan.",
        )
        row.error = shown.model_dump()
    if after.state.is_ended:
        row.ended_at = now()


def _job(row: JobRow) -> JobShown:
    made_plan = row.state == JobState.DONE and row.kind in {"plan", "way"}
    fields = {name: getattr(row, name) for name in JobShown.model_fields if name != "plan_id"}
    return JobShown.model_validate({**fields, "plan_id": row.id if made_plan else None})


def _logs(session: Session, rows: Sequence[LogRow]) -> list[LogShown]:
    ids = [row.id for row in rows]
    reads, walks = _latest_reads(session, ids), _walks(session, ids)
    chosen = select(JobRow).where(JobRow.id.in_([walk.job_id for walk in walks]))
    jobs = {job.id: job for job in session.scalars(chosen)}
    scans: dict[str, list[ScanShown]] = {log_id: [] for log_id in ids}
    for walk in walks:
        scans[walk.log_id].append(_scan(walk, jobs[walk.job_id]))
    return [_log(row, reads.get(row.id), tuple(scans[row.id])) for row in rows]


def _shown(session: Session, row: LogRow) -> LogShown:
    return _logs(session, [row])[0]


def _scan(walk: WalkRow, job: JobRow) -> ScanShown:
    fields = {name: getattr(walk, name) for name in ScanShown.model_fields if name not in {"state", "error"}}
    is_ended, error = JobState(job.state).is_ended, None if walk.is_part else job.error
    state = "part" if walk.is_part else "refused" if is_ended else "fitting"
    return ScanShown.model_validate({**fields, "state": state, "error": error})


def _log(row: LogRow, read: JobRow | None, scans: tuple[ScanShown, ...]) -> LogShown:
    failed = row.read_key is None and read is not None and JobState(read.state).is_ended
    return LogShown(
        id=row.id,
        name=row.name,
        state="ready" if row.read_key is not None else "failed" if failed else "reading",
        file_name=row.file_name,
        file_sha256=row.file_sha256,
        file_bytes=row.file_bytes,
        about=AboutLog.model_validate(row.about),
        facts=None if row.facts is None else LogFacts.model_validate(row.facts),
        job_id=None if read is None else read.id,
        error=None if read is None or read.error is None else ErrorShown.model_validate(read.error),
        scans=scans,
        made_at=row.made_at,
    )


def _mill(row: MillRow) -> MillKept:
    return MillKept(id=row.id, name=row.name, changed_at=row.changed_at, mill=Mill.model_validate(row.document))


def _prices(row: PriceBookRow) -> PriceBookKept:
    prices = PriceBook.model_validate(row.document)
    return PriceBookKept(id=row.id, name=row.name, changed_at=row.changed_at, prices=prices)
