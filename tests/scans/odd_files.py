"""Odd files of the data folder, what they hold by its manifest, and damage to files, for the tests of readers."""

import json

import numpy as np

from scans.errors import ScanError
from scans.formats.finite_points import only_finite
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
# Refused for what the points are, not for how the file is written: that is for later rooms.
OF_SHAPE = {"stump_all_same_point.ply", "stump_flat_plane.ply", "stump_line.ply", "stump_one_point.ply"}


def check_odd_files(data_folder, suffix, read, *, either=(), at_least):
    """Hold a reader to the manifest for every odd file of a suffix; those in `either` may be refused or read."""
    folder = data_folder / "odd_files"
    entries = json.loads((folder / "manifest.json").read_text())
    seen = 0
    for entry in entries:
        path = folder / entry["file"]
        if path.suffix.lower() != suffix or path.name in either:
            continue
        seen += 1
        is_read = entry["expect"] != "refuse" or path.name in OF_SHAPE
        scan = outcome(read, path.read_bytes())
        assert (scan is not None) == is_read, path.name
        if scan is None:
            continue
        known = entry["seen_here"]
        extent = known.get("extent")
        if extent and path.name != "issue623.ply":
            assert len(scan.faces) == known["faces"], path.name
            if np.isfinite(extent).all():
                # Points that no face uses are no part of what the manifest measured.
                own = scan.points[np.unique(scan.faces)] if len(scan.faces) else scan.points
                np.testing.assert_allclose(np.ptp(own, axis=0), extent, rtol=2e-3, atol=1e-9, err_msg=path.name)
    assert seen >= at_least


def assert_whole(scan):
    """Hold a scan to what the type promises."""
    count = len(scan.points)
    assert scan.points.shape == (count, 3)
    assert scan.points.dtype == np.float64
    assert count > 0
    assert np.isfinite(scan.points).all()
    assert scan.faces.dtype == np.int64
    assert scan.faces.shape[1:] == (3,)
    assert not len(scan.faces) or 0 <= scan.faces.min() <= scan.faces.max() < count
    if scan.colours is not None:
        assert scan.colours.shape == (count, 3)
        assert scan.colours.dtype == np.uint8
    if scan.normals is not None:
        np.testing.assert_allclose(np.linalg.norm(scan.normals, axis=1), 1.0, atol=1e-9)


def outcome(read, data):
    """Read bytes that may be damaged: the scan, or None where they are refused in one line; nothing else may come."""
    try:
        scan = only_finite(read(data, LIMITS))
    except ScanError as error:
        line = str(error)
    else:
        assert_whole(scan)
        return scan
    assert "\n" not in line
    return None


def damaged(data, count, seed):
    """Yield copies of bytes with some of them changed, and with a part left out or doubled."""
    rng = np.random.default_rng(seed)
    for turn in range(count):
        letters = bytearray(data)
        for _ in range(int(rng.integers(1, 4))):
            place = int(rng.integers(len(letters)))
            if turn % 3 == 0:
                letters[place] = int(rng.integers(256))
            elif turn % 3 == 1:
                letters[place] = int(rng.choice(list(b"0129 -.,/#\n\\e\xffvf")))
            else:
                end = place + int(rng.integers(1, 12))
                letters[place:end] = letters[place:end] * int(rng.integers(3))
        yield bytes(letters)
