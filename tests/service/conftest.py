"""Lets these tests use `plan_documents` of the optimizer's, and type commands in a folder of their own."""

from collections.abc import Callable
from pathlib import Path

import pytest
from small_log import MILL, PRICES, STRAIGHT

from service.cli.command_line import run
from service.typed import files


@pytest.fixture
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start in an empty folder, with the files of a small log in it, and no files of the user's own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(files, "users_folder", lambda: tmp_path / "own")
    Path("log.toml").write_text(STRAIGHT)
    Path("mill.toml").write_text(MILL)
    Path("prices.toml").write_text(PRICES)


@pytest.fixture
def pithline(own_folder: None, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:  # noqa: ARG001
    def type_in(*arguments: str) -> tuple[int, str, str]:
        code = run(arguments)
        out, err = capsys.readouterr()
        return code, out, err

    return type_in
