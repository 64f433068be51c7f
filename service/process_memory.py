"""How much memory a job takes, with all processes that it started. Linux alone tells; elsewhere nothing is known."""

import os
from contextlib import suppress
from pathlib import Path

_PROC = Path("/proc")
_MOST_BYTES = 6_000_000_000
_SHARE = 0.75


def most_for_a_job() -> int:
    """Return what a job may take unless that is set: 6 GB, or three quarters of the machine's memory if less."""
    try:
        whole = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return _MOST_BYTES
    return min(_MOST_BYTES, int(_SHARE * whole))


def takes_over(leader: int, most_bytes: int) -> bool:
    """Return whether the processes of a group take more memory than that. Never where the system does not say.

    leader : the group's id. What processes share counts once: the exact sum is slow, so it is taken only where the
    quick one, which counts that as often as it is shared, is over.
    """
    if not (_PROC / "self" / "stat").exists():
        return False
    members = [process for process in _PROC.iterdir() if process.name.isdigit() and _group_of(process) == leader]
    return all(sum(map(bytes_of, members)) > most_bytes for bytes_of in (_resident_bytes, _own_bytes))


def _group_of(process: Path) -> int | None:
    # The name in brackets may hold anything; what follows it are the state, the parent's id, the group's id.
    with suppress(OSError, ValueError, IndexError):
        return int((process / "stat").read_text().rpartition(")")[2].split()[2])
    return None


def _resident_bytes(process: Path) -> int:
    """Memory of a process that is in use; one that has just ended has none."""
    with suppress(OSError, ValueError, IndexError):
        return int((process / "statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return 0


def _own_bytes(process: Path) -> int:
    """Memory of a process: its own, and its part of what it shares."""
    with suppress(OSError, ValueError, StopIteration):
        lines = (process / "smaps_rollup").read_text().splitlines()
        return 1024 * int(next(line for line in lines if line.startswith("Pss:")).split()[1])
    return 0
