"""At the mill: one step at a time, with gloves, in the sun, with a signal and without, on two phones."""

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from kept_pages import Pages
from playwright.sync_api import Browser, BrowserContext, Page, expect
from waiting import sample_planned

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa"]}}
SEEN_MS = 120_000
TAP_MS = 750
MM_PX = 96.0 / 25.4
MOST_BYTES = 250_000
CAPITALS = """[...document.querySelectorAll("[data-tall]")].filter((one) => one.getClientRects().length).map((one) => {
  const style = getComputedStyle(one);
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return pen.measureText(one.textContent).actualBoundingBoxAscent;
})"""
"""How high the large figures are drawn. [px]"""
LOW = """[...document.querySelectorAll(".mill button, .mill a, .tap")].filter((one) => one.getClientRects().length
  && one.getBoundingClientRect().height < 48).map((one) => one.textContent)"""
SMALL = """[...document.querySelectorAll(".mill *")].filter((one) => one.getClientRects().length
  && one.textContent.trim() && !one.closest(".hide") && parseFloat(getComputedStyle(one).fontSize) < 16)
  .map((one) => one.textContent)"""


@pytest.fixture(scope="module")
def cut_list(service: Pages) -> str:
    """Where the cut list of a quick plan of the invented log is."""
    return f"/plans/{sample_planned(service, lays=8, doubt='off')[1]}/1/cut-list"


@pytest.fixture(autouse=True)
def clear(service: Pages, cut_list: str) -> None:
    ticks = f"/api{cut_list.removesuffix('/1/cut-list')}/ticks"
    for tick in service.get(ticks).json():
        service.delete(f"{ticks}/{tick['way']}/{tick['step']}")


@pytest.fixture(params=[360, 1440], ids=["phone", "desk"])
def width(request: pytest.FixtureRequest) -> int:
    wanted: int = request.param
    return wanted


@pytest.fixture
def phones(browser: Browser, service: Pages, width: int) -> Iterator[tuple[BrowserContext, BrowserContext]]:
    """Two browsers that keep nothing in common, of one size."""
    size = {"width": width, "height": 740 if width < 500 else 900}
    scheme = "light" if width < 500 else "dark"
    both = [
        browser.new_context(base_url=str(service.base_url), viewport=size, color_scheme=scheme, has_touch=width < 500)
        for _ in range(2)
    ]
    for each in both:
        each.set_default_timeout(60_000)
    yield both[0], both[1]
    for each in both:
        each.close()


def opened(context: BrowserContext, address: str) -> Page:
    page = context.new_page()
    page.goto(address)
    expect(page.locator("[data-mill]")).to_be_visible()
    return page


def step(page: Page) -> str:
    return page.locator("[data-mill] [data-step]:visible").get_attribute("data-step") or ""


def done(page: Page) -> None:
    page.wait_for_timeout(TAP_MS)
    page.locator("[data-go]").click()


def go_to(page: Page, wanted: str) -> list[str]:
    """Tap Done until a step is there; return the steps that were passed."""
    passed = []
    while step(page) != wanted:
        assert len(passed) < 40
        passed.append(step(page))
        done(page)
    return passed


def test_one_step_at_a_time_large_and_clean(phones, cut_list):
    page = opened(phones[0], cut_list)
    assert step(page) == "roll"
    expect(page.get_by_text(re.compile("goes on top|as it lies")).first).to_be_in_viewport()
    passed = go_to(page, "pass-2")
    assert passed[-3:] in (["sweep", "pass-1", "face"], ["shim-0", "sweep", "pass-1"])
    expect(page.locator("[data-go]")).to_have_text("No metal")
    for shown in (".height", ".off", "[data-go]"):
        expect(page.locator(f".mill article:visible {shown}, .thumb {shown}").first).to_be_in_viewport(ratio=1)
    capitals = page.evaluate(CAPITALS)
    assert len(capitals) >= 2
    assert min(capitals) >= 25.0 * MM_PX
    assert page.evaluate(LOW) == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    violations = Axe().run(page, options=RULES).response["violations"]
    assert [(each["id"], each["nodes"][0]["html"][:100]) for each in violations] == []
    assert len(page.request.get(cut_list).body()) < MOST_BYTES


def test_done_undo_and_a_sweep_before_each_cut(phones, cut_list):
    page = opened(phones[0], cut_list)
    go_to(page, "pass-2")
    done(page)
    assert step(page) == "pass-2"  # swept, and not yet sawn
    expect(page.locator("[data-go]")).to_have_text("Done: cut 2")
    page.locator("[data-go]").dblclick()  # a glove that taps twice; the second is none
    page.wait_for_timeout(TAP_MS)
    if step(page) == "pass-2":
        done(page)
    expect(page.locator('[data-tick="pass-2"]')).to_be_checked()
    assert step(page) in {"pass-3", "face"}
    expect(page.locator('[data-tick="sweep-3"]')).not_to_be_checked()

    page.wait_for_timeout(TAP_MS)
    page.get_by_role("button", name="Undo").click()

    expect(page.locator('[data-tick="pass-2"]')).not_to_be_checked()
    assert step(page) == "pass-2"


def test_without_a_signal_it_goes_on_and_the_other_phone_sees_it_later(phones, cut_list):
    one, other = opened(phones[0], cut_list), opened(phones[1], cut_list)
    expect(one.locator("html[data-kept]")).to_have_count(1, timeout=SEEN_MS)
    phones[0].set_offline(True)
    go_to(one, "pass-2")
    expect(one.locator(".unsent")).to_contain_text("not sent yet")
    one.reload()
    expect(one.locator("[data-mill]")).to_be_visible()
    assert step(one) == "pass-2"
    assert step(other) == "roll"

    phones[0].set_offline(False)

    other.bring_to_front()
    expect(other.locator('[data-step="pass-2"]')).to_be_visible(timeout=SEEN_MS)


def test_metal_that_is_found_is_marked_and_the_rest_opens_at_the_mill(phones, service, cut_list):
    page = opened(phones[0], cut_list)
    go_to(page, "pass-2")
    page.get_by_role("link", name="Didn't come out as planned?").click()
    expect(page.get_by_label("Sawn so far")).to_have_value("1")
    page.get_by_label("Metal", exact=True).check()
    page.get_by_label("From the butt end").fill("900")
    page.get_by_role("button", name="Plan the rest again").click()
    expect(page.get_by_role("alert")).to_contain_text("measure it again")
    expect(page.get_by_label("Metal", exact=True)).to_be_checked()

    page.get_by_label("From the butt end").fill("2")
    page.get_by_role("button", name="Plan the rest again").click()

    expect(page).not_to_have_url(re.compile(cut_list), timeout=SEEN_MS)
    expect(page).to_have_url(re.compile("/plans/[0-9a-f]{32}/1/cut-list$"), timeout=SEEN_MS)
    expect(page.locator('[data-tick="pass-1"]')).to_be_checked()
    # Metal near a cut is a stop, which comes before the cuts that are left.
    assert step(page) == "stop"
    go_to(page, "pass-2")
    expect(page.locator("[data-go]")).to_have_text("No metal")
    document = service.get(f"/api/plans/{page.url.split('/')[4]}").json()
    assert [mark["kind"] for mark in document["log"]["marks"]][-1] == "metal"


def test_without_scripts_the_list_stands_alone(browser, service, cut_list):
    context = browser.new_context(base_url=str(service.base_url), java_script_enabled=False)
    page = context.new_page()
    page.goto(cut_list)
    expect(page.locator("[data-mill]")).to_be_hidden()
    expect(page.locator('[data-tick="pass-1"]')).to_be_visible()
    context.close()


@pytest.mark.parametrize("width", [360], indirect=True)
def test_the_screen_is_kept_lit_where_the_browser_can(phones, cut_list):
    page = phones[0].new_page()
    page.add_init_script("""Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
      globalThis.lit = kind; throw new Error("a low battery"); } } })""")
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(cut_list)
    page.wait_for_function("globalThis.lit === 'screen'")
    assert errors == []
