"""Girths at places along a log, as they are typed: read, refused in one line, and handed to what reads a scan."""

from collections.abc import Callable
from math import pi
from pathlib import Path

import pytest
import trimesh

from scans.log_of_scan import ScanChoices
from scans.messages import named
from scans.tape.sheet_doubt import RADIUS_READ_M
from service.typed import log_reading
from service.typed.errors import InputError
from service.typed.girths_along import MOST_GIRTHS, girths_along
from service.typed.log_reading import AboutLog
from service.typed.read_given import read_given

Ran = tuple[int, str, str]


def test_places_and_girths_are_read_with_the_error_that_a_tape_has() -> None:
    found = girths_along("8ft=71in, 1.2 m = 2.03 m,")

    assert [(girth.at_m, girth.around_m) for girth in found] == [
        pytest.approx((2.4384, 1.8034)),
        pytest.approx((1.2, 2.03)),
    ]
    assert {girth.error_m for girth in found} == {2.0 * pi * RADIUS_READ_M}
    assert girths_along("0 in = 9 ft 2 in")[0].at_m == 0.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("71 in", f"{named('girth')} must say where and how far around"),
        (" ", f"{named('girth')} must say where and how far around, got nothing"),
        ("8 ft = 71", f"{named('girth')}: "),
        ("8 = 71 in", f"{named('girth')}: "),
        ("8 ft = 71 in = 3 ft", f"{named('girth')}: "),
        ("8 ft = 1 in", f"{named('girth')} must be from"),
        ("8 ft = 90 ft", f"{named('girth')} must be from"),
        ("-1 ft = 71 in", named("girth")),
        ("900 ft = 71 in", f"{named('girth')} must be from"),
        ("nan m = 71 in", named("girth")),
        (", ".join(["8 ft = 71 in"] * (MOST_GIRTHS + 1)), f"takes at most {MOST_GIRTHS} places"),
    ],
)
def test_what_is_no_girth_at_a_place_is_one_line_that_names_the_field(text: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        read_given(AboutLog, girth=text)

    assert says in refused.value.text
    assert refused.value.field == "girth"
    assert refused.value.mend or "at most" in refused.value.text


@pytest.mark.parametrize(
    "command", [("plan",), ("solid", "--out", "log.ply"), ("price", "--roll", "0", "--heights", "9")]
)
def test_on_the_command_line_an_option_for_each_place_reaches_the_reading(
    pithline: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    Path("scan.ply").write_bytes(trimesh.creation.cylinder(0.3, 3.0).export(file_type="ply"))
    asked: list[ScanChoices] = []

    def reading(*given: object, **_: object) -> None:
        asked.extend(one for one in given if isinstance(one, ScanChoices))
        raise InputError("enough is known")

    monkeypatch.setattr(log_reading, "log_of_file", reading)
    code, _, err = pithline(*command, "scan.ply", "--girth", "8ft=71in", "--girth", "4 ft = 80 in")

    assert code == 2
    assert "enough is known" in err
    assert [round(girth.at_m, 4) for girth in asked[0].girths] == [2.4384, 1.2192]

    code, _, err = pithline(*command, "scan.ply", "--girth", "71in")
    assert code == 2
    assert "--girth must say where and how far around, got 71in; give --girth a place from the butt end" in err
    assert err.count("\n") == 1
    code, _, err = pithline(*command, "log.toml", "--girth", "8ft=71in")
    assert code == 2
    assert "--girth is for scans and meshes, and log.toml is a log sheet" in err
    assert err.count("\n") == 1
