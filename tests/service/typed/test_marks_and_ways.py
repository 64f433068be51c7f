"""Marks in sheets and files, and ways priced from the command line."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from service.typed.log_sheet import LogSheetTyped
from service.words.tables import FLIP_LINE

METAL = """
[[mark]]
kind = "metal"
at = "2 ft"
toward_deg = 300
radius = "1 in"
depth = "4 in"
"""
PITH = """
[[mark]]
kind = "pith"
at = "0 in"
toward_deg = 90
from_middle = "2 in"
"""
QUICK = ("--lays", "40", "--doubt", "off")
WAY = ("--roll", "20", "--heights", "14, 11, 8", "--doubt", "off")


def planned(pithline: Callable[..., Any], *arguments: str) -> dict[str, Any]:
    code, out, error = pithline(*arguments, "--json", "-")
    assert code == 0, error
    return json.loads(out)


def with_blocks(blocks: str) -> str:
    return Path("log.toml").read_text() + blocks


def test_marks_of_the_sheet_and_of_a_file_are_joined(pithline: Callable[..., Any]) -> None:
    Path("log.toml").write_text(with_blocks(METAL))
    Path("marks.toml").write_text(METAL.replace("metal", "knot"))

    document = planned(pithline, "plan", "log.toml", "--marks", "marks.toml", *QUICK)

    assert [mark["id"] for mark in document["log"]["marks"]] == ["metal 1", "knot 1"]
    metal, knot = document["log"]["marks"]
    assert metal["x_m"] == pytest.approx(0.6096, abs=0.02)
    assert (metal["y_m"], metal["z_m"]) == (knot["y_m"], knot["z_m"])
    # 300 degrees clockwise from upright is up and to the left, which is +y.
    assert metal["y_m"] > 0.0
    assert metal["z_m"] > 0.0


def test_pith_moves_the_heart(pithline: Callable[..., Any]) -> None:
    before = planned(pithline, "plan", "log.toml", *QUICK)["log"]["hearts"][0][0]
    Path("log.toml").write_text(with_blocks(PITH))

    after = planned(pithline, "plan", "log.toml", *QUICK)["log"]["hearts"][0][0]

    assert after[1] == pytest.approx(before[1] - 0.0508, abs=0.005)


@pytest.mark.parametrize(
    ("blocks", "word"),
    [
        (METAL.replace('at = "2 ft"', 'at = "40 ft"'), "at must lie"),
        (METAL.replace('radius = "1 in"\n', ""), "radius"),
        (METAL.replace("metal", "beetle"), "kind"),
        (METAL.replace("depth =", "deep ="), "did you mean depth"),
        (PITH.replace('at = "0 in"', 'at = "2 ft"'), "on an end"),
        (PITH + 'radius = "1 in"\n', "no radius"),
    ],
)
def test_marks_that_cannot_be_are_one_line(pithline: Callable[..., Any], blocks: str, word: str) -> None:
    Path("log.toml").write_text(with_blocks(blocks))

    code, out, error = pithline("plan", "log.toml", *QUICK)

    assert (code, out) == (2, "")
    assert word in error
    assert len(error.strip().splitlines()) == 1


def test_the_designs_own_marks_block_is_read() -> None:
    sheet = {
        "section": [{"at": "0 in", "wide": "38 in"}, {"at": "9 ft", "wide": "30 in"}],
        "mark": [{"kind": "metal", "at": "3 ft", "toward_deg": 300, "radius": "1 in", "depth": "4 in"}],
    }

    assert LogSheetTyped.model_validate(sheet).mark[0].radius_m == pytest.approx(0.0254)


def test_a_way_is_priced_at_the_heights_that_the_scale_reads(pithline: Callable[..., Any]) -> None:
    document = planned(pithline, "price", "log.toml", *WAY)

    (plan,) = document["plans"]
    assert [p["blade_height_m"] / 0.0254 for p in plan["passes"]] == pytest.approx([14, 11, 8], abs=1e-6)
    assert plan["roll_deg"] == 20
    assert document["plain_way"] is not None
    assert (document["kind"], document["made"]) == ("own_way", 0)


def test_bare_heights_are_millimetres_where_those_are_shown(pithline: Callable[..., Any]) -> None:
    document = planned(pithline, "price", "log.toml", "--roll", "20", "--heights", "355.6, 279.4", "--units", "metric")

    assert document["plans"][0]["passes"][0]["blade_height_m"] == pytest.approx(0.3556)


def test_what_is_made_stays_and_the_rest_is_planned(pithline: Callable[..., Any]) -> None:
    document = planned(pithline, "price", "log.toml", *WAY, "--made", "1")

    heights = [p["blade_height_m"] / 0.0254 for p in document["plans"][0]["passes"]]
    assert heights[0] == pytest.approx(14.0)
    assert (document["kind"], document["made"]) == ("rest", 1)
    assert document["plans"][0]["net"] >= planned(pithline, "price", "log.toml", *WAY)["plans"][0]["net"] - 1e-6


def test_a_face_as_found_is_held_against_the_plan(pithline: Callable[..., Any]) -> None:
    face = planned(pithline, "price", "log.toml", *WAY)["plans"][0]["first_face"]
    width, length = face["max_width_m"], face["length_m"]

    _, like, _ = pithline("price", "log.toml", *WAY, "--seen", f"1: {width} m x {length} m")
    _, unlike, _ = pithline("price", "log.toml", *WAY, "--seen", f"1: {width * 0.8} m x {length} m")

    assert "within 10%" in " ".join(like.split())
    assert "the width is 20% less. Measure the log again" in " ".join(unlike.split())


def test_a_face_seen_counts_in_doubt(pithline: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimizer.doubt.seen.REPORT_LOGS", 12)
    monkeypatch.setattr("optimizer.doubt.seen.PLANNED_LOGS", 4)
    face = planned(pithline, "price", "log.toml", *WAY)["plans"][0]["first_face"]
    seen = f"1: {face['max_width_m']} m x {face['length_m']} m"

    document = planned(pithline, "price", "log.toml", *WAY[:4], "--made", "1", "--seen", seen)

    plan = document["plans"][0]
    assert document["doubt"]["samples"] == 12
    assert not any("Measure the log again" in warning["text"] for warning in document["warnings"])
    assert plan["net_p10"] <= plan["net_expected"] <= plan["net_p90"]
    assert plan["first_face"]["max_width_m_p10"] <= face["max_width_m"] + 0.03


@pytest.mark.parametrize(
    ("arguments", "code", "word"),
    [
        (("--roll", "20", "--heights", "8, 11"), 2, "fall"),
        (("--roll", "20", "--heights", "high"), 2, "--heights"),
        (("--roll", "20", "--heights", "14", "--made", "3"), 2, "made"),
        (("--roll", "20", "--heights", "14", "--seen", "wide"), 2, "--seen"),
        (("--roll", "20", "--heights", "14", "--shim-butt", "16 in"), 3, "max_prop"),
        (("--roll", "20", "--heights", "60"), 2, "height"),
    ],
)
def test_ways_that_cannot_be_are_one_line(
    pithline: Callable[..., Any], arguments: tuple[str, ...], code: int, word: str
) -> None:
    found, out, error = pithline("price", "log.toml", *arguments)

    assert (found, out) == (code, "")
    assert word in error
    assert len(error.strip().splitlines()) == 1


def test_a_flip_is_told_where_it_comes(pithline: Callable[..., Any]) -> None:
    # With slabs that stay on, the lower half of the log is reached from the other side alone.
    changes = 'can_flip = true\nslabs_stay_on = true\nthroat_depth = "9 in"\n'
    Path("mill.toml").write_text(changes + Path("mill.toml").read_text())

    document = planned(pithline, "plan", "log.toml", *QUICK)
    _, out, _ = pithline("plan", "log.toml", *QUICK)

    flipped = [p for p in document["plans"][0]["passes"] if p["flipped"]]
    assert flipped
    assert FLIP_LINE in out
