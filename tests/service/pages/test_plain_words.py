"""What users read on forms, in help, samples and settings is US English, without the words of documents and code."""

import html
import re

import pytest
from kept_pages import Pages

from service.cli.command_line import app, run
from service.pages.words import WORDS
from service.typed.files import SAMPLES
from service.web.serve import settings_text

_FOREIGN = r"metres?\b|colour|licence|judgement|anticlockwise|per cent|\d %|round it\b"
_OF_CODE = (
    r"lays?\b|forks?\b|forked\b|stem\b|mass\b|in the mean\b|hearts level\b|plain way\b|anew\b|passes\b|mend(ed|ing)?"
)
NOT_SAID = re.compile(rf"\b(?:{_FOREIGN}|{_OF_CODE})|\bbow\b", re.IGNORECASE)
COMMANDS = tuple(command.callback.__name__ for command in app.registered_commands if command.callback is not None)
PAGES = (
    "/", "/logs/new", "/logs/sheet", "/words", "/mills", "/mills/new", "/prices", "/prices/new", "/sign-in", "/nowhere",
    "/logs/{log}", "/logs/{log}/way", "/logs/{log}/way?plan={plan}&which=1", "/plans/{plan}", "/plans/{plan}/1",
    "/plans/{plan}/plain", "/plans/{plan}/1/cut-list", "/plans/{plan}/compare",
)  # fmt: skip


def wrongly_said(text: str) -> list[str]:
    return [text[max(0, found.start() - 30) : found.end() + 20] for found in NOT_SAID.finditer(text)]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_in_plain_words(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([command, "--help"]) == 0
    said = re.sub(r"--[a-z-]+", "", " ".join(capsys.readouterr().out.split()))
    assert len(said) > 60
    assert wrongly_said(said) == []


@pytest.mark.parametrize("name", ["log.toml", "log_straight.toml", "mill.toml", "prices.toml"])
def test_samples_explain_themselves_in_plain_words(name: str) -> None:
    lines = (SAMPLES / name).read_text().splitlines()
    comments = " ".join(line.partition("#")[2] for line in lines if not line.startswith("# [["))
    assert len(comments) > 200
    assert wrongly_said(comments) == []
    assert [line for line in lines if len(line) > 120] == []


def test_settings_are_in_plain_words() -> None:
    assert wrongly_said(" ".join(settings_text().split())) == []


@pytest.mark.parametrize("address", PAGES)
def test_pages_are_in_plain_words(client: Pages, log_id: str, plan_id: str, address: str) -> None:
    text = client.get(address.format(log=log_id, plan=plan_id), headers={"accept": "text/html"}).text
    body = re.sub(r"<(svg|script|style|datalist)\b.*?</\1>", " ", text, flags=re.DOTALL)
    said = html.unescape(re.sub(r"<[^>]*>", " ", body)).replace("\u00a0", " ")
    assert wrongly_said(" ".join(said.split())) == []


def test_meanings_are_in_plain_words() -> None:
    assert [said for word in WORDS.values() for said in wrongly_said(f"{word.term}: {word.meaning}")] == []
