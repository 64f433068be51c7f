"""What each command does: files in, a Log, a plan, files and text out."""

import os
import sys
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import rich.progress
import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn

from optimizer.documents.mill import Mill
from optimizer.documents.plan import PlanDocument
from optimizer.documents.prices import PriceBook
from optimizer.planning import NoPlanError, Progress
from scans.messages import Refusal, named, writable
from service.drawings.bed import end_on_bed
from service.typed.effort import Effort, gap_of_text
from service.typed.errors import InputError
from service.typed.files import (
    MILL_FILE,
    PRICES_FILE,
    SAMPLES,
    SHEET_FILE,
    FileRead,
    Settled,
    check_writable,
    parse_document,
    read_file,
    read_sample,
    settle,
    users_folder,
    write_whole,
)
from service.typed.girths import sheet_of_girths
from service.typed.invented_scan import SCAN_FILES, invented_scan
from service.typed.log_reading import AboutLog, LogRead, read_log
from service.typed.mesh_file import MESH_SUFFIXES, mesh_file
from service.typed.more_walks import NO_MORE_WALKS, MoreWalks
from service.typed.read_given import read_given
from service.typed.way import Way
from service.use_cases import assumed_of, bid_on_log, new_run, plan_read_log, price_own_way, text_of
from service.words import messages
from service.words.bid_words import bid_text
from service.words.measures import Measures
from service.words.tables import solid_text
from service.words.units import Units

__all__ = [
    "AboutLog",
    "Effort",
    "LogFiles",
    "Shown",
    "Way",
    "bid",
    "demo",
    "exit_code",
    "gap_of_text",
    "init",
    "plan",
    "price",
    "read_given",
    "said",
    "solid",
]

WRONG_INPUT, NO_PLAN = 2, 3
EXIT_CODES: tuple[tuple[type[Exception], int], ...] = (
    (NoPlanError, NO_PLAN),
    (Refusal, WRONG_INPUT),
)
"""The first that an error is tells its code."""
STDOUT = "-"


@dataclass(frozen=True)
class Shown:
    """How to show a plan. json : a file for the document, or "-" for it alone on stdout. verbose : how it was found."""

    units: Units
    json: str | None
    show_all: bool
    verbose: bool = False
    picture: str | None = None


@dataclass(frozen=True)
class LogFiles:
    """Files of one log: a sheet, a mesh, or scans that it was rolled between. rolled_deg : as of MoreWalks."""

    paths: tuple[Path, ...]
    rolled_deg: tuple[float, ...] = ()

    def read(self) -> tuple[FileRead, MoreWalks]:
        """Read the files. Raises InputError."""
        first, *more = (read_file(path) for path in self.paths)
        return first, MoreWalks(tuple(more), self.rolled_deg)


def exit_code(error: Exception) -> int | None:
    """Return the exit code of an error that the user can fix; None for one that is ours."""
    return next((code for kind, code in EXIT_CODES if isinstance(error, kind)), None)


def said(error: Exception, units: Units) -> str:
    """Return an error in one line, its quantities in the reader's units, its fields as options."""
    return writable(messages.said(error, units, messages.COMMAND_LINE))


def demo(shown: Shown, effort: Effort, workers: int | None) -> None:
    """Plan the sample log on the sample mill at the sample prices."""
    where = "sample"
    _plan(
        read_sample(SHEET_FILE), AboutLog(), shown, effort, workers,
        Settled(read_sample(MILL_FILE), where), Settled(read_sample(PRICES_FILE), where),
    )  # fmt: skip


def plan(
    log: LogFiles, about: AboutLog, shown: Shown, effort: Effort, workers: int | None,
    *, mill: Path | None, prices: Path | None, marks: Path | None,
) -> None:  # fmt: skip
    """Plan a log and print it. Raises the errors of EXIT_CODES."""
    first, walks = log.read()
    _plan(
        first, about, shown, effort, workers, settle(mill, MILL_FILE), settle(prices, PRICES_FILE),
        None if marks is None else read_file(marks), walks,
    )  # fmt: skip


def _plan(
    file: FileRead, about: AboutLog, shown: Shown, effort: Effort, workers: int | None, mill_at: Settled,
    prices_at: Settled, marks: FileRead | None = None, walks: MoreWalks = NO_MORE_WALKS,
) -> None:  # fmt: skip
    _check_files(shown)
    mill = parse_document(mill_at.file, Mill)
    prices = parse_document(prices_at.file, PriceBook)
    read = read_log(file, about, marks, walks=walks)
    with _progress_bar(Measures(shown.units, mill, prices.currency)) as on_progress:
        run, workers = new_run(uuid.uuid4().hex), workers or _cores()
        document = plan_read_log(read, mill, prices, effort, run=run, workers=workers, on_progress=on_progress)
    _show(document, shown, read, mill_at, prices_at)


def price(
    log: LogFiles, about: AboutLog, shown: Shown, way: Way,
    *, mill: Path | None, prices: Path | None, marks: Path | None,
) -> None:  # fmt: skip
    """Price a way that somebody chose, or plan on from passes made. Raises the errors of EXIT_CODES."""
    _check_files(shown)
    mill_at, prices_at = settle(mill, MILL_FILE), settle(prices, PRICES_FILE)
    the_mill, the_prices = parse_document(mill_at.file, Mill), parse_document(prices_at.file, PriceBook)
    way.given(the_mill)  # what is wrong with it is said before anybody waits for the log
    first, walks = log.read()
    read = read_log(first, about, None if marks is None else read_file(marks), walks=walks)
    document = price_own_way(read, the_mill, the_prices, way, run=new_run(uuid.uuid4().hex), workers=_cores())
    _show(document, shown, read, mill_at, prices_at)


def bid(
    log: Path | None, girths: Sequence[str], length: str | None, about: AboutLog, shown: Shown, workers: int | None,
    *, mill: Path | None, prices: Path | None,
) -> None:  # fmt: skip
    """Say what a log may cost, which a file tells of, or two girths and a length. Raises the errors of EXIT_CODES."""
    _check_files(shown)
    mill_at, prices_at = settle(mill, MILL_FILE), settle(prices, PRICES_FILE)
    the_mill, the_prices = parse_document(mill_at.file, Mill), parse_document(prices_at.file, PriceBook)
    read = read_log(_bid_on(log, girths, length, shown.units), about)
    with _progress_bar(Measures(shown.units, the_mill, the_prices.currency)) as on_progress:
        run, workers = new_run(uuid.uuid4().hex), workers or _cores()
        document = bid_on_log(
            read, the_mill, the_prices, from_girths=log is None, run=run, workers=workers, on_progress=on_progress
        )
    assumed = assumed_of(read, _where(mill_at), _where(prices_at))
    if log is None and about.end_trim is None:
        assumed = replace(assumed, end_trim="default")  # nobody wrote the sheet
    _write(document, shown, lambda: bid_text(document, assumed, shown.units, from_girths=log is None))


def _bid_on(log: Path | None, girths: Sequence[str], length: str | None, units: Units) -> FileRead:
    """Return the log's file, or the sheet of its girths. Raises InputError where both are given, or too little."""
    if log is not None:
        beside = next((name for name, given in (("girth", girths), ("length", length)) if given), None)
        if beside is not None:
            raise InputError(f"{named(beside)} is for a log without a file", "leave it out, or LOG", field=beside)
        return read_file(log)
    if not girths and length is None:
        raise InputError(
            "nothing says how large the log is",
            f"name a log sheet or a scan, or give {named('girth')} twice and {named('length')}",
            field="girth",
        )
    if length is None:
        raise InputError(f"{named('length')} is missing", f'add it, such as {named("length")} "10 ft"', field="length")
    return sheet_of_girths(girths, length, units)


def _cores() -> int:
    return len(os.sched_getaffinity(0))


def _check_files(shown: Shown) -> None:
    """Refuse a file that cannot be written, before anybody waits for a plan. Raises InputError."""
    for file in {shown.json, shown.picture} - {None, STDOUT}:
        check_writable(Path(str(file)))


def _show(document: PlanDocument, shown: Shown, read: LogRead, mill_at: Settled, prices_at: Settled) -> None:
    def text() -> str:
        return text_of(
            document, read, shown.units, mill_from=_where(mill_at), prices_from=_where(prices_at),
            show_all=shown.show_all, verbose=shown.verbose,
        )  # fmt: skip

    _write(document, shown, text)


def _write(document: PlanDocument, shown: Shown, text: Callable[[], str]) -> None:
    """Write what was asked for, and print the text; or the document alone."""
    as_json = document.model_dump_json() + "\n"
    if shown.json == STDOUT:
        sys.stdout.write(as_json)
        return
    measures = Measures(shown.units, document.mill, document.currency)
    drawn = "" if shown.picture is None else end_on_bed(document, document.plans[0], measures)
    not_written: InputError | None = None
    for file, content in ((shown.json, as_json), (shown.picture, drawn)):
        if file is None:
            continue
        try:
            write_whole(Path(file), content.encode())
        except InputError as error:
            not_written = error  # told once the plan is printed, which is not to be lost
    typer.echo(text(), nl=False)
    if not_written is not None:
        raise not_written


def _where(settled: Settled) -> str:
    return f"{settled.where}: {settled.file.shown}" if settled.where != "sample" else settled.where


@contextmanager
def _progress_bar(measures: Measures) -> Iterator[Any]:
    """Show how far the search is, on a terminal's stderr alone."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    parts = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with rich.progress.Progress(*parts, console=console, transient=True) as bar:
        task = bar.add_task("cutting the log into stations", total=None)

        def advance(progress: Progress) -> None:
            best = "" if progress.best_net is None else f", best so far {measures.money(progress.best_net)}"
            bar.update(task, description=f"{progress.stage}{best}", completed=progress.done, total=progress.total)

        yield advance


def solid(log: LogFiles, out: Path, about: AboutLog, *, wood: bool, units: Units) -> None:
    """Write a log as a closed mesh in the log frame."""
    suffix = out.suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise InputError(f"{named('out')} must end in {', '.join(MESH_SUFFIXES)}, got {out}", field="out")
    check_writable(out)
    first, walks = log.read()
    read = read_log(first, about, walks=walks)
    body = read.log.wood if wood else read.log.outer
    write_whole(out, mesh_file(body, suffix, read.log.colours if body is read.log.outer else None))
    typer.echo(
        solid_text(read.log.name, read.log.length_m, body.volume_m3, writable(str(out)), units),
        nl=False,
    )


def _option(field: str, answer: str) -> str:
    return messages.COMMAND_LINE.called(field, answer)


def init(folder: Path, *, force: bool, scans: int = 0) -> None:
    """Write the samples to edit into a folder, all of them or none; `scans`: so many invented ones to try with them."""
    invented = SCAN_FILES[:scans]
    names = (MILL_FILE, PRICES_FILE, SHEET_FILE, *invented)
    shown = writable(str(folder))
    try:
        there = [name for name in names if (folder / name).exists()]
        if there and not force:
            raise InputError(
                f"{shown}/{there[0]} is there already", f"{named('force')} writes over it, or name another folder"
            )
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{shown} cannot be made: {error.strerror or error}") from None
    for name in names:
        check_writable(folder / name)
    for name in names:
        write_whole(folder / name, invented_scan(name) if name in invented else (SAMPLES / name).read_bytes())
        typer.echo(f"wrote {writable(str(folder / name))}")
    typer.echo(
        "Write your own numbers into these files. Then run:\n"
        f"  pithline plan {writable(str(folder / SHEET_FILE))}\n"
        f"It takes {MILL_FILE} and {PRICES_FILE} from the folder you are in. If they are not there,\n"
        f"it looks in {users_folder()}, and last it takes the samples.\n"
        f"To use other files, add {_option('mill', 'FILE')} and {_option('prices', 'FILE')}."
    )
