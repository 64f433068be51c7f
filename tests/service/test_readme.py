"""What README.md says to type does what it says."""

import re
import shlex
from pathlib import Path

import pytest

from service import files
from service.command_line import run

README = (Path(__file__).parents[2] / "README.md").read_text()


def test_every_command_of_the_readme_runs_in_its_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(files, "users_folder", lambda: tmp_path / "own")
    typed = [shlex.split(line) for line in re.findall(r"^    pithline (.+)$", README, re.MULTILINE)]

    for arguments in typed:
        quick = {"plan": ["--lays", "12", "--doubt", "off"], "price": ["--doubt", "off"]}.get(arguments[0], [])
        assert (run([*arguments, *quick]), capsys.readouterr().err) == (0, "")

    assert [arguments[0] for arguments in typed] == ["init", "plan", "init", "plan", "solid", "plan", "price", "price"]


def test_the_output_shown_is_made_of_lines_that_fit_the_page() -> None:
    shown = README.split("```")[1]

    assert "Dairy lane maple" in shown
    assert [line for line in shown.splitlines() if len(line) > 80] == []
