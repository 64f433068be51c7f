"""What stays readable without a network, and what is never kept, in a real browser."""

from collections.abc import Iterator

import pytest
import shapes
from playwright.sync_api import Browser, BrowserContext, Page
from small_site import SmallSite, small_site

from service.drawings.solid_buffer import solid_buffer

HEAD = """<!doctype html><html lang="en"><head><title>{title} · Pithline</title>
<script type="module" src="/static/offline.js?abc"></script>{head}</head><body><main><h1>{title}</h1>"""
LOG = """<figure class="solid" data-solid="/logs/a/solid.bin"><canvas hidden></canvas>
<div class="fallback">A drawing</div>
</figure><a href="/plans/p/1">Way 1</a> <a href="/plans/p/1/cut-list">Cut list</a> <a href="/words">Words</a>
<form method="post" action="/logs/a/change"><label>Width <input name="width"></label>
<label><input type="checkbox" name="flip"> Flip</label><button name="kind" value="rot">Change</button></form>"""
KEPT_AS = '<meta name="of-log" content="{log}"><meta name="page-name" content="{name}">'
SOLID = '<script type="module" src="/static/solid.js?abc"></script>'


@pytest.fixture
def site() -> Iterator[SmallSite]:
    with small_site() as site:
        site.served |= {
            "/service_worker.js": site.script("service_worker.js"),
            "/logs/a": HEAD.format(
                title="Orchard Road", head=KEPT_AS.format(log="a Orchard &lt;b&gt;", name="The log") + SOLID
            )
            + LOG,
            "/logs/a/solid.bin": solid_buffer(shapes.cylinder(points=48)),
            "/logs/a/change": HEAD.format(title="Changed", head=""),
            "/plans/p/1": HEAD.format(
                title="Way 1", head=KEPT_AS.format(log="a Orchard &lt;b&gt;", name="Plan 1, $900")
            ),
            "/plans/p/1/cut-list": HEAD.format(
                title="Cut list", head=KEPT_AS.format(log="a Orchard &lt;b&gt;", name="Cut list, plan 1")
            ),
            "/plans/q/1/cut-list": HEAD.format(
                title="Cut list", head=KEPT_AS.format(log="b Lane", name="Cut list, plan 1")
            ),
            "/words": HEAD.format(title="Words", head=""),
            "/sign-in": HEAD.format(title="Sign in", head=""),
            "/sign-out": HEAD.format(title="Signed out", head=""),
            "/api/logs/a": HEAD.format(title="For programs", head=""),
        }
        yield site


@pytest.fixture
def context(browser: Browser, site: SmallSite) -> Iterator[BrowserContext]:
    context = browser.new_context(base_url=site.address)
    context.set_default_timeout(60_000)
    yield context
    context.close()


@pytest.fixture
def opened(context: BrowserContext) -> Page:
    """The log's page, opened once."""
    page = context.new_page()
    page.goto("/logs/a")
    page.locator("figure.is-mounted").wait_for()
    page.locator("html[data-kept]").wait_for(state="attached")
    return page


def kept(page: Page) -> set[str]:
    """Return the paths of all that is kept."""
    found = page.evaluate("""async () => {
        const all = [];
        for (const name of await caches.keys()) all.push(...await (await caches.open(name)).keys());
        return all.map((request) => new URL(request.url).pathname);
    }""")
    return set(found)


def test_a_log_once_opened_is_read_without_a_network(opened, site):
    site.stop()

    opened.reload()

    assert opened.get_by_role("heading").inner_text() == "Orchard Road"
    assert opened.get_by_role("status").inner_text().startswith("Offline: saved ")
    opened.locator("figure.is-mounted").wait_for()
    for path, title in (("/plans/p/1", "Way 1"), ("/plans/p/1/cut-list", "Cut list")):
        opened.goto(path)
        assert opened.get_by_role("heading").inner_text() == title
    opened.goto("/words")  # never opened
    assert opened.get_by_role("heading", level=1).inner_text() == "Offline"
    opened.get_by_role("link", name="Cut list").click()
    assert opened.get_by_role("heading").inner_text() == "Cut list"


def test_what_is_kept_is_listed_by_its_log_and_by_what_it_is(opened, site):
    opened.goto("/plans/q/1/cut-list")
    opened.wait_for_function("async () => (await caches.match('/plans/q/1/cut-list')) !== undefined")
    site.stop()

    opened.goto("/words")

    assert opened.get_by_role("heading", level=2).all_inner_texts() == ["Lane", "Orchard <b>"]
    lists = [each.locator("b").all_inner_texts() for each in opened.get_by_role("list").all()]
    assert lists[0] == ["Cut list, plan 1"]
    assert sorted(lists[1]) == ["Cut list, plan 1", "Plan 1, $900", "The log"]
    assert all(" saved " in f" {line}" for line in opened.locator(".list span").all_inner_texts())
    opened.get_by_role("link", name="Plan 1, $900").click()
    assert opened.get_by_role("heading").inner_text() == "Way 1"


def typed_in(page: Page) -> None:
    page.get_by_label("Width").fill("21 1/2")
    page.get_by_label("Flip").check()


def lose_what_was_typed(page: Page, site: SmallSite) -> None:
    """Type, and send it where the signal ends just then: the service was there when it was asked."""
    typed_in(page)
    page.route("**/healthz", lambda route: route.fulfill(body="ok"))
    site.stop()
    page.get_by_role("button", name="Change").click()
    page.get_by_role("heading", name="The signal was lost").wait_for()


def is_typed(page: Page) -> bool:
    return page.get_by_label("Width").input_value() == "21 1/2" and page.get_by_label("Flip").is_checked()


def test_a_form_that_cannot_be_sent_keeps_what_was_typed_and_says_so(opened, site):
    typed_in(opened)
    site.stop()
    assert opened.evaluate("navigator.onLine")  # which knows nothing of the service

    opened.get_by_role("button", name="Change").click()
    opened.get_by_role("alert").wait_for()

    assert "No signal, so nothing was sent" in opened.get_by_role("alert").inner_text()
    assert is_typed(opened)
    assert ("POST", "/logs/a/change") not in site.asked
    site.start_again()
    opened.get_by_role("button", name="Change").click()
    opened.get_by_role("heading", name="Changed").wait_for()
    assert site.asked.count(("POST", "/logs/a/change")) == 1


def test_a_signal_that_ends_as_a_form_is_sent_loses_nothing(opened, site):
    lose_what_was_typed(opened, site)
    assert "don't know whether this was sent" in opened.get_by_role("main").inner_text()
    opened.get_by_role("link", name="Back to what you typed").click()
    opened.get_by_role("alert").wait_for()

    assert opened.get_by_role("heading").inner_text() == "Orchard Road"
    assert "What you typed is here again" in opened.get_by_role("alert").inner_text()
    assert is_typed(opened)
    opened.reload()  # once is enough
    opened.locator("figure.is-mounted").wait_for()
    assert opened.get_by_role("alert").count() == 0


def test_a_form_that_the_service_had_is_not_said_to_be_unsent(opened, site):
    typed_in(opened)
    site.breaks_off.add("/logs/a/change")

    opened.get_by_role("button", name="Change").click()
    opened.get_by_role("heading", name="The signal was lost").wait_for()
    said = opened.get_by_role("main").inner_text()
    opened.get_by_role("link", name="Back to what you typed").click()
    opened.get_by_role("alert").wait_for()
    said += opened.get_by_role("alert").inner_text()

    assert ("POST", "/logs/a/change") in site.asked
    assert "nothing was sent" not in said
    assert said.count("don't know whether") == 2
    assert is_typed(opened)


def test_a_page_without_the_form_leaves_what_was_typed_for_the_one_that_has_it(opened, site):
    lose_what_was_typed(opened, site)
    opened.locator("a[href='/logs/a?afresh=#typed']").wait_for()
    site.start_again()

    opened.goto("/sign-in#typed")
    opened.get_by_role("heading", name="Sign in").wait_for()
    opened.goto("/words")
    opened.get_by_role("heading", name="Words").wait_for()
    opened.goto("/logs/a")

    opened.get_by_role("alert").wait_for()
    assert is_typed(opened)


def test_what_was_typed_leads_back_from_a_form_that_came_back_to_its_own_page(opened, site):
    # What came back lies at the form's own address, which is never kept; what it is a page of is said beside the units.
    units = '<form class="units"><input type="hidden" name="back" value="/logs/a"></form>'
    site.served["/logs/a/change"] = site.served["/logs/a"] + units
    opened.get_by_role("button", name="Change").click()
    opened.wait_for_url("**/logs/a/change")
    lose_what_was_typed(opened, site)
    opened.locator("a[href='/logs/a?afresh=#typed']").click()
    opened.get_by_role("alert").wait_for()

    assert opened.get_by_role("heading").inner_text() == "Orchard Road"
    assert is_typed(opened)


def test_what_finds_no_place_is_kept_and_named(opened, site):
    lose_what_was_typed(opened, site)
    site.start_again()
    whole = site.served["/logs/a"]
    site.served["/logs/a"] = whole.replace('<input name="width">', "")

    opened.get_by_role("link", name="Back to what you typed").click()
    opened.get_by_role("alert").wait_for()

    said = opened.get_by_role("alert").inner_text()
    assert "Some of what you typed could not be put back" in said
    assert "21 1/2" in said
    site.served["/logs/a"] = whole
    opened.reload()
    opened.get_by_role("alert").wait_for()
    assert is_typed(opened)


def test_what_came_through_is_not_put_back(opened):
    typed_in(opened)
    opened.get_by_role("button", name="Change").click()
    opened.get_by_role("heading", name="Changed").wait_for()
    opened.locator("html[data-kept]").wait_for(state="attached")  # its script ran

    opened.goto("/logs/a#typed")

    assert opened.get_by_label("Width").input_value() == ""


def test_with_a_network_pages_are_new_and_say_nothing(opened, site):
    site.served["/logs/a"] = site.served["/logs/a"].replace("Orchard Road", "Another name")

    opened.reload()

    assert opened.get_by_role("heading").inner_text() == "Another name"
    assert opened.locator(".offline-bar").count() == 0
    site.stop()
    opened.reload()
    assert opened.get_by_role("heading").inner_text() == "Another name"
    site.start_again()
    opened.reload()
    opened.locator("figure.is-mounted").wait_for()
    assert opened.locator(".offline-bar").count() == 0


def test_a_network_that_does_not_answer_is_not_waited_for(opened, site):
    site.slow["/logs/a"] = 8.0

    opened.reload()

    assert opened.locator(".offline-bar").count() == 1
    opened.close()
    site.slow.clear()


def test_forms_signing_in_and_the_api_are_not_kept(opened, site):
    opened.goto("/sign-in")
    opened.goto("/api/logs/a")
    opened.goto("/logs/a")
    opened.get_by_role("button", name="Change").click()
    opened.get_by_role("heading", name="Changed").wait_for()
    opened.goto("/words")

    assert ("POST", "/logs/a/change") in site.asked
    paths = kept(opened)
    assert {"/logs/a", "/words", "/logs/a/solid.bin", "/static/solid.js", "/static/solid_view.js"} <= paths
    assert not paths & {"/sign-in", "/api/logs/a", "/logs/a/change", "/service_worker.js"}


def test_what_a_page_leads_to_is_not_asked_for_each_time(opened, site):
    site.asked.clear()

    opened.reload()
    opened.locator("html[data-kept]").wait_for(state="attached")

    assert ("GET", "/plans/p/1") not in site.asked


def test_a_versioned_file_is_asked_for_once(opened, site):
    site.asked.clear()

    opened.reload()
    opened.locator("figure.is-mounted").wait_for()

    assert ("GET", "/static/solid.js") not in site.asked
    assert ("GET", "/logs/a") in site.asked


def test_a_page_that_went_wrong_is_not_kept_in_place_of_a_whole_one(opened, site):
    site.broken.add("/logs/a")
    opened.reload()
    site.stop()

    opened.reload()

    assert opened.get_by_role("heading").inner_text() == "Orchard Road"


def test_signing_out_forgets_all(opened):
    assert kept(opened)

    opened.evaluate("() => fetch('/sign-out', { method: 'POST' })")

    opened.wait_for_function("async () => (await caches.keys()).length === 0")


def test_no_more_than_so_many_pages_are_kept(opened, site):
    site.served |= {f"/words/{k}": HEAD.format(title=str(k), head="") for k in range(90)}

    opened.evaluate("""async () => {
        for (let k = 0; k < 90; k += 1) await fetch(`/words/${k}`, { headers: { accept: "text/html" } });
    }""")

    count = "async () => (await (await caches.open('pithline-1-pages')).keys()).length"
    assert opened.evaluate(count) == 80
    assert "/words/89" in kept(opened)
    assert "/logs/a" not in kept(opened)
