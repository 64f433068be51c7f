"""Two phones at one cut list, in a real browser: no tick is lost, with a signal or without."""

import re
from collections.abc import Iterator

import pytest
from kept_pages import Pages
from playwright.sync_api import Browser, BrowserContext, Page, expect
from waiting import sample_planned, until

SEEN_MS = 120_000


@pytest.fixture(scope="module")
def cut_list(service: Pages) -> str:
    """Where the cut list of a quick plan of the invented log is."""
    return f"/plans/{sample_planned(service, lays=8, doubt='off')[1]}/1/cut-list"


@pytest.fixture
def phones(browser: Browser, service: Pages) -> Iterator[tuple[BrowserContext, BrowserContext]]:
    """Two browsers that keep nothing in common."""
    both = [browser.new_context(base_url=str(service.base_url)) for _ in range(2)]
    for each in both:
        each.set_default_timeout(60_000)
    yield both[0], both[1]
    for each in both:
        each.close()


def box(page: Page, step: str):
    return page.locator(f'[data-tick="{step}"]')


def opened(context: BrowserContext, address: str) -> Page:
    """A page whose script ran."""
    page = context.new_page()
    page.goto(address)
    expect(page.locator("[data-print]")).to_be_visible()
    return page


def clear(service: Pages, address: str) -> None:
    ticks = f"/api{address.removesuffix('/1/cut-list')}/ticks"
    for tick in service.get(ticks).json():
        service.delete(f"{ticks}/{tick['way']}/{tick['step']}")


@pytest.mark.parametrize("is_one_browser", [True, False], ids=["two tabs", "two phones"])
def test_ticks_made_on_two_pages_are_all_kept_and_seen_on_both(phones, service, cut_list, is_one_browser):
    clear(service, cut_list)
    one = opened(phones[0], cut_list)
    other = opened(phones[0] if is_one_browser else phones[1], cut_list)

    box(one, "pass-1").check()
    box(other, "pass-2").check()
    box(one, "roll").check()

    for page in (one, other):
        page.bring_to_front()
        for step in ("pass-1", "pass-2", "roll"):
            expect(box(page, step)).to_be_checked(timeout=SEEN_MS)
    other.reload()
    for step in ("pass-1", "pass-2", "roll"):
        expect(box(other, step)).to_be_checked()
    box(other, "pass-1").uncheck()
    one.bring_to_front()
    expect(box(one, "pass-1")).not_to_be_checked(timeout=SEEN_MS)


def test_ticks_made_without_a_signal_are_sent_when_it_is_back(phones, service, cut_list):
    clear(service, cut_list)
    ann, ben = phones
    one, other = opened(ann, cut_list), opened(ben, cut_list)
    box(one, "sweep").check()
    expect(box(other, "sweep")).to_be_checked(timeout=SEEN_MS)
    expect(one.locator("html[data-kept]")).to_have_count(1)

    ann.set_offline(True)
    box(one, "pass-1").check()
    box(one, "sweep").uncheck()
    expect(one.locator(".unsent")).to_have_text(
        "2 check marks are not sent yet. This phone keeps them until there is a signal."
    )
    # Meanwhile the other takes it back and sweeps again: the untick without a signal was not meant for that.
    box(other, "sweep").uncheck()
    box(other, "sweep").check()
    box(other, "pass-2").check()
    until(lambda: service.get(f"/api{cut_list[:38]}/ticks").json() and swept_again(service, cut_list))
    one.reload()  # from what was kept
    expect(box(one, "pass-1")).to_be_checked()
    expect(box(one, "sweep")).not_to_be_checked()

    ann.set_offline(False)

    for page in (one, other):
        for step in ("pass-1", "pass-2", "sweep"):
            expect(box(page, step)).to_be_checked(timeout=SEEN_MS)
    expect(one.locator(".unsent")).to_be_hidden()
    assert one.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('tick '))") == []


def swept_again(service: Pages, cut_list: str) -> bool:
    ticks = service.get(f"/api{cut_list.removesuffix('/1/cut-list')}/ticks").json()
    return any(tick["step"] == "sweep" and tick["is_ticked"] and tick["changes"] % 2 for tick in ticks)


def test_a_name_stands_beside_a_tick_on_the_other_phone(phones, service, cut_list):
    clear(service, cut_list)
    one, other = opened(phones[0], cut_list), opened(phones[1], cut_list)
    one.get_by_label("Your name").fill("Ann")
    one.get_by_role("button", name="Save the name").click()
    expect(one.get_by_label("Your name")).to_have_value("Ann")
    expect(one.locator("[data-who=Ann]")).to_have_count(1)

    box(one, "pass-1").check()

    expect(other.locator("label", has=box(other, "pass-1"))).to_contain_text("Ann, ", timeout=SEEN_MS)


def test_ticks_without_scripts(browser, service, cut_list):
    clear(service, cut_list)
    context = browser.new_context(base_url=str(service.base_url), java_script_enabled=False)
    page = context.new_page()
    page.goto(cut_list)

    box(page, "pass-2").check()
    page.locator("#tick-pass-2").get_by_role("button", name="Save this check mark").click()

    expect(page).to_have_url(re.compile("#tick-pass-2$"))
    expect(box(page, "pass-2")).to_be_checked()
    expect(box(page, "pass-1")).not_to_be_checked()
    context.close()
