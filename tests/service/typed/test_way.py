"""Your own way as typed, and faces as found held against those that a plan expects."""

from typing import Any

import numpy as np
import pytest
import shapes
from plan_documents import IDENTITY, a_mill, a_pass, a_plan

from optimizer.search.given import GivenError
from service.typed.errors import InputError
from service.typed.read_given import read_given
from service.typed.way import FaceSeen, Way, compared, face_expected
from service.words.units import Units

INCH_M = 0.0254
IMPERIAL, METRIC = Units.IMPERIAL, Units.METRIC


def a_way(**changes: Any) -> Way:
    return read_given(
        Way, **({"roll_deg": 35.0, "shim_butt": "1 in", "shim_top": "0", "heights": "20, 17 5/8"} | changes)
    )


@pytest.mark.parametrize(
    ("heights", "units", "scale_zero", "read_m"),
    [
        ("20, 17 5/8", IMPERIAL, "0 in", (20 * INCH_M, 17.625 * INCH_M)),
        ("20,17-5/8", IMPERIAL, "0 in", (20 * INCH_M, 17.625 * INCH_M)),
        ("20, 17 5/8", IMPERIAL, "1 1/2 in", (21.5 * INCH_M, 19.125 * INCH_M)),
        ("20, 17 5/8", IMPERIAL, "-1 in", (19 * INCH_M, 16.625 * INCH_M)),
        ("508, 447.7", METRIC, "0 in", (0.508, 0.4477)),
        ("508 mm, 40 cm", IMPERIAL, "0 in", (0.508, 0.4)),
        ("20 in, 400", METRIC, "0 in", (20 * INCH_M, 0.4)),
        ("2, 0", IMPERIAL, "1 in", (3 * INCH_M, INCH_M)),
    ],
)
def test_heights_are_read_as_the_scale_shows_them(
    heights: str, units: Units, scale_zero: str, read_m: tuple[float, ...]
) -> None:
    assert a_way(heights=heights, units=units).given(a_mill(scale_zero=scale_zero)).heights_m == pytest.approx(read_m)


def test_shims_may_be_bare_numbers_too() -> None:
    given = a_way(shim_butt="1 1/2", shim_top="0").given(a_mill())

    assert (given.shim_butt_m, given.shim_top_m) == (1.5 * INCH_M, 0.0)
    assert a_way(shim_butt="30", units=METRIC).given(a_mill()).shim_butt_m == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"roll_deg": float("nan")}, "{:roll_deg} must be a finite number"),
        ({"roll_deg": float("inf")}, "{:roll_deg} must be a finite number"),
        ({"heights": ""}, "{:heights}: the length is empty"),
        ({"heights": "20,, 17"}, "{:heights}: the length is empty"),
        ({"heights": "20; 17"}, "{:heights}: "),
        ({"shim_butt": "thick"}, "{:shim_butt}: "),
        ({"shim_top": "thick"}, "{:shim_top}: "),
        ({"shim_top": "1 ft 2"}, '{:shim_top}: "1 ft 2" has no unit after 2'),
    ],
)
def test_a_way_that_is_none_is_one_line(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as caught:
        a_way(**changes).given(a_mill())

    assert str(caught.value).startswith(said)
    assert "\n" not in str(caught.value)


def test_a_way_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(GivenError, match="fall"):
        a_way(heights="17, 20").given(a_mill())


@pytest.mark.parametrize(
    ("text", "units", "face"),
    [
        ("1: 22 in x 8 ft", IMPERIAL, FaceSeen(1, 22 * INCH_M, 96 * INCH_M)),
        ("22 in x 8 ft", IMPERIAL, FaceSeen(1, 22 * INCH_M, 96 * INCH_M)),
        ("3: 22 1/2 by 8 ft 2 in", IMPERIAL, FaceSeen(3, 22.5 * INCH_M, 98 * INCH_M)),
        ("2:560x2440", METRIC, FaceSeen(2, 0.56, 2.44)),
    ],
)
def test_a_face_as_found_is_read(text: str, units: Units, face: FaceSeen) -> None:
    (read,) = a_way(seen=(text,), units=units).given(a_mill()).seen

    assert (read.order, read.width_m, read.length_m) == pytest.approx((face.order, face.width_m, face.length_m))


@pytest.mark.parametrize(
    "text", ["", "wide", "1: 22 in", "1: x 8 ft", "1: 22 in x", "1: 0 in x 8 ft", "a: 2 in x 8 ft"]
)
def test_a_face_that_is_none_is_one_line(text: str) -> None:
    with pytest.raises(InputError, match=r"\{:seen\}"):
        a_way(seen=(text,)).given(a_mill())


def test_the_face_expected_is_that_of_the_wood_at_the_pass() -> None:
    # A cylinder 0.3 round about z = 0: at height h its face is 2 sqrt(0.09 - h2) wide.
    wood = shapes.cylinder(0.3, 3.0, points=720).wood
    flipped = ((1.0, 0.0, 0.0, 0.0), (0.0, -1.0, 0.0, 0.0), (0.0, 0.0, -1.0, 0.1), (0.0, 0.0, 0.0, 1.0))
    after = a_pass(3, 0.2).model_copy(update={"flipped": True})
    plan = a_plan(
        log_to_bed=IDENTITY,
        flipped_log_to_bed=flipped,
        passes=(a_pass(1, 0.25), a_pass(2, 0.1), after, a_pass(4, 0.9)),
        stretch_m=(0.0, 3.0),
    )

    for order, height_m in ((1, 0.25), (2, 0.1), (3, -0.1)):
        face = face_expected(wood, plan, order)
        assert face.width_m == pytest.approx(2.0 * np.sqrt(0.09 - height_m**2), rel=1e-3)
        assert face.length_m == pytest.approx(3.0)
    assert face_expected(wood, plan, 4).width_m == 0.0
    # On a stretch of it the face is no longer than that.
    shorter = plan.model_copy(update={"stretch_m": (0.4, 2.1)})
    assert face_expected(wood, shorter, 1).length_m == pytest.approx(1.7)


@pytest.mark.parametrize("order", [0, 4])
def test_a_face_of_a_pass_that_there_is_not_is_refused(order: int) -> None:
    with pytest.raises(InputError, match="cuts 1 to 3"):
        face_expected(shapes.cylinder().wood, a_plan(), order)


@pytest.mark.parametrize(
    ("width_m", "length_m", "said"),
    [
        (0.439, 2.199, ()),
        (0.441, 2.199, ("the width is 10% more",)),
        (0.361, 1.801, ()),
        (0.359, 1.79, ("the width is 10% less", "the length is 10% less")),
    ],
)
def test_a_face_more_than_a_tenth_off_is_a_reason_to_measure_again(
    width_m: float, length_m: float, said: tuple[str, ...]
) -> None:
    text = compared(FaceSeen(2, width_m, length_m), FaceSeen(2, 0.4, 2.0)).text

    assert text.startswith("Cut 2: ")
    assert "found against" in text
    assert all(words in text for words in said)
    assert ("Measure the log again" in text) is bool(said)


def test_a_face_where_none_was_expected_is_no_share_of_it() -> None:
    assert "not expected at all" in compared(FaceSeen(1, 0.4, 2.0), FaceSeen(1, 0.0, 0.0)).text


@pytest.mark.parametrize(
    ("text", "units", "read_m"),
    [
        ("2 ft to 11 ft 6 in", IMPERIAL, (24 * INCH_M, 138 * INCH_M)),
        ("24 to 138", IMPERIAL, (24 * INCH_M, 138 * INCH_M)),
        (" 600  to 3.4 m", METRIC, (0.6, 3.4)),
        ("", METRIC, None),
    ],
)
def test_a_stretch_is_read_from_where_to_where(text: str, units: Units, read_m: tuple[float, float] | None) -> None:
    found = a_way(stretch=text, units=units).given(a_mill()).stretch_m

    assert found == (None if read_m is None else pytest.approx(read_m))


@pytest.mark.parametrize("text", ["2 ft", "2 ft - 11 ft", "2 ft to", "a to b", "1 to 2 to 3"])
def test_a_stretch_that_cannot_be_read_says_how(text: str) -> None:
    with pytest.raises(InputError, match=r"^\{:stretch\}"):
        a_way(stretch=text).given(a_mill())


@pytest.mark.parametrize(
    ("text", "units", "read_m"),
    [
        ("", IMPERIAL, ()),
        ("limb 1 at 2 ft 4 in, butt at 1 ft", IMPERIAL, (("limb_1", 28 * INCH_M), ("butt", 12 * INCH_M))),
        ("Top: 9 ft; LIMB 2 30", IMPERIAL, (("limb_2", 30 * INCH_M), ("stem", 108 * INCH_M))),
        ("limb2 at 700, limb 1 at 0.65 m", METRIC, (("limb_1", 0.65), ("limb_2", 0.7))),
    ],
)
def test_buck_cuts_are_read_limbs_first(text: str, units: Units, read_m: tuple[tuple[str, float], ...]) -> None:
    found = a_way(buck_at=text, units=units).given(a_mill()).buck_at
    assert [member for member, _ in found] == [member for member, _ in read_m]
    assert [at_m for _, at_m in found] == pytest.approx([at_m for _, at_m in read_m])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("foo", 'got "foo"'),
        ("limb at 2 ft", 'got "limb at 2 ft"'),
        ("limb 1", 'got "limb 1"'),
        ("limb 1 at 2 ft, limb 1 at 3 ft", "cuts the limb 1 twice"),
        ("butt at 0 ft", "lengths over 0"),
        ("butt at two", "{:buck_at}: "),
    ],
)
def test_buck_cuts_that_cannot_be_read_say_how(text: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        a_way(buck_at=text).given(a_mill())
    assert refused.value.field == "buck_at"
    assert said in str(refused.value)
