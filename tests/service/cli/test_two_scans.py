"""Two scans of one log on the command line. The logs and walks are invented."""

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
import trimesh

from scans.formats.scan import Scan
from scans.invented.simulator import random_settings, simulate_walks
from service.cli import commands
from service.typed.log_reading import read_log

Ran = tuple[int, str, str]
FIRST, SECOND = "first.ply", "second.ply"


def written(scan: Scan, name: str) -> None:
    Path(name).write_bytes(trimesh.PointCloud(scan.points).export(file_type="ply"))


@pytest.fixture
def two_scans(pithline: Callable[..., Ran]) -> Callable[..., Ran]:
    """Write two scans of a log into the folder."""
    *walks, _ = simulate_walks(300, random_settings(300, clutter=False, points=15_000))
    for walk, name in zip(walks, (FIRST, SECOND), strict=True):
        written(Scan(walk.points_m), name)
    return pithline


def test_two_scans_become_one_solid(two_scans: Callable[..., Ran]) -> None:
    code, out, err = two_scans("solid", FIRST, SECOND, "--unit", "m", "--up", "z", "--out", "log.ply")

    assert (code, err) == (0, "")
    assert out.startswith("wrote log.ply: First, ")
    assert trimesh.load(Path("log.ply")).is_watertight

    code, out, err = two_scans(
        "solid", FIRST, SECOND, "--unit", "m", "--up", "z", "--out", "log.ply", "--rolled", "200"
    )

    assert (code, out) == (2, "")
    assert "--rolled: scan 2 does not fit those before it at 160 degrees counterclockwise, but best at 8" in err
    assert err.count("\n") == 1


def test_the_plan_names_every_file_that_it_was_made_of(
    two_scans: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    read = []
    monkeypatch.setattr(commands, "read_log", lambda *given, **more: read.append(read_log(*given, **more)) or read[0])
    two_scans("solid", FIRST, SECOND, "--unit", "m", "--up", "z", "--out", "log.ply")

    hashes = "".join(hashlib.sha256(Path(name).read_bytes()).hexdigest() for name in (FIRST, SECOND))
    assert read[0].source.sha256 == hashlib.sha256(hashes.encode()).hexdigest()
    assert read[0].source.kind == "scan"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("log.toml", "--rolled", "150"), "--rolled must be said once at most for each scan after the first, got 1"),
        ((FIRST, SECOND, "--rolled", "90", "--rolled", "90"), "got 2 for 1"),
        ((FIRST, SECOND, "--rolled", "361"), "--rolled must lie in -360 to 360 degrees, got 361"),
        ((FIRST, SECOND, "--rolled", "nan"), "--rolled must lie in -360 to 360 degrees, got nan"),
        ((FIRST, SECOND, "--rolled", "half"), "half"),
        ((FIRST, "log.toml"), "log.toml is a log sheet"),
        (("log.toml", FIRST), "log.toml is a log sheet"),
        ((FIRST, FIRST), "first.ply holds the same scan as a file before it"),
        ((FIRST, "none.ply"), "none.ply does not exist"),
        ((FIRST, SECOND), "second.ply: "),
    ],
)
@pytest.mark.parametrize(
    "command", [("plan",), ("solid", "--out", "log.ply"), ("price", "--roll", "0", "--heights", "9")]
)
def test_files_that_do_not_go_together_are_one_line_and_exit_code_2(
    pithline: Callable[..., Ran], command: tuple[str, ...], arguments: tuple[str, ...], said: str
) -> None:
    tube = trimesh.creation.cylinder(0.3, 3.0)
    Path(FIRST).write_bytes(tube.export(file_type="ply"))
    Path(SECOND).write_text("ply\nno more than that\n")

    code, out, err = pithline(*command, *arguments)

    assert (code, out) == (2, "")
    assert said in err
    if "half" not in arguments:
        assert err.count("\n") == 1


def test_the_second_invented_scan_is_written_beside_the_first(
    pithline: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(commands, "invented_scan", lambda name: f"invented {name}".encode())

    assert pithline("init", "one", "--scan")[0] == 0
    assert pithline("init", "both", "--second-scan")[0] == 0

    assert [path.name for path in sorted(Path("one").glob("*.ply"))] == ["invented_scan.ply"]
    assert Path("both/invented_scan.ply").read_text() == "invented invented_scan.ply"
    assert Path("both/invented_second_scan.ply").read_text() == "invented invented_second_scan.ply"
