"""From the bytes of an STL file, binary or text, to triangles."""

import re

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import as_text, blocks_of_lines, line_bounds, numbers_in, words_per_line
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
_HEAD_BYTES = 84
_WORDS = (b"facet", b"outer", b"vertex", b"endloop", b"endfacet", b"solid", b"endsolid")
_VERTEX, _SOLID, _ENDSOLID, _OTHER = 2, 5, 6, 7
_FACET_LINES = np.array([0, 1, 2, 2, 2, 3, 4], dtype=np.uint8)
_BLANK = 32


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


def _text_corners(text: bytes, limits: ReadingLimits) -> FloatArray:
    """Return the corners of all facets of a text STL (3 F, 3), every facet whole."""
    parts, corners = [np.zeros(0, dtype=np.uint8)], [np.zeros((0, 3))]
    for block in blocks_of_lines(text if text.endswith(b"\n") else text + b"\n"):
        words, rows = _sorted_lines(block)
        found = numbers_in(rows)
        if found is None or (words_per_line(rows) != 3).any():
            raise ScanError(f"a vertex of the file does not have three numbers: {_DAMAGED}")
        parts.append(words)
        corners.append(found.reshape(-1, 3))
    words = np.concatenate(parts)
    if len(words) == 0 or words[-1] != _ENDSOLID or (words == _SOLID).sum() != (words == _ENDSOLID).sum():
        raise ScanError(f"the text of the file ends before its solid does: {_DAMAGED}")
    # Each facet has to open, list three corners and close, in this order.
    own = words[words < _SOLID]
    if len(own) % len(_FACET_LINES) or (own.reshape(-1, len(_FACET_LINES)) != _FACET_LINES).any():
        raise ScanError(f"a facet of the file is not whole: {_DAMAGED}")
    _check_count(len(own) // len(_FACET_LINES), limits)
    return np.concatenate(corners)


def _sorted_lines(block: bytes) -> tuple[NDArray[np.uint8], bytes]:
    """Return which word each line begins with, lines without one of an STL left out, and the rest of vertex lines."""
    letters = np.frombuffer(block + b"\n" * 9, dtype=np.uint8).copy()
    starts, firsts, ends = line_bounds(block, letters)
    # The eight letters from each place on, as one number; whether large or small is one bit of each.
    eights: NDArray[np.uint64] = np.ndarray(len(letters) - 7, dtype="<u8", buffer=letters, strides=(1,))
    heads = eights[firsts] | np.uint64(0x2020202020202020)
    words = np.full(len(starts), _OTHER, dtype=np.uint8)
    for number, word in enumerate(_WORDS):
        spelled, mask = np.uint64(int.from_bytes(word, "little")), np.uint64(256 ** len(word) - 1)
        words[((heads & mask) == spelled) & (letters[firsts + len(word)] <= _BLANK)] = number
    is_vertex = words == _VERTEX
    letters[firsts[is_vertex][:, None] + np.arange(len(_WORDS[_VERTEX]))] = _BLANK
    rows = letters[: len(block)][np.repeat(is_vertex, ends + 1 - starts)]
    return words[words != _OTHER], rows.tobytes()
