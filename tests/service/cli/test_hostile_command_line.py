"""Every command and option with what nobody types in good faith: exit code 2, one line on stderr, nothing printed.

In process, so that nothing is planned before what is typed is refused.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from odd_texts import HALF, NINES
from small_log import MILL, PRICES, STRAIGHT
from typer.main import get_command

from service.cli import commands
from service.cli.command_line import app

Ran = tuple[int, str, str]
RAW = "\udcff\udcfe"
"""Bytes of a command line that are no letters."""
HUGE = "9" * 5000
QUICK = ("--lays", "12", "--workers", "1", "--doubt", "off")
GOOD = {"plan": ["plan", "log.toml"], "price": ["price", "log.toml", "--roll", "0", "--heights", "12, 9"],
        "bid": ["bid", "--girth", "4 ft", "--girth", "3 ft", "--length", "5 ft"],
        "demo": ["demo"], "solid": ["solid", "log.toml", "--out", "log.ply"]}  # fmt: skip

FILES = ["", ".", "/", "none/x", "pipe", "/dev/null", RAW, "a" * 5000, "log.toml/x", "/proc/self/mem"]
LENGTHS = ["", "x", "nan", "inf", "-5 in", "1/0 in", "1e400", NINES, f"{NINES} ft", "9999 ft", RAW, "5"]
WHOLE = ["", "x", "0", "-1", "1.5", "nan", NINES, HUGE, RAW]
CHOICES = ["", "x", RAW, NINES]
WRONG: dict[str, list[str]] = {
    "--species": ["wite ash", RAW, NINES], "--bark": CHOICES, "--end-trim": LENGTHS,
    "--bark-thickness": LENGTHS,
    **{key: ["x", "-1", "nan", "inf", "1e400"] for key in ("--cost", "--haul", "--fee")},
    "--girth": LENGTHS, "--length": LENGTHS,
    "--taped-length": LENGTHS, "--unit": CHOICES, "--up": CHOICES, "--butt": CHOICES, "--pick": WHOLE, "--mill": FILES,
    "--prices": FILES, "--marks": FILES, "--doubt": CHOICES, "--buck": CHOICES,
    "--seconds": ["x", "0", "-1", "nan", "inf", "1e400"],
    "--gap": ["", "x", "nan", "inf", "-1", "0", "200 %", RAW, NINES], "--lays": WHOLE,
    "--seed": ["x", "-1", NINES, HUGE],
    "--workers": WHOLE, "--units": CHOICES, "--roll": ["", "x", "nan", "inf", "-inf", "1e400", RAW],
    "--heights": [*LENGTHS[:-1], "12,,9", "9, 12", "12, nan", ",", "12" + ", 9" * 2000],
    "--shim-butt": LENGTHS[:-1], "--shim-top": LENGTHS[:-1], "--made": ["x", "0", "-1", "3", NINES, HUGE],
    "--seen": ["", "x", "1: nan x inf", "1: 0 x 0", f"{HUGE}: 1 in x 1 in", f"1: {NINES} x 1 ft", RAW],
    "--buck-at": ["x", "limb", "limb 9 at 1 ft", "butt at nan", f"butt at {NINES}", f"limb {NINES} at 1 ft"],
    "--rolled": ["", "x", "nan", "inf", "-inf", "1e400", RAW],
    "--set": ["", "x", "4x", "x8/4", "0x8/4", f"{NINES}x8/4", RAW],
    "--stretch": ["x", "1 ft", "1 ft to nan", "1 ft to 2 ft to 3 ft", f"0 to {NINES}", RAW],
}  # fmt: skip
NOT_WRITTEN = ["", ".", "none/x.json", "pipe", "a" * 5000, "log.toml/x.json"]
TAKES_NOTHING = {"--all", "--verbose", "--wood", "--json", "--out", "--picture"}
CASES = [
    (command, option, value)
    for command in ("plan", "price", "bid")
    for option, values in WRONG.items()
    for value in values
]


@pytest.fixture
def hostile(own_folder: None) -> None:  # noqa: ARG001
    os.mkfifo("pipe")


def refused(ran: Ran) -> str:
    code, out, err = ran
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.encode()  # no half of a surrogate pair
    assert "Traceback" not in err
    return err


def options_of(command: str) -> set[str]:
    return {name for known in get_command(app).commands[command].params for name in known.opts if name.startswith("--")}  # type: ignore[attr-defined]


def test_no_option_is_left_out() -> None:
    commands_of = (options_of(command) for command in ("plan", "price", "solid", "bid"))
    assert set().union(*commands_of) == {*WRONG, *TAKES_NOTHING}


@pytest.mark.usefixtures("hostile")
@pytest.mark.parametrize(("command", "option"), sorted({(command, option) for command, option, _ in CASES}))
def test_a_wrong_option_is_one_line(command: str, option: str, pithline: Callable[..., Ran]) -> None:
    if option not in options_of(command):
        pytest.skip(f"{command} has no {option}")
    for value in WRONG[option]:
        ran = pithline(*GOOD[command], option, value)
        assert ran[0] == 2, (value[:50], ran)
        refused(ran)


@pytest.mark.usefixtures("hostile")
@pytest.mark.parametrize("command", ["plan", "price", "solid", "bid"])
def test_a_log_that_is_no_file_is_one_line(command: str, pithline: Callable[..., Ran]) -> None:
    for path in FILES:
        refused(pithline(command, path, *([] if command == "bid" else GOOD[command][2:])))


@pytest.mark.usefixtures("hostile")
@pytest.mark.parametrize("command", ["plan", "price", "demo", "solid", "bid"])
@pytest.mark.parametrize("path", NOT_WRITTEN)
def test_what_cannot_be_written_is_refused_before_the_work(
    command: str, path: str, pithline: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(*_: object, **__: object) -> None:
        pytest.fail("it began to work")

    for name in ("read_log", "plan_read_log", "price_own_way", "bid_on_log"):
        monkeypatch.setattr(commands, name, work)
    option = (
        ["--out", f"{path}.ply" if path in {"none/x.json", "log.toml/x.json"} else path]
        if command == "solid"
        else ["--json", path]
    )

    refused(pithline(*GOOD[command], *option))


def test_a_plan_that_cannot_be_written_in_the_end_is_printed(pithline: Callable[..., Ran]) -> None:
    code, out, err = pithline("plan", "log.toml", "--json", "/dev/full", *QUICK)

    assert code == 2
    assert out.startswith("Invented cylinder\n")
    assert err == "/dev/full cannot be written: No space left on device\n"


def test_an_output_that_is_full_is_one_line(tmp_path: Path) -> None:
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-c", "from service.cli.command_line import main; main()", "init", str(tmp_path / "new")],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False, cwd=Path(__file__).parents[3],
        )  # fmt: skip

    assert (ran.returncode, ran.stderr) == (2, "the output cannot be written: No space left on device\n")


@pytest.mark.usefixtures("hostile")
@pytest.mark.parametrize("folder", ["log.toml", "log.toml/x", "/dev/null", "a" * 5000, "/proc/x"])
def test_init_says_where_it_cannot_write(folder: str, pithline: Callable[..., Ran]) -> None:
    refused(pithline("init", folder))


def test_init_writes_all_or_none(pithline: Callable[..., Ran]) -> None:
    Path("new/prices.toml").mkdir(parents=True)

    assert "folder" in refused(pithline("init", "new", "--force"))
    assert os.listdir("new") == ["prices.toml"]  # noqa: PTH208


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("log.toml", STRAIGHT.replace('"5 ft"\nbark', f'"{NINES} ft"\nbark')),
        ("log.toml", STRAIGHT.replace('"5 ft"\nbark', f'"{HUGE} ft"\nbark')),
        *(("log.toml", STRAIGHT.replace('"5 ft"\nbark', f"{number}\nbark")) for number in
          ("1e999", "nan", "-inf", NINES, HUGE, "0x" + "f" * 5000)),
        *(("mill.toml", MILL + line) for line in
          (f"max_log_mass_kg = {NINES}", f"bed_length_m = {HUGE}", "max_shim_m = 1e999", "max_shim_m = nan",
           f"loader_limit_kg = 0x{'f' * 5000}", f'bed_length = "{NINES} ft"', '"a\\u0000b" = 1', f'"{NINES}" = 1')),
        *(("prices.toml", PRICES.replace("price = 5.0", f"price = {number}")) for number in
          ("1e999", "nan", NINES, HUGE)),
    ],
)  # fmt: skip
def test_numbers_that_are_none_in_a_file_are_one_line(file: str, text: str, pithline: Callable[..., Ran]) -> None:
    Path(file).write_text(text)

    assert refused(pithline("plan", "log.toml")).startswith(file)


def test_a_file_whose_name_is_no_text_is_planned(pithline: Callable[..., Ran]) -> None:
    Path(f"{RAW}.toml").write_text(STRAIGHT)

    code, out, err = pithline("plan", f"{RAW}.toml", "--json", f"{RAW}.json", *QUICK)

    assert (code, err) == (0, "")
    assert Path(f"{RAW}.json").exists()
    assert HALF not in out
