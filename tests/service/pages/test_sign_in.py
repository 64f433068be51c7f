"""Signing in by the page, where the service has a passphrase."""

from collections.abc import Iterator

import pytest
from kept_pages import Pages, pages_of

from service.settings import Settings
from service.store.passphrase import hashed

WORDS = "four words of ours"


@pytest.fixture
def locked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pages]:
    settings = Settings(
        data_folder=tmp_path_factory.mktemp("data"), slots=0, free_bytes=0, passphrase_hash=hashed(WORDS)
    )
    with pages_of(settings) as client:
        client.headers["accept"] = "text/html"
        yield client


def test_one_signs_in_and_goes_on_to_what_was_asked_for(locked: Pages) -> None:
    asked = locked.get("/mills")
    assert asked.url.path == "/sign-in"
    assert 'name="next" value="/mills"' in asked.text
    wrong = locked.post("/sign-in", data={"passphrase": "no", "next": "/mills"})
    assert wrong.status_code == 401
    assert "not right" in wrong.text
    assert 'name="next" value="/mills"' in wrong.text
    right = locked.post("/sign-in", data={"passphrase": WORDS, "next": "/mills"})
    assert right.url.path == "/mills"
    assert "data-sign-out" in right.text
    assert locked.post("/sign-out").url.path == "/sign-in"
    assert locked.get("/mills").url.path == "/sign-in"


def test_signing_in_leads_to_no_other_site(locked: Pages) -> None:
    right = locked.post("/sign-in", data={"passphrase": WORDS, "next": "https://example.org/"}, follow_redirects=False)
    assert right.headers["location"] == "/"


def test_files_of_the_sign_in_page_load_before_one_is_in(locked: Pages) -> None:
    page = locked.get("/sign-in").text
    address = page.split('rel="stylesheet" href="')[1].split('"')[0]
    assert locked.get(address).status_code == 200
