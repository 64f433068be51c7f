"""The rooms know each other one way only: service -> optimizer -> scans.log, messages, units; rooms inside, too.

`python tests/test_imports.py` draws their floors for DEVELOPERS.md: each room stands on floors below it alone.
"""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("scans", "optimizer", "service")
MAY_BE_KNOWN = ("scans.log.", "scans.messages.", "scans.units.")
"""What optimizer may import of scans."""
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


OUT_OF_THE_PICTURE = {"service.migrations"}
"""Run by the database alone, by their place."""


def inner_room(name: str) -> str:
    """The room inside scans, optimizer or service that a module is in; a module on top of one is a room of its own."""
    return ".".join(name.split(".")[:2])


def arrows(room: str) -> dict[str, set[str]]:
    """For each room inside a room, those inside it that it imports."""
    modules = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for path in modules_of(room)
    }
    modules = {
        name: path for name, path in modules.items() if name != room and inner_room(name) not in OUT_OF_THE_PICTURE
    }
    found: dict[str, set[str]] = {inner_room(name): set() for name in modules}
    for name, path in modules.items():
        inner = inner_room(name)
        targets = {inner_room(other) for other in imported(path.read_text()) if other in modules and other != room}
        found[inner] |= targets - {inner}
    return found


def floors(room: str) -> list[list[str]]:
    """The rooms inside a room, floor by floor, the lowest first. Raises CycleError."""
    sorter = TopologicalSorter(arrows(room))
    sorter.prepare()
    found: list[list[str]] = []
    while sorter.is_active():
        ready = sorted(sorter.get_ready())
        found.append([name.partition(".")[2] for name in ready])
        sorter.done(*ready)
    return found


def picture() -> str:
    """The floors of all rooms as text, the lowest at the bottom."""
    lines = []
    for room in reversed(ROOMS):
        lines.append(room)
        lines += [f"    {'  '.join(floor)}" for floor in reversed(floors(room))]
    return "\n".join(lines)


def forbidden(room: str, source: str) -> set[str]:
    """What a module of a room imports though it may not."""
    names = {name for name in imported(source) if name.partition(".")[0] in ROOMS}
    if room == "scans":
        return {name for name in names if not name.startswith("scans")}
    if room == "optimizer":
        return {
            name
            for name in names
            if name.startswith("service")
            or (
                name.startswith("scans")
                and not f"{name}.".startswith(("scans.log.", "scans.messages.", "scans.units."))
            )
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
        ("optimizer", "from scans.units import INCH_M", False),
        ("optimizer", "from scans import errors", True),
        ("optimizer", "import scans.logbook", True),
        ("optimizer", "def late():\n    import service.tables", True),
        ("service", "from optimizer.plan import Plan", False),
    ],
)
def test_the_walk_sees_what_is_forbidden(room: str, line: str, is_forbidden: bool) -> None:
    assert bool(forbidden(room, line + "\n")) is is_forbidden


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_inside_a_room_import_one_way_only(room: str) -> None:
    assert len(floors(room)) > 1  # raises CycleError, which names the circle


CONVENTIONAL = {("numpy", "np"), ("sqlalchemy", "sa")}
"""Short names that everybody who knows the library knows."""


def renamed(source: str) -> set[str]:
    """What a source imports under another name than its own."""
    return {
        alias.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
        if alias.asname is not None and (alias.name, alias.asname) not in CONVENTIONAL
    }


@pytest.mark.parametrize("room", ROOMS)
def test_what_is_imported_keeps_its_name(room: str) -> None:
    wrong = {str(path.relative_to(ROOT)): found for path in modules_of(room) if (found := renamed(path.read_text()))}

    assert wrong == {}


def test_a_new_name_is_seen() -> None:
    assert renamed("from service import desk as at\nimport numpy as np\nimport os as np\n") == {"desk", "os"}


def test_a_circle_of_rooms_is_seen() -> None:
    with pytest.raises(CycleError):
        TopologicalSorter({"a": {"b"}, "b": {"a"}}).prepare()


def test_the_picture_for_developers_is_as_the_code_is() -> None:
    drawn = "\n".join(line.strip() for line in picture().splitlines())
    told = "\n".join(line.strip() for line in (ROOT / "DEVELOPERS.md").read_text().splitlines())

    assert drawn in told, "draw it anew: python tests/test_imports.py"


if __name__ == "__main__":
    print(picture())  # noqa: T201
