"""Reads a scan in a process of its own, so that neither time nor memory can be had without end.

A damaged file can end a process or keep it for minutes; `ReadingLimits` holds all limits.
"""

import multiprocessing
import signal
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any

from scans.errors import ScanError
from scans.formats.readers import read_scan
from scans.formats.scan import ReadingLimits, Scan

TRIES = 2
"""How often a reading is begun that something else kills (our own rule, no source)."""
_AGAIN = "thin the scan and export it again, or export it in another format"


def read_scan_apart(data: bytes, suffix: str, limits: ReadingLimits) -> Scan:
    """Return what `scans.formats.readers.read_scan` does, within limits.seconds and limits.memory_bytes.

    Raises ScanError as that does, and where the limits are passed or the reading process ends by itself, as a damaged
    file can make compiled libraries do. Where the system cannot limit a process's memory, time alone is limited.
    """
    for _ in range(TRIES):
        answer, code = _read_once(data, suffix, limits)
        if isinstance(answer, ScanError):
            raise answer
        if answer is not None:
            return answer
        # Nothing in a file sends SIGKILL: the system or somebody else ended it, and the file may be whole.
        if code != -signal.SIGKILL:
            break
    raise ScanError(
        f"the file cannot be read: its reading ended with code {code}; it is damaged, or needs more "
        f"than {limits.memory_bytes / 1e9:g} GB",
        _AGAIN,
    )


def _read_once(data: bytes, suffix: str, limits: ReadingLimits) -> tuple[Scan | ScanError | None, int | None]:
    """Return what one process made of the file, None where it ended without a word, and its exit code."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    reader = context.Process(target=_read, args=(there, data, suffix, limits), daemon=False)
    reader.start()
    there.close()
    try:
        if not here.poll(limits.seconds):
            raise ScanError(f"the file was not read within {limits.seconds:g} s, the most that is waited", _AGAIN)
        answer: Any = here.recv()
    except EOFError:
        reader.join()
        return None, reader.exitcode
    finally:
        here.close()
        reader.kill()
        reader.join()
    assert isinstance(answer, Scan | ScanError)  # noqa: S101 - the process sends nothing else
    return answer, None


def _read(there: Connection, data: bytes, suffix: str, limits: ReadingLimits) -> None:
    _limit_memory(limits.memory_bytes)
    # Whoever asked may have been ended meanwhile; nobody needs to be told then.
    with suppress(BrokenPipeError):
        try:
            there.send(read_scan(data, suffix, limits))
        except ScanError as error:
            there.send(error)
        except MemoryError:
            most = f"{limits.memory_bytes / 1e9:g} GB"
            there.send(ScanError(f"the file needs more than the {most} that reading may take", _AGAIN))


def _limit_memory(most_bytes: int) -> None:
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    most = most_bytes if hard == resource.RLIM_INFINITY else min(most_bytes, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))
