"""E57 read back as it was written, poses applied, or refused. All scans here are invented."""

import json
import struct
import sys

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats import read_e57 as reader
from scans.formats.read_e57 import read_e57
from scans.formats.scan import ReadingLimits

pye57 = pytest.importorskip("pye57", reason="the library for E57 has no build for this machine")

LIMITS = ReadingLimits()
QUARTER = np.array([np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5)])
"""A quarter turn about z, as w, x, y, z: x goes to y, y to -x."""
STILL = np.array([1.0, 0.0, 0.0, 0.0])


def points_of(count, seed=1):
    return np.random.default_rng(seed).uniform(-1.0, 1.0, (count, 3)).astype(np.float32).astype(np.float64)


def file_of(path, *scans):
    """Write scans of (points, rotation, translation, further fields) to the path; return the bytes."""
    with pye57.E57(str(path), mode="w") as file:
        for points, rotation, translation, further in scans:
            fields = dict(zip(("cartesianX", "cartesianY", "cartesianZ"), points.T, strict=True))
            file.write_scan_raw({**fields, **further}, rotation=rotation, translation=np.array(translation))
    return path.read_bytes()


def colours_of(colours):
    return dict(zip(("colorRed", "colorGreen", "colorBlue"), np.asarray(colours, dtype=np.uint8).T, strict=True))


def test_scans_are_joined_by_their_poses(tmp_path):
    first, second = points_of(700), points_of(500, seed=2)
    data = file_of(tmp_path / "a.e57", (first, STILL, (0.0, 0.0, 0.0), {}), (second, QUARTER, (10.0, -20.0, 3.0), {}))

    scan = read_e57(data, LIMITS)

    turned = np.stack([10.0 - second[:, 1], second[:, 0] - 20.0, second[:, 2] + 3.0], axis=1)
    np.testing.assert_allclose(scan.points, np.concatenate([first, turned]), atol=1e-6)
    assert scan.unit_m == 1.0
    assert scan.up is None
    assert scan.colours is None
    assert [note.text for note in scan.notes] == ["2 scans of the file were joined by their poses."]


def test_a_general_pose_turns_as_its_quaternion_does(tmp_path):
    points = points_of(50)
    axis = np.array([1.0, 2.0, -2.0]) / 3.0
    angle = 0.7
    data = file_of(
        tmp_path / "a.e57", (points, np.array([np.cos(angle / 2), *(np.sin(angle / 2) * axis)]), (1.0, 2.0, 3.0), {})
    )

    # Rodrigues' formula, another way than the quaternion's matrix.
    across = np.cross(axis, points)
    along = (points @ axis)[:, None] * axis
    expected = points * np.cos(angle) + across * np.sin(angle) + along * (1.0 - np.cos(angle)) + [1.0, 2.0, 3.0]
    np.testing.assert_allclose(read_e57(data, LIMITS).points, expected, atol=1e-6)


def test_chunks_join_without_a_seam(tmp_path, monkeypatch):
    points = points_of(3001)
    data = file_of(tmp_path / "a.e57", (points, STILL, (0.0, 0.0, 0.0), {}))
    monkeypatch.setattr(reader, "_CHUNK_POINTS", 250)

    np.testing.assert_allclose(read_e57(data, LIMITS).points, points, atol=1e-6)


def test_colours_come_only_where_all_scans_have_them(tmp_path):
    points, colours = points_of(3), [[0, 128, 255], [1, 2, 3], [255, 255, 255]]
    with_colours = (points, STILL, (0.0, 0.0, 0.0), colours_of(colours))
    without = (points, STILL, (0.0, 0.0, 0.0), {})

    scan = read_e57(file_of(tmp_path / "a.e57", with_colours), LIMITS)
    assert scan.colours.dtype == np.uint8
    assert scan.colours.tolist() == colours

    mixed = read_e57(file_of(tmp_path / "b.e57", with_colours, without), LIMITS)
    assert mixed.colours is None
    assert "A scan of the file has no colors, so that none are used." in [note.text for note in mixed.notes]


def test_invalid_points_are_left_out_and_counted(tmp_path):
    points, state = points_of(90), (np.arange(90) % 3).astype(np.int8)
    colours = np.arange(270).reshape(90, 3) % 256
    further = {"cartesianInvalidState": state, **colours_of(colours)}

    scan = read_e57(file_of(tmp_path / "a.e57", (points, STILL, (0.0, 0.0, 0.0), further)), LIMITS)

    np.testing.assert_allclose(scan.points, points[state == 0], atol=1e-6)
    assert scan.colours.tolist() == colours[state == 0].tolist()
    assert [note.text for note in scan.notes] == ["Left out 60 points marked as invalid in the file, or not finite."]


def test_range_and_angles_become_points():
    place = reader._cartesian(np.array([[2.0, 0.0, 0.0], [2.0, np.pi / 2, 0.0], [2.0, 0.3, np.pi / 2]]))

    np.testing.assert_allclose(place, [[2.0, 0.0, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 2.0]], atol=1e-12)


def test_the_limit_on_points_is_for_all_scans_together(tmp_path):
    one = (points_of(60), STILL, (0.0, 0.0, 0.0), {})
    data = file_of(tmp_path / "a.e57", one, one)

    with pytest.raises(ScanError, match="120 points, at most 119 are read"):
        read_e57(data, ReadingLimits(points=119))
    assert len(read_e57(data, ReadingLimits(points=120)).points) == 120


def test_a_cut_file_is_refused_wherever_it_is_cut(tmp_path):
    whole = file_of(tmp_path / "a.e57", (points_of(500), STILL, (0.0, 0.0, 0.0), {}))

    for size in [0, 7, 8, 47, 48, *np.linspace(49, len(whole) - 1, 40).astype(int)]:
        with pytest.raises(ScanError, match=r"has \d+ of its \d+ bytes" if size >= 48 else "empty|begin|fewer"):
            read_e57(whole[:size], LIMITS)
        # The same, with a header that says the cut length.
        lying = bytearray(whole[:size])
        if size >= 48:
            struct.pack_into("<Q", lying, 16, size)
            with pytest.raises(ScanError):
                read_e57(bytes(lying), LIMITS)


def test_damage_is_refused(tmp_path):
    whole = file_of(tmp_path / "a.e57", (points_of(200), STILL, (0.0, 0.0, 0.0), {}))
    rng = np.random.default_rng(4)

    # Every page is under a checksum, the header too.
    for place in rng.integers(0, len(whole), 60):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << rng.integers(8)
        with pytest.raises(ScanError):
            read_e57(bytes(damaged), LIMITS)


def test_what_is_no_e57_is_named():
    with pytest.raises(ScanError, match="empty"):
        read_e57(b"", LIMITS)
    with pytest.raises(ScanError, match="does not begin as an E57"):
        read_e57(b"LASF" * 100, LIMITS)


def test_a_machine_without_the_library_says_so(tmp_path, monkeypatch):
    data = file_of(tmp_path / "a.e57", (points_of(5), STILL, (0.0, 0.0, 0.0), {}))
    monkeypatch.setitem(sys.modules, "pye57", None)

    with pytest.raises(ScanError, match="not read on this machine"):
        read_e57(data, LIMITS)


def test_odd_files_load(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        if entry["file"].endswith(".e57"):
            seen += 1
            assert entry["expect"] == "load"
            scan = read_e57((folder / entry["file"]).read_bytes(), LIMITS)
            assert len(scan.points) == entry["seen_here"].get("points", len(scan.points))
            assert len(scan.points) >= 2
    assert seen == 2
