"""The command line: exit codes, one line for each wrong input, and what is written."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from meshes import read_mesh
from small_log import MILL, PRICES, STRAIGHT

from optimizer.documents.plan import PlanDocument
from scans.formats.readers import read_scan
from scans.locate.placing import UP_TURNS
from service.typed.files import read_sample

QUICK = ("--lays", "12", "--workers", "1", "--doubt", "off")

Ran = tuple[int, str, str]


pytestmark = pytest.mark.usefixtures("own_folder")


def test_a_log_sheet_is_planned(pithline: Callable[..., Ran]) -> None:
    code, out, err = pithline("plan", "log.toml", *QUICK)

    assert (code, err) == (0, "")
    assert out.startswith("Invented cylinder\n")
    assert "Test mill (in this folder: mill.toml)" in " ".join(out.split())
    assert [line for line in out.splitlines() if len(line) > 80] == []


def test_the_plan_document_is_written_beside_the_text(pithline: Callable[..., Ran]) -> None:
    code, out, _ = pithline("plan", "log.toml", "--json", "plan.json", *QUICK)

    document = PlanDocument.model_validate_json(Path("plan.json").read_text())
    assert code == 0
    assert out
    assert document.log.source.kind == "sheet"
    assert document.log.end_trim_m == (0.0254, 0.0254)
    assert document.plans[0].net > 0.0


def test_the_plan_document_alone_goes_to_stdout(pithline: Callable[..., Ran]) -> None:
    code, out, _ = pithline("plan", "log.toml", "--json", "-", *QUICK)

    assert code == 0
    assert json.loads(out)["schema"] == "pithline.plan/1.0"


def test_two_runs_differ_in_their_id_time_and_seconds_alone(pithline: Callable[..., Ran]) -> None:
    first, second = (json.loads(pithline("plan", "log.toml", "--json", "-", *QUICK)[1]) for _ in range(2))

    for document in (first, second):
        del document["id"], document["made_at"], document["work"]["seconds"]
    assert first == second


def test_what_is_said_on_the_line_goes_before_the_sheet(pithline: Callable[..., Ran]) -> None:
    bought = ("--cost", "35", "--haul", "80", "--fee", "12.5")
    options = ("--species", "sugar maple", "--bark", "on", "--end-trim", "3 in", *bought)

    _, out, _ = pithline("plan", "log.toml", "--json", "-", *options, *QUICK)

    document = json.loads(out)
    log, best = document["log"], document["plans"][0]
    assert (log["species"], log["bark"], log["cost"]) == ("maple, sugar", True, 35.0)
    assert (log["haul"], log["fee_received"]) == (80.0, 12.5)
    assert best["break_even_log_price"] == pytest.approx(best["net"] - 80.0 + 12.5)
    assert document["tally"].startswith("Slabs are counted green, on both faces, at the average width: slabs sold dry")
    assert log["end_trim_m"] == pytest.approx([0.0762, 0.0762])
    assert log["bark_thickness_m"] > 0.0


def test_an_unknown_species_is_a_warning(pithline: Callable[..., Ran]) -> None:
    Path("log.toml").write_text(STRAIGHT.replace('species = "white ash"\n', ""))

    code, out, _ = pithline("plan", "log.toml", *QUICK)

    assert code == 0
    assert "Note: The wood is not known" in out


def wrong(old: str, new: str, text: str = STRAIGHT) -> str:
    assert old in text
    return text.replace(old, new)


WRONG_FILES = [
    ("log.toml", wrong('{at = "5 ft", wide', '{at = "-5 ft", wide'), "section[2].at_m"),
    ("log.toml", STRAIGHT + "\n" + 'girt = "3 ft"', "'girt' is not known here"),
    ("log.toml", wrong('"5 ft", wide', '"0 in", wide'), "section 2, at"),
    ("log.toml", wrong('length = "5 ft"', 'length = "5"'), "has no unit"),
    ("log.toml", wrong('length = "5 ft"', "length = 5"), "has no unit"),
    ("log.toml", wrong('length = "5 ft"', 'length = "9 ft"'), "length"),
    ("log.toml", wrong("white ash", "wite ash"), "ash, white"),
    ("log.toml", wrong("section", "sektion"), "did you mean section?"),
    ("log.toml", STRAIGHT + '[[mark]]\nkind = "metal"\n', "at is missing"),
    ("log.toml", "throat = \n", "line 1"),
    ("mill.toml", wrong('kerf = "1/8 in"', "", MILL), "kerf is missing"),
    ("mill.toml", wrong("throat", "throet", MILL), "did you mean throat?"),
    ("prices.toml", wrong('"any"', '"black walnut"', PRICES), "no price for ash, white"),
    ("prices.toml", wrong("quarters = 8", "quarters = 0", PRICES), "per_board_foot[1].quarters"),
    ("prices.toml", wrong("price = 5.0", 'price = 5.0, saw = "1 in"', PRICES), "saw must be at least 2 in"),
    ("prices.toml", wrong("per_board_foot = [", "per_board_foot = [] #", PRICES), "per_board_foot"),
]


@pytest.mark.parametrize(("name", "text", "said"), WRONG_FILES)
def test_a_wrong_file_is_one_line_and_exit_code_2(
    pithline: Callable[..., Ran], name: str, text: str, said: str
) -> None:
    Path(name).write_text(text)

    code, out, err = pithline("plan", "log.toml", *QUICK)

    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("plan",), "LOG"),
        (("plan", "none.toml"), "none.toml does not exist"),
        (("plan", "."), "is a folder"),
        (("plan", "mill.toml"), "mill.toml is a mill, where a log sheet or a scan is wanted; give it with --mill"),
        (("plan", "prices.toml"), "is a price book, where a log sheet or a scan is wanted; give it with --prices"),
        (
            ("plan", "log.toml", "--mill", "log.toml"),
            "log.toml is a log sheet, where a mill is wanted; give it as LOG",
        ),
        (("plan", "log.toml", "--mill", "none.toml"), "none.toml does not exist"),
        (("plan", "log.toml", "--prices", "mill.toml"), "is a mill, where a price book is wanted; give it with --mill"),
        (("plan", "log.toml", "--marks", "mill.toml"), "is a mill, where a file of marks is wanted"),
        (("plan", "log.toml", "--end-trim", "1 ft 2"), 'has no unit after 2; write "1 ft 2 in"'),
        (("plan", "log.toml", "--species", "plywood"), "plywood"),
        (("plan", "log.toml", "--bark", "some"), "--bark must be on or off, got 'some'"),
        (("plan", "log.toml", "--end-trim", "2"), "has no unit"),
        (("plan", "log.toml", "--end-trim", "-2 in"), "--end-trim must lie in"),
        (("plan", "log.toml", "--end-trim", "3 ft"), "leaves nothing"),
        (("plan", "log.toml", "--cost", "-1"), "--cost must be at least 0, got -1"),
        (("plan", "log.toml", "--cost", "nan"), "--cost must be a finite number"),
        (("plan", "log.toml", "--haul", "-3"), "--haul must be at least 0, got -3"),
        (("plan", "log.toml", "--fee", "-3"), "--fee must be at least 0, got -3"),
        (("plan", "log.toml", "--gap", "0"), "--gap must lie between 0 and 100%"),
        (("plan", "log.toml", "--gap", "100%"), "--gap must lie between 0 and 100%"),
        (("plan", "log.toml", "--gap", "nan"), "--gap must lie between 0 and 100%"),
        (("plan", "log.toml", "--gap", "two"), "--gap must be a share"),
        (("plan", "log.toml", "--doubt", "maybe"), "--doubt must be on or off, got 'maybe'"),
        (("plan", "log.toml", "--buck", "all"), "--buck must be best, limbs or no, got 'all'"),
        (("plan", "log.toml", "--set", "four"), '--set must be how many slabs of which thickness, such as "4x8/4"'),
        (("plan", "log.toml", "--set", "4x7/4"), "--set asks for 7/4, which your price book has no price for"),
        (("plan", "log.toml", "--marks", "marks.toml"), "marks.toml"),
        (("plan", "log.toml", "--seconds", "0"), "--seconds must be over 0, got 0"),
        (("plan", "log.toml", "--seconds", "nan"), "--seconds must be a finite number"),
        (("plan", "log.toml", "--lays", "0"), "--lays must be at least 1, got 0"),
        (("plan", "log.toml", "--lays", "many"), "--lays must be a whole number, got 'many'"),
        (("plan", "log.toml", "--seed", "-1"), "--seed must be at least 0, got -1"),
        (("plan", "log.toml", "--workers", "0"), "--workers must be at least 1, got '0'"),
        (("plan", "log.toml", "--units", "cubits"), "--units: 'cubits' is not one of 'imperial', 'metric' (pithline"),
        (("plan", "log.toml", "--json", "none/plan.json", *QUICK), "none/plan.json cannot be written"),
        (("plan", "log.toml", "--roll", "3"), "--roll"),
        (("plna",), "plna"),
        (("solid", "log.toml"), "--out"),
        (("solid", "log.toml", "--out", "log.doc"), "must end in .ply"),
        (("solid", "log.toml", "--out", "none/log.ply"), "cannot be written"),
        (("solid", "log.toml", "--out", "log.ply", "--up", "y"), "is for scans and meshes"),
        (("solid", "log.ply", "--out", "new.ply"), "log.ply does not exist"),
        (("init",), "is there already"),
    ],
)
def test_a_wrong_line_is_one_line_and_exit_code_2(
    pithline: Callable[..., Ran], arguments: tuple[str, ...], said: str
) -> None:
    code, out, err = pithline(*arguments)

    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("max_log_mass_kg = 50", "max_log_mass_kg"),
        ('bed_length = "4 ft"', "bed_length"),
        ('between_posts = "12 in"', "between_posts"),
    ],
)
def test_a_log_that_the_mill_cannot_take_is_one_line_and_exit_code_3(
    pithline: Callable[..., Ran], change: str, said: str
) -> None:
    Path("mill.toml").write_text(f"{MILL}{change}\n")

    code, out, err = pithline("plan", "log.toml", *QUICK)

    assert (code, out) == (3, "")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("units", "said"),
    [
        ((), "more than max_log_mass_kg, 110 lb"),
        (("--units", "imperial"), "more than max_log_mass_kg, 110 lb"),
        (("--units", "metric"), "more than max_log_mass_kg, 50 kg"),
        (("--units=metric",), "more than max_log_mass_kg, 50 kg"),
    ],
)
def test_a_refusal_is_in_the_units_that_were_asked_for(
    pithline: Callable[..., Ran], units: tuple[str, ...], said: str
) -> None:
    Path("mill.toml").write_text(f"{MILL}max_log_mass_kg = 50\n")

    code, _, err = pithline("plan", "log.toml", *units)

    assert code == 3
    assert said in err
    assert "{" not in err


def test_a_plan_that_makes_no_money_is_exit_code_3(pithline: Callable[..., Ran]) -> None:
    Path("mill.toml").write_text(f"{MILL}pace = {{minutes_per_pass = 600, hourly_rate = 1000}}\n")

    code, _, err = pithline("plan", "log.toml", *QUICK)

    assert code == 3
    assert err.count("\n") == 1


@pytest.mark.parametrize("suffix", [".ply", ".stl", ".obj", ".glb"])
def test_the_solid_that_is_written_is_read_back_in_the_log_frame(pithline: Callable[..., Ran], suffix: str) -> None:
    text = STRAIGHT.replace('wide = "16 in"', 'wide = "16 in", narrow = "12 in"')
    Path("log.toml").write_text(text.replace('wide = "15 in"', 'wide = "15 in", narrow = "12 in"'))

    code, out, _ = pithline("solid", "log.toml", "--out", f"log{suffix}")

    vertices, faces = read_mesh(Path(f"log{suffix}").read_bytes(), suffix)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    volume_m3 = float((a * np.cross(b, c)).sum() / 6.0)
    assert code == 0
    assert re.fullmatch(r"wrote \S+: .+ long, [\d.]+ cubic feet\. The file is in meters\.\n", out)
    assert vertices.min(axis=0) == pytest.approx([0.0, -0.1524, -0.2032], abs=1e-3)
    assert vertices.max(axis=0) == pytest.approx([1.524, 0.1524, 0.2032], abs=1e-3)
    # Ellipses 12 in across and 16 to 15 in high, 60 in long: pi / 4 x 12 x 15.5 x 60 in3.
    assert volume_m3 == pytest.approx(np.pi / 4 * 12 * 15.5 * 60 * 0.0254**3, rel=0.01)


def test_a_closed_mesh_keeps_its_colours(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--out", "log.stl")
    vertices, faces = read_mesh(Path("log.stl").read_bytes(), ".stl")
    painted = np.hstack([np.random.default_rng(0).integers(0, 256, vertices.shape), np.full((len(vertices), 1), 255)])
    mesh = trimesh.Trimesh(vertices, faces, process=False, vertex_colors=painted.astype(np.uint8))
    Path("painted.ply").write_bytes(mesh.export(file_type="ply"))

    for name in ("again.ply", "again.glb"):
        assert pithline("solid", "painted.ply", "--bark", "off", "--out", name)[0] == 0
    pithline("solid", "log.stl", "--bark", "off", "--out", "bare.ply")

    ply, glb = (read_scan(Path(f"again{suffix}").read_bytes(), suffix) for suffix in (".ply", ".glb"))
    assert ply.colours is not None
    assert glb.colours is not None
    # The same corners in another frame and order, each in its own colour.
    assert sorted(ply.colours.tolist()) == sorted(painted[:, :3].tolist())
    # Light in 255 steps tells dark colours coarsely apart: half a step is 12.92 / 2 of the first of sRGB.
    assert np.abs(glb.colours.astype(int) - ply.colours).max() <= 7
    assert np.abs(glb.points @ UP_TURNS["y"].T - ply.points).max() < 1e-6
    assert read_scan(Path("bare.ply").read_bytes(), ".ply").colours is None


def test_a_mesh_is_planned_like_the_sheet_that_it_was_made_from(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--out", "log.stl")

    options = ("--species", "white ash", "--bark", "off", "--end-trim", "1 in", "--cost", "20", "--json", "-", *QUICK)
    code, out, _ = pithline("plan", "log.stl", *options)

    sheet = json.loads(pithline("plan", "log.toml", "--json", "-", *QUICK)[1])
    mesh = json.loads(out)
    assert code == 0
    assert mesh["log"]["source"]["kind"] == "solid"
    assert mesh["plans"][0]["net"] == pytest.approx(sheet["plans"][0]["net"], rel=0.005)


def test_a_mesh_with_nothing_said_is_assumed_to_lose_two_inches_and_to_have_its_bark(
    pithline: Callable[..., Ran],
) -> None:
    pithline("solid", "log.toml", "--out", "log.ply")

    log = json.loads(pithline("plan", "log.ply", "--json", "-", *QUICK)[1])["log"]

    assert log["end_trim_m"] == pytest.approx([0.0508, 0.0508])
    assert log["bark"] is True
    assert log["species"] == "unknown"


@pytest.mark.parametrize(
    ("scale", "columns", "signs", "options"),
    [
        (1000.0, [0, 1, 2], [1, 1, 1], ("--unit", "mm")),
        (1 / 0.0254, [0, 1, 2], [1, 1, 1], ("--unit", "in")),
        (1.0, [0, 2, 1], [1, 1, -1], ("--up", "y")),
        (1.0, [2, 1, 0], [1, 1, -1], ("--up", "x")),
    ],
)
def test_the_unit_and_the_up_axis_of_a_mesh_may_be_said(
    pithline: Callable[..., Ran], scale: float, columns: list[int], signs: list[int], options: tuple[str, ...]
) -> None:
    Path("log.toml").write_text(STRAIGHT.replace('wide = "16 in"', 'wide = "16 in", narrow = "12 in"'))
    pithline("solid", "log.toml", "--out", "log.ply")
    vertices, faces = read_mesh(Path("log.ply").read_bytes(), ".ply")
    turned = vertices[:, columns] * signs * scale
    Path("other.stl").write_bytes(trimesh.Trimesh(turned, faces, process=False).export(file_type="stl"))

    code, _, err = pithline("solid", "other.stl", "--bark", "off", "--out", "again.ply", *options)

    again = read_mesh(Path("again.ply").read_bytes(), ".ply")[0]
    assert (code, err) == (0, "")
    # Wide stands upright, so that a wrong axis would lay it down.
    assert np.ptp(again, axis=0) == pytest.approx(np.ptp(vertices, axis=0), abs=0.002)


def test_a_mesh_with_half_of_its_sides_missing_is_one_line_and_exit_code_2(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--out", "log.ply")
    vertices, faces = read_mesh(Path("log.ply").read_bytes(), ".ply")
    turned = np.degrees(np.arctan2(*(vertices[faces].mean(axis=1) - vertices.mean(axis=0))[:, 1:].T))
    part = trimesh.Trimesh(vertices, faces[np.abs(turned) < 40.0], process=False)
    Path("open.ply").write_bytes(part.export(file_type="ply"))

    code, out, err = pithline("plan", "open.ply", *QUICK)

    assert code == 2
    assert out == ""
    assert err.startswith("open.ply: ")
    assert err.count("\n") == 1


CHOICES = (
    "The file is in mm:", "Up in the file is y:", "The ground ", "One log was found.", "The scan's ",
    "The log is a single trunk.", "The scan saw ",
)  # fmt: skip


def test_of_a_scan_on_the_ground_each_choice_is_a_line(pithline: Callable[..., Ran]) -> None:
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(-0.5, 3.5, 161), np.linspace(-1.0, 1.0, 81)))
    turn, along = (grid.ravel() for grid in np.meshgrid(np.linspace(-0.6, np.pi + 0.6, 80), np.linspace(0.0, 3.0, 150)))
    log = np.stack([along, 0.3 * np.cos(turn), 0.3 + 0.3 * np.sin(turn)], axis=1)
    shells = [trimesh.Trimesh(points, sheet(*shape), process=False) for points, shape in (
        (np.stack([x, y, 0.0 * x], axis=1), (81, 161)), (log, (150, 80)))]  # fmt: skip
    shell = trimesh.util.concatenate(shells)
    # In millimetres with y up, as some programs write it.
    turned = trimesh.Trimesh(shell.vertices[:, [0, 2, 1]] * [1000, 1000, -1000], shell.faces, process=False)
    Path("scan.ply").write_bytes(turned.export(file_type="ply"))

    code, out, err = pithline("plan", "scan.ply", "--taped-length", "3.03 m", "--units", "metric", *QUICK)

    assert (code, err) == (0, "")
    told = " ".join(out.split())
    places = [told.find(f"Note: {start}") for start in CHOICES]
    assert -1 not in places, told
    assert places == sorted(places)
    scale = re.search(r"The scan's (\S+) m were made the tape's 3.03 m", told)
    assert scale is not None
    assert float(scale[1]) == pytest.approx(3.0, abs=0.02)
    assert "--pick must be 1 to 1" in pithline("plan", "scan.ply", "--pick", "2")[2]


def sheet(rows: int, columns: int) -> np.ndarray:
    """Faces of a grid of points, row by row."""
    first = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    return np.concatenate(
        [
            np.stack([first, first + 1, first + columns], axis=1),
            np.stack([first + 1, first + columns + 1, first + columns], axis=1),
        ]
    )


def test_a_taped_length_sets_the_scale_of_a_mesh(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--out", "log.ply")

    code, _, err = pithline("solid", "log.ply", "--bark", "off", "--taped-length", "5 ft 1 in", "--out", "longer.ply")

    before, after = (read_mesh(Path(name).read_bytes(), ".ply")[0] for name in ("log.ply", "longer.ply"))
    assert (code, err) == (0, "")
    assert np.ptp(before[:, 0]) == pytest.approx(1.524, abs=1e-3)
    assert np.ptp(after, axis=0) == pytest.approx(np.ptp(before, axis=0) * 61 / 60, abs=1e-3)


def test_a_mesh_whose_unit_is_clear_needs_no_option(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--out", "log.ply")
    vertices, faces = read_mesh(Path("log.ply").read_bytes(), ".ply")
    Path("mm.ply").write_bytes(trimesh.Trimesh(vertices * 1000.0, faces, process=False).export(file_type="ply"))

    code, _, err = pithline("solid", "mm.ply", "--bark", "off", "--out", "again.ply")

    assert (code, err) == (0, "")
    assert np.ptp(read_mesh(Path("again.ply").read_bytes(), ".ply")[0][:, 0]) == pytest.approx(1.524, abs=1e-3)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--unit", "yd"), "--unit must be m, cm, mm, in or ft, got 'yd'"),
        (("--up", "w"), "--up must be x, y, z, -x, -y or -z, got 'w'"),
        (("--butt", "left"), "--butt must be other, got 'left'"),
        (("--taped-length", "5"), "--taped-length"),
        (
            ("--taped-length", "12 ft"),
            "the taped length is 2.4 times as long; give the whole length",
        ),
        (("--taped-length", "5 in"), "the scan is 12.0 times as long; if you meant feet, write"),
        (("--taped-length", "5 in"), '--taped-length "5 ft"'),
        (("--pick", "2"), "--pick must be 1"),
        (("--unit", "ft", "--bark", "off"), "the solid is 1 ft 6 1/2 in long"),
    ],
)
def test_wrong_words_about_a_mesh_are_one_line(
    pithline: Callable[..., Ran], options: tuple[str, ...], said: str
) -> None:
    pithline("solid", "log.toml", "--out", "log.ply")

    code, out, err = pithline("plan", "log.ply", *QUICK, *options)

    assert (code, out) == (2, "")
    assert said in err
    assert err.count("--unit") <= 1
    assert err.count("\n") == 1


def test_the_wood_alone_is_smaller(pithline: Callable[..., Ran]) -> None:
    pithline("solid", "log.toml", "--bark", "on", "--out", "log.ply")
    pithline("solid", "log.toml", "--bark", "on", "--wood", "--out", "wood.ply")

    outer, wood = (read_mesh(Path(name).read_bytes(), ".ply")[0] for name in ("log.ply", "wood.ply"))
    assert wood[:, 2].max() < outer[:, 2].max() - 0.002


def test_init_writes_the_samples_and_never_over_a_file_unless_forced(pithline: Callable[..., Ran]) -> None:
    code, out, _ = pithline("init", "new/folder")

    assert code == 0
    for name in ("mill.toml", "prices.toml", "log.toml"):
        assert Path("new/folder", name).read_bytes() == read_sample(name).data
        assert f"wrote new/folder/{name}" in out
    Path("new/folder/mill.toml").unlink()
    Path("new/folder/log.toml").write_text("mine")
    assert pithline("init", "new/folder")[0] == 2
    assert not Path("new/folder/mill.toml").exists()
    assert Path("new/folder/log.toml").read_text() == "mine"
    assert pithline("init", "new/folder", "--force")[0] == 0
    assert Path("new/folder/log.toml").read_bytes() == read_sample("log.toml").data


@pytest.mark.parametrize("arguments", [(), ("--help",), ("plan", "--help"), ("--version",)])
def test_help_and_version(pithline: Callable[..., Ran], arguments: tuple[str, ...]) -> None:
    code, out, err = pithline(*arguments)

    assert (code, err) == (0, "")
    assert "pithline" in out


@pytest.mark.parametrize(("given", "kept"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")])
def test_linear_algebra_keeps_to_one_thread_unless_said_otherwise(given: dict[str, str], kept: str) -> None:
    code = (
        "import os, sys; import service.cli.command_line, service.web.serve; import multiprocessing as m\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'])\n"
        "with m.get_context('spawn').Pool(1) as pool: print(pool.apply(os.getenv, ('OPENBLAS_NUM_THREADS',)))"
    )
    environment = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"} | given
    environment["PYTHONPATH"] = str(Path(__file__).parents[3])
    told = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)

    assert told.stdout.split() == [kept, kept]


def test_the_best_plan_is_drawn_into_a_file(pithline: Callable[..., Ran]) -> None:
    code, _, err = pithline("plan", "log.toml", "--picture", "plan.svg", "--json", "plan.json", *QUICK)

    best = json.loads(Path("plan.json").read_text())["plans"][0]
    drawn = Path("plan.svg").read_text()
    assert (code, err) == (0, "")
    assert drawn.startswith("<svg")
    assert [f"{cut['order']}: " in drawn for cut in best["passes"]] == [True] * len(best["passes"])


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from service.cli.command_line import run; run(['--help']); "
        "sys.exit(any(name in sys.modules for name in ('numpy', 'numba', 'trimesh', 'scipy', 'pydantic', 'rich')))"
    )

    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def test_a_reader_of_the_pipe_that_goes_away_is_no_error() -> None:
    code = "import sys; from service.cli.command_line import main; sys.argv = ['pithline', 'plan', '--help']; main()"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        errors = process.stderr.read()

    assert (process.returncode, errors) == (0, b"")
