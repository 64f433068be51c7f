"""Forms of the service itself whose signal ends as they are sent: rows that were added come back, too."""

from collections.abc import Iterator

import pytest
from kept_pages import Pages
from playwright.sync_api import Browser, BrowserContext, Page, expect

ADDED = {"section.3.at_m": "8 ft", "section.3.girth_m": "4 ft 10 in", "mark.0.at_m": "3 ft", "limb.0.out_deg": "20"}


@pytest.fixture
def context(browser: Browser, service: Pages) -> Iterator[BrowserContext]:
    """A browser in which a signal may end: it says so itself, but no script may break."""
    context = browser.new_context(base_url=str(service.base_url))
    context.set_default_timeout(60_000)
    errors: list[str] = []
    context.on("weberror", lambda error: errors.append(str(error.error)))
    yield context
    context.close()
    assert errors == []


@pytest.fixture
def page(context: BrowserContext) -> Page:
    """A page of a browser in which the service worker runs."""
    page = context.new_page()
    page.goto("/logs/sheet")
    expect(page.locator("html[data-kept]")).to_have_count(1, timeout=60_000)
    return page


def lose_the_signal_as_it_is_sent(page: Page, button: str) -> None:
    page.route("**/healthz", lambda route: route.fulfill(body="ok"))
    page.context.set_offline(True)
    page.get_by_role("button", name=button).click()
    expect(page.get_by_role("heading", name="The signal was lost")).to_be_visible()
    page.context.set_offline(False)


def test_rows_that_were_added_to_a_sheet_come_back(page: Page, service: Pages) -> None:
    for button, field in (
        ("Add a place", "section.3.at_m"),
        ("Add a limb", "limb.0.out_deg"),
        ("Add a mark", "mark.0.at_m"),
    ):
        page.get_by_role("button", name=button, exact=True).click()
        page.locator(f'[name="{field}"]').wait_for()  # what is typed into the page before is lost with it
    for name, value in ADDED.items():
        page.locator(f'[name="{name}"]').fill(value)
    logs = service.get("/api/logs").json()

    lose_the_signal_as_it_is_sent(page, "Save the log")
    page.get_by_role("link", name="Back to what you typed").click()

    expect(page.locator("[data-no-signal]")).to_contain_text("What you typed is here again")
    for name, value in ADDED.items():
        expect(page.locator(f'[name="{name}"]')).to_have_value(value)
    assert page.evaluate("sessionStorage.getItem('typed')") is None
    assert service.get("/api/logs").json() == logs


def test_rows_that_cannot_come_back_without_a_signal_are_kept_until_there_is_one(page: Page) -> None:
    page.goto("/prices/new")
    page.get_by_role("button", name="Add a price").click()
    page.locator('[name="per_board_foot.1.price"]').fill("7.25")
    lose_the_signal_as_it_is_sent(page, "Save these prices")
    page.context.set_offline(True)

    page.get_by_role("link", name="Back to what you typed").click()
    expect(page.locator("[data-no-signal]")).to_contain_text("Price: 7.25")
    page.context.set_offline(False)
    page.reload()

    expect(page.locator("[data-no-signal]")).to_contain_text("What you typed is here again")
    expect(page.locator('[name="per_board_foot.1.price"]')).to_have_value("7.25")


def test_a_mark_that_was_refused_and_then_lost_leads_back_to_its_log(page: Page, service: Pages) -> None:
    page.goto("/logs/new")
    page.get_by_role("button", name="Take the invented log").click()
    page.get_by_role("heading", name="How to saw it").wait_for(timeout=120_000)
    log = page.url.rsplit("/", 1)[1]
    page.locator('#mark-form [name="at_m"]').fill("3 ft")
    page.get_by_role("button", name="Add the mark").click()
    expect(page).to_have_url(f"{service.base_url}/logs/{log}/marks#mark-form")

    lose_the_signal_as_it_is_sent(page, "Add the mark")
    page.goto(f"/logs/{log}/marks?afresh=#typed")  # where the browser says it came from

    expect(page.locator("[data-no-signal]")).to_contain_text("What you typed is here again")
    expect(page.locator('#mark-form [name="at_m"]')).to_have_value("3 ft")
