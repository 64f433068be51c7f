"""From the bytes of an STL file, binary or text, to triangles."""

import re

import numpy as np

from scans.errors import ScanError
from scans.number_text import as_text, numbers_in
from scans.scan import ReadingLimits, Scan

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
_HEAD_BYTES = 84
_WORDS = (b"facet", b"outer", b"endloop", b"endfacet")


def is_binary_stl(data: bytes) -> bool:
    """Whether the count in the header of a binary STL is just what the bytes hold."""
    return len(data) >= _HEAD_BYTES and len(data) == _HEAD_BYTES + 50 * int.from_bytes(data[80:84], "little")


def read_stl(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the triangles of an STL, three points of their own each.

    data : the file's bytes. limits : at most limits.faces triangles are read.

    Many binary files begin with "solid" as text ones do, so that the length tells which it is. STL states neither
    unit nor up axis; its normals, and what some programs put into the two spare bytes, are not read.

    Corners may not be finite.

    Raises ScanError where the file is neither a whole binary nor a whole text STL, or holds no triangles.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    if is_binary_stl(data):
        count = (len(data) - _HEAD_BYTES) // 50
        _check_count(count, limits)
        corners = np.frombuffer(data, dtype=_FACET, offset=_HEAD_BYTES)["corners"].reshape(-1, 3).astype(np.float64)
    elif re.match(rb"(\xef\xbb\xbf)?\s*solid\b", data[:200], re.IGNORECASE) and b"\0" not in data[:1000]:
        corners = _text_corners(as_text(data, limits), limits)
    elif len(data) < _HEAD_BYTES:
        raise ScanError("the file does not begin as an STL does; check what it is and rename it")
    else:
        count = int.from_bytes(data[80:84], "little")
        raise ScanError(
            f"the file has {len(data)} bytes, and an STL of {count} faces has {_HEAD_BYTES + 50 * count}: {_DAMAGED}"
        )
    return Scan(corners, np.arange(len(corners), dtype=np.int64).reshape(-1, 3))


def _check_count(count: int, limits: ReadingLimits) -> None:
    if count == 0:
        raise ScanError("the file holds no faces; export the scan again")
    if count > limits.faces:
        raise ScanError(
            f"the file has {count} faces, at most {limits.faces} are read; thin the mesh and export it again"
        )


def _text_corners(text: bytes, limits: ReadingLimits) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return the corners of all facets of a text STL (3 F, 3), every facet whole."""
    lines = [line.lower() for raw in text.split(b"\n") if (line := raw.strip())]
    firsts = [line.split(None, 1)[0] for line in lines]
    counts = {word: firsts.count(word) for word in (*_WORDS, b"vertex", b"solid", b"endsolid")}
    facets = counts[b"facet"]
    whole = all(counts[word] == facets for word in _WORDS) and counts[b"vertex"] == 3 * facets
    if not whole or counts[b"solid"] != counts[b"endsolid"] or firsts[-1] != b"endsolid":
        raise ScanError(f"the text of the file ends before its solid does, or a facet is not whole: {_DAMAGED}")
    _check_count(facets, limits)
    rows = [line[6:] for line, first in zip(lines, firsts, strict=True) if first == b"vertex"]
    found = numbers_in(b"\n".join(rows))
    if found is None or len(found) != 3 * len(rows) or any(len(row.split()) != 3 for row in rows):
        raise ScanError(f"a vertex of the file does not have three numbers: {_DAMAGED}")
    # Each facet has to open, list three corners and close, in this order.
    order = b" ".join(first for first in firsts if first in counts and first not in {b"solid", b"endsolid"})
    if order != b" ".join([b"facet outer vertex vertex vertex endloop endfacet"] * facets):
        raise ScanError(f"the facets of the file are not whole: {_DAMAGED}")
    return found.reshape(-1, 3)
