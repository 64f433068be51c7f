"""How much memory a job takes, with all processes that it started; unknown where a system has no process groups.

A job's memory is watched, not limited: address space says little of what compiled code uses.
"""

import os
from contextlib import suppress

import psutil

_MOST_BYTES = 6_000_000_000
"""No job takes more, however large the machine (our own rule, no source)."""
_SHARE = 0.75
"""Of the machine's memory; the rest is for the service and the system (our own rule, no source)."""


def most_for_a_job() -> int:
    """Return what a job may take unless that is set: 6 GB, or three quarters of the machine's memory if less."""
    return min(_MOST_BYTES, int(_SHARE * psutil.virtual_memory().total))


def takes_over(leader: int, most_bytes: int) -> bool:
    """Return whether the processes of a group take more memory than that. Never where the system has no groups.

    leader : the group's id. What processes share counts once: the exact sum is slow, so it is taken only where the
    quick one, which counts that as often as it is shared, is over.
    """
    members = [process for pid in psutil.pids() if _group_of(pid) == leader for process in _process(pid)]
    return all(sum(map(bytes_of, members)) > most_bytes for bytes_of in (_resident_bytes, _own_bytes))


def _group_of(pid: int) -> int | None:
    with suppress(OSError, AttributeError):
        return os.getpgid(pid)
    return None


def _process(pid: int) -> list[psutil.Process]:
    with suppress(psutil.Error):
        return [psutil.Process(pid)]
    return []


def _resident_bytes(process: psutil.Process) -> int:
    """Memory of a process that is in use; one that has just ended has none."""
    with suppress(psutil.Error):
        return int(process.memory_info().rss)
    return 0


def _own_bytes(process: psutil.Process) -> int:
    """Memory of a process: its own, and its part of what it shares where the system tells."""
    with suppress(psutil.Error):
        full = process.memory_full_info()
        return int(getattr(full, "pss", full.uss))
    return 0
