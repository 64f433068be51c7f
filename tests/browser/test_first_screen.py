"""What one wants to know first stands on the first screen of a phone: which side up, the first cut, what it brings."""

import re

import pytest
from kept_pages import Pages
from playwright.sync_api import BrowserContext, Page, expect
from waiting import sample_planned

PHONE = (360, 740)
LEAST_LETTER = 14.0
SMALL_LETTERS = """[...document.querySelectorAll(".first svg text")].filter((text) => text.checkVisibility())
  .map((text) => {
    const svg = text.ownerSVGElement;
    const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    return [text.textContent, parseFloat(text.getAttribute("font-size")) * scale];
  }).filter(([, size]) => size < %s)"""


@pytest.fixture(scope="module")
def weighed(service: Pages) -> str:
    """Id of a quick plan of the invented log, with doubt weighed."""
    return sample_planned(service, lays=24, doubt="on", buck="no")[1]


def _is_on_first_screen(page: Page, what: str) -> None:
    found = page.locator(what)
    expect(found).to_have_count(1)
    box = found.bounding_box()
    assert box is not None, what
    assert box["y"] >= 0.0, what
    assert box["y"] + box["height"] <= PHONE[1], (page.url, what, box)
    assert box["x"] >= 0.0, what
    assert box["x"] + box["width"] <= PHONE[0], (page.url, what, box)


@pytest.mark.parametrize("size", [PHONE], ids=["phone"], indirect=True)
@pytest.mark.parametrize("which", ["", "/1", "/plain", "/1/cut-list"])
def test_the_picture_the_money_and_the_button_are_on_the_first_screen(
    context: BrowserContext, weighed: str, which: str
) -> None:
    page = context.new_page()
    page.goto(f"/plans/{weighed}{which}")

    if which.endswith("cut-list"):
        # At the mill the first step stands before the picture: it says all of this in words.
        for what in ("[data-step=roll] .asks", "[data-step=roll] [data-first-cut]", "[data-go]"):
            _is_on_first_screen(page, what)
        expect(page.locator("[data-first-cut] b")).to_have_text([re.compile(r"\d\sin$"), re.compile(r"^\$\d")])
    else:
        for what in (".first svg.end-on-bed", ".first figcaption b", ".first .big", ".first svg.net-bar"):
            _is_on_first_screen(page, what)
        _is_on_first_screen(page, "main .button.main")
    expect(page.locator(".first figcaption")).to_have_text(re.compile(r"First cut: \d+.*\sin"))
    expect(page.locator(".first svg.end-on-bed")).to_have_text(re.compile("Turn it|Don't turn it"))
    # One picture of a thing: others show other ways, and are folded.
    seen = page.locator("svg.end-on-bed").evaluate_all("all => all.filter((one) => one.checkVisibility()).length")
    assert seen == 1
    assert page.evaluate(SMALL_LETTERS % LEAST_LETTER) == []


@pytest.mark.parametrize("size", [PHONE], ids=["phone"], indirect=True)
def test_what_nobody_can_act_on_is_folded(context: BrowserContext, weighed: str) -> None:
    page = context.new_page()
    page.goto(f"/plans/{weighed}")
    for words in ("We checked", "versions of your log", "if the log is exactly as measured, plan 1 nets"):
        for found in page.get_by_text(re.compile(words, re.IGNORECASE)).all():
            expect(found).to_be_hidden()
    page.goto(f"/plans/{weighed}/1")
    expect(page.get_by_text("Net if exactly as measured")).to_be_hidden()


@pytest.mark.parametrize("size", [(1440, 900)], ids=["desk"], indirect=True)
def test_the_cut_list_prints_on_two_sheets_with_the_picture_on_the_first(context: BrowserContext, weighed: str) -> None:
    page = context.new_page()
    page.goto(f"/plans/{weighed}/1/cut-list")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    margin = {"top": "0.5in", "bottom": "0.5in", "left": "0.5in", "right": "0.5in"}
    sheets = len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format="Letter", margin=margin)))

    assert sheets == 2
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 960})
    for what in (".first svg.end-on-bed", ".first .big", "#tick-roll"):
        box = page.locator(what).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] < 960
