"""PCD in its three forms read back as it was written, or refused. All clouds here are invented."""

import struct

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats.lzf import _unpack, unpacked_lzf
from scans.formats.read_pcd import is_pcd, read_pcd
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
FORMS = ("ascii", "binary", "binary_compressed")
FIELDS = [("x", "<f4"), ("y", "<f4"), ("z", "<f4"), ("rgb", "<f4"), ("normal_x", "<f4"), ("normal_y", "<f4"),
          ("normal_z", "<f4"), ("label", "<u2")]  # fmt: skip


def packed_lzf(data):
    """LZF as slowly and plainly as it can be: the longest run that was seen at the same three bytes before."""
    out, waiting, seen, at = bytearray(), bytearray(), {}, 0

    def flush():
        for start in range(0, len(waiting), 32):
            part = waiting[start : start + 32]
            out.append(len(part) - 1)
            out.extend(part)
        waiting.clear()

    while at < len(data):
        before = seen.get(data[at : at + 3], -1) if at + 3 <= len(data) else -1
        seen[data[at : at + 3]] = at
        if before >= 0 and at - before <= 8192:
            size = 3
            while at + size < len(data) and size < 264 and data[before + size] == data[at + size]:
                size += 1
            flush()
            back, length = at - before - 1, size - 2
            out.append((min(length, 7) << 5) | (back >> 8))
            if length >= 7:
                out.append(length - 7)
            out.append(back & 255)
            at += size
        else:
            waiting.append(data[at])
            at += 1
    flush()
    return bytes(out)


def cloud(count=200):
    rng = np.random.default_rng(3)
    rows = np.zeros(count, dtype=FIELDS)
    turn = rng.uniform(0, np.pi, count)
    rows["x"], rows["y"], rows["z"] = rng.uniform(0, 4, count), 0.3 * np.cos(turn), 0.3 * np.sin(turn)
    rows["normal_y"], rows["normal_z"] = np.cos(turn), np.sin(turn)
    colours = rng.integers(0, 256, (count, 3))
    bits = (colours[:, 0] << 16 | colours[:, 1] << 8 | colours[:, 2]).astype("<u4")
    rows["rgb"] = bits.view("<f4")
    rows["label"] = 7
    return rows, colours


def file_of(rows, form="binary", ending=b"", **changes):
    letters = {"f": "F", "u": "U", "i": "I"}
    kinds = [rows.dtype[name].base for name in rows.dtype.names]
    lines = {
        "VERSION": "0.7",
        "FIELDS": " ".join(rows.dtype.names),
        "SIZE": " ".join(str(kind.itemsize) for kind in kinds),
        "TYPE": " ".join(letters[kind.kind] for kind in kinds),
        "COUNT": " ".join(str(max(1, int(np.prod(rows.dtype[name].shape)))) for name in rows.dtype.names),
        "WIDTH": str(len(rows)),
        "HEIGHT": "1",
        "VIEWPOINT": "0 0 0 1 0 0 0",
        "POINTS": str(len(rows)),
        "DATA": form,
        **changes,
    }
    head = "# .PCD v0.7 - a cloud\n" + "".join(f"{key} {value}\n" for key, value in lines.items() if value is not None)
    if form == "ascii":
        words = [
            " ".join(
                f"{value:.9g}" if value.dtype.kind == "f" else str(value)
                for name in rows.dtype.names
                for value in np.atleast_1d(row[name])
            )
            for row in rows
        ]
        body = "".join(f"{line}\n" for line in words).encode()
    elif form == "binary":
        body = rows.tobytes()
    else:
        flat = b"".join(np.ascontiguousarray(rows[name]).tobytes() for name in rows.dtype.names)
        packed = packed_lzf(flat)
        body = struct.pack("<II", len(packed), len(flat)) + packed
    return head.encode() + body + ending


@pytest.mark.parametrize("form", FORMS)
def test_points_colours_and_normals_come_back(form):
    rows, colours = cloud()
    data = file_of(rows, form)

    scan = read_pcd(data, LIMITS)

    assert is_pcd(data)
    np.testing.assert_allclose(scan.points, np.stack([rows[name] for name in "xyz"], axis=1), atol=1e-7)
    assert scan.points.dtype == np.float64
    assert scan.colours.tolist() == colours.tolist()
    np.testing.assert_allclose(scan.normals[:, 1:], np.stack([rows["normal_y"], rows["normal_z"]], axis=1), atol=1e-6)
    np.testing.assert_allclose(np.linalg.norm(scan.normals, axis=1), 1.0, atol=1e-12)
    assert (scan.unit_m, scan.up, scan.notes) == (None, None, ())


@pytest.mark.parametrize("form", FORMS)
def test_fields_of_other_types_orders_and_counts(form):
    kinds = [("_", "<u1", (3,)), ("z", "<f8"), ("x", "<i2"), ("histogram", "<f4", (4,)), ("y", "<f8"), ("rgba", "<u4"),
             ("r", "<u1")]  # fmt: skip
    rows = np.zeros(3, dtype=kinds)
    rows["x"], rows["y"], rows["z"] = [1, -2, 3], [500_000.125, 2, 3], [0.5, 1e-9, 7]
    rows["rgba"] = [0xFF010203, 0x000000FF, 0x7FFF0000]
    rows["histogram"] = 9

    scan = read_pcd(file_of(rows, form), LIMITS)

    assert scan.points.tolist() == [[1, 500_000.125, 0.5], [-2, 2, 1e-9], [3, 3, 7]]
    assert scan.colours.tolist() == [[1, 2, 3], [0, 0, 255], [255, 0, 0]]
    assert scan.normals is None


def test_colours_in_three_fields():
    rows = np.zeros(2, dtype=[("x", "<f4"), ("y", "<f4"), ("z", "<f4"), ("r", "<u1"), ("g", "<u1"), ("b", "<u1")])
    rows["r"], rows["g"], rows["b"] = [1, 4], [2, 5], [3, 255]

    assert read_pcd(file_of(rows), LIMITS).colours.tolist() == [[1, 2, 3], [4, 5, 255]]


@pytest.mark.parametrize("form", FORMS)
def test_holes_of_a_grid_stay_in(form):
    rows, _ = cloud(12)
    for name in ("x", "y", "z", "normal_x", "normal_y", "normal_z"):
        rows[name][[2, 5]] = np.nan

    scan = read_pcd(file_of(rows, form, WIDTH="4", HEIGHT="3"), LIMITS)

    assert np.flatnonzero(np.isnan(scan.points).any(axis=1)).tolist() == [2, 5]
    assert np.flatnonzero(np.isnan(scan.normals).any(axis=1)).tolist() == [2, 5]
    rows["normal_x"][3] = np.nan
    assert read_pcd(file_of(rows, form), LIMITS).normals is None


def test_headers_of_older_files():
    rows, _ = cloud(5)
    data = file_of(rows, COUNT=None, POINTS=None, VIEWPOINT=None, VERSION=".5")
    assert len(read_pcd(data, LIMITS).points) == 5
    crlf = file_of(rows, "ascii").replace(b"\n", b"\r\n")
    assert len(read_pcd(crlf, LIMITS).points) == 5
    assert len(read_pcd(file_of(rows, ending=bytes(4096)), LIMITS).points) == 5


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"POINTS": "201"}, "WIDTH x HEIGHT in the header of the file is 200, POINTS 201"),
        ({"WIDTH": "100"}, "is 100, POINTS 200"),
        ({"WIDTH": "999999", "POINTS": "999999"}, "promises 999999 points|unpack to 6000 bytes"),
        ({"WIDTH": "60000001", "POINTS": None}, "at most 60000000 are read"),
        ({"WIDTH": "-5"}, "WIDTH in the header of the file is '-5'"),
        ({"WIDTH": None, "HEIGHT": None, "POINTS": None}, "WIDTH x HEIGHT"),
        ({"WIDTH": "0", "POINTS": "0"}, "holds no points"),
        ({"SIZE": "4 4 4"}, "do not agree"),
        ({"SIZE": "3 4 4 4 4 4 4 2"}, "do not agree"),
        ({"COUNT": "0 1 1 1 1 1 1 1"}, "do not agree"),
        ({"COUNT": "1 1 1 1 1 1 1 99999"}, "gives each point"),
        ({"FIELDS": "x y q rgb normal_x normal_y normal_z label"}, "no x, y and z"),
        ({"TYPE": "F F F F F F F Q"}, "do not agree"),
        ({"VERSION": "0.7\nCOLOUR red"}, "has the line 'COLOUR red', which no PCD has there"),
        ({"DATA": "zipped"}, "is read as ascii, binary, binary_compressed"),
    ],
)
def test_headers_that_contradict_themselves_are_refused(changes, message):
    rows, _ = cloud()
    for form in ("binary", "binary_compressed"):
        with pytest.raises(ScanError, match=message):
            read_pcd(file_of(rows, form, **({"DATA": form} | changes)), LIMITS)


def test_promises_are_held_to_the_lines():
    rows, _ = cloud(10)
    text = file_of(rows, "ascii")
    with pytest.raises(ScanError, match="promises 10 points of 8 numbers, and holds 9 of 8"):
        read_pcd(text[: text.rstrip().rfind(b"\n") + 1], LIMITS)
    with pytest.raises(ScanError, match="holds 11 of 8"):
        read_pcd(text + text[text.rstrip().rfind(b"\n") + 1 :], LIMITS)
    with pytest.raises(ScanError, match=r"line 14 of the file holds 'x', which is no number"):
        read_pcd(text.replace(b" 7\n", b" x\n").replace(b" x\n", b" 7\n", 2), LIMITS)
    with pytest.raises(ScanError, match="holds more lines"):
        read_pcd(text + b"\n" * 2000, LIMITS)
    with pytest.raises(ScanError, match="promises 10 points and holds 9"):
        read_pcd(file_of(rows)[:-1], LIMITS)
    with pytest.raises(ScanError, match=r"have \d+ of their \d+ bytes"):
        read_pcd(file_of(rows, "binary_compressed")[:-1], LIMITS)
    with pytest.raises(ScanError, match="10 points, at most 9"):
        read_pcd(text, ReadingLimits(points=9))


@pytest.mark.parametrize("form", FORMS)
def test_a_cut_file_is_refused(form):
    rows, _ = cloud(40)
    whole = file_of(rows, form)
    # Without its very last newline a text is still whole.
    for size in range(len(whole) - (1 if form == "ascii" else 0)):
        with pytest.raises(ScanError):
            read_pcd(whole[:size], LIMITS)


@pytest.mark.parametrize("form", FORMS)
def test_damage_gives_a_scan_or_one_clear_line(form):
    rows, _ = cloud(40)
    whole = file_of(rows, form)
    rng = np.random.default_rng(6)
    lines = []

    for number in range(600):
        damaged = bytearray(whole)
        for place in rng.integers(0, len(whole) if number % 2 else 200, rng.integers(1, 4)):
            damaged[place] = rng.integers(256) if rng.random() < 0.5 else ord(rng.choice(list("0129-. \nFUI")))
        try:
            scan = read_pcd(bytes(damaged), LIMITS)
        except ScanError as error:
            lines.append(str(error))
        else:
            assert len(scan.points) == 40 or b"POINTS 40\n" not in damaged
    assert len(lines) > 100
    assert not any("\n" in line for line in lines)


@pytest.mark.parametrize(
    "whole",
    [b"", b"a", b"abc" * 400, bytes(5000), bytes(range(256)) * 40, np.random.default_rng(1).bytes(9000)],
)
def test_lzf_comes_back_and_damage_is_told(whole):
    packed = packed_lzf(whole)

    assert unpacked_lzf(packed, len(whole)) == whole
    assert unpacked_lzf(packed, len(whole) + 1) is None
    if whole:
        assert unpacked_lzf(packed, len(whole) - 1) is None
        assert unpacked_lzf(packed[:-1], len(whole)) is None


def test_lzf_stays_within_its_arrays():
    # Uncompiled, whatever reaches outside raises.
    whole = packed_lzf(b"a log lies on a bed, a log lies on a bed" * 9)
    rng = np.random.default_rng(9)
    outcomes = set()
    for _ in range(3000):
        damaged = np.frombuffer(whole, dtype=np.uint8).copy()[: rng.integers(1, len(whole) + 1)]
        damaged[rng.integers(0, len(damaged), 2)] = rng.integers(0, 256, 2)
        out = np.zeros(rng.integers(0, 400), dtype=np.uint8)
        outcomes.add(_unpack.py_func(damaged, out) >= 0)
    assert outcomes == {True, False}


def test_a_text_that_breaks_off_within_its_last_number_is_refused():
    rows = np.zeros(6, dtype=[("x", "<f4"), ("y", "<f4"), ("z", "<f4")])
    head = file_of(rows, "ascii").partition(b"ascii\n")[0] + b"ascii\n"
    text = head + b"\n".join([b"1.0000 2.0000 3.1234"] * 6)
    assert len(read_pcd(text, LIMITS).points) == 6
    for size in range(1, 5):
        with pytest.raises(ScanError, match=r"breaks off at '3\.1?2?3?'"):
            read_pcd(text[:-size], LIMITS)


def test_lzf_reads_what_was_packed_by_hand():
    # Three bytes as they are; 2 + 2 from 3 back, into itself; 7 + 9 + 2 from 1 back.
    assert unpacked_lzf(bytes([2, 97, 98, 99, 2 << 5, 2, 7 << 5, 9, 0]), 25) == b"abcabca" + b"a" * 18
    # A distance with its upper bits: 300 back.
    far = bytes([31]) + bytes(range(32)) + (bytes([31]) + bytes(32)) * 9 + bytes([1 << 5 | 1, 319 - 256])
    assert unpacked_lzf(far, 323)[-3:] == bytes([0, 1, 2])
    assert unpacked_lzf(bytes([0, 97, 1 << 5, 1]), 4) is None  # from before the beginning
    assert unpacked_lzf(bytes([1 << 5]), 3) is None
    assert unpacked_lzf(bytes([7 << 5]), 9) is None
    assert unpacked_lzf(bytes([0, 97]), 10**12) is None  # before memory is taken


def test_clouds_of_another_writer_come_back(tmp_path):
    open3d = pytest.importorskip("open3d")
    rows, colours = cloud()
    points = np.stack([rows[name] for name in "xyz"], axis=1).astype(float)
    theirs = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
    theirs.colors = open3d.utility.Vector3dVector(colours / 255.0)
    for is_text, is_packed in ((True, False), (False, False), (False, True)):
        path = tmp_path / "cloud.pcd"
        open3d.io.write_point_cloud(str(path), theirs, write_ascii=is_text, compressed=is_packed)

        scan = read_pcd(path.read_bytes(), LIMITS)

        np.testing.assert_allclose(scan.points, points, atol=1e-6)
        assert np.abs(scan.colours.astype(int) - colours).max() <= 1
