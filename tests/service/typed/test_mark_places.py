"""Where marks of a sheet and of a file come to lie on the log, and what is said of those that lie nowhere."""

from typing import Any

import numpy as np
import pytest
import shapes
from plan_documents import a_mill, a_price_book

from optimizer.bed.marks import inwards
from optimizer.documents.plan import Mark
from scans.log import Log
from service.typed.errors import InputError
from service.typed.files import FileRead
from service.typed.log_reading import AboutLog, read_log
from service.typed.log_sheet import LogSheetTyped
from service.typed.mark_sheet import MarksRead, MarksTyped, MarkTyped, idle_marks, placed

# The sample sheet of design section 5, as it is printed there.
DESIGN_SHEET = """
name = "Orchard Road maple"
species = "maple, sugar"
length = "9 ft 8 in"        # the whole, limbs included; checked against the sections
bark = "on"
end_trim = "2 in"           # checked or dirty wood lost at each end
cost = 150
[[section]]                 # across the log, butt end first; two or more
at = "0 in"
wide = "38 in"              # or girth = "9 ft 2 in" in place of wide and narrow
narrow = "32 in"
wide_deg = 20               # the wide one's lean from upright, clockwise seen from the butt
[[section]]
at = "6 ft"
wide = "30 in"
narrow = "28 in"
[bow]                       # a string along the hollow side, end to end
gap = "3 in"                # the widest gap under it, where, and which way the hollow faces
at = "5 ft"
toward_deg = 90             # clockwise from upright seen from the butt
[[limb]]                    # what the fork divides into
leaves_at = "6 ft"          # where the bark parts, along the stem
out_deg = 25                # from the stem's direction
toward_deg = 90             # which way it leans, clockwise from upright seen from the butt
[[limb.section]]            # one or more
at = "4 ft"                 # along the limb from where it leaves; the last is its end
girth = "4 ft 10 in"
[[limb]]
leaves_at = "6 ft"
out_deg = 28
toward_deg = 270
[[limb.section]]
at = "4 ft 1 in"
girth = "4 ft 6 in"
[[mark]]                    # metal, knot, rot, crack, pith; for a scan the same in a file (--marks)
kind = "metal"
at = "3 ft"                 # along the log
toward_deg = 300            # where on the girth
radius = "1 in"
depth = "4 in"
"""
LEANING = """
section = [{at = "0 in", wide = "20 in"}, {at = "4 ft", wide = "18 in"}]
[[limb]]
leaves_at = "5 ft"
out_deg = 35
toward_deg = 0
section = [{at = "5 ft", wide = "14 in"}]
[[limb]]
leaves_at = "5 ft"
out_deg = 10
toward_deg = 180
section = [{at = "3 ft", wide = "8 in"}]
"""


def sheet_file(text: str) -> FileRead:
    return FileRead("log.toml", text.encode(), "0" * 64)


def marks_of(*marks: dict[str, Any]) -> tuple[MarksRead, ...]:
    return (MarksRead("m.toml", MarksTyped.model_validate({"mark": marks}).mark),)


def a_flaw(**changes: Any) -> dict[str, Any]:
    return {"kind": "rot", "at": "0 in", "radius": "3 in", "depth": "1 ft"} | changes


def test_the_sample_sheet_of_the_design_is_read_as_it_is_printed() -> None:
    read = read_log(sheet_file(DESIGN_SHEET), AboutLog())

    (mark,) = read.marks
    back = np.linalg.inv(read.log.scan_to_log) @ [mark.x_m, mark.y_m, mark.z_m, 1.0]
    assert (mark.id, mark.radius_m, mark.depth_m) == ("metal 1", 0.0254, 4 * 0.0254)
    # Along the stem as it was taped, up and to the left.
    assert back[0] == pytest.approx(36 * 0.0254, abs=1e-6)
    assert back[1] > 0.2
    assert back[2] > 0.1


@pytest.mark.parametrize("toward_deg", [0, 90, 180, 270])
def test_a_taped_place_keeps_its_distance_where_limbs_turn_the_log_frame(toward_deg: int) -> None:
    block = f'[[mark]]\nkind = "knot"\nat = "3 ft"\ntoward_deg = {toward_deg}\nradius_m = 0.1\ndepth_m = 0.1\n'
    read = read_log(sheet_file(LEANING + block), AboutLog())

    (mark,) = read.marks
    turn = read.log.scan_to_log
    back = np.linalg.inv(turn) @ [mark.x_m, mark.y_m, mark.z_m, 1.0]
    assert np.degrees(np.arccos(turn[0, 0])) > 5.0
    assert back[0] == pytest.approx(0.9144, abs=1e-6)
    # Between 20 and 18 in across there, round the stem's own line.
    off, way = back[1:3], np.radians(toward_deg)
    assert 9 * 0.0254 < np.linalg.norm(off) < 10 * 0.0254
    assert off / np.linalg.norm(off) == pytest.approx([-np.sin(way), np.cos(way)], abs=1e-3)


def test_places_on_a_mesh_are_along_the_log_wherever_its_file_had_it() -> None:
    log = shapes.cylinder(0.3, 3.0)
    moved = np.eye(4)
    moved[0, 3] = 0.25
    aside = Log("aside", log.outer, log.wood, hearts=log.hearts, scan_to_log=moved)

    (mark,) = placed(aside, marks_of(a_flaw(at="1 m")), taped=False)

    assert (mark.x_m, mark.y_m, mark.z_m) == pytest.approx((1.0, 0.0, 0.3), abs=1e-3)


@pytest.mark.parametrize(
    ("at", "x_m", "way"), [("0 in", 0.0, 1.0), ("3 m", 3.0, -1.0), ("2.96 m", 3.0, -1.0), ("3.04 m", 3.0, -1.0)]
)
def test_a_mark_off_the_middle_of_an_end_goes_along_the_log(at: str, x_m: float, way: float) -> None:
    log = shapes.cylinder(0.3, 3.0, points=360)

    (mark,) = placed(log, marks_of(a_flaw(at=at, from_middle="0.1 m", toward_deg=90)), taped=False)

    place = np.array([mark.x_m, mark.y_m, mark.z_m])
    assert place == pytest.approx([x_m, -0.1, 0.0], abs=1e-3)
    assert inwards(place, log.hearts, (0.0, 3.0), lambda _: np.zeros(2)) == pytest.approx([way, 0.0, 0.0])


def test_pith_is_in_the_middle_unless_said_otherwise_and_has_no_size() -> None:
    log = shapes.cylinder(0.3, 3.0, points=360, heart=False)

    (mark,) = placed(log, marks_of({"kind": "pith", "at": "0 in"}), taped=False)

    assert (mark.x_m, mark.y_m, mark.z_m) == pytest.approx((0.0, 0.0, 0.0), abs=1e-3)
    assert (mark.radius_m, mark.depth_m) == (0.0, 0.0)


def test_marks_are_named_by_kind_through_all_files() -> None:
    files = (*marks_of(a_flaw(), a_flaw(kind="metal")), MarksRead("n.toml", (MarkTyped.model_validate(a_flaw()),)))

    marks = placed(shapes.cylinder(), files, taped=False)

    assert [mark.id for mark in marks] == ["rot 1", "metal 1", "rot 2"]


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        (a_flaw(at="3.06 m"), "{:at} must lie on the log, in 0 to {3 m}, got {3.06 m}"),
        (a_flaw(at="1 m", from_middle="1 in"), "{:from_middle} is for marks, on an end"),
        ({"kind": "pith", "at": "2.94 m"}, "pith is marked where it is seen, on an end"),
    ],
)
def test_a_place_that_is_none_names_file_and_block(mark: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as caught:
        placed(shapes.cylinder(0.3, 3.0), marks_of(a_flaw(), mark), taped=False)

    assert str(caught.value).startswith(f"m.toml: mark[2] ({mark['kind']}): ")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_middle_of_a_forked_logs_top_end_is_refused() -> None:
    with pytest.raises(InputError, match="at the top end of a log with a crotch"):
        placed(shapes.forked(), marks_of({"kind": "pith", "at_m": shapes.forked().length_m}), taped=False)


@pytest.mark.parametrize(
    ("deduct", "keep_out_m", "told"),
    [
        ({}, 0.0, ("knot", "rot", "metal_keep_out")),
        ({"knot": 0.5}, 0.0, ("rot", "metal_keep_out")),
        ({"knot": 0.5, "rot": 1.0}, 0.05, ()),
    ],
)
def test_marks_that_change_nothing_are_told(deduct: dict[str, float], keep_out_m: float, told: tuple[str, ...]) -> None:
    marks = [
        Mark(id=kind, kind=kind, x_m=1.0, y_m=0.0, z_m=0.3, radius_m=0.02, depth_m=0.1)
        for kind in ("knot", "rot", "metal", "pith")
    ]

    notes = idle_marks(marks, a_mill(metal_keep_out_m=keep_out_m), a_price_book(deduct=deduct))

    assert len(notes) == len(told)
    assert all(word in note.text for word, note in zip(told, notes, strict=True))


def test_every_field_of_a_mark_is_described_in_the_sheets_schema() -> None:
    fields = LogSheetTyped.model_json_schema()["$defs"]["MarkTyped"]["properties"]

    assert "from_middle" in fields
    assert all(field["description"] for field in fields.values())
