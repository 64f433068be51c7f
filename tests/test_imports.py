"""The rooms know each other one way only: service -> optimizer -> scans.log."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("scans", "optimizer", "service")
FILES_AND_CLOCK = {
    "io",
    "os",
    "pathlib",
    "shutil",
    "socket",
    "subprocess",
    "tempfile",
    "time",
    "urllib",
    "http",
    "datetime",
}

BY_PATH = {
    "scans/compiled.py": {"os", "pathlib"},
    "scans/formats/read_e57.py": {"pathlib", "tempfile"},
    "scans/formats/read_usd.py": {"os", "pathlib", "subprocess", "tempfile"},
    "scans/formats/usd_layers.py": {"pathlib"},
    "scans/formats/usd_stage.py": {"pathlib"},
}
"""Readers through a folder of their own, as their libraries take no bytes; and where compiled kernels are kept, which
computes nothing."""


def modules_of(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def imported(source: str) -> set[str]:
    """Every module that a source imports, wherever in it; `from a import b` names both a and a.b."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute here"
            names |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def forbidden(room: str, source: str) -> set[str]:
    """What a module of a room imports though it may not."""
    names = {name for name in imported(source) if name.partition(".")[0] in ROOMS}
    if room == "scans":
        return {name for name in names if not name.startswith("scans")}
    if room == "optimizer":
        return {
            name
            for name in names
            if name.startswith("service") or (name.startswith("scans") and not f"{name}.".startswith("scans.log."))
        } - {"scans"} | ({"scans"} if "import scans\n" in source else set())
    return set()


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_import_one_way_only(room: str) -> None:
    wrong = {
        str(path.relative_to(ROOT)): found for path in modules_of(room) if (found := forbidden(room, path.read_text()))
    }

    assert modules_of(room)
    assert wrong == {}


@pytest.mark.parametrize("room", ["scans", "optimizer"])
def test_computation_touches_no_files_network_or_clock(room: str) -> None:
    wrong = {
        str(path.relative_to(ROOT)): found
        for path in modules_of(room)
        if (found := {name.partition(".")[0] for name in imported(path.read_text())} & FILES_AND_CLOCK)
    }

    # Readers turn bytes into arrays through streams in memory, but for the libraries that open paths only.
    assert {path: rest for path, found in wrong.items() if (rest := found - {"io"} - BY_PATH.get(path, set()))} == {}


@pytest.mark.parametrize(
    ("room", "line", "is_forbidden"),
    [
        ("scans", "from scans.log import Log", False),
        ("scans", "from optimizer.wood import Wood", True),
        ("scans", "import service", True),
        ("optimizer", "from scans.log import Log", False),
        ("optimizer", "from scans import log", False),
        ("optimizer", "from scans.errors import ScanError", True),
        ("optimizer", "from scans import errors", True),
        ("optimizer", "import scans.logbook", True),
        ("optimizer", "def late():\n    import service.tables", True),
        ("service", "from optimizer.plan import Plan", False),
    ],
)
def test_the_walk_sees_what_is_forbidden(room: str, line: str, is_forbidden: bool) -> None:
    assert bool(forbidden(room, line + "\n")) is is_forbidden
