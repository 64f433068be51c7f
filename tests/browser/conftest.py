"""A real browser on a real service, whose jobs run. Skips where there is no Chromium."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from kept_pages import Pages, pages_of
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, expect, sync_playwright

from service.settings import Settings
from service.typed import files

CHROMIUM = os.environ.get("PITHLINE_CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
_ARGUMENTS = (
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-sandbox",
)
_A_FORM_CAME_BACK = "status of 422"
_LAYS = 40
PHONE, DESK = (360, 740), (1280, 800)
# A loaded machine is no failure: what is waited for comes at last, or never.
expect.set_options(timeout=60_000)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A browser for a module's tests: while it runs, no test in the same process can run an event loop of its own."""
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no Chromium at {CHROMIUM}; install it, or set PITHLINE_CHROMIUM")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(_ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pages]:
    """A service with the sample mill and prices, and one slot for jobs."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(files, "users_folder", lambda: tmp_path_factory.mktemp("own"))
        patch.chdir(tmp_path_factory.mktemp("work"))
        with pages_of(Settings(data_folder=tmp_path_factory.mktemp("data"), free_bytes=0, most_lays=_LAYS)) as client:
            yield client


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def size(request: pytest.FixtureRequest) -> tuple[int, int]:
    wanted: tuple[int, int] = request.param
    return wanted


@pytest.fixture
def context(browser: Browser, service: Pages, size: tuple[int, int]) -> Iterator[BrowserContext]:
    """A browser of one size; whatever it says of errors fails the test."""
    phone = size == PHONE
    context = browser.new_context(
        base_url=str(service.base_url), viewport={"width": size[0], "height": size[1]}, has_touch=phone, is_mobile=phone
    )
    context.set_default_timeout(60_000)
    errors: list[str] = []
    context.on("weberror", lambda error: errors.append(str(error.error)))
    context.on("console", lambda message: errors.append(message.text) if _is_error(message) else None)
    context.on("dialog", lambda dialog: errors.append(f"a dialog: {dialog.message}"))
    yield context
    context.close()
    assert errors == []


def _is_error(message: ConsoleMessage) -> bool:
    # A browser says so itself wherever a test takes the network away.
    is_expected = _A_FORM_CAME_BACK in message.text or "net::ERR_INTERNET_DISCONNECTED" in message.text
    return message.type == "error" and not is_expected
