"""Where everything is asked for, by routes and pages alike: plain functions on one Desk, with no HTTP in them.

What only looks something up is a method of `desk.store`: logs(), log(id), marks(log_id), mills(), price_books(),
jobs(), job(id), plans(log_id). Here stands what does more than that.
"""

import gzip
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Mark, PlanDocument
from optimizer.documents.prices import PriceBook
from optimizer.wood.woods import known_woods
from scans.messages import named
from service.contract import job_state
from service.contract.documents import (
    JobShown,
    LogAdded,
    LogShown,
    MarkPlaced,
    PlanRequest,
    ScanAdded,
    ScanGiven,
    SpeciesLine,
    TickShown,
    WayRequest,
)
from service.contract.log_given import is_same_log
from service.contract.refusals import NotFoundError, NotReadyError
from service.contract.ticks import Change
from service.contract.ways import steps_of, ways_by_key
from service.settings import FILES_FOLDER, Settings
from service.store.database import Database
from service.store.file_store import FileStore
from service.store.folder_lock import FolderLock
from service.store.kept_log import kept_log
from service.store.log_file import is_older
from service.store.named_files import naming_files, set_unnamed_aside
from service.store.restore import finish_restore
from service.store.store import Store
from service.store.trash import TRASH
from service.store.uploads import Limits, Received, taking
from service.typed.as_toml import as_toml
from service.typed.errors import InputError
from service.typed.files import (
    MAX_TOML_BYTES,
    MILL_FILE,
    PRICES_FILE,
    SHEET_FILE,
    FileRead,
    parse_document,
    read_sample,
    settle,
)
from service.typed.log_reading import AboutLog, LogRead, named_after
from service.typed.log_sheet import LogSheetTyped
from service.typed.mark_sheet import MarksRead, MarkTyped, placed
from service.typed.mesh_file import MESH_SUFFIXES, mesh_file
from service.typed.more_walks import MoreWalks
from service.typed.read_given import read_given
from service.use_cases import text_of
from service.words.units import Units

_SHEET_SUFFIX = ".toml"
_NEAR_M = 0.05
"""A mark so far outside the log still is on it: readings differ by as much (our own rule, no source)."""
_KEPT = "as held in this plan"


@dataclass(frozen=True)
class Desk:
    """The service's settings, records and files."""

    settings: Settings
    store: Store
    files: FileStore
    lock: FolderLock

    @property
    def limits(self) -> Limits:
        """What an upload may be."""
        return Limits(self.settings.upload_bytes, self.settings.free_bytes)

    def close(self) -> None:
        """Close the database, and let the data folder go."""
        self.store.database.close()
        self.lock.release()

    def add_file(self, received: Received, name: str | None, about: AboutLog) -> LogAdded:
        """Keep a scan, a mesh or a log sheet that came in, and queue its reading. name : what to call the log.

        Raises InputError for a log sheet that is wrong; TooManyError.
        """
        if received.name.lower().endswith(_SHEET_SUFFIX):
            # One that is wrong is refused before a job is made of it.
            name = name or _sheet(received).name
        with naming_files(self.store, self.files) as touched:
            touched.add(self.files.keep(received.path, received.key))
            log, again = self.store.add_log(
                name=(name or named_after(received.name))[:200],
                file_name=received.name,
                file_sha256=received.key,
                file_bytes=received.size,
                about=about,
                most_queued=self.settings.most_queued,
            )
        job = None if log.job_id is None else self.store.job(log.job_id)
        return LogAdded(log=log, job=job, again=again)

    def add_scan(self, data: bytes, file_name: str, name: str | None = None, about: AboutLog | None = None) -> LogAdded:
        """Do the same for a file that is in memory."""
        with taking(self.files, self.limits) as (taker, path):
            taker.write(data)
            received = Received(path, taker.end(), taker.size, file_name, {})
            return self.add_file(received, name, about or AboutLog())

    def add_walk(self, log_id: str, received: Received, given: ScanGiven) -> ScanAdded:
        """Keep another scan of a log, which was rolled before it, and queue its fitting to the others.

        Raises NotFoundError, NotReadyError, TooManyError, and InputError for what cannot go with the log's file.
        """
        log = self.ready_log(log_id)
        if log.facts is not None and log.facts.source != "scan":
            raise InputError(
                f"{log.name} is a {'log sheet' if log.facts.source == 'sheet' else 'closed mesh'}, which goes with no "
                "scan",
                "upload both scans as a log of their own",
            )
        parts = [(walk.file_name, walk.file_sha256) for walk in self.store.walks(log_id)]
        unread = [FileRead(name, b"", key) for name, key in (*parts, (received.name, received.key))]
        MoreWalks(tuple(unread)).check(FileRead(log.file_name, b"", log.file_sha256))
        with naming_files(self.store, self.files) as touched:
            touched.add(self.files.keep(received.path, received.key))
            scan_id, job = self.store.add_walk(
                log_id,
                file_name=received.name,
                file_sha256=received.key,
                file_bytes=received.size,
                rolled_deg=given.rolled_deg,
                most_queued=self.settings.most_queued,
            )
        return ScanAdded(log=self.store.log(log_id), scan_id=scan_id, job=job)

    def fit_walk(self, log_id: str, scan_id: str, given: ScanGiven) -> ScanAdded:
        """Queue the fitting of a scan that was refused, rolled as is said now.

        Raises NotFoundError, NotReadyError, ConflictError, TooManyError.
        """
        self.ready_log(log_id)
        job = self.store.fit_walk(log_id, scan_id, given.rolled_deg, self.settings.most_queued)
        return ScanAdded(log=self.store.log(log_id), scan_id=scan_id, job=job)

    def remove_walk(self, log_id: str, scan_id: str) -> None:
        """Forget a scan that a log is not made of, and its file. Raises NotFoundError, ConflictError."""
        with naming_files(self.store, self.files) as touched:
            touched.add(self.store.remove_walk(log_id, scan_id))

    def add_sheet(self, sheet: LogSheetTyped) -> LogAdded:
        """Add a log measured with a tape."""
        text = as_toml(sheet.model_dump(mode="json", exclude_unset=True))
        return self.add_scan(text.encode(), f"sheet{_SHEET_SUFFIX}")

    def add_sample(self) -> LogAdded:
        """Add the invented log that comes with Pithline."""
        return self.add_scan(read_sample(SHEET_FILE).data, SHEET_FILE)

    def read_of(self, log_id: str) -> LogRead:
        """Return a log as it was read, with its name and marks. Raises NotFoundError, NotReadyError."""
        log = self.ready_log(log_id)
        read = kept_log(self.store, self.files, log_id)
        if read is None:
            raise NotReadyError(f"the log {log.name} is being read")
        return read

    def ready_log(self, log_id: str) -> LogShown:
        """Return a log that was read. Raises NotFoundError, NotReadyError."""
        log = self.store.log(log_id)
        if log.state == "failed":
            raise NotReadyError(
                f"the log {log.name} could not be read: {log.error.message if log.error else 'cancelled'}"
            )
        if log.state != "ready":
            raise NotReadyError(f"the log {log.name} is being read")
        return log

    def solid_tag(self, log_id: str) -> str:
        """Return what changes whenever a log's solid does. Raises NotFoundError, NotReadyError."""
        log = self.ready_log(log_id)
        return self.store.log_read_key(log_id) or log.file_sha256

    def solid_file(self, log_id: str, suffix: str, *, wood: bool = False) -> bytes:
        """Return a log's closed mesh as a file: .ply, .stl, .obj or .glb.

        Raises NotFoundError, NotReadyError, InputError.
        """
        if suffix not in MESH_SUFFIXES:
            raise InputError(f"suffix must be one of {', '.join(MESH_SUFFIXES)}, got {suffix}")
        log = self.read_of(log_id).log
        body = log.wood if wood else log.outer
        return mesh_file(body, suffix, log.colours if body is log.outer else None)

    def change_log(self, log_id: str, name: str | None, about: AboutLog | None) -> LogShown:
        """Give a log another name, or say something else of it, which reads it again.

        Raises NotFoundError, ConflictError, TooManyError.
        """
        with naming_files(self.store, self.files) as touched:
            if (key := self.store.log_read_key(log_id)) is not None:
                touched.add(key)
            return self.store.change_log(log_id, name=name, about=about, most_queued=self.settings.most_queued)

    def remove_log(self, log_id: str) -> None:
        """Forget a log with all that belongs to it, and its files. Raises NotFoundError."""
        with naming_files(self.store, self.files) as touched:
            touched.update(self.store.remove_log(log_id))

    def add_mark(self, log_id: str, mark: MarkTyped | MarkPlaced) -> tuple[str, Mark]:
        """Put a mark on a log, measured by tape or pointed out on its surface; return its id, and where it is.

        Raises NotFoundError, NotReadyError, InputError.
        """
        read = self.read_of(log_id)
        if isinstance(mark, MarkTyped):
            (found,) = placed(read.log, [MarksRead("the log", (mark,))], taped=read.source.kind == "sheet")
            return self.store.add_mark(log_id, found)
        low, high = read.log.outer.bounds_m
        for axis, value in enumerate((mark.x_m, mark.y_m, mark.z_m)):
            if not low[axis] - _NEAR_M <= value <= high[axis] + _NEAR_M:
                raise InputError(
                    f"{'xyz'[axis]}_m must lie on the log, in {low[axis]:.3f} to {high[axis]:.3f}, got {value:.3f}"
                )
        if mark.kind != "pith" and not (mark.radius_m > 0.0 and mark.depth_m > 0.0):
            raise InputError(f"radius_m and depth_m must be over 0 for {mark.kind}; give both")
        return self.store.add_mark(log_id, Mark(id="", **mark.model_dump()))

    def start_plan(self, log_id: str, request: PlanRequest) -> JobShown:
        """Queue the search for a log's best plans. Raises NotFoundError, NotReadyError, TooManyError, InputError."""
        if request.lays > self.settings.most_lays:
            raise InputError(f"lays must be at most {self.settings.most_lays}, got {request.lays}")
        return self._start("plan", log_id, request)

    def start_way(self, log_id: str, request: WayRequest) -> JobShown:
        """Queue the pricing of a way that somebody chose. Raises as start_plan does, and GivenError."""
        self.ready_log(log_id)
        self.check_way(request)
        return self._start("way", log_id, request)

    def check_way(self, request: WayRequest) -> None:
        """Refuse a way that cannot be read, while whoever wrote it is still there.

        Raises NotFoundError, InputError, GivenError.
        """
        request.given(self.planned_on(request)[0])

    def planned_on(self, request: PlanRequest | WayRequest) -> tuple[Mill, PriceBook]:
        """Return the mill and the price book that a log is to be planned on. Raises NotFoundError."""
        of_plan = request.of_plan if isinstance(request, WayRequest) else None
        # A plan holds its own whole: a log that is half sawn lies on that mill still, whatever is kept by now.
        whole = None if of_plan is None else self.plan_document(of_plan)
        mill = whole.mill if whole and request.mill_id is None else self.store.mill(request.mill_id).mill
        prices = (
            whole.prices if whole and request.prices_id is None else self.store.price_book(request.prices_id).prices
        )
        return mill, prices

    def kept_mill_id(self, mill: Mill) -> str | None:
        """Return the id of the kept mill that is the same still; None where it was changed or removed."""
        return next((kept.id for kept in self.store.mills() if kept.mill == mill), None)

    def kept_prices_id(self, prices: PriceBook) -> str | None:
        """Return the id of the kept price book that is the same still; None where it was changed or removed."""
        return next((kept.id for kept in self.store.price_books() if kept.prices == prices), None)

    def _start(self, kind: Any, log_id: str, request: PlanRequest | WayRequest) -> JobShown:
        self.ready_log(log_id)
        mill, prices = self.planned_on(request)
        # Whole, so that a job that runs again plans on what it was asked for.
        asked = {
            "request": request.model_dump(mode="json"),
            "mill": mill.model_dump(mode="json"),
            "prices": prices.model_dump(mode="json"),
            # An order made before the log was read again, or a mark was put on it, is another.
            "read_key": self.store.log_read_key(log_id),
            "marks": [mark.model_dump(mode="json") for _, mark in self.store.marks(log_id)],
        }
        return self.store.queue(kind, log_id, asked, self.settings.most_queued)

    def ordered(self, job_id: str) -> tuple[Mill, PriceBook]:
        """Return the mill and the price book that a job was asked for on. Raises NotFoundError."""
        asked = self.store.job_request(job_id)
        return Mill.model_validate(asked["mill"]), PriceBook.model_validate(asked["prices"])

    def plan_document(self, plan_id: str) -> PlanDocument:
        """Return a plan. Raises NotFoundError."""
        return PlanDocument.model_validate_json(gzip.decompress(self.store.plan_gzip(plan_id)))

    def plan_text_of(self, plan_id: str, units: Units, *, show_all: bool) -> str:
        """Return a plan as the command line prints it. Raises NotFoundError."""
        document = self.plan_document(plan_id)
        read = self.read_of(self.store.job(plan_id).log_id)
        return text_of(document, read, units, mill_from=_KEPT, prices_from=_KEPT, show_all=show_all)

    def is_log_as_planned(self, plan_id: str, document: PlanDocument) -> bool:
        """Whether a plan's log is what it was when the plan was asked for. Raises NotFoundError."""
        log = self.store.log(self.store.job(plan_id).log_id)
        asked = self.store.job_request(plan_id)
        # Plans from before the order told of it go by what they say of the log.
        is_same_read = "read_key" not in asked or asked["read_key"] == self.store.log_read_key(log.id)
        return is_same_read and is_same_log(document.log, log.facts)

    def mark_once(self, log_id: str, mark: MarkPlaced) -> None:
        """Put a mark on a log, but for one that is there already: a form may be sent twice. Raises as add_mark."""
        # As it is kept, with its numbers rounded.
        wanted = Mark.model_validate_json(Mark(id="", **mark.model_dump()).model_dump_json())
        if all(kept.model_copy(update={"id": ""}) != wanted for _, kept in self.store.marks(log_id)):
            self.add_mark(log_id, mark)

    def made_before(self, plan_id: str) -> int:
        """Return how many passes were made when a plan was asked for."""
        made = self.store.job_request(plan_id).get("request", {}).get("made")
        return int(made) if made else 0

    def change_tick(self, plan_id: str, way: str, step: str, change: Change) -> TickShown:
        """Tick a step of a cut list off, or take the tick back; return how it stands now. Raises NotFoundError."""
        plan = ways_by_key(self.plan_document(plan_id)).get(way)
        if plan is None:
            raise NotFoundError(f"this plan has no way called {way[:20]}")
        if step not in steps_of(plan):
            raise NotFoundError(f"this way has no step {step[:20]}; its passes are pass-1 to pass-{len(plan.passes)}")
        return self.store.change_tick(plan_id, way, step, change)

    def cancel_job(self, job_id: str) -> JobShown:
        """Cancel a job: at once where it waits, within a second where it runs. Raises NotFoundError, JobStateError."""
        job = self.store.step_job(job_id, job_state.cancel_asked)
        return job if job is not None else self.store.job(job_id)


def open_desk(settings: Settings) -> Desk:
    """Make the data folder where it is missing, bring the database up to date, and put a first mill and book in.

    Raises InputError where the folder or the database cannot be used, or do not belong to each other.
    """
    folder = settings.data_folder
    with ExitStack() as undo:
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            lock = FolderLock(folder)
            undo.callback(lock.release)
            finish_restore(folder)
            files = FileStore(folder / FILES_FOLDER)
            files.make_folders()
            files.clear_incoming(others_may_write=settings.executor is not None)
            database = Database(settings.database)
            undo.callback(database.close)
            _check_belongs(settings, database, files)
            database.migrate()
            files.note_database(str(database.name()))
            desk = Desk(settings, Store(database), files, lock)
            _read_older_again(desk)
            set_unnamed_aside(folder, desk.store, files)
            _put_first_in(desk.store)
        except OSError as error:
            raise InputError(
                f"the data folder {folder} cannot be used: {error.strerror or error}; let this user write there and "
                f"see that its disk is not full, or name another folder ({named('data')})"
            ) from None
        undo.pop_all()
    return desk


def _check_belongs(settings: Settings, database: Database, files: FileStore) -> None:
    """Refuse files that came from elsewhere than the database, before anything is written. Raises InputError."""
    database.check()
    kept, name = len(files.keys()), database.name()
    # What was cut off between a first file and its record, or after the last record, leaves files but no log.
    is_own = name is not None and name == files.database()
    if kept and not is_own and not settings.set_aside and not database.has_logs():
        raise InputError(
            f"{settings.data_folder} holds {kept} files of logs, but the database holds no log; put the right database "
            f"back, or restore {named('backup')}, or give {named('set_aside')}, which moves the files to "
            f"{settings.data_folder / TRASH} and starts"
        )


def _read_older_again(desk: Desk) -> None:
    """Queue the reading of logs that were kept in a form from before."""
    with naming_files(desk.store, desk.files) as touched:
        for log_id, key in desk.store.read_keys().items():
            if desk.files.has(key) and is_older(desk.files.path(key)):
                touched.add(key)
                desk.store.read_again(log_id)


def _put_first_in(store: Store) -> None:
    if not store.mills():
        store.write_mill(parse_document(settle(None, MILL_FILE).file, Mill))
    if not store.price_books():
        store.write_price_book(parse_document(settle(None, PRICES_FILE).file, PriceBook))


def _sheet(received: Received) -> LogSheetTyped:
    if received.size > MAX_TOML_BYTES:
        raise InputError(f"{received.name} is too large for a log sheet: {received.size:,} bytes")
    return parse_document(FileRead(received.name, received.path.read_bytes(), received.key), LogSheetTyped)


def about_of(*sayings: Mapping[str, Any]) -> tuple[str | None, AboutLog]:
    """Return the name and what is said of a log, from an address and a form; what is empty is left out.

    Raises InputError, UnknownSpeciesError.
    """
    given = {name: value for fields in sayings for name, value in fields.items() if value not in {None, ""}}
    name = given.pop("name", None)
    return name, read_given(AboutLog, **given)


def scan_given(*sayings: Mapping[str, Any]) -> ScanGiven:
    """Return what is said of another scan of a log, from an address and a form. Raises InputError."""
    return read_given(ScanGiven, **{name: value for said in sayings for name, value in said.items() if value != ""})


def species_lines() -> list[SpeciesLine]:
    """Return the woods of the table."""
    return [
        SpeciesLine(
            name=wood.name,
            scientific_name=wood.scientific_name,
            green_density_kg_m3=wood.green_density_kg_m3,
            shrinkage_radial_pct=wood.shrinkage_radial_pct,
            shrinkage_tangential_pct=wood.shrinkage_tangential_pct,
            status=wood.status,
        )
        for wood in known_woods().values()
    ]
