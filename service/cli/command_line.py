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
    help="Plan how to saw a log into live-edge slabs, before you make the first cut.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)

LogFiles = Annotated[
    list[Path],
    typer.Argument(
        metavar="LOG",
        help="A log sheet (.toml), or a scan of a log (.ply, .obj, .usdz, .laz, .e57 ...). Rolled it and scanned it "
        "again? Name both scans.",
    ),
]
RolledOption = Annotated[
    list[float] | None,
    typer.Option(
        "--rolled",
        metavar="DEGREES",
        help="Of two scans: how far you rolled the log between, clockwise looking at the butt (found if left out).",
    ),
]
UnitsOption = Annotated[Units, typer.Option("--units", help="Show lengths and weights in these units.")]
SpeciesOption = Annotated[
    str | None, typer.Option(metavar="WOOD", help='The wood, such as "sugar maple" (default: from the log sheet).')
]
CostOption = Annotated[
    float | None, typer.Option(metavar="MONEY", help="What you paid for the log (default: from the log sheet).")
]
HaulOption = Annotated[
    float | None, typer.Option(metavar="MONEY", help="What it costs to haul the log (default: from the log sheet).")
]
FeeOption = Annotated[
    float | None,
    typer.Option(metavar="MONEY", help="What you are paid to take the log away (default: from the log sheet)."),
]
BarkOption = Annotated[
    str | None, typer.Option(metavar="on|off", help="Is the bark on? (default: from the log sheet, else on)")
]
BarkThicknessOption = Annotated[
    str | None,
    typer.Option(
        "--bark-thickness", metavar="LENGTH", help="Of the bark, as an axe cut shows it; default: from the wood."
    ),
]
UnitOption = Annotated[
    str | None, typer.Option("--unit", metavar="m|cm|mm|in|ft", help="Unit of the scan (guessed if left out).")
]
UpOption = Annotated[
    str | None, typer.Option(metavar="x|y|z|-x|-y|-z", help="Which way is up in the scan (found if left out).")
]
ButtOption = Annotated[
    str | None, typer.Option(metavar="other", help='"other" makes the other end of the scan the butt.')
]
TapedOption = Annotated[
    str | None,
    typer.Option(
        "--taped-length", metavar="LENGTH", help="Length of the log by your tape. Corrects the size of the scan."
    ),
]
GirthOption = Annotated[
    list[str] | None,
    typer.Option(
        "--girth",
        metavar="PLACE=LENGTH",
        help='Around the trunk by your tape, at a place from the butt, such as "8ft=71in". Repeat it for more places. '
        "Corrects the side that the scan did not see.",
    ),
]
PickOption = Annotated[
    int | None,
    typer.Option(metavar="NUMBER", help="Which log, if the scan shows several (1 = biggest)."),
]
MillOption = Annotated[
    Path | None, typer.Option("--mill", metavar="FILE", help="Your mill (default: mill.toml in this folder).")
]
PricesOption = Annotated[
    Path | None, typer.Option("--prices", metavar="FILE", help="Your prices (default: prices.toml in this folder).")
]
JsonOption = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE", help="Also write the plan as JSON to this file. Use - to print only that."),
]
AllOption = Annotated[bool, typer.Option("--all", help="Show every plan in full, and sawing it as it lies.")]
LaysOption = Annotated[int | None, typer.Option(metavar="NUMBER", help="Stop after this many setups.")]
PictureOption = Annotated[
    str | None, typer.Option(metavar="FILE", help="Draw the best plan, looking at the butt, into this SVG file.")
]
VerboseOption = Annotated[bool, typer.Option("--verbose", help="Show how the plans were found, too.")]
DoubtOption = Annotated[
    str,
    typer.Option(metavar="on|off", help="Allow for measuring and setup errors."),
]
BuckOption = Annotated[
    str,
    typer.Option(metavar="best|limbs|no", help="Where to buck the log first: wherever it pays, limbs only, or no."),
]
SetOption = Annotated[
    str | None,
    typer.Option(
        "--set", metavar="SLABS", help='Slabs you must get, such as "4x8/4": four of 8/4. Says what that costs you.'
    ),
]
SecondsOption = Annotated[float | None, typer.Option(metavar="SECONDS", help="Stop after this many seconds.")]
SeedOption = Annotated[int, typer.Option(metavar="NUMBER", help="Random seed. The same seed gives the same plans.")]
WorkersOption = Annotated[
    int | None, typer.Option(metavar="NUMBER", min=1, max=256, help="Processor cores to use (default: all).")
]


def _of_scan(
    taped_length: str | None, girth: list[str] | None, unit: Any, up: Any, butt: Any, pick: int | None
) -> dict[str, Any]:
    """Return what is said of a scan, as AboutLog names it."""
    around = ", ".join(girth) if girth else None
    return {"taped_length": taped_length, "girth": around, "unit": unit, "up": up, "butt": butt, "pick": pick}


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
            "--version",
            callback=lambda wanted: _show_version(wanted=wanted),
            is_eager=True,
            help="Show the version, and stop.",
        ),
    ] = False,
) -> None:
    """Plan how to saw a log into live-edge slabs, before you make the first cut."""


@app.command()
def demo(
    *,
    units: UnitsOption = Units.IMPERIAL,
    json: JsonOption = None,
    picture: PictureOption = None,
    show_all: AllOption = False,
    verbose: VerboseOption = False,
    doubt: DoubtOption = "on",
    buck: BuckOption = "best",
    lays: LaysOption = None,
    workers: WorkersOption = None,
) -> None:
    """Plan a made-up log, mill and prices, to see what you get."""
    commands = _commands()
    commands.demo(
        commands.Shown(units, json, show_all, verbose, picture),
        commands.read_given(commands.Effort, lays=lays, doubt=doubt, buck=buck),
        workers,
    )


@app.command()
def plan(
    log: LogFiles,
    *,
    species: SpeciesOption = None,
    bark: BarkOption = None,
    bark_thickness: BarkThicknessOption = None,
    end_trim: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help='Lost at each end, such as "2 in" (default: from the log sheet).'),
    ] = None,
    cost: CostOption = None,
    haul: HaulOption = None,
    fee: FeeOption = None,
    rolled: RolledOption = None,
    taped_length: TapedOption = None,
    girth: GirthOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    mill: MillOption = None,
    prices: PricesOption = None,
    marks: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="File of marks on the log: metal, knots, rot, cracks, bark pockets, pith."),
    ] = None,
    doubt: DoubtOption = "on",
    buck: BuckOption = "best",
    slab_set: SetOption = None,
    seconds: SecondsOption = None,
    gap: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help='Keep searching until within this much of the best possible, such as "2%".'),
    ] = None,
    lays: LaysOption = None,
    seed: SeedOption = 0,
    workers: WorkersOption = None,
    json: JsonOption = None,
    picture: PictureOption = None,
    show_all: AllOption = False,
    verbose: VerboseOption = False,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Plan how to set up and saw a log, and what it is worth."""
    commands = _commands()
    scan = _of_scan(taped_length, girth, unit, up, butt, pick)
    told = {"bark": bark, "bark_thickness": bark_thickness, **scan}
    bought = {"cost": cost, "haul": haul, "fee_received": fee}
    commands.plan(
        commands.LogFiles(tuple(log), tuple(rolled or ())),
        commands.read_given(commands.AboutLog, species=species, end_trim=end_trim, **bought, **told),
        commands.Shown(units, json, show_all, verbose, picture),
        commands.read_given(
            commands.Effort,
            lays=lays,
            seconds=seconds,
            gap=commands.gap_of_text(gap),
            seed=seed,
            doubt=doubt,
            buck=buck,
            set=slab_set,
        ),
        workers,
        mill=mill,
        prices=prices,
        marks=marks,
    )


@app.command()
def price(
    log: LogFiles,
    *,
    roll: Annotated[
        float, typer.Option(metavar="DEGREES", help="Roll the log this many degrees clockwise, looking at the butt.")
    ],
    heights: Annotated[
        str,
        typer.Option(metavar="LIST", help='Blade heights on your mill\'s scale, from the top: "20, 17 5/8".'),
    ],
    shim_butt: Annotated[str, typer.Option(metavar="LENGTH", help="Shim under the butt end.")] = "0",
    shim_top: Annotated[str, typer.Option(metavar="LENGTH", help="Shim under the top end.")] = "0",
    made: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", help="How many of these cuts you have already made. Replans the rest."),
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FACE", help='Face you measured after a cut, such as "1: 22 in x 8 ft". Repeat it for more cuts.'
        ),
    ] = None,
    stretch: Annotated[
        str,
        typer.Option(metavar="PLACES", help='Which part of a long log is on the bed: "2 ft to 11 ft 6 in".'),
    ] = "",
    buck_at: Annotated[
        str,
        typer.Option(
            metavar="CUTS",
            help='Where the log is bucked: "limb 1 at 2 ft 4 in, butt at 1 ft". Limbs past the crotch, the others from '
            "the butt.",
        ),
    ] = "",
    species: SpeciesOption = None,
    bark: BarkOption = None,
    bark_thickness: BarkThicknessOption = None,
    end_trim: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Lost at each end (default: from the log sheet).")
    ] = None,
    cost: CostOption = None,
    haul: HaulOption = None,
    fee: FeeOption = None,
    rolled: RolledOption = None,
    taped_length: TapedOption = None,
    girth: GirthOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    mill: MillOption = None,
    prices: PricesOption = None,
    marks: Annotated[Path | None, typer.Option(metavar="FILE", help="File of marks on the log.")] = None,
    doubt: DoubtOption = "on",
    json: JsonOption = None,
    picture: PictureOption = None,
    verbose: VerboseOption = False,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Price your own setup, or replan the rest after you have cut."""
    commands = _commands()
    scan = _of_scan(taped_length, girth, unit, up, butt, pick)
    told = {"bark": bark, "bark_thickness": bark_thickness, **scan}
    bought = {"cost": cost, "haul": haul, "fee_received": fee}
    commands.price(
        commands.LogFiles(tuple(log), tuple(rolled or ())),
        commands.read_given(commands.AboutLog, species=species, end_trim=end_trim, **bought, **told),
        commands.Shown(units, json, show_all=False, verbose=verbose, picture=picture),
        commands.read_given(
            commands.Way,
            roll_deg=roll,
            shim_butt=shim_butt,
            shim_top=shim_top,
            heights=heights,
            made=made,
            seen=seen,
            stretch=stretch,
            buck_at=buck_at,
            doubt=doubt,
            units=units,
        ),
        mill=mill,
        prices=prices,
        marks=marks,
    )


@app.command()
def bid(
    log: Annotated[
        Path | None,
        typer.Argument(metavar="[LOG]", help="A log sheet or a scan, if you have one; else give --girth and --length."),
    ] = None,
    *,
    girth: Annotated[
        list[str] | None,
        typer.Option(metavar="LENGTH", help='Around the log, bark and all: once at the butt, once at the top: "7 ft".'),
    ] = None,
    length: Annotated[str | None, typer.Option(metavar="LENGTH", help='How long the log is, such as "10 ft".')] = None,
    species: SpeciesOption = None,
    bark: BarkOption = None,
    end_trim: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Lost at each end (default: from the log sheet).")
    ] = None,
    haul: HaulOption = None,
    fee: FeeOption = None,
    mill: MillOption = None,
    prices: PricesOption = None,
    workers: WorkersOption = None,
    json: JsonOption = None,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Find what you can pay for a log. Two girths and a length are enough."""
    commands = _commands()
    told = {"species": species, "bark": bark, "end_trim": end_trim, "haul": haul, "fee_received": fee}
    commands.bid(
        log,
        girth or [],
        length,
        commands.read_given(commands.AboutLog, **told),
        commands.Shown(units, json, show_all=False),
        workers,
        mill=mill,
        prices=prices,
    )


@app.command()
def solid(
    log: LogFiles,
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="File to write: .ply, .stl, .obj or .glb.")],
    wood: Annotated[bool, typer.Option("--wood", help="Only the wood, without the bark.")] = False,
    species: SpeciesOption = None,
    bark: BarkOption = None,
    bark_thickness: BarkThicknessOption = None,
    rolled: RolledOption = None,
    taped_length: TapedOption = None,
    girth: GirthOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    butt: ButtOption = None,
    pick: PickOption = None,
    units: UnitsOption = Units.IMPERIAL,
) -> None:
    """Write the log as a 3D model that other programs open.

    It is in meters. The x axis runs from the butt to the top end, and z is up.
    """
    commands = _commands()
    scan = _of_scan(taped_length, girth, unit, up, butt, pick)
    told = {"bark": bark, "bark_thickness": bark_thickness, **scan}
    files = commands.LogFiles(tuple(log), tuple(rolled or ()))
    commands.solid(files, out, commands.read_given(commands.AboutLog, species=species, **told), wood=wood, units=units)


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to write into.")] = Path(),
    *,
    force: Annotated[bool, typer.Option("--force", help="Replace files that are already there.")] = False,
    scan: Annotated[bool, typer.Option("--scan", help="Also write a made-up scan of a log, to try.")] = False,
    second_scan: Annotated[
        bool, typer.Option("--second-scan", help="Also write that, and a second scan of the same log, rolled between.")
    ] = False,
) -> None:
    """Write a sample mill, price book and log sheet for you to edit."""
    _commands().init(folder, force=force, scans=2 if second_scan else int(scan))


@app.command()
def serve(
    *,
    host: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Address to listen on (default: only this computer can open it)."),
    ] = None,
    port: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Port to listen on (default: 8100; 0 takes any free one).")
    ] = None,
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Folder for logs and plans (default: your own data folder).")
    ] = None,
    slots: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="How many plans to work on at once (default: 1).")
    ] = None,
    set_aside: Annotated[
        bool,
        typer.Option(
            "--set-aside",
            help="Start even if files are there that belong to no log, and move them to the trash folder.",
        ),
    ] = False,
    settings: Annotated[bool, typer.Option("--settings", help="List all settings, and stop.")] = False,
) -> None:
    """Start the pages, to use Pithline in a browser. Programs can use it too, by its API."""
    import service.web.serve  # noqa: PLC0415 - late on purpose

    if settings:
        typer.echo(service.web.serve.settings_text(), nl=False)
        return
    service.web.serve.serve(
        {"host": host, "port": port, "data_folder": data, "slots": slots, "set_aside": set_aside or None}
    )


DataOption = Annotated[
    Path | None,
    typer.Option("--data", metavar="FOLDER", help="Folder with the logs and plans (default: your own data folder)."),
]


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="File to write, such as logs.zip.")],
    *,
    data: DataOption = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it is already there.")] = False,
) -> None:
    """Copy all your logs, plans, mills and prices into one file.

    You can do this while the pages are running.
    """
    import service.store.backup  # noqa: PLC0415 - late on purpose
    import service.web.serve  # noqa: PLC0415

    typer.echo(service.store.backup.back_up(service.web.serve.settings_from({"data_folder": data}), file, force=force))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that `pithline backup` wrote.")],
    *,
    data: DataOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="If logs are already there, move them to the trash folder first.")
    ] = False,
) -> None:
    """Bring back everything from a backup. Stop `pithline serve` first.

    What was there is moved aside, never deleted.
    """
    import service.store.restore  # noqa: PLC0415 - late on purpose
    import service.web.serve  # noqa: PLC0415

    typer.echo(
        service.store.restore.restore(service.web.serve.settings_from({"data_folder": data}), file, replace=replace)
    )


@app.command()
def passphrase(
    *,
    data: DataOption = None,
) -> None:
    """Set the passphrase that people sign in with."""
    import service.web.serve  # noqa: PLC0415 - late on purpose

    if sys.stdin.isatty():
        typed = typer.prompt("New passphrase", hide_input=True, confirmation_prompt=True)
    else:
        typed = sys.stdin.readline().rstrip("\r\n")
    service.web.serve.set_passphrase(typed, data)


def _one_line(message: str) -> str:
    # A file's name may hold bytes that are no letters.
    return " ".join(message.split()).encode(errors="backslashreplace").decode()


def _usage_told(error: Any) -> str:
    """Say what is wrong with an option as documents say it: its name, the bound, the value."""
    import pydantic  # noqa: PLC0415 - late on purpose

    from optimizer.documents.typed import is_of_a_bound, told_of, what_is_wrong  # noqa: PLC0415

    cause = error.__cause__
    if not isinstance(cause, pydantic.ValidationError) or error.param is None:
        return str(error.format_message())
    name, found = error.param.opts[0], cause.errors(include_url=False)[0]
    return told_of(name, found) if is_of_a_bound(found) else f"{name}: {what_is_wrong(found)}".rstrip(".")


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
        typer.echo(f"{_one_line(_usage_told(error))} (pithline --help lists what you can write)", err=True)
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
