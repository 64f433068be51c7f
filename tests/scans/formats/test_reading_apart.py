"""Reading in a process of its own."""

import multiprocessing
import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest
import trimesh

from scans.errors import ScanError
from scans.formats import reading_apart
from scans.formats.reading_apart import read_scan_apart
from scans.formats.scan import ReadingLimits

BOX = trimesh.creation.box((1.0, 2.0, 3.0)).export(file_type="ply")


def table(rows):
    return b"\n".join(b"%.3f %.3f %.3f" % tuple(row) for row in np.random.default_rng(0).random((rows, 3)))


def test_a_scan_comes_back_whole():
    scan = read_scan_apart(BOX, ".ply", ReadingLimits())

    assert len(scan.faces) == 12
    assert np.ptp(scan.points, axis=0) == pytest.approx([1.0, 2.0, 3.0])


def test_what_is_wrong_with_the_file_is_said_as_it_is_in_one_process():
    with pytest.raises(ScanError, match="it is an STL"):
        read_scan_apart(trimesh.creation.box().export(file_type="stl"), ".ply", ReadingLimits())


def test_the_time_is_limited_and_nothing_goes_on():
    start = time.monotonic()

    with pytest.raises(ScanError, match=r"not read within 0\.05 s"):
        read_scan_apart(table(300_000), ".xyz", ReadingLimits(seconds=0.05))

    assert time.monotonic() - start < 30.0


def test_the_memory_is_limited():
    pytest.importorskip("resource")
    with pytest.raises(ScanError, match="more memory"):
        # Numbers and text of so many rows alone take more, however little the libraries do.
        read_scan_apart(b"0.123 0.456 0.789\n" * 12_000_000, ".xyz", ReadingLimits(memory_bytes=900_000_000))


def test_a_reader_whose_asker_is_gone_ends_quietly(monkeypatch):
    monkeypatch.setattr(reading_apart, "_limit_memory", lambda _: None)
    here, there = multiprocessing.Pipe(duplex=False)
    here.close()

    reading_apart._read(there, b"", ".ply", ReadingLimits())


def _killed_once(there, data, *_):
    marker = Path(data.decode())
    if not marker.exists():
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    there.send(ScanError("the second reading was reached"))


def _killed_always(*_):
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_reading_that_something_else_killed_is_begun_once_more(monkeypatch, tmp_path):
    monkeypatch.setattr(reading_apart, "_read", _killed_once)

    with pytest.raises(ScanError, match="second reading was reached"):
        read_scan_apart(str(tmp_path / "marker").encode(), ".ply", ReadingLimits())


def test_a_reading_that_is_killed_again_is_refused(monkeypatch):
    monkeypatch.setattr(reading_apart, "_read", _killed_always)

    with pytest.raises(ScanError, match="ended with code -9"):
        read_scan_apart(b"", ".ply", ReadingLimits())
