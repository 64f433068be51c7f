"""What a log is set on, drawn: to scale, where it stands, with heights that can be read, and the center of weight."""

import xml.etree.ElementTree as ET
from itertools import combinations
from typing import Any

import pytest
from plan_documents import IDENTITY, a_document, a_log, a_mill, a_plan

from optimizer.documents.plan import CrossSection, Holding, Overturning, Plan, PlanDocument, SupportPlaced
from service.drawings.bed import WIDTH, end_on_bed, side_on_bed
from service.drawings.under_log import PITH, RESTS, WEIGHT
from service.words.measures import Measures
from service.words.units import Units

SVG = "{http://www.w3.org/2000/svg}"
INCH_M = 0.0254
MILL = a_mill(bunk_spacing="24 in", first_bunk="6 in")
MEASURES = Measures(Units.IMPERIAL, MILL, "USD")
LENGTH_M = 2.9
LIFTED = (IDENTITY[0], IDENTITY[1], (0.0, 0.0, 1.0, 0.5), IDENTITY[3])


def square(y_m: float, z_m: float, half_m: float) -> tuple[tuple[float, float], ...]:
    return tuple((y_m + a * half_m, z_m + b * half_m) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)))


def a_fork() -> PlanDocument:
    """Return an invented log of square trunk and limbs: its left limb is high, its right one low."""
    sections = []
    for k in range(12):
        x_m = min(0.001 + 0.25 * k, LENGTH_M - 0.001)
        parts = (square(0.0, 0.0, 0.3),) if k < 7 else (square(0.5, 0.2, 0.2), square(-0.5, -0.3, 0.2))
        sections.append(CrossSection(x_m=x_m, outer_m=parts, wood_m=parts))
    split = (1.6, 0.0, 0.0)
    hearts = (((0.0, 0.0, 0.0), split), (split, (LENGTH_M, 0.5, 0.2)), (split, (LENGTH_M, -0.5, -0.3)))
    return a_document(mill=MILL, log=a_log(sections=tuple(sections), hearts=hearts, length_m=LENGTH_M))


def a_support(bunk: int, height_m: float, y_m: float, **changes: Any) -> SupportPlaced:
    given = {
        "x_m": 0.1524 + 0.6096 * (bunk - 1), "y_m": y_m, "member": "stem", "kind": "shim", "height_m": height_m,
    }  # fmt: skip
    return SupportPlaced(**given | changes)


SHIM = a_support(1, 0.2, 0.02)
RESTING = a_support(5, 0.0, -0.5, kind="bears", member="limb_2")
BLOCKS = a_support(5, 0.5, 0.5, kind="prop", member="limb_1")
CENTRE_M = (1.3, 0.1, 0.45)


def a_way(*supports: SupportPlaced, **changes: Any) -> Plan:
    return a_plan(log_to_bed=LIFTED, supports=supports, mass_centre_m=CENTRE_M, slabs=(), **changes)


def of_class(root: ET.Element, tag: str, css: str) -> list[ET.Element]:
    return [one for one in root.iter(f"{SVG}{tag}") if one.get("class") == css]


def number(one: ET.Element, name: str) -> float:
    return float(one.get(name) or "nan")


def views(plan: Plan) -> tuple[ET.Element, ET.Element]:
    """Return the log from the butt end, and from its side."""
    document = a_fork()
    drawn = (end_on_bed(document, plan, MEASURES), side_on_bed(document, plan, MEASURES))
    end, side = (ET.fromstring(svg) for svg in drawn)  # noqa: S314 - made here
    return end, side


def labels(root: ET.Element) -> list[str]:
    return [text.text or "" for text in root.iter(f"{SVG}text")]


def middle(block: ET.Element) -> float:
    return number(block, "x") + number(block, "width") / 2


def test_shims_and_blocks_are_drawn_to_scale_where_they_stand() -> None:
    end, side = views(a_way(SHIM, RESTING, BLOCKS))
    for root in (end, side):
        (shim,), (blocks,) = of_class(root, "rect", "shim"), of_class(root, "rect", "prop")
        assert number(blocks, "height") / number(shim, "height") == pytest.approx(2.5, rel=0.02)
        floor = {number(one, "y") + number(one, "height") for one in (shim, blocks)}
        assert max(floor) - min(floor) < 0.2
        assert number(of_class(root, "rect", "bunk")[0], "y") == pytest.approx(max(floor), abs=0.2)
        scale = number(blocks, "height") / 0.5
        apart_m = 0.02 - 0.5 if root is end else 4 * 0.6096
        assert middle(blocks) - middle(shim) == pytest.approx(apart_m * scale, abs=1.0)


def test_a_block_on_the_left_is_drawn_on_the_left_looking_at_the_butt() -> None:
    end, _ = views(a_way(SHIM, BLOCKS))

    assert middle(of_class(end, "rect", "prop")[0]) < middle(of_class(end, "rect", "shim")[0])


def test_each_limb_is_drawn_over_what_holds_it() -> None:
    end, _ = views(a_way(SHIM, RESTING, BLOCKS))
    limbs = of_class(end, "path", "limb")
    (blocks,) = of_class(end, "rect", "prop")

    def corners(limb: ET.Element) -> tuple[tuple[float, ...], tuple[float, ...]]:
        places = [part.strip("MZ").split() for part in (limb.get("d") or "").split("L")]
        return tuple(float(x) for x, _ in places), tuple(float(y) for _, y in places)

    (across, down), (across_other, down_other) = (corners(limb) for limb in limbs)

    assert {"limb 1", "limb 2"} <= set(labels(end))
    assert len(limbs) == 2
    assert min(across) < middle(blocks) < max(across)
    assert max(down) == pytest.approx(number(blocks, "y"), abs=1.0)
    assert max(across) < min(across_other)
    assert max(down_other) == pytest.approx(number(blocks, "y") + number(blocks, "height"), abs=1.0)


def test_heights_stand_beside_and_what_rests_on_its_bunk_is_shown() -> None:
    end, side = views(a_way(SHIM, RESTING, BLOCKS))

    assert {"bunk 1: 7 7/8 in", f"bunk 5: {RESTS}", "bunk 5: blocks 19 5/8 in"} <= set(labels(end))
    assert {"7 7/8 in", f"limb 2: {RESTS}", "limb 1: blocks 19 5/8 in"} <= set(labels(side))


def test_labels_below_the_bunks_do_not_touch() -> None:
    crowd = [a_support(bunk, 0.11 + 0.01 * bunk, y_m) for bunk in (1, 2, 3, 4, 5) for y_m in (0.05, 0.0)]
    for root in views(a_way(*crowd)):
        floor = number(of_class(root, "rect", "bunk")[0], "y")
        boxes = []
        for text in root.iter(f"{SVG}text"):
            if number(text, "y") < floor + 5.0 or text.text in {WEIGHT, PITH} or (text.text or "").endswith(" end"):
                continue
            half = 0.64 * number(text, "font-size") * len(text.text or "") / 2
            boxes.append((number(text, "x") - half, number(text, "x") + half, number(text, "y")))
        assert len(boxes) == len(crowd)
        assert all(left >= 0.0 and right <= WIDTH for left, right, _ in boxes)
        assert all(abs(a[2] - b[2]) >= 13.0 or a[1] < b[0] or b[1] < a[0] for a, b in combinations(boxes, 2))


def test_the_center_of_weight_is_marked_where_it_is_and_explained() -> None:
    end, side = views(a_way(SHIM, BLOCKS))
    for root in (end, side):
        mark, key = of_class(root, "circle", "weight")
        (shim,) = of_class(root, "rect", "shim")
        scale, floor = number(shim, "height") / 0.2, number(shim, "y") + number(shim, "height")
        assert (floor - number(mark, "cy")) / scale == pytest.approx(0.45, abs=0.01)
        away_m = (number(mark, "cx") - middle(shim)) / scale
        assert away_m == pytest.approx(0.02 - 0.1 if root is end else 1.3 - 0.1524, abs=0.01)
        assert number(key, "cy") > floor
        assert WEIGHT in labels(root)


def test_a_plan_from_before_it_knew_its_center_of_weight_marks_none() -> None:
    for root in views(a_way(SHIM.model_copy(update={"y_m": None})).model_copy(update={"mass_centre_m": None})):
        assert of_class(root, "circle", "weight") == []
        assert WEIGHT not in labels(root)
        assert len(of_class(root, "rect", "shim")) == 1


def test_blocks_that_would_hold_it_are_drawn_as_wanted() -> None:
    over = Overturning(
        flipped=False, blade_height_m=None, outside_m=0.1, toward=(0.0, 1.0), moment_n_m=900.0,
        holding=Holding(x_m=0.1524 + 4 * 0.6096, y_m=0.5, height_m=0.5),
    )  # fmt: skip
    end, side = views(a_way(SHIM, overturning=over))

    assert "bunk 5: needs 19 5/8 in" in labels(end)
    assert "needs 19 5/8 in" in labels(side)
    for root in (end, side):
        (shim,), (wanted,) = of_class(root, "rect", "shim"), of_class(root, "rect", "wanted")
        assert number(wanted, "height") / number(shim, "height") == pytest.approx(2.5, rel=0.02)


def turned(roll_deg: float, document: PlanDocument | None = None) -> ET.Element:
    document = document or a_fork()
    plan = a_way(SHIM, BLOCKS, roll_deg=roll_deg)
    return ET.fromstring(end_on_bed(document, plan, MEASURES))  # noqa: S314 - made here


@pytest.mark.parametrize(("roll_deg", "side", "words"), [
    (45.0, 1.0, "Turn it 45 degrees clockwise"), (315.0, -1.0, "Turn it 45 degrees counterclockwise"),
])  # fmt: skip
def test_the_mark_that_was_up_is_drawn_where_it_goes_and_the_words_say_so(
    roll_deg: float, side: float, words: str
) -> None:
    root = turned(roll_deg)
    (tip,) = of_class(root, "circle", "turn-tip")
    was = next(line for line in of_class(root, "line", "turn") if line.get("stroke-dasharray"))
    pith = number(was, "x1"), number(was, "y1")

    assert words in labels(root)
    assert number(was, "x2") == number(was, "x1")
    assert number(was, "y2") < number(was, "y1")
    assert number(tip, "cx") - pith[0] == pytest.approx(side * (pith[1] - number(tip, "cy")), abs=0.2)
    assert len(of_class(root, "path", "turn")) == 1


def test_a_log_that_is_not_turned_shows_no_arc() -> None:
    root = turned(0.0)

    assert "Don't turn it: it stays as it lies" in labels(root)
    assert of_class(root, "circle", "turn-tip") == []


def test_a_log_that_is_sawn_already_is_not_turned_again_and_its_next_cut_is_large() -> None:
    document = a_fork().model_copy(update={"kind": "rest", "made": 1})
    root = turned(45.0, document)
    sizes = [number(text, "font-size") for text in of_class(root, "text", "label-blade")]

    assert "Leave it as it lies on the bed" in labels(root)
    assert of_class(root, "circle", "turn-tip") == []
    assert sizes[0] == 15.0
    assert max(sizes) == sizes[1]


def test_the_first_readings_are_the_largest_and_the_pith_of_each_end_is_marked() -> None:
    root = turned(45.0)
    sizes = [number(text, "font-size") for text in of_class(root, "text", "label-blade")]

    assert sizes[0] > sizes[1] > 14.0
    assert PITH in labels(root)
    assert len(of_class(root, "circle", "pith")) == 3 + 1  # the butt's, two limbs', the key's


def test_a_log_without_limbs_shows_its_top_end() -> None:
    sections = tuple(
        CrossSection(x_m=0.001 + 0.29 * k, outer_m=(square(0.0, 0.0, 0.3 - 0.01 * k),), wood_m=())
        for k in range(11)
    )  # fmt: skip
    log = a_log(sections=sections, hearts=(((0.0, 0.0, 0.0), (LENGTH_M, 0.0, 0.0)),), length_m=LENGTH_M, forks=())
    root = turned(45.0, a_document(mill=MILL, log=log))

    assert "top end" in labels(root)
    assert len(of_class(root, "path", "limb")) == 1
