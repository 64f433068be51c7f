"""Forms: what is typed becomes the document, comes back as it was typed, and is never lost to an error."""

import html
import re

import pytest
from fastapi.routing import APIRoute
from hypothesis import given
from hypothesis import strategies as st
from kept_pages import Pages, Planned, desk_of, keep_log, keep_plan, wrongs

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.report.tally_said import is_of_before
from service.contract import job_state
from service.contract.documents import WayRequest
from service.pages import PARTS
from service.pages.asked import MILL, PRICES, SHEET
from service.pages.fields import Asked, checked, filled, length_m, length_text, typed_from
from service.pages.log_pages import mark_of
from service.typed.files import MILL_FILE, PRICES_FILE, SHEET_FILE, parse_document, read_sample
from service.typed.log_sheet import LogSheetTyped
from service.words.measures import measures_in
from service.words.units import Units

GOOD_MILL = {"name": "My mill", "throat_m": "56", "kerf_m": "1/16", "height_step_m": "1/16 in"}
GOOD_PRICES = {
    "name": "Mine", "currency": "USD", "limits.min_width_m": "10", "limits.min_length_m": "4 ft",
    "per_board_foot.0.species": "any", "per_board_foot.0.quarters": "8", "per_board_foot.0.price": "7.50",
}  # fmt: skip
GOOD_SHEET = {
    "name": "Tape log", "species": "white ash", "bark": "on", "section.0.at_m": "0", "section.0.wide_m": "20",
    "section.1.at_m": "8 ft", "section.1.girth_m": "4 ft 10 in",
}  # fmt: skip


def job_named(address: str) -> str:
    """Return the job that an address leads to."""
    return address.partition("?")[0][-32:]


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize(
    ("model", "asked", "sample"),
    [(Mill, MILL, MILL_FILE), (PriceBook, PRICES, PRICES_FILE), (LogSheetTyped, SHEET, SHEET_FILE)],
)
def test_a_form_loses_nothing_of_a_document(model: type, asked: Asked, sample: str, units: Units) -> None:
    document = parse_document(read_sample(sample), model)
    typed = typed_from(asked, document.model_dump(), units)
    again = checked(model, asked, filled(asked, typed, units), units)
    assert again is not None
    before, after = document.model_dump(), again.model_dump()
    _assert_near(before, after)
    assert typed_from(asked, after, units) == typed  # looked at and saved again and again it stays what it is
    if units is Units.IMPERIAL:  # which the samples are in
        assert [shown for shown in typed.values() if re.search(r"\d\.\d{3}", shown)] == []


_FILLED_ROUND = ("_kg", "_per_min", "_per_m2")
"""Masses and rates stand in forms as people say them: in whole pounds, and rates to three digits."""


def _assert_near(before: object, after: object, share: float = 1e-4) -> None:
    if isinstance(before, dict):
        assert isinstance(after, dict)
        assert before.keys() == after.keys()
        for key, value in before.items():
            _assert_near(value, after[key], 2e-3 if key.endswith(_FILLED_ROUND) else 1e-4)
    elif isinstance(before, (list, tuple)):
        assert isinstance(after, (list, tuple))
        assert len(before) == len(after)
        for one, other in zip(before, after, strict=True):
            _assert_near(one, other)
    elif isinstance(before, float):
        assert after == pytest.approx(before, rel=share, abs=1e-9)
    else:
        assert after == before


def test_every_field_of_a_mill_and_a_price_book_is_asked() -> None:
    def names(model: type, prefix: str = "") -> set[str]:
        found: set[str] = set()
        for name, field in model.model_fields.items():
            kind = field.annotation
            inner = next(
                (part for part in (kind, *getattr(kind, "__args__", ())) if hasattr(part, "model_fields")), None
            )
            is_row = kind is not inner and "tuple" in str(kind)
            found |= names(inner, f"{prefix}{name}.{'*.' if is_row else ''}") if inner else {f"{prefix}{name}"}
        return found

    assert {field.name for field in MILL.fields} == names(Mill)
    assert {field.name for field in PRICES.fields} == names(PriceBook)
    assert {field.name for field in SHEET.fields} == names(LogSheetTyped)


@given(st.floats(-5.0, 60.0, allow_nan=False), st.sampled_from(Units), st.booleans())
def test_a_length_is_read_as_it_was_written(value_m: float, units: Units, in_feet: bool) -> None:
    assert length_m(length_text(value_m, units, in_feet=in_feet), units) == pytest.approx(value_m, abs=1e-6)


MILL_ERRORS = [
    ({"throat_m": ""}, "Widest cut is missing"),
    ({"throat_m": "wide"}, "isn't a length"),
    ({"throat_m": "-3 in"}, "Widest cut must be over 0 in"),
    ({"kerf_m": "9 in"}, "Kerf must be at most 1 61/64 in"),
    ({"pace.hourly_rate": "much"}, "must be a number"),
    ({"max_log_mass_kg": "-1"}, "Heaviest log on the bed must be over 0 lb"),
]


_WHOLE: dict[type, dict[str, str]] = {Mill: GOOD_MILL, PriceBook: GOOD_PRICES, LogSheetTyped: GOOD_SHEET}
_LENGTHS = [
    (model, asked, field.name.replace("*", "0"))
    for model, asked in ((Mill, MILL), (PriceBook, PRICES), (LogSheetTyped, SHEET))
    for field in asked.fields
    if field.kind in {"length", "long"}
]


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize("slip", ["4000 ft", "-4000 ft"])
@pytest.mark.parametrize(("model", "asked", "name"), _LENGTHS)
def test_a_bound_is_taken_as_it_is_said(model: type, asked: Asked, name: str, slip: str, units: Units) -> None:
    """Inclusive bounds are typed as they are told; just inside the others, a 64th of an inch or a tenth of a mm."""

    def told(text: str) -> str:
        form = filled(asked, {**_WHOLE[model], name: text}, units)
        checked(model, asked, form, units)
        return form.errors.get(name, "")

    message = told(slip)
    found = re.search(r"must be (at least|at most|over|under) (.+)", message)
    # Of what is in a row or a table that is not there yet, other fields are missing: what counts is this one's own.
    if found is None:
        pytest.fail(f"no bound said: {message!r}")
    typed = found[2]
    if found[1] in {"over", "under"}:
        inside_m = length_m(typed, units) + (1 if found[1] == "over" else -1) * 0.0254 / 64
        typed = length_text(inside_m, units)
    assert told(typed) == ""


@pytest.mark.parametrize(("wrong", "told"), MILL_ERRORS)
def test_a_mill_that_is_wrong_says_so_and_keeps_all_that_was_typed(
    client: Pages, wrong: dict[str, str], told: str
) -> None:
    typed = {**GOOD_MILL, "bed_length_m": "15 ft", "can_flip": "on", **wrong}
    before = len(desk_of(client).store.mills())
    found = client.post("/mills/new", data=typed)
    assert found.status_code == 422
    assert len(wrongs(found.text)) == 1
    assert told in wrongs(found.text)[0].replace("&#39;", "'")
    for name, value in typed.items():
        if name != "can_flip":
            assert f'name="{name}" value="{value}"' in found.text
    assert 'name="can_flip" checked' in found.text
    assert len(desk_of(client).store.mills()) == before
    assert list(client.post("/check/mill", data=typed).json()["errors"]) == list(wrong)


PRICE_ERRORS = [
    ({"per_board_foot.0.price": ""}, "per_board_foot.0.price"),
    ({"per_board_foot.0.species": "plastic"}, "per_board_foot.0.species"),
    ({"per_board_foot.0.quarters": "8.5"}, "per_board_foot.0.quarters"),
    ({"limits.max_width_m": "2"}, "limits"),
    ({"deduct.heart": "140"}, "deduct.heart"),
    ({"drying.0.quarters": "8", "drying.0.lost": "100"}, "drying.0.lost"),
    ({"per_slab.0.species": "any", "per_slab.0.quarters": "8"}, "per_slab.0.price"),
    ({"money.thicknesses": "0"}, "money.thicknesses"),
    # Row 1 was left blank: what is wrong in row 2 stands at row 2.
    ({"per_board_foot.1.species": "", "per_board_foot.2.species": "any", "per_board_foot.2.quarters": "0",
      "per_board_foot.2.price": "1"}, "per_board_foot.2.quarters"),
]  # fmt: skip


@pytest.mark.parametrize(("wrong", "where"), PRICE_ERRORS)
def test_prices_that_are_wrong_say_so_and_keep_all_that_was_typed(
    client: Pages, wrong: dict[str, str], where: str
) -> None:
    typed = {**GOOD_PRICES, **wrong}
    found = client.post("/prices/new", data=typed)
    assert found.status_code == 422
    assert list(client.post("/check/prices", data=typed).json()["errors"]) == [where]
    for name, value in typed.items():
        assert re.search(rf'name="{re.escape(name)}" value="{re.escape(value)}"', found.text)


def test_a_row_more_keeps_what_was_typed(client: Pages) -> None:
    found = client.post("/prices/new", data={**GOOD_PRICES, "more": "per_board_foot"})
    assert found.status_code == 200
    assert 'name="per_board_foot.0.price" value="7.50"' in found.text
    assert 'name="per_board_foot.1.price" value=""' in found.text
    limb = client.post("/logs/sheet", data={**GOOD_SHEET, "more": "limb"})
    assert 'name="limb.0.section.0.girth_m"' in limb.text
    assert 'name="section.1.girth_m" value="4 ft 10 in"' in limb.text


def test_a_price_book_says_how_buyers_measure_and_when_money_comes(client: Pages) -> None:
    """Rows that are left empty are none; a row of drying without a thickness is for all."""
    typed = {
        **GOOD_PRICES, "tally.moisture": "dry", "tally.face": "narrow", "tally.width": "three",
        "tally.round_width_m": "1/2", "per_slab.0.species": "any", "per_slab.0.quarters": "12",
        "per_slab.0.price": "900", "per_slab.0.least_width_m": "30", "per_square_foot.0.species": "",
        "drying.0.quarters": "", "drying.0.months": "14", "drying.0.lost": "5%", "drying.1.quarters": "12",
        "drying.1.months": "27", "drying.2.quarters": "", "money.yearly_rate": "8", "pairs.premium": "10",
    }  # fmt: skip
    assert client.post("/prices/new", data=typed, follow_redirects=False).status_code == 303
    kept = desk_of(client).store.price_book()
    book = kept.prices
    page = client.get(f"/prices/{kept.id}").text
    client.post(f"/prices/{kept.id}/remove", follow_redirects=False)

    assert (book.tally.moisture, book.tally.face, book.tally.width) == ("dry", "narrow", "three")
    assert book.tally.round_width_m == pytest.approx(0.0127)
    assert [(row.price, row.least_width_m) for row in book.per_slab] == [(900.0, pytest.approx(0.762))]
    assert book.per_square_foot == ()
    assert [(row.quarters, row.months, row.lost) for row in book.drying] == [(None, 14.0, 0.05), (12, 27.0, 0.0)]
    assert (book.money.yearly_rate, book.pairs.premium) == (0.08, 0.1)
    assert '<option value="narrow" selected>' in page
    assert page.count('<details class="more" open>') == 3  # by the slab; rounding; pairs
    assert "New on this page" not in page


def test_a_price_book_of_before_says_what_is_new(client: Pages) -> None:
    assert client.post("/prices/new", data=GOOD_PRICES, follow_redirects=False).status_code == 303
    kept = desk_of(client).store.price_book()
    page = client.get(f"/prices/{kept.id}").text
    client.post(f"/prices/{kept.id}/remove", follow_redirects=False)

    assert is_of_before(kept.prices)
    assert "New on this page: how your buyers measure" in page
    assert '<details class="more" open>' not in page


def test_a_book_may_sell_by_the_slab_alone_but_not_by_nothing(client: Pages) -> None:
    none = {name: value for name, value in GOOD_PRICES.items() if not name.startswith("per_board_foot")}
    by_slab = {"per_slab.0.species": "any", "per_slab.0.quarters": "8", "per_slab.0.price": "300"}
    refused = client.post("/check/prices", data=none).json()["errors"]

    assert refused == {"": "the book has no price; add one under “Prices by wood and thickness”"}
    assert client.post("/check/prices", data={**none, **by_slab}).json()["errors"] == {}


@pytest.mark.parametrize("name", PRICES.rows)
def test_every_list_of_a_price_book_takes_another_row(client: Pages, name: str) -> None:
    first = next(field.name for field in PRICES.fields if field.name.startswith(f"{name}.*."))
    typed = {**GOOD_PRICES, "more": name}
    text = client.post("/prices/new", data=typed).text

    assert f'name="{first.replace("*", "1" if name == "per_board_foot" else "0")}"' in text


def test_a_good_mill_and_good_prices_are_kept(client: Pages) -> None:
    assert client.post("/mills/new", data=GOOD_MILL, follow_redirects=False).headers["location"] == "/mills"
    kept = desk_of(client).store.mill()
    assert kept.mill.throat_m == pytest.approx(56 * 0.0254)
    assert (
        client.post(f"/mills/{kept.id}", data={**GOOD_MILL, "kerf_m": "1/8"}, follow_redirects=False).status_code == 303
    )
    assert desk_of(client).store.mill(kept.id).mill.kerf_m == pytest.approx(0.0254 / 8)
    assert client.post("/prices/new", data=GOOD_PRICES, follow_redirects=False).headers["location"] == "/prices"
    assert desk_of(client).store.price_book().prices.per_board_foot[0].price == 7.5
    for folder, one in (("mills", kept.id), ("prices", desk_of(client).store.price_book().id)):
        assert client.post(f"/{folder}/{one}/remove", follow_redirects=False).status_code == 303


def test_a_kept_price_names_its_wood_as_people_say_it(client: Pages) -> None:
    kept_for = ("maple, sugar", "any")
    data = {**GOOD_PRICES, **{f"per_board_foot.{k}.{part}": GOOD_PRICES[f"per_board_foot.0.{part}"]
                              for k in (0, 1) for part in ("quarters", "price")},
            **{f"per_board_foot.{k}.species": name for k, name in enumerate(kept_for)}}  # fmt: skip
    assert client.post("/prices/new", data=data, follow_redirects=False).status_code == 303
    book = desk_of(client).store.price_book()
    shown = client.get(f"/prices/{book.id}").text
    again = {**data, "per_board_foot.0.species": "sugar maple"}

    assert 'name="per_board_foot.0.species" value="sugar maple"' in shown
    assert 'name="per_board_foot.1.species" value="any"' in shown
    assert '<option value="sugar maple">' in shown
    assert "maple, sugar" not in shown
    assert client.post(f"/prices/{book.id}", data=again, follow_redirects=False).status_code == 303
    assert tuple(row.species for row in desk_of(client).store.price_book(book.id).prices.per_board_foot) == kept_for
    client.post(f"/prices/{book.id}/remove", follow_redirects=False)


SHEET_ERRORS = [
    ({"section.1.girth_m": ""}, ""),
    ({"section.0.at_m": ""}, "section.0.at_m"),
    ({"species": "plastic"}, "species"),
    ({"section.1.at_m": "far"}, "section.1.at_m"),
    ({"mark.0.kind": "metal", "mark.0.at_m": "3 ft"}, "mark.0.radius_m"),
]


@pytest.mark.parametrize(("wrong", "where"), SHEET_ERRORS)
def test_a_sheet_that_is_wrong_says_so_and_keeps_all_that_was_typed(
    client: Pages, wrong: dict[str, str], where: str
) -> None:
    typed = {**GOOD_SHEET, **wrong}
    found = client.post("/logs/sheet", data=typed)
    assert found.status_code == 422
    assert list(client.post("/check/sheet", data=typed).json()["errors"]) == [where]
    for name, value in typed.items():
        if name not in {"bark", "mark.0.kind"}:
            assert f'name="{name}" value="{value}"' in found.text


def test_a_good_sheet_becomes_a_log(client: Pages) -> None:
    added = client.post("/logs/sheet", data=GOOD_SHEET, follow_redirects=False)
    assert added.status_code == 303
    shown = client.get(added.headers["location"])
    assert "Reading the log" in shown.text
    assert 'http-equiv="refresh"' in shown.text


def test_a_mark_is_typed_or_tapped() -> None:
    knot = {"kind": "knot", "at_m": "3 ft", "toward_deg": "90", "radius_m": "2", "depth_m": "4"}
    form, typed = mark_of(knot, Units.IMPERIAL)
    assert typed is not None
    assert not form.errors
    tapped = {"kind": "metal", "x_m": "1.0", "y_m": "0.2", "z_m": "0.1", "radius_m": "25", "depth_m": "100"}
    form, placed = mark_of(tapped, Units.METRIC)
    assert placed is not None
    assert (placed.radius_m, placed.x_m) == (pytest.approx(0.025), 1.0)  # type: ignore[union-attr]
    form, nothing = mark_of({"kind": "metal"}, Units.IMPERIAL)
    assert nothing is None
    assert set(form.errors) == {"at_m", "toward_deg", "radius_m", "depth_m"}
    for wrong, where in (
        ({"radius_m": ""}, "radius_m"), ({"depth_m": "deep"}, "depth_m"), ({"toward_deg": ""}, "toward_deg"),
        ({"kind": "pith", "radius_m": ""}, "depth_m"), ({"depth_m": "-3"}, "depth_m"),
    ):  # fmt: skip
        form, nothing = mark_of({**knot, **wrong}, Units.IMPERIAL)
        assert nothing is None
        assert list(form.errors) == [where]
    for end in ({"from_middle_m": "0", "toward_deg": ""}, {"kind": "pith", "radius_m": "", "depth_m": "", "at_m": "0"}):
        form, typed = mark_of({**knot, **end}, Units.IMPERIAL)
        assert form.errors == {}
        assert typed is not None


def test_a_mark_that_is_wrong_says_so_in_its_form(client: Pages, planned: Planned) -> None:
    log_id = keep_log(client, planned.read, "Marked wrongly")
    typed = {"kind": "rot", "at_m": "3 ft", "toward_deg": "90", "radius_m": "2"}
    found = client.post(f"/logs/{log_id}/marks", data=typed)
    assert found.status_code == 422
    form = found.text.partition('id="mark-form"')[2].partition("</form>")[0]
    alert = form.partition('role="alert"')[2].partition("</div>")[0]
    assert '<a href="#mark-depth_m">Write how deep it goes</a>' in alert
    assert 'id="mark-depth_m"' in form
    assert wrongs(form) == ["Write how deep it goes"]
    assert 'id="mark-at_m" name="at_m" value="3 ft"' in form


def test_what_would_be_typed_does_not_look_typed(client: Pages, log_id: str) -> None:
    for address in (f"/logs/{log_id}", f"/logs/{log_id}/way", "/logs/new", "/mills/new", "/prices/new", "/logs/sheet"):
        hints = re.findall(r'placeholder="([^"]*)"', client.get(address).text)
        assert hints
        assert [hint for hint in hints if re.match(r"\d", hint)] == []


def test_the_way_on_stands_where_marks_were_made_and_the_tape_was_read(client: Pages, planned: Planned) -> None:
    store = desk_of(client).store
    mill, book = store.write_mill(planned.document.mill), store.write_price_book(planned.document.prices)
    log_id = keep_log(client, planned.read, "Marked and taped")
    text = client.get(f"/logs/{log_id}").text
    store.remove_mill(mill.id)
    store.remove_price_book(book.id)
    marks, tape = text.index('id="marks"'), text.index("Check it with a tape")
    buttons = [found.start() for found in re.finditer(r'<button class="button main wide" form="plan-form">', text)]
    assert 'id="plan-form"' in text
    assert len(buttons) == 2
    assert marks < buttons[0] < text.index('id="mark-form"') < tape < buttons[1]


def test_marks_come_and_go_by_form(client: Pages, planned: Planned) -> None:
    log_id = keep_log(client, planned.read, "Marked")
    before = len(desk_of(client).store.marks(log_id))
    tapped = {"kind": "rot", "x_m": "1.0", "y_m": "0.3", "z_m": "0.2", "radius_m": "2", "depth_m": "3"}
    assert client.post(f"/logs/{log_id}/marks", data=tapped, follow_redirects=False).status_code == 303
    marks = desk_of(client).store.marks(log_id)
    assert len(marks) == before + 1
    far = client.post(f"/logs/{log_id}/marks", data={**tapped, "x_m": "40"})
    assert far.status_code == 422
    assert "x_m must lie on the log" in far.text
    assert 'name="x_m" value="40"' in far.text
    assert client.post(f"/logs/{log_id}/marks/{marks[-1][0]}/remove", follow_redirects=False).status_code == 303
    assert len(desk_of(client).store.marks(log_id)) == before


def test_an_own_way_that_is_wrong_keeps_what_was_typed(client: Pages, log_id: str) -> None:
    typed = {"roll_deg": "45", "heights": "20, 24", "shim_butt": "0", "shim_top": "1 in"}
    found = client.post(f"/logs/{log_id}/way", data=typed)
    assert found.status_code == 422
    assert any("must fall from cut to cut" in told for told in wrongs(found.text))
    assert ">20, 24</textarea>" in found.text
    for name in ("roll_deg", "shim_butt", "shim_top"):
        assert f'name="{name}" value="{typed[name]}"' in found.text
    # As one writes them below one another on a phone.
    good = client.post(f"/logs/{log_id}/way", data={**typed, "heights": "24\n20 1/2,\n"}, follow_redirects=False)
    assert good.status_code == 303
    asked = desk_of(client).store.job_request(good.headers["location"][-32:])["request"]
    assert asked["heights"] == "24, 20 1/2"
    job = client.get(good.headers["location"])
    assert "Pricing your way" in job.text
    assert 'http-equiv="refresh"' in job.text


def test_a_way_of_ones_own_begins_with_a_plans_heights_one_a_line(
    client: Pages, log_id: str, plan_id: str, planned: Planned
) -> None:
    text = client.get(f"/logs/{log_id}/way?plan={plan_id}&which=1").text
    heights = text.partition('<textarea id="heights"')[2].partition("</textarea>")[0]
    cuts = [cut for cut in planned.document.plans[0].passes if not cut.flipped]
    lines = heights.partition(">")[2].split("\n")
    assert len(lines) == len(cuts) > 3
    assert f'rows="{len(cuts)}"' in heights
    typed = {"roll_deg": "45", "heights": "\r\n".join(lines), "shim_butt": "0", "shim_top": "0"}  # as browsers send it
    assert client.post("/check/way", data=typed).json() == {"errors": {}}


@pytest.mark.parametrize(
    ("roll_deg", "degrees", "side"),
    [
        (314.9, "45", "counterclockwise"),
        (44.6, "45", "clockwise"),
        (180.0, "180", "clockwise"),
        (359.8, "0", "clockwise"),
    ],
)
def test_a_way_of_ones_own_begins_with_a_plans_roll_as_all_pages_tell_it(
    client: Pages, log_id: str, planned: Planned, roll_deg: float, degrees: str, side: str
) -> None:
    first = planned.document.plans[0].model_copy(update={"roll_deg": roll_deg})
    kept = keep_plan(client, log_id, planned.document.model_copy(update={"plans": (first,)}))
    text = client.get(f"/logs/{log_id}/way?plan={kept}&which=1").text
    assert f'name="roll_deg" value="{degrees}"' in text
    assert re.findall(r"<option selected>(\w+)</option>", text) == [side]
    heights = text.partition('<textarea id="heights"')[2].partition("</textarea>")[0].partition(">")[2]
    typed = {"roll_deg": degrees, "roll_side": side, "heights": heights}
    answer = client.post(f"/logs/{log_id}/way?plan={kept}&which=1", data=typed, follow_redirects=False)
    asked = desk_of(client).store.job_request(answer.headers["location"][-32:])["request"]
    off_deg = (asked["roll_deg"] - roll_deg + 180.0) % 360.0 - 180.0
    assert abs(off_deg) <= 0.5


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"roll_deg": "much"}, "roll_deg", "must be a number, got much"),
        ({"roll_deg": "361"}, "roll_deg", "must lie in 0 to 360 degrees, got 361"),
        ({"roll_deg": "-45"}, "roll_deg", "must lie in 0 to 360 degrees, got -45"),
        ({"roll_deg": "nan"}, "roll_deg", "must lie in 0 to 360 degrees, got nan"),
        ({"heights": ""}, "heights", "at least one blade height"),
        ({"heights": "24, wide"}, "heights", "isn't a length"),
        ({"shim_butt": "tall"}, "shim_butt", '"tall" isn\'t a length'),
        ({"heights": "20, 24"}, "heights", "must fall"),
        ({"made": "1.5"}, "made", "must be a whole number, got 1.5"),
        ({"made": "0"}, "made", "at least 1"),
        ({"made": "3"}, "made", "made"),
        ({"seen": "wide"}, "seen", "a cut, a width and a length"),
        ({"stretch": "2 ft"}, "stretch", "two places along the log"),
        ({"mill_id": "0" * 32}, "", "there is no such mill"),
    ],
)
def test_an_own_way_is_checked_as_it_is_typed(client: Pages, typed: dict[str, str], field: str, says: str) -> None:
    whole = {"roll_deg": "45", "heights": "24, 20", "shim_butt": "0", "shim_top": "1 in", "made": "", "seen": ""}
    assert client.post("/check/way", data=whole).json() == {"errors": {}}
    errors = client.post("/check/way", data={**whole, **typed}).json()["errors"]
    assert list(errors) == [field]
    assert says in errors[field]
    assert not re.match(r"[a-z]+_[a-z]+:", errors[field])  # the field's name in documents


def test_all_that_is_wrong_with_an_own_way_is_told_at_once(client: Pages) -> None:
    typed = {"roll_deg": "much", "heights": "24, wide", "shim_butt": "tall", "shim_top": "0", "made": "no"}
    assert set(client.post("/check/way", data=typed).json()["errors"]) == {"roll_deg", "heights", "shim_butt", "made"}


def test_the_rest_is_planned_again_from_the_cut_list(client: Pages, plan_id: str) -> None:
    for typed, seen in (
        ({"face_width": "20", "face_length": "9"}, ["1: 20 in x 108 in"]),
        ({"face_width": "20 1/2 in", "face_length": "9 ft 2 in"}, ["1: 20 1/2 in x 110 in"]),
        ({"face_width": "", "face_length": ""}, []),
    ):
        found = client.post(f"/plans/{plan_id}/1/seen", data={"made": "1", **typed}, follow_redirects=False)
        assert found.status_code == 303
        asked = desk_of(client).store.job_request(job_named(found.headers["location"]))["request"]
        assert asked["made"] == 1
        assert asked["seen"] == seen


FACE_SLIPS = [
    ({"face_width": "20", "face_length": ""}, {"face_length": "Say how long the face is"}),
    ({"face_width": "", "face_length": "9"}, {"face_width": "Say how wide the face is"}),
    ({"face_width": "wide", "face_length": "far"}, {"face_width": "isn't a length", "face_length": "isn't a length"}),
    (
        {"face_width": "0", "face_length": "-3 ft"},
        {"face_width": "more than 0 wide", "face_length": "more than 0 long"},
    ),
    (
        {"face_width": "20 ft", "face_length": "108"},
        {"face_width": "look at the number", "face_length": "108 ft is much more than this log is long"},
    ),
    ({"face_width": "20", "face_length": "9", "made": "40"}, {"made": "Choose the cut"}),
]


@pytest.mark.parametrize(("face", "says"), FACE_SLIPS)
def test_a_slip_in_a_face_comes_back_on_the_cut_list_beside_its_box(
    client: Pages, plan_id: str, planned: Planned, face: dict[str, str], says: dict[str, str]
) -> None:
    typed = {"made": "2", **face}
    found = client.post(f"/plans/{plan_id}/1/seen", data=typed, follow_redirects=False)
    assert found.status_code == 422
    assert "<h1>Cut list</h1>" in found.text
    form = found.text.partition(f'action="/plans/{plan_id}/1/seen#otherwise"')[2].partition("</form>")[0]
    text = html.unescape(form)
    for name in ("made", "face_width", "face_length"):
        told = re.search(rf'<p class="wrong" id="{name}-wrong">([^<]*)</p>', text)
        assert told is not None
        assert (says[name] in told[1]) if name in says else not told[1]
    for name in ("face_width", "face_length"):
        assert f'id="{name}" name="{name}" value="{face[name]}"' in text
    assert ('<option value="2" selected>' in form) == (typed["made"] == "2")
    alert = found.text.partition('role="alert" tabindex="-1"')[2].partition("</div>")[0]
    assert re.findall(r'<a href="#(\w+)">', alert) == [
        name for name in ("made", "face_width", "face_length") if name in says
    ]
    # Nothing that a plan holds and nobody typed is shown as if it were.
    assert f"{planned.document.plans[0].roll_deg:.6f}" not in found.text
    checked = client.post(f"/check/plans/{plan_id}/1/seen", data=typed).json()["errors"]
    assert set(checked) == set(says)


def test_a_face_is_typed_in_the_units_that_stand_beside_its_boxes(client: Pages, plan_id: str) -> None:
    form = r'name="(face_\w+)" value="" placeholder="e.g. ([\d.]+)"[^>]*><span class="unit">(\w+)</span>'
    inches = re.findall(form, client.get(f"/plans/{plan_id}/1/cut-list").text)
    client.post("/units", data={"units": "metric", "back": "/mills"})
    try:
        metric = re.findall(form, client.get(f"/plans/{plan_id}/1/cut-list").text)
        typed = {"made": "1", "face_width": "530", "face_length": "2.7"}
        found = client.post(f"/plans/{plan_id}/1/seen", data=typed, follow_redirects=False)
    finally:
        client.cookies.clear()
    assert inches == [("face_width", "21", "in"), ("face_length", "9", "ft")]
    assert metric == [("face_width", "530", "mm"), ("face_length", "2.7", "m")]
    asked = desk_of(client).store.job_request(job_named(found.headers["location"]))["request"]
    assert asked["seen"] == ["1: 530 mm x 2700 mm"]


def test_a_cut_list_of_the_rest_has_its_made_passes_ticked(client: Pages, log_id: str, planned: Planned) -> None:
    desk = desk_of(client)
    asked = WayRequest(roll_deg=0.0, heights="30, 27", made=2)
    job = desk.store.step_job(desk.start_way(log_id, asked).id, job_state.started)
    assert job is not None
    rest = {"id": job.id, "kind": "rest", "made": 2, "value_by_roll": (), "plans": planned.document.plans[:1]}
    own = planned.document.model_copy(update=rest)
    desk.store.finish_plan(job.id, job.attempt, own)

    text = client.get(f"/plans/{job.id}/1/cut-list").text
    plain = client.get(f"/plans/{job.id}/plain/cut-list").text

    ticked = re.findall(r'data-tick="(pass-\d+|roll)" checked', text)
    assert ticked == ["roll", "pass-1", "pass-2"]
    assert "Cuts 1 to 2 are made already." in text
    assert "Measure the face" not in text
    assert re.findall(r'data-tick="[^"]*" checked', plain) == []


@pytest.mark.parametrize("kept", ["as it was", "changed", "removed"])
def test_the_rest_is_planned_on_the_plans_own_mill_and_prices(
    client: Pages, log_id: str, planned: Planned, kept: str
) -> None:
    store = desk_of(client).store
    own = planned.document.mill.model_copy(update={"name": "The plan's mill", "kerf_m": 0.0021})
    prices = planned.document.prices.model_copy(update={"name": "The plan's prices"})
    mill_id, prices_id = store.write_mill(own).id, store.write_price_book(prices).id
    newer = store.write_mill(own.model_copy(update={"name": "A newer mill", "scale_zero_m": 0.1})).id
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"mill": own, "prices": prices}))
    if kept == "changed":
        store.write_mill(own.model_copy(update={"kerf_m": 0.003, "scale_zero_m": 0.05}), mill_id)
        store.write_price_book(prices.model_copy(update={"currency": "CAD"}), prices_id)
    if kept == "removed":
        store.remove_mill(mill_id)
        store.remove_price_book(prices_id)

    found = client.post(f"/plans/{plan_id}/1/seen", data={"made": "1"}, follow_redirects=False)
    job_id = job_named(found.headers["location"])
    asked = store.job_request(job_id)
    rest = planned.document.model_copy(
        update={
            "id": job_id,
            "kind": "rest",
            "made": 1,
            "mill": own,
            "prices": prices,
            "value_by_roll": (),
            "plans": planned.document.plans[:1],
        }
    )
    job = store.step_job(job_id, job_state.started)
    assert job is not None
    store.finish_plan(job_id, job.attempt, rest)
    pages = [html.unescape(client.get(f"/plans/{job_id}{page}").text) for page in ("", "/1/cut-list")]
    store.remove_mill(newer)
    if kept != "removed":
        store.remove_mill(mill_id)
        store.remove_price_book(prices_id)

    assert Mill.model_validate(asked["mill"]) == own
    assert PriceBook.model_validate(asked["prices"]) == prices
    # The first height is that of the plan, as the scale of its own mill shows it.
    cut = planned.document.plans[0].passes[0]
    assert asked["request"]["heights"] == measures_in(Units.IMPERIAL, "USD", own).reading(cut.blade_height_m)
    for page in pages:
        assert ("uses the mill The plan's mill as it was then" in page) is (kept != "as it was")
        assert ("uses the prices The plan's prices as they were then" in page) is (kept != "as it was")


def test_a_way_that_begins_with_a_plan_is_priced_on_its_mill_though_it_is_kept_no_longer(
    client: Pages, log_id: str, planned: Planned
) -> None:
    store = desk_of(client).store
    own = planned.document.mill.model_copy(update={"name": "A mill that is gone", "scale_zero_m": 0.02})
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"mill": own}))
    page = client.get(f"/logs/{log_id}/way?plan={plan_id}&which=1").text
    action = html.unescape(page.partition('<form method="post" action="/logs/')[2].partition('"')[0])
    typed = {"roll_deg": "45", "heights": "24, 20", "mill_id": "", "prices_id": ""}

    refused = client.post(f"/logs/{action}", data={**typed, "heights": "20, 24"})
    good = client.post(f"/logs/{action}", data=typed, follow_redirects=False)
    asked = store.job_request(good.headers["location"][-32:])
    chosen = store.mills()[0]
    other = client.post(f"/logs/{action}", data={**typed, "mill_id": chosen.id}, follow_redirects=False)

    for text in (page, refused.text):
        assert '<option value="" selected>A mill that is gone, as in the plan</option>' in text
        assert html.unescape(text).count(f'"/logs/{log_id}/way?plan={plan_id}&which=1"') == 2  # sent to, and units
    assert Mill.model_validate(asked["mill"]) == own
    assert Mill.model_validate(store.job_request(other.headers["location"][-32:])["mill"]) == chosen.mill
    assert "as in the plan" not in client.get(f"/logs/{log_id}/way").text


@pytest.mark.parametrize(
    ("form", "page"),
    [
        ("/logs/{log}/marks", "/logs/{log}"),
        ("/logs/{log}/marks/{log}/remove", "/logs/{log}"),
        ("/logs/{log}/rename", "/logs/{log}"),
        ("/logs/{log}/about", "/logs/{log}"),
        ("/logs/{log}/remove", "/logs/{log}"),
        ("/logs/{log}/plans", "/logs/{log}"),
        ("/logs/{log}/scans", "/logs/{log}#scans"),
        ("/logs/{log}/scans/{log}", "/logs/{log}#scans"),
        ("/logs/{log}/scans/{log}/remove", "/logs/{log}#scans"),
        ("/logs", "/logs/new"),
        ("/logs/sample", "/"),
        ("/units", "/"),
        ("/sign-out", "/"),
        ("/mills/{log}/remove", "/mills/{log}"),
        ("/prices/{log}/remove", "/prices/{log}"),
        ("/jobs/{log}/cancel", "/jobs/{log}"),
        ("/plans/{log}/remove", "/plans/{log}"),
        ("/plans/{log}/1/seen", "/plans/{log}/1/cut-list"),
    ],
)
def test_the_address_of_a_form_leads_to_its_page(client: Pages, log_id: str, form: str, page: str) -> None:
    found = client.get(form.format(log=log_id), follow_redirects=False)
    assert (found.status_code, found.headers["location"]) == (303, page.format(log=log_id))


def test_no_form_has_an_address_without_a_page() -> None:
    routes = [route for part in PARTS for route in part.router.routes if isinstance(route, APIRoute)]
    forms = {route.path for route in routes if "POST" in route.methods and not route.path.startswith("/check/")}
    assert len(forms) > 15
    assert forms - {route.path for route in routes if "GET" in route.methods} == set()


def test_a_form_is_given_again_as_it_was_typed_and_nothing_is_kept(client: Pages) -> None:
    store = desk_of(client).store
    rows = {"per_board_foot.0.species": "any", "per_board_foot.4.species": "oak", "per_board_foot.4.price": "7.25"}
    before = [book.id for book in store.price_books()]
    prices = client.post("/prices/new", data={**GOOD_PRICES, **rows, "more": "as_typed"})
    marks = {"section.7.at_m": "3 ft", "mark.2.at_m": "4 ft"}
    sheet = client.post("/logs/sheet", data={**GOOD_SHEET, **marks, "more": "as_typed"}, follow_redirects=False)

    assert (prices.status_code, sheet.status_code) == (200, 200)
    assert [book.id for book in store.price_books()] == before
    assert 'name="per_board_foot.4.price" value="7.25"' in prices.text
    assert "per_board_foot.5." not in prices.text
    assert 'name="section.7.at_m" value="3 ft"' in sheet.text
    assert 'name="mark.2.at_m" value="4 ft"' in sheet.text
    assert "section.8." not in sheet.text


def test_an_upload_that_is_wrong_keeps_what_was_typed(client: Pages) -> None:
    typed = {"name": "Here", "species": "plastic", "taped_length": "9 ft"}
    found = client.post("/logs", data=typed, files={"file": ("log.ply", b"ply\n")})
    assert found.status_code == 422
    assert "plastic" in found.text
    assert 'value="Here"' in found.text
    assert 'value="9 ft"' in found.text
    good = client.post("/logs", data={"name": "Here"}, files={"file": ("log.ply", b"ply\n")}, follow_redirects=False)
    assert good.status_code == 303
