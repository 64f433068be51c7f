"""The faces of an OBJ as rows of its points and places on its pictures."""

from dataclasses import dataclass

import numpy as np

from scans.errors import ScanError
from scans.formats.number_text import marks_per_word, numbers_in, shown, words_per_line
from scans.formats.obj_lines import Block, Rows, bad_row
from scans.log import IntArray

_DAMAGED = "it is cut off or damaged; copy or export the file again"


@dataclass(frozen=True)
class Faces:
    """Polygons, one after another.

    corners, places : (K,) rows of the file's points, and of its places on pictures or -1. counts : (P,) corners of
    each. lines : (P,) where in the file each stands.
    """

    corners: IntArray
    places: IntArray
    counts: IntArray
    lines: IntArray


def faces_of(block: Block, points_before: int, places_before: int) -> Faces:
    """Return the faces of a block of lines, before which the file has so many points and places on pictures.

    Corners are written 1, 1/2, 1//3 or 1/2/3: a point, its place on the picture and its normal, from 1 on, or
    backwards from the last one so far, which is -1. Rows may be beyond the points, as these may yet come.

    Raises ScanError, with the line, where a corner is written otherwise.
    """
    rows = block.faces
    # A part that is left out is none of the whole numbers from 1 on; what is written 0 is told before.
    text = rows.text.replace(b"//", b"/0/").replace(b"/ ", b"/0 ").replace(b"/\n", b"/0\n").replace(b"/\t", b"/0\t")
    numbers = numbers_in(text.replace(b"/", b" "))
    slashes = marks_per_word(text, b"/")
    counts = words_per_line(rows.text)
    if (
        numbers is None
        or len(numbers) != len(slashes) + slashes.sum()
        or (slashes > 2).any()
        or (numbers != np.rint(numbers)).any()
        or (np.abs(numbers) > 2**53).any()
    ):
        raise ScanError(_no_face(rows))
    if (counts == 0).any():
        line = rows.lines[np.flatnonzero(counts == 0)[0]]
        raise ScanError(f"line {line} of the file is a face without corners: {_DAMAGED}")
    starts = np.cumsum(slashes + 1) - slashes - 1
    face = np.repeat(np.arange(len(counts)), counts)
    written = numbers[starts].astype(np.int64)
    if (written == 0).any():
        line = rows.lines[face[np.flatnonzero(written == 0)[0]]]
        raise ScanError(f"line {line} of the file has a face at point 0, and points count from 1: {_DAMAGED}")
    corners = _rows(written, points_before + block.vertex_count_at[face])
    places = np.full(len(starts), -1, dtype=np.int64)
    has_place = slashes > 0
    places[has_place] = _rows(
        numbers[starts[has_place] + 1].astype(np.int64), places_before + block.place_count_at[face[has_place]]
    )
    return Faces(corners, places, counts, rows.lines)


def _rows(written: IntArray, so_far: IntArray) -> IntArray:
    """Return rows from 0 of what is written from 1 on, or from -1 backwards; negative where it is none."""
    return np.where(written > 0, written - 1, np.where(written < 0, np.maximum(written + so_far, -1), -1))


def _no_face(rows: Rows) -> str:
    """Say which of some lines is no face."""
    lines = rows.text.split(b"\n")
    row, _ = bad_row(rows.text.replace(b"//", b" ").replace(b"/", b" "))
    for at in range(len(lines) if row == len(lines) - 1 else row + 1):
        for word in lines[at].split():
            parts = word.split(b"/")
            is_whole = all(part.lstrip(b"-+").isdigit() and len(part) < 16 for part in parts if part)
            if len(parts) > 3 or not parts[0] or not is_whole:
                return f"line {rows.lines[at]} of the file has the corner {shown(word)}, which is none: {_DAMAGED}"
    return f"line {rows.lines[min(row, len(rows.lines) - 1)]} of the file is no face: {_DAMAGED}"
