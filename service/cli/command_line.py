"""`pithline` on the command line: what may be typed, and where errors go.

Nothing heavy is imported here, so that help and usage errors come at once.
"""

import gc
import io
import os
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import Annotated, Any

import typer

from service.typed.errors import InputError
from service.words.units import Units

WRONG_INPUT = 2
GARBAGE_AFTER = 100_000
"""How many new objects the garbage collector waits for in a short run."""
_USAGE_ERROR: Any = typer.BadParameter.__base__
"""What Typer raises for a wrong option, whichever package it takes it from."""

app = typer.Typer(
    help="Plan how a log is sawn into live-edge slabs, before the first cut.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)

LogFile = Annotated[
    Path,
    typer.Argument(metavar="LOG", help="A log sheet (.toml), or a scan of a log (.ply, .obj, .usdz, .laz, .e57 ...)."),
]
UnitsOption = Annotated[Units, typer.Option("--units", help="How to write lengths and masses.")]
SpeciesOption = Annotated[str | None, typer.Option(help='The wood, such as "sugar maple"; else what the sheet says.')]
BarkOption = Annotated[
    str | None, typer.Option(metavar="on|off", help="Whether the bark is on; else the sheet's, or on.")
]
UnitOption = Annotated[
    str | None, typer.Option("--unit", metavar="m|cm|mm|in|ft", help="The unit of a scan; else what makes a log of it.")
]
UpOption = Annotated[
    str | None, typer.Option(metavar="x|y|z|-x|-y|-z", help="The axis of a scan that points up; else as it lies.")
]
ButtOption = Annotated[
    str | None, typer.Option(metavar="other", help="Take the other end of a scan for the butt end than was found.")
]
TapedOption = Annotated[
    str | None,
    typer.Option("--taped-length", metavar="LENGTH", help="The log's length by the tape: sets a scan's scale."),
]
PickOption = Annotated[
    int | None, typer.Option(min=1, max=1000, help="Which log of a scan, the largest first; else 1.")
]
MillOption = Annotated[
    Path | None, typer.Option("--mill", metavar="FILE", help="The mill; else mill.toml is looked for.")
]
PricesOption = Annotated[
    Path | None, typer.Option("--prices", metavar="FILE", help="The price book; else prices.toml is looked for.")
]
JsonOption = Annotated[
    str | None, typer.Option("--json", metavar="FILE", help="Write the plan document too; - prints it alone.")
]
AllOption = Annotated[bool, typer.Option("--all", help="Show every plan in full, and the plain way.")]
LaysOption = Annotated[int | None, typer.Option(min=1, max=1_000_000, help="Stop after so many lays.")]
DoubtOption = Annotated[
    str,
    typer.Option(metavar="on|off", help="Whether to weigh how far the log may be off, and how far off it may be set."),
]
BuckOption = Annotated[
    str,
    typer.Option(
        metavar="best|limbs|no", help="Which buck cuts to look at before the log goes on the bed: all, limbs, or none."
    ),
]
SecondsOption = Annotated[float | None, typer.Option(help="Stop after so many seconds.")]
SeedOption = Annotated[
    int, typer.Option(min=0, max=2**31, help="Of the random numbers; the same seed gives the same plans.")
]
WorkersOption = Annotated[int | None, typer.Option(min=1, max=256, help="Processor cores to use; else all.")]


def _commands() -> ModuleType:
    """Load what does the work: half a second that help need not wait for."""
    is_first = "service.cli.commands" not in sys.modules
    from service.cli import commands  # noqa: PLC0415 - late on purpose

    if is_first:
        # Modules stay until the end: no need to look through them for garbage again and again, least of all at the end.
        gc.freeze()
    return commands


def _show_version(*, wanted: bool) -> None:
    if wanted:
        typer.echo(f"pithline {version('pithline')}")
        raise typer.Exit


@app.callback()
def _root(
    *,
    show_version: Annotated[
        bool,
        typer.Option(
            "--version", callback=lambda wanted: _show_version(wanted=wanted), is_eager=True, help="Show the version."
        ),
    ] = False,
) -> None:
    """Plan how a log is sawn into live-edge slabs, before the first cut."""


@app.command()
def demo(
    *,
    units: UnitsOption = Units.IMPERIAL,
    json: JsonOption = None,
    show_all: AllOption = False,
    doubt: DoubtOption = "on",
    buck: BuckOption = "best",
    lays: LaysOption = None,
    workers: WorkersOption = None,
) -> None:
    """Plan an invented log, on an invented mill, at invented prices."""
    commands = _commands()
    commands.demo(
        commands.Shown(units, json, show_all),
        commands.Effort(lays=lays, workers=workers, doubt=commands.weighs_doubt(doubt), buck=commands.bucks(buck)),
    )


@app.command()
def plan(
    log: LogFile,
    *,
    species: SpeciesOption = None,
    bark: BarkOption = None,
    end_trim: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help='Lost at each end, such as "2 in"; else the sheet\'s, or 2 in for a mesh.'),
    ] = None,
    cost: Annotated[float | None, typer.Option(help="What the log cost; else what the sheet says.")] = None,
    taped_length: TapedOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    mill: MillOption = None,
    prices: PricesOption = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Marks on the log: metal, knots, rot, cracks, pith.")
    ] = None,
    doubt: DoubtOption = "on",
    buck: BuckOption = "best",
    seconds: SecondsOption = None,
    gap: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help='Go on proving until no lay can be better by more, such as "2 %".'),
    ] = None,
    lays: LaysOption = None,
    seed: SeedOption = 0,
    workers: WorkersOption = None,
    json: JsonOption = None,
    show_all: AllOption = False,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Plan how to lay and saw a log, and what it is worth."""
    commands = _commands()
    scan = {"taped_length": taped_length, "unit": unit, "up": up, "butt": butt, "pick": pick}
    commands.plan(
        log,
        commands.AboutLog(species=species, bark=bark, end_trim=end_trim, cost=cost, **scan),
        commands.Shown(units, json, show_all),
        commands.Effort(lays, seconds, gap, seed, workers, commands.weighs_doubt(doubt), commands.bucks(buck)),
        mill=mill,
        prices=prices,
        marks=marks,
    )


@app.command()
def price(
    log: LogFile,
    *,
    roll: Annotated[float, typer.Option(help="How far to roll the log, clockwise seen from the butt, in degrees.")],
    heights: Annotated[
        str,
        typer.Option(metavar="LIST", help='Blade heights as the mill\'s scale reads them, from the top: "20, 17 5/8".'),
    ],
    shim_butt: Annotated[str, typer.Option(metavar="LENGTH", help="What stands under the butt end.")] = "0",
    shim_top: Annotated[str, typer.Option(metavar="LENGTH", help="What stands under the top end.")] = "0",
    made: Annotated[
        int | None, typer.Option(help="So many of the heights are sawn already: plan the rest anew.")
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option(metavar="FACE", help='A face as found: "1: 22 in x 8 ft"; may be given more than once.'),
    ] = None,
    stretch: Annotated[
        str,
        typer.Option(metavar="PLACES", help='Of a log longer than the bed, what lies on it: "2 ft to 11 ft 6 in".'),
    ] = "",
    species: SpeciesOption = None,
    bark: BarkOption = None,
    end_trim: Annotated[str | None, typer.Option(metavar="LENGTH", help="Lost at each end.")] = None,
    cost: Annotated[float | None, typer.Option(help="What the log cost; else what the sheet says.")] = None,
    taped_length: TapedOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    mill: MillOption = None,
    prices: PricesOption = None,
    marks: Annotated[Path | None, typer.Option(metavar="FILE", help="Marks on the log.")] = None,
    doubt: DoubtOption = "on",
    json: JsonOption = None,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Price your own way to lay and saw a log, or plan on from passes already made."""
    commands = _commands()
    scan = {"taped_length": taped_length, "unit": unit, "up": up, "butt": butt, "pick": pick}
    commands.price(
        log,
        commands.AboutLog(species=species, bark=bark, end_trim=end_trim, cost=cost, **scan),
        commands.Shown(units, json, show_all=False),
        commands.Way(roll, shim_butt, shim_top, heights, made, tuple(seen or ()), stretch),
        mill=mill,
        prices=prices,
        marks=marks,
        doubt=commands.weighs_doubt(doubt),
    )


@app.command()
def solid(
    log: LogFile,
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it: .ply, .stl, .obj or .glb.")],
    wood: Annotated[bool, typer.Option("--wood", help="The wood alone, without its bark.")] = False,
    species: SpeciesOption = None,
    bark: BarkOption = None,
    taped_length: TapedOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Write the log as a closed mesh.

    In metres: +x from the butt end to the top end, z up as the log lay.
    """
    commands = _commands()
    scan = {"taped_length": taped_length, "unit": unit, "up": up, "butt": butt, "pick": pick}
    commands.solid(log, out, commands.AboutLog(species=species, bark=bark, **scan), wood=wood, units=units)


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(metavar="[FOLDER]", help="Where to write them.")] = Path(),
    *,
    force: Annotated[bool, typer.Option("--force", help="Write over files that are there.")] = False,
    scan: Annotated[bool, typer.Option("--scan", help="An invented scan of a log too, to try.")] = False,
) -> None:
    """Write a mill, a price book and a log sheet to edit."""
    _commands().init(folder, force=force, scan=scan)


@app.command()
def serve(
    *,
    host: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Where to listen; else this machine alone, 127.0.0.1.")
    ] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on; 0: any that is free; else 8100.")] = None,
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Where logs and plans are kept; else your own data folder.")
    ] = None,
    slots: Annotated[int | None, typer.Option(help="Jobs that run at once; else 1.")] = None,
    set_aside: Annotated[
        bool,
        typer.Option(
            "--set-aside", help="Start though no log is known of files that are kept: move them to the trash."
        ),
    ] = False,
    settings: Annotated[bool, typer.Option("--settings", help="List all settings, and stop.")] = False,
) -> None:
    """Serve pages and an API to browsers and programs."""
    from service.web import serve as served  # noqa: PLC0415 - late on purpose

    if settings:
        typer.echo(served.settings_text(), nl=False)
        return
    served.serve({"host": host, "port": port, "data_folder": data, "slots": slots, "set_aside": set_aside or None})


DataOption = Annotated[
    Path | None, typer.Option("--data", metavar="FOLDER", help="The service's data folder; else your own.")
]


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the copy, such as logs.zip.")],
    *,
    data: DataOption = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Copy all logs, plans, mills and prices of the service into one file.

    The service may run meanwhile.
    """
    from service.store import backup as copies  # noqa: PLC0415 - late on purpose
    from service.web import serve as served  # noqa: PLC0415

    typer.echo(copies.back_up(served.settings_from({"data_folder": data}), file, force=force))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A copy that `pithline backup` wrote.")],
    *,
    data: DataOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Where there are logs already: move them to the trash folder first.")
    ] = False,
) -> None:
    """Put such a copy back, while the service is stopped.

    What was there is moved aside, never deleted.
    """
    from service.store import restore as copies  # noqa: PLC0415 - late on purpose
    from service.web import serve as served  # noqa: PLC0415

    typer.echo(copies.restore(served.settings_from({"data_folder": data}), file, replace=replace))


@app.command()
def passphrase(
    *,
    data: Annotated[Path | None, typer.Option(metavar="FOLDER", help="The service's data folder.")] = None,
) -> None:
    """Set the passphrase of the service: asked for, or read from a pipe.

    Only its hash is kept.
    """
    from service.web import serve as served  # noqa: PLC0415 - late on purpose

    if sys.stdin.isatty():
        typed = typer.prompt("New passphrase", hide_input=True, confirmation_prompt=True)
    else:
        typed = sys.stdin.readline().rstrip("\r\n")
    served.set_passphrase(typed, data)


def _one_line(message: str) -> str:
    # A file's name may hold bytes that are no letters.
    return " ".join(message.split()).encode(errors="backslashreplace").decode()


def run(arguments: Sequence[str]) -> int:
    """Run a command line; return its exit code: 0 done, 2 the input is wrong, 3 no plan is possible.

    Whatever the user can mend is one line on stderr. An error of ours is not caught.
    """
    typed = list(arguments) or ["--help"]
    return _guarded(lambda: app(typed, prog_name="pithline", standalone_mode=False), _units_typed(typed))


def _units_typed(arguments: Sequence[str]) -> Units:
    """Return the units of a command line, which an error is written in whether or not it could be read."""
    last = next((at for at in reversed(range(len(arguments))) if arguments[at].startswith("--units")), None)
    if last is None:
        return Units.IMPERIAL
    _, _, value = " ".join(arguments[last : last + 2]).replace("=", " ").partition(" ")
    return Units.METRIC if value.split()[:1] == [Units.METRIC.value] else Units.IMPERIAL


def _guarded(work: Callable[[], Any], units: Units) -> int:
    try:
        code = work()
        sys.stdout.flush()
    except _USAGE_ERROR as error:
        typer.echo(f"{_one_line(error.format_message())} (pithline --help shows what may be given)", err=True)
        return WRONG_INPUT
    except InputError as error:
        for note in getattr(error, "notes", ()):
            typer.echo(note)
        typer.echo(_commands().said(error, units), err=True)
        return WRONG_INPUT
    except (typer.Abort, KeyboardInterrupt):
        typer.echo("stopped", err=True)
        return 130
    except (BrokenPipeError, SystemExit):
        # The reader of a pipe went away, as `| head` does (Typer makes that an exit): no error, and nothing
        # for Python to complain of when it closes stdout.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        if error.filename is not None:
            raise
        # Of a stream of this process: nobody can be told on stdout.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        typer.echo(f"the output cannot be written: {_one_line(error.strerror or str(error))}", err=True)
        return WRONG_INPUT
    except Exception as error:
        found = _commands().exit_code(error)
        if found is None:
            raise
        typer.echo(_commands().said(error, units), err=True)
        return int(found)
    return code if isinstance(code, int) else 0


def main() -> None:
    """Run the command line of this process."""
    if sys.argv[1:2] != ["serve"]:
        # Imports and compiled kernels make many objects that stay: to look through them often takes a tenth of a run.
        gc.set_threshold(GARBAGE_AFTER)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal may not write every letter, which is no reason to lose a plan.
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run(sys.argv[1:]))
