"""A minute of the soak: clients do everything at once while processes are killed; nothing is lost, nothing twice."""

import re
import subprocess
import sys
from pathlib import Path

SOAK = Path(__file__).parents[1] / "benchmarks" / "soak.py"


def test_a_minute_of_everything_at_once_under_kills_loses_nothing():
    soaked = subprocess.run(
        [sys.executable, str(SOAK), "--minutes", "1", "--kill-every", "10", "--seed", "1"],
        capture_output=True,
        text=True,
        check=False,
    )
    said = soaked.stdout + soaked.stderr

    assert soaked.returncode == 0, said
    assert "nothing was lost, doubled or left over" in said
    # It is no soak where nothing was killed or asked for.
    assert sum(_counts("kills", soaked.stdout).values()) >= 1, said
    assert {"200", "201", "202"} <= _counts("answers", soaked.stdout).keys(), said


def _counts(of: str, said: str) -> dict[str, int]:
    """Return what the soak counted of kills or answers, by its name."""
    (line,) = re.findall(rf"^{of}: (.*)$", said, re.MULTILINE)
    return {name: int(count) for name, _, count in (one.rpartition(" ") for one in line.split(", "))}
