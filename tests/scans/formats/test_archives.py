"""Zip archives unpacked whole, or refused in one line before they take memory. All files are invented."""

import io
import struct
import tracemalloc
import warnings
import zipfile

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats.archives import unpacked
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
FILES = {"scan/log.obj": b"v 0 0 0\n" * 500, "scan/log.mtl": b"newmtl bark\n", "bark.jpg": bytes(range(256)) * 9}


def archive(files, method=zipfile.ZIP_DEFLATED):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as file:
        for name, content in files.items():
            file.writestr(name, content)
    return stream.getvalue()


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_files_come_out_as_they_went_in_and_in_order(method):
    out = unpacked(archive({**FILES, "folder/": b""}, method), LIMITS)

    assert out == FILES
    assert list(out) == list(FILES)


@pytest.mark.parametrize(
    "name", ["../x.obj", "a/../../x.obj", "/etc/x.obj", "C:/x.obj", "a\\..\\..\\x.obj", "\\\\host\\x.obj"]
)
def test_a_name_that_leaves_the_archive_is_refused(name):
    with pytest.raises(ScanError, match="outside itself"):
        unpacked(archive({name: b"v 0 0 0\n"}), LIMITS)


@pytest.mark.parametrize("name", ["a..b/x.obj", "..x.obj", "bole & limb.obj"])
def test_a_name_with_dots_that_stays_within_is_read(name):
    assert list(unpacked(archive({name: b"v"}), LIMITS)) == [name]


def test_a_bomb_is_refused_without_unpacking_it():
    bomb = archive({"a.obj": bytes(50_000_000)})

    tracemalloc.start()
    with pytest.raises(ScanError, match=r"unpacks to \d+ times its size, at most 200"):
        unpacked(bomb, LIMITS)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 2_000_000


def test_what_a_bomb_says_of_itself_is_not_believed():
    bomb = bytearray(archive({"a.obj": bytes(50_000_000)}))
    directory = bomb.index(b"PK\x01\x02")
    struct.pack_into("<I", bomb, directory + 24, 1000)

    tracemalloc.start()
    with pytest.raises(ScanError, match=r"cannot be unpacked|holds"):
        unpacked(bytes(bomb), LIMITS)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 5_000_000


def test_limits_on_bytes_and_files_hold():
    with pytest.raises(ScanError, match="at most 1000 are read"):
        unpacked(archive(FILES), ReadingLimits(archive_bytes=1000))
    with pytest.raises(ScanError, match="holds 3 files, at most 2"):
        unpacked(archive(FILES), ReadingLimits(archive_files=2))
    assert unpacked(archive(FILES), ReadingLimits(archive_files=3, archive_bytes=7000)) == FILES


def test_a_password_is_named():
    locked = bytearray(archive({"a.obj": b"v 0 0 0"}))
    locked[6] |= 1
    locked[locked.index(b"PK\x01\x02") + 8] |= 1

    with pytest.raises(ScanError, match="password"):
        unpacked(bytes(locked), LIMITS)


def test_a_packing_that_cannot_be_bounded_is_refused():
    with pytest.raises(ScanError, match="packed by method 12"):
        unpacked(archive({"a.obj": b"v 0 0 0"}, zipfile.ZIP_BZIP2), LIMITS)


def test_the_same_name_twice_is_refused():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer warns of the very thing that is made here
        file.writestr("a.obj", b"one")
        file.writestr("a.obj", b"two")

    with pytest.raises(ScanError, match="twice"):
        unpacked(stream.getvalue(), LIMITS)


def test_no_archive_is_refused():
    with pytest.raises(ScanError, match="empty"):
        unpacked(b"", LIMITS)
    with pytest.raises(ScanError, match="no whole zip"):
        unpacked(b"v 0 0 0\n" * 100, LIMITS)


def test_a_cut_archive_is_refused_wherever_it_is_cut():
    whole = archive(FILES)

    for size in range(1, len(whole), 7):
        with pytest.raises(ScanError):
            unpacked(whole[:size], LIMITS)


def test_a_damaged_archive_is_refused_or_whole():
    whole = archive(FILES)
    rng = np.random.default_rng(1)
    refused = 0

    for _ in range(400):
        damaged = bytearray(whole)
        damaged[rng.integers(len(whole))] ^= 1 << rng.integers(8)
        try:
            out = unpacked(bytes(damaged), LIMITS)
        except ScanError:
            refused += 1
        else:
            # A flipped bit may be in a name or a date; the contents are under a checksum.
            assert list(out.values()) == list(FILES.values())

    assert refused > 200
