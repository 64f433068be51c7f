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
    kills = re.search(r"^kills: server (\d+), told to end (\d+), worker (\d+)$", soaked.stdout, re.MULTILINE)
    answers = re.search(r"^answers: 200 (\d+), 201 (\d+), 202 (\d+)", soaked.stdout, re.MULTILINE)

    assert soaked.returncode == 0, said
    assert "nothing was lost, doubled or left over" in said
    # It is no soak where nothing was killed or asked for.
    assert kills, said
    assert sum(map(int, kills.groups())) >= 3
    assert answers, said
    assert all(int(count) > 0 for count in answers.groups())
