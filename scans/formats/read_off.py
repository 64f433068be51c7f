"""From the bytes of an OFF file to points and triangles."""

import re

import numpy as np

from scans.errors import ScanError
from scans.formats.cut_faces import check_face_count, check_point_count, cut_faces
from scans.formats.number_text import as_text, numbers_in, shown, words_per_line
from scans.formats.point_columns import eight_bit, last_line_notes
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray, IntArray
from scans.messages import Note

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_HEAD = re.compile(rb"\s*(ST)?(C)?(N)?(4)?(n)?OFF(?=[\s\d])")


def is_off(data: bytes) -> bool:
    """Whether a file begins as an OFF does."""
    return _HEAD.match(data[:2000]) is not None


def read_off(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the points and triangles of a text OFF, with the colours of its points where it has them (COFF).

    data : the file's bytes. limits : at most limits.points points and limits.faces triangles are read.

    Faces of more than three corners are cut into triangles; their colours are not read. OFF states neither unit nor
    up axis. Points may not be finite, unless a face uses them.

    Raises ScanError where the counts in the header are not what the lines hold, or a face names no point.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    text = re.sub(rb"#[^\n]*", b"", as_text(data, limits))
    head = _HEAD.match(text[:2000])
    if head is None:
        raise ScanError("the file does not begin as an OFF does; check what it is and rename it")
    if head[4] or head[5]:
        raise ScanError("the points of the file have four coordinates or more; export it with three")
    rest = text[head.end() :]
    if re.match(rb"\s*BINARY", rest):
        raise ScanError("the file is a binary OFF, which is not read; export it as PLY")
    counts = re.match(rb"\s*(\d{1,18})\s+(\d{1,18})(?:[ \t]+\d{1,18})?[ \t]*(?:\n|$)", rest)
    if counts is None:
        raise ScanError(f"the header of the file names no counts: {_DAMAGED}")
    vertex_count, face_count = int(counts[1]), int(counts[2])
    check_point_count(vertex_count, limits)
    check_face_count(face_count, limits)
    lines = [line for line in rest[counts.end() :].split(b"\n") if line.strip()]
    if len(lines) != vertex_count + face_count:
        raise ScanError(
            f"the file promises {vertex_count} vertices and {face_count} faces, and has {len(lines)} lines: {_DAMAGED}"
        )
    rows = _rows(lines[:vertex_count])
    if rows.shape[1] < 3:
        raise ScanError(f"the vertices of the file have {rows.shape[1]} coordinates, not three: {_DAMAGED}")
    polygons, sizes = _polygons(lines[vertex_count:], vertex_count)
    notes = list(last_line_notes(rest[counts.end() :]))
    faces, _ = cut_faces(np.array(rows[:, :3]), polygons, sizes, limits, notes)
    at = 3 + 3 * bool(head[3])
    colours = eight_bit(rows[:, at : at + 3]) if head[2] and rows.shape[1] >= at + 3 else None
    if head[2] and colours is None:
        notes.append(
            Note(
                "colours_unread",
                "The colors of the file are no numbers from 0 to 255, nor shares of 1, and were left out.",
            )
        )
    return Scan(np.array(rows[:, :3]), faces, colours=colours, notes=tuple(notes))


def _rows(lines: list[bytes]) -> FloatArray:
    text = b"\n".join(lines)
    counts, found = words_per_line(text), numbers_in(text)
    if found is None or (counts != counts[0]).any() or len(found) != counts.sum():
        raise ScanError(f"the vertices of the file are no table of numbers: {_DAMAGED}")
    return found.reshape(len(lines), -1)


def _polygons(lines: list[bytes], vertex_count: int) -> tuple[IntArray, IntArray]:
    """Return all corners in a row, and how many each face has; what follows them on a line is colour."""
    text = b"\n".join(lines)
    words, found = words_per_line(text), numbers_in(text)
    if not lines:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    if found is None or len(found) != words.sum():
        raise ScanError(f"a face of the file is no row of numbers, {shown(lines[0])} and on: {_DAMAGED}")
    starts = np.concatenate([[0], np.cumsum(words)[:-1]])
    sizes = found[starts]
    if not ((sizes >= 0) & (sizes == np.rint(sizes)) & (sizes < words)).all():
        bad = int(np.flatnonzero(~((sizes >= 0) & (sizes == np.rint(sizes)) & (sizes < words)))[0])
        raise ScanError(f"face {bad + 1} of the file has fewer corners than it promises: {_DAMAGED}")
    whole = sizes.astype(np.int64)
    within = np.arange(whole.sum()) - np.repeat(np.cumsum(whole) - whole, whole)
    corners = found[np.repeat(starts + 1, whole) + within]
    if not ((corners >= 0) & (corners < vertex_count) & (corners == np.rint(corners))).all():
        raise ScanError(f"a face of the file names a vertex that is not among its {vertex_count}: {_DAMAGED}")
    return corners.astype(np.int64), whole
