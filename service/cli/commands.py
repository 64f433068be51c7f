"""What each command does: files in, a Log, a plan, files and text out."""

import os
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast, get_args

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bar

from optimizer.bed.marks import MarkError
from optimizer.documents.mill import Mill
from optimizer.documents.plan import PlanDocument
from optimizer.documents.prices import PriceBook, PriceError
from optimizer.planning import NoPlanError, Progress, Run, SearchSettings
from optimizer.search.bucked import Buck
from optimizer.search.given import GivenError
from optimizer.wood.woods import UnknownSpeciesError
from scans.errors import ScanError
from scans.messages import quoted, writable
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
from service.typed.invented_scan import SCAN_FILE, invented_scan
from service.typed.log_reading import AboutLog, LogRead, read_log
from service.typed.mesh_file import MESH_SUFFIXES, mesh_file
from service.typed.way import Way, own_way_name
from service.use_cases import plan_read_log, price_own_way
from service.words.measures import Measures
from service.words.quantities import in_units
from service.words.tables import Assumed, plan_text, solid_text
from service.words.units import Units

__all__ = [
    "AboutLog",
    "Effort",
    "Shown",
    "Way",
    "demo",
    "exit_code",
    "init",
    "plan",
    "price",
    "said",
    "solid",
    "weighs_doubt",
]

WRONG_INPUT, NO_PLAN = 2, 3
EXIT_CODES: tuple[tuple[type[Exception], int], ...] = (
    (InputError, WRONG_INPUT),
    (ScanError, WRONG_INPUT),
    (PriceError, WRONG_INPUT),
    (GivenError, WRONG_INPUT),
    (MarkError, WRONG_INPUT),
    (UnknownSpeciesError, WRONG_INPUT),
    (NoPlanError, NO_PLAN),
)
STDOUT = "-"
MOST_SECONDS = 1e6


@dataclass(frozen=True)
class Shown:
    """How to show a plan. json : a file for the document, or "-" for it alone on stdout."""

    units: Units
    json: str | None
    show_all: bool


@dataclass(frozen=True)
class Effort:
    """How long to search; None leaves it to the search."""

    lays: int | None = None
    seconds: float | None = None
    gap: str | None = None
    seed: int = 0
    workers: int | None = None
    doubt: bool = True
    buck: Buck = "best"

    def settings(self) -> SearchSettings:
        """Return the settings of the search. Raises InputError."""
        if self.seconds is not None and not 0.0 < self.seconds <= MOST_SECONDS:
            raise InputError(f"--seconds must be over 0 and at most {MOST_SECONDS:.0f}, got {self.seconds:g}")
        given: dict[str, Any] = {
            "seconds": self.seconds,
            "gap": gap_of_text(self.gap),
            "seed": self.seed,
            "doubt": self.doubt,
            "buck": self.buck,
        }
        if self.lays is not None:
            given["lays"] = self.lays
        return SearchSettings(workers=self.workers or len(os.sched_getaffinity(0)), **given)


def gap_of_text(typed: str | None) -> float | None:
    """Return the gap that was asked for, as a share; per cent with a sign. Raises InputError."""
    if typed is None:
        return None
    text = typed.strip()
    try:
        gap = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        raise InputError(f'--gap must be a share such as "2 %" or 0.02, got {quoted(typed)}') from None
    if not 0.0 < gap < 1.0:
        raise InputError(f'--gap must lie between 0 and 100 %, such as "2 %" or 0.02, got {quoted(typed)}')
    return gap


def weighs_doubt(typed: str) -> bool:
    """Return whether doubt is to be weighed. Raises InputError."""
    if typed not in {"on", "off"}:
        raise InputError(f"--doubt must be on or off, got {quoted(typed)}")
    return typed == "on"


def bucks(typed: str) -> Buck:
    """Return which buck cuts are to be looked at. Raises InputError."""
    for known in get_args(Buck):
        if typed == known:
            return cast("Buck", known)
    raise InputError(f"--buck must be best, limbs or no, got {quoted(typed)}")


def exit_code(error: Exception) -> int | None:
    """Return the exit code of an error that the user can mend; None for one that is ours."""
    return next((code for kind, code in EXIT_CODES if isinstance(error, kind)), None)


def said(error: Exception, units: Units) -> str:
    """Return an error in one line, its quantities in the reader's units."""
    return writable(" ".join(in_units(str(error), units).split()))


def demo(shown: Shown, effort: Effort) -> None:
    """Plan the sample log on the sample mill at the sample prices."""
    where = "sample"
    _plan(
        read_sample(SHEET_FILE), AboutLog(), shown, effort,
        Settled(read_sample(MILL_FILE), where), Settled(read_sample(PRICES_FILE), where),
    )  # fmt: skip


def plan(
    log: Path, about: AboutLog, shown: Shown, effort: Effort,
    *, mill: Path | None, prices: Path | None, marks: Path | None,
) -> None:  # fmt: skip
    """Plan a log and print it. Raises the errors of EXIT_CODES."""
    _plan(
        read_file(log), about, shown, effort, settle(mill, MILL_FILE), settle(prices, PRICES_FILE),
        None if marks is None else read_file(marks),
    )  # fmt: skip


def _plan(
    file: FileRead, about: AboutLog, shown: Shown, effort: Effort, mill_at: Settled, prices_at: Settled,
    marks: FileRead | None = None,
) -> None:  # fmt: skip
    settings = effort.settings()
    _check_json(shown)
    mill = parse_document(mill_at.file, Mill)
    prices = parse_document(prices_at.file, PriceBook)
    read = read_log(file, about, marks)
    with _progress_bar(Measures(shown.units, mill, prices.currency)) as on_progress:
        document = plan_read_log(read, mill, prices, settings=settings, run=_run(), on_progress=on_progress)
    _show(document, shown, read, mill_at, prices_at, "Plan 1")


def price(
    log: Path, about: AboutLog, shown: Shown, way: Way,
    *, mill: Path | None, prices: Path | None, marks: Path | None, doubt: bool,
) -> None:  # fmt: skip
    """Price a way that somebody chose, or plan on from passes made. Raises the errors of EXIT_CODES."""
    _check_json(shown)
    mill_at, prices_at = settle(mill, MILL_FILE), settle(prices, PRICES_FILE)
    the_mill, the_prices = parse_document(mill_at.file, Mill), parse_document(prices_at.file, PriceBook)
    chosen = way.given(the_mill, shown.units)
    read = read_log(read_file(log), about, None if marks is None else read_file(marks))
    workers = len(os.sched_getaffinity(0))
    document = price_own_way(read, the_mill, the_prices, chosen, run=_run(), doubt=doubt, workers=workers)
    _show(document, shown, read, mill_at, prices_at, own_way_name(document.made))


def _run() -> Run:
    return Run(
        id=uuid.uuid4().hex,
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        made_with=f"pithline {version('pithline')}",
        clock=time.monotonic,
    )


def _check_json(shown: Shown) -> None:
    """Refuse a file for the document that cannot be written, before anybody waits for a plan. Raises InputError."""
    if shown.json not in {None, STDOUT}:
        check_writable(Path(str(shown.json)))


def _show(
    document: PlanDocument, shown: Shown, read: LogRead, mill_at: Settled, prices_at: Settled, title: str
) -> None:
    as_json = document.model_dump_json() + "\n"
    if shown.json == STDOUT:
        sys.stdout.write(as_json)
        return
    not_written: InputError | None = None
    if shown.json is not None:
        try:
            write_whole(Path(shown.json), as_json.encode())
        except InputError as error:
            not_written = error  # told once the plan is printed, which is not to be lost
    assumed = Assumed(
        mill=_where(mill_at), prices=_where(prices_at),
        species=read.species_from, bark=read.bark_from, end_trim=read.end_trim_from,
    )  # fmt: skip
    typer.echo(plan_text(document, assumed, shown.units, show_all=shown.show_all, title=title), nl=False)
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
    with Bar(*parts, console=console, transient=True) as bar:
        task = bar.add_task("cutting the log into stations", total=None)

        def advance(progress: Progress) -> None:
            best = "" if progress.best_net is None else f", best so far {measures.money(progress.best_net)}"
            bar.update(task, description=f"{progress.stage}{best}", completed=progress.done, total=progress.total)

        yield advance


def solid(log: Path, out: Path, about: AboutLog, *, wood: bool, units: Units) -> None:
    """Write a log as a closed mesh in the log frame."""
    suffix = out.suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise InputError(f"--out must end in {', '.join(MESH_SUFFIXES)}, got {out}")
    check_writable(out)
    read = read_log(read_file(log), about)
    body = read.log.wood if wood else read.log.outer
    write_whole(out, mesh_file(body, suffix, read.log.colours if body is read.log.outer else None))
    typer.echo(
        solid_text(read.log.name, read.log.length_m, body.volume_m3, len(body.faces), writable(str(out)), units),
        nl=False,
    )


def init(folder: Path, *, force: bool, scan: bool = False) -> None:
    """Write the samples to edit into a folder, all of them or none; `scan`: an invented scan to try with them."""
    names = (MILL_FILE, PRICES_FILE, SHEET_FILE, *((SCAN_FILE,) if scan else ()))
    shown = writable(str(folder))
    try:
        there = [name for name in names if (folder / name).exists()]
        if there and not force:
            raise InputError(f"{shown}/{there[0]} is there already; --force writes over it, or name another folder")
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{shown} cannot be made: {error.strerror or error}") from None
    for name in names:
        check_writable(folder / name)
    for name in names:
        write_whole(folder / name, invented_scan() if name == SCAN_FILE else (SAMPLES / name).read_bytes())
        typer.echo(f"wrote {writable(str(folder / name))}")
    typer.echo(
        f"Edit them; then: pithline plan {writable(str(folder / SHEET_FILE))}\n"
        f"{MILL_FILE} and {PRICES_FILE} are looked for in the folder you are in, then in\n"
        f"{users_folder()}, then the samples serve.\n"
        "--mill FILE and --prices FILE name others."
    )
