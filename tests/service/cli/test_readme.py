"""What README.md and docs/using.md say to type does what they say."""

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from served import serving
from small_log import MILL, PRICES, STRAIGHT

from service.cli.command_line import run
from service.settings import Settings
from service.typed import files

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text()
USING = (ROOT / "docs" / "using.md").read_text()


@pytest.mark.parametrize(
    ("text", "commands"),
    [
        (README, ["init", "plan", "init", "plan"]),
        (
            USING,
            [
                "init",
                "bid",
                "plan",
                "init",
                "plan",
                "init",
                "plan",
                "plan",
                "solid",
                "plan",
                "price",
                "price",
                "backup",
                "restore",
            ],
        ),
    ],
)
def test_every_command_runs_in_its_order(
    text: str,
    commands: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(files, "users_folder", lambda: tmp_path / "own")
    typed = [shlex.split(line) for line in re.findall(r"^    pithline (.+)$", text, re.MULTILINE)]

    assert [arguments[0] for arguments in typed] == commands
    for arguments in typed:
        if arguments[0] in {"backup", "restore"}:
            continue  # of a service's data: tests/service/store holds them
        quick = {"plan": ["--lays", "60", "--doubt", "off"], "price": ["--doubt", "off"]}.get(arguments[0], [])
        assert (run([*arguments, *quick]), capsys.readouterr().err) == (0, "")


def test_the_readme_is_short_and_its_links_lead_somewhere() -> None:
    assert len(README.splitlines()) <= 120
    for text, folder in ((README, ROOT), (USING, ROOT / "docs")):
        linked = [link for link in re.findall(r"\]\(([^)#]+)", text) if "://" not in link]
        assert linked
        assert [link for link in linked if not (folder / link).is_file()] == []


def test_what_developers_are_sent_to_is_there() -> None:
    named = re.findall(r"`((?:optimizer|scans|service|tests|scripts)/[\w/.]+)`", (ROOT / "DEVELOPERS.md").read_text())
    assert len(named) > 20
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_the_output_shown_is_made_of_lines_that_fit_the_page() -> None:
    shown = README.split("```")[1]

    assert "Dairy lane maple" in shown
    assert [line for line in shown.splitlines() if len(line) > 80] == []


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[httpx.Client]:
    """A service with a mill and prices of its own, whose jobs run."""
    own = tmp_path / "own"
    own.mkdir()
    (own / files.MILL_FILE).write_text(MILL)
    (own / files.PRICES_FILE).write_text(PRICES)
    monkeypatch.setattr(files, "users_folder", lambda: own)
    monkeypatch.chdir(own)
    with serving(Settings(data_folder=tmp_path / "data", free_bytes=0)) as client:
        yield client


def test_the_script_prints_the_cut_list_of_what_it_uploads(tmp_path: Path, served: httpx.Client) -> None:
    (script,) = re.findall(r"^```python\n(.+?)^```", USING, re.MULTILINE | re.DOTALL)
    assert len(script.splitlines()) <= 20
    assert "http://127.0.0.1:8100/" in script
    (tmp_path / "cut_list.py").write_text(
        script.replace("http://127.0.0.1:8100/", str(served.base_url).rstrip("/") + "/")
    )
    (tmp_path / "log.toml").write_text(STRAIGHT)

    def printed() -> str:
        typed = [sys.executable, "-I", "cut_list.py", "log.toml", "black walnut"]
        ran = subprocess.run(typed, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
        assert (ran.returncode, ran.stderr) == (0, "")
        return ran.stdout

    first = printed()
    (line,) = served.get("/api/plans").json()
    document = served.get(f"/api/plans/{line['id']}").json()
    heights = [cut["blade_height_m"] - document["mill"]["scale_zero_m"] for cut in document["plans"][0]["passes"]]

    assert document["log"]["species"] == "walnut, black"
    assert re.findall(r"^pass (\d+): blade at ([\d.]+) in$", first, re.MULTILINE) == [
        (str(order), f"{height / 0.0254:.2f}") for order, height in enumerate(heights, start=1)
    ]
    assert printed() == first  # a log that is here already is planned again
