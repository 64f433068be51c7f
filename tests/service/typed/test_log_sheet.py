"""The log sheet as typed, and its numbers."""

from typing import Any

import pytest
from pydantic import ValidationError

from optimizer.documents.typed import one_line
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection
from service.typed.log_sheet import LogSheetTyped

SHEET: dict[str, Any] = {
    "name": "Invented",
    "length": "9 ft 8 in",
    "bark": "off",
    "section": [
        {"at": "0 in", "wide": "38 in", "narrow": "32 in", "wide_deg": 20},
        {"at_m": 1.8, "girth": "1 m"},
    ],
    "bow": {"gap": "3 in", "at": "5 ft", "toward_deg": 90},
    "limb": [{"leaves_at": "6 ft", "out_deg": 25, "toward_deg": 270, "section": [{"at": "4 ft", "girth": "58 in"}]}],
    "heart_radius": "2 in",
}


def test_every_number_reaches_the_tape() -> None:
    sheet = LogSheetTyped.model_validate(SHEET).taped()

    assert sheet == LogSheet(
        name="Invented",
        length_m=pytest.approx(2.9464),
        bark_on=False,
        sections=(
            TapedSection(at_m=0.0, wide_m=38 * 0.0254, narrow_m=32 * 0.0254, wide_deg=20.0),
            TapedSection(at_m=1.8, girth_m=1.0),
        ),
        bow=Bow(gap_m=3 * 0.0254, at_m=5 * 0.3048, toward_deg=90.0),
        limbs=(
            TapedLimb(
                leaves_at_m=6 * 0.3048,
                out_deg=25.0,
                toward_deg=270.0,
                sections=(TapedSection(at_m=4 * 0.3048, girth_m=58 * 0.0254),),
            ),
        ),
        heart_radius_m=0.0508,
    )


def test_a_limb_may_leave_a_limb() -> None:
    limbs = [SHEET["limb"][0], SHEET["limb"][0] | {"on": 1}]

    taped = LogSheetTyped.model_validate(SHEET | {"limb": limbs}).taped()

    assert [limb.on for limb in taped.limbs] == [None, 1]


def test_what_is_left_out() -> None:
    typed = LogSheetTyped.model_validate({"section": SHEET["section"]})

    assert (typed.species, typed.end_trim_m, typed.cost, typed.limb, typed.bow) == (None, None, None, (), None)
    assert typed.taped().bark_on
    assert typed.taped().length_m is None
    assert typed.taped().heart_radius_m == 0.0254


@pytest.mark.parametrize(("typed", "on"), [("on", True), ("off", False), (True, True), (False, False)])
def test_bark(typed: object, on: bool) -> None:
    assert LogSheetTyped.model_validate(SHEET | {"bark": typed}).taped().bark_on is on


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"section": []}, "section"),
        ({"section": [{"wide": "38 in"}, {"at": "1 ft"}]}, "section[1].at is missing"),
        ({"section": [{"at": "0 in", "wide": 38}]}, "section[1]: wide = 38 has no unit"),
        ({"section": [{"at": "0 in", "girt": "38 in"}]}, "section[1]: 'girt' is not known here; did you mean girth?"),
        ({"length": "9"}, "length: "),
        ({"lenght": "9 ft"}, "did you mean length?"),
        ({"bark": "yes"}, "bark must be on or off"),
        ({"cost": -1}, "cost must be at least 0, got -1"),
        (
            {"limb": [{"leaves_at": "6 ft", "out_deg": 95, "toward_deg": 0, "section": SHEET["section"]}]},
            "limb[1].out_deg",
        ),
        ({"limb": [{"leaves_at": "6 ft", "out_deg": 5, "toward_deg": 0}]}, "limb[1].section is missing"),
        ({"mark": [{"kind": "metal", "at": "3 ft"}]}, "mark[1]: {:radius} is missing for metal"),
    ],
)
def test_a_wrong_sheet_is_refused_in_one_line(change: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError) as caught:
        LogSheetTyped.model_validate(SHEET | change)

    line = one_line(caught.value)
    assert said in line
    assert "\n" not in line


def test_every_field_is_described() -> None:
    schema = LogSheetTyped.model_json_schema()

    tables = [schema, *schema["$defs"].values()]
    assert len(tables) == 5
    assert [name for table in tables for name, field in table["properties"].items() if not field["description"]] == []
