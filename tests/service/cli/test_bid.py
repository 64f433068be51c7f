"""`pithline bid`: what a log may cost, from two girths and a length, or from what is known of it."""

import json
from collections.abc import Callable
from math import pi
from pathlib import Path

import pytest
from small_log import MILL, PRICES, STRAIGHT

from optimizer.documents.plan import PlanDocument
from service.cli import commands
from service.cli.command_line import run
from service.typed.errors import InputError
from service.typed.files import parse_document
from service.typed.girths import sheet_of_girths
from service.typed.log_sheet import LogSheetTyped
from service.use_cases import BID_LAYS
from service.words.units import Units

Ran = tuple[int, str, str]
GIRTHS = ("--girth", "4 ft 2 in", "--girth", "3 ft 11 in", "--length", "5 ft")


@pytest.fixture
def bid(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    monkeypatch.chdir(tmp_path)
    for name, text in (("log.toml", STRAIGHT), ("mill.toml", MILL), ("prices.toml", PRICES)):
        (tmp_path / name).write_text(text)

    def ran(*arguments: str) -> Ran:
        code = run(["bid", *arguments])
        told = capsys.readouterr()
        return code, told.out, told.err

    return ran


def test_two_girths_and_a_length_give_what_to_pay_and_say_what_they_do_not_tell(bid: Callable[..., Ran]) -> None:
    code, out, err = bid(*GIRTHS, "--species", "white ash", "--haul", "15", "--json", "bid.json")

    flat = " ".join(out.split())
    document = PlanDocument.model_validate(json.loads(Path("bid.json").read_text()))
    best = document.plans[0]
    assert (code, err) == (0, "")
    assert document.doubt is not None
    assert document.work.lays <= 3 * BID_LAYS
    assert best.break_even_log_price == pytest.approx((best.net_expected or 0.0) - 15.0)
    assert best.break_even_safe is not None
    assert (
        f"Pay at most ${best.break_even_log_price:.0f} for the log, or ${best.break_even_safe:.0f} to be safe." in flat
    )
    assert f"it should net ${best.net_p10:.0f} to ${best.net_p90:.0f} before you pay" in flat
    assert "Two girths and a length tell nothing of sweep, a crotch, rot, cracks, or metal." in flat
    assert "2 in trimmed off each end (default)" in flat
    assert "Slabs are counted green" in flat
    assert "Cautions" not in out
    assert [line for line in out.splitlines() if len(line) > 80] == []


def test_a_sheet_gives_what_to_pay_without_that_note(bid: Callable[..., Ran]) -> None:
    code, out, _ = bid("log.toml")

    assert code == 0
    assert out.startswith("Invented cylinder\n")
    assert "Pay at most $" in out
    assert "Two girths" not in out


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ((), "nothing says how large the log is; name a log sheet or a scan, or give --girth twice and --length"),
        (GIRTHS[:4], '--length is missing; add it, such as --length "10 ft"'),
        (("--girth", "4 ft", "--length", "5 ft"), "--girth is needed twice, at the butt and at the top, got 1"),
        (("--length", "5 ft"), "--girth is needed twice, at the butt and at the top, got none"),
        ((*GIRTHS, "--girth", "3 ft"), "--girth is needed twice, at the butt and at the top, got 3"),
        (("--girth", "x", *GIRTHS[2:]), '--girth: "x" isn\'t a length I can read'),
        (("--girth", "90 ft", *GIRTHS[2:]), "--girth must be from 6 in to 25 ft 9 in, got 90 ft; check the number"),
        ((*GIRTHS[:4], "--length", "10"), "--length must be from 1 ft to 49 ft 2 1/2 in, got 10; check the number"),
        (("log.toml", "--length", "5 ft"), "--length is for a log without a file; leave it out, or LOG"),
        (("log.toml", *GIRTHS), "--girth is for a log without a file; leave it out, or LOG"),
        (("nowhere.toml",), "nowhere.toml does not exist"),
        ((*GIRTHS, "--haul", "-1"), "--haul must be at least 0, got -1"),
        ((*GIRTHS, "--species", "plastic"), "plastic"),
    ],
)
def test_a_slip_is_one_line(bid: Callable[..., Ran], typed: tuple[str, ...], said: str) -> None:
    code, out, err = bid(*typed)

    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_a_log_that_gives_no_slab_has_no_price(bid: Callable[..., Ran]) -> None:
    code, out, err = bid("--girth", "1 ft", "--girth", "1 ft", "--length", "5 ft")

    assert (code, out) == (3, "")
    assert err.count("\n") == 1


def test_the_larger_girth_is_the_butts_and_bare_numbers_are_as_one_reads() -> None:
    inches = parse_document(sheet_of_girths(["84", "110"], "120", Units.IMPERIAL), LogSheetTyped)
    metric = parse_document(sheet_of_girths(["2000", "2.5 m"], "3000", Units.METRIC), LogSheetTyped)

    assert [section.girth_m for section in inches.section] == pytest.approx([110 * 0.0254 * 0.985, 84 * 0.0254 * 0.985])
    assert inches.section[1].at_m == pytest.approx(3.048)
    assert [section.girth_m for section in metric.section] == pytest.approx([2.5 * 0.985, 2.0 * 0.985])
    assert inches.taped().sections[0].diameters_m == pytest.approx((110 * 0.0254 * 0.985 / pi,) * 2)


def test_whatever_is_typed_for_a_girth_the_sheet_is_sound_or_the_girth_is_named() -> None:
    with pytest.raises(InputError) as caught:
        sheet_of_girths(["4 ft", "\ud800" * 70], "5 ft", Units.IMPERIAL)

    assert caught.value.field == "girth"
    assert "girth" in commands.said(caught.value, Units.IMPERIAL)
