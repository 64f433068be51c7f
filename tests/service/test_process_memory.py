"""What a job's processes take, told against memory that a test takes itself."""

import subprocess
import sys
from pathlib import Path

import pytest

from service.process_memory import most_for_a_job, takes_over

pytestmark = pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the system does not tell")

CHILD = "import sys; held = bytearray(b'x') * 60_000_000; print('up', flush=True); sys.stdin.read()"
PARENT = f"""
import subprocess, sys
held = bytearray(b'x') * 60_000_000
subprocess.run([sys.executable, '-c', {CHILD!r}], check=False)
"""


def test_a_group_takes_what_all_its_processes_take() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", PARENT], stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
    ) as leader:
        assert leader.stdout is not None
        assert leader.stdout.readline() == b"up\n"

        assert takes_over(leader.pid, 120_000_000)
        assert not takes_over(leader.pid, 200_000_000)
        leader.communicate()
    assert not takes_over(leader.pid, 0)


def test_what_is_shared_counts_once(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.write_bytes(b"x" * 60_000_000)
    mapping = (
        "import mmap, os, sys; f = open(sys.argv[1], 'rb'); m = mmap.mmap(f.fileno(), 0, access=mmap.ACCESS_READ); "
        "sum(m[::4096]); os.fork() and None; sum(m[::4096]); os.write(1, b'u'); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", mapping, str(shared)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True,
    ) as leader:  # fmt: skip
        assert leader.stdout is not None
        assert leader.stdout.read(2) == b"uu"

        assert takes_over(leader.pid, 55_000_000)
        assert not takes_over(leader.pid, 110_000_000)
        leader.communicate()


def test_a_job_may_not_take_all_of_the_machine() -> None:
    lines = Path("/proc/meminfo").read_text().splitlines()
    whole = 1024 * int(next(line for line in lines if line.startswith("MemTotal:")).split()[1])

    assert most_for_a_job() <= 6_000_000_000
    assert 0.5 * min(whole, 6_000_000_000) < most_for_a_job() < whole
