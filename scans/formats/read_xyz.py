"""From the bytes of a table of points as text (XYZ, TXT, CSV, PTS, ASC) to points, colours and normals."""

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import as_text, table_of
from scans.formats.point_columns import eight_bit, last_line_notes, unit_normals
from scans.formats.scan import ReadingLimits, Scan
from scans.formats.xyz_columns import Columns, is_colour, named_columns, usual_columns
from scans.formats.xyz_lines import PLAIN, Decimals, Head, head_of
from scans.log import FloatArray
from scans.messages import Note

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_BLOCK_BYTES = 1 << 24
_MOST_BLOCKS = 10_000
_OTHERS = re.compile(rb"\s*(ply\s|OFF\s|solid\s|[<{]|ISO-|v\s|o\s|mtllib\s|VERSION|version https|%PDF|PK)")


def read_xyz(data: bytes, limits: ReadingLimits, suffix: str) -> Scan:
    """Return the points of a table of text, with its colours and normals where it has them.

    data : the file's bytes. limits : at most limits.points lines of points are read.
    suffix : ".xyz", ".txt", ".csv", ".pts" or ".asc", with or without the dot; a PTS has intensity before colours.

    Columns stand between white space, commas or semicolons. A comma for the decimal point is read where semicolons or
    tabs part the columns. Names above the columns decide what they are; without, their usual order and their values
    do, with x y z first. Comments (#, //, ;) are passed over. A count in a line of its own is held to the lines
    that follow, and another block may come after them. Units are only stated by names such as x[mm].

    Lines are read in blocks, so that beside the result little is held.

    Raises ScanError, with the line where there is one, where the lines are no table of at least three columns, it is
    cut off, its commas could mean two things, or it holds more points than may be read.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    text = as_text(data, limits)
    if _OTHERS.match(text[:1000]):
        raise ScanError("the file does not begin as a table of points does; check what it is and rename it")
    unended = last_line_notes(text)
    head = head_of(text)
    columns: Columns | None = None
    points: list[FloatArray] = []
    shades: list[NDArray[np.float32]] = []
    normals: list[NDArray[np.float32]] = []
    count = 0
    for table in _tables(text, head, limits):
        if columns is None:
            columns = _columns(table, head, suffix.lower().lstrip(".") == "pts")
        count += len(table)
        if count > limits.points:
            raise ScanError(_too_many(count, limits))
        with np.errstate(all="ignore"):  # numbers beyond those of 32 bits
            points.append(table[:, columns.places])
            if columns.colours is not None:
                shades.append(table[:, columns.colours].astype(np.float32))
            if columns.normals is not None:
                normals.append(table[:, columns.normals].astype(np.float32))
    if columns is None:
        raise ScanError("the file holds no points; export the scan again")
    notes = [*unended, *columns.notes]
    colours = _colours(shades, columns.is_named, notes)
    places = np.concatenate(points)
    return Scan(
        places,
        colours=colours,
        normals=unit_normals(np.concatenate(normals), places) if normals else None,
        unit_m=columns.unit_m,
        notes=tuple(notes),
    )


def _colours(shades: list[NDArray[np.float32]], is_named: bool, notes: list[Note]) -> NDArray[np.uint8] | None:
    """Colours of all blocks; without names they must be what the first block made them be taken for."""
    if not shades:
        return None
    found = np.concatenate(shades)
    colours = eight_bit(found) if is_named or is_colour(found) else None
    if colours is None:
        notes.append(Note("colours_unread", "The colors of the file are no numbers from 0 to 255, and were left out."))
    return colours


def _columns(table: FloatArray, head: Head, is_intensity_first: bool) -> Columns:
    """Return what the columns are: as the last line above them that names x, y and z says, else as is usual."""
    count = table.shape[1]
    if count < 3:
        raise ScanError(f"the lines of the file have {count} columns, three at least are wanted: x, y and z")
    for words, is_comment in reversed(head.rows):
        named = named_columns(words)
        if named is not None and len(words) == count:
            return named
        if named is not None and not is_comment:
            raise ScanError(
                f"the header of the file names {len(words)} columns, and its lines have {count}: export it again"
            )
    if head.parting == b"," and count >= 4 and count % 2 == 0 and not head.has_points:
        raise ScanError(f"commas in the file could part columns or stand for decimal points: {PLAIN}")
    return usual_columns(table, is_intensity_first)


def _too_many(count: int, limits: ReadingLimits) -> str:
    return f"the file has {count} points or more, at most {limits.points} are read; thin it and export it again"


def _tables(text: bytes, head: Head, limits: ReadingLimits) -> Iterator[FloatArray]:
    """Yield the numbers of the text, block after block, all with equally many columns."""
    at, line, width, blocks = head.starts_at, head.first_line, 0, 0
    decimals = Decimals(head.parting)
    promised = head.count
    if promised is not None and promised > limits.points:
        raise ScanError(_too_many(promised, limits))
    while at < len(text):
        missing = promised
        while at < len(text) and missing != 0:
            stop = len(text) if missing is None else _after_lines(text, at, missing)
            while at < stop:
                end = text.find(b"\n", min(at + _BLOCK_BYTES, stop - 1), stop)
                end = stop if end < 0 else end + 1
                block = text[at:end]
                table = table_of(decimals.plain(block, line), line)
                if len(table):
                    if width not in {0, table.shape[1]}:
                        raise ScanError(
                            f"from line {line} on the file has {table.shape[1]} columns, before {width}: {_DAMAGED}"
                        )
                    width = table.shape[1]
                    head.has_points |= b"." in block
                    missing = None if missing is None else missing - len(table)
                    yield table
                at, line = end, line + block.count(b"\n")
        if missing:
            raise ScanError(
                f"the file promises {promised} points in a block, and {missing} of them are missing: {_DAMAGED}"
            )
        if promised is None:
            return
        # Another block, with its own count, or nothing more.
        rest = head_of(text, at, line)
        if rest.starts_at >= len(text) and rest.count is None:
            return
        blocks += 1
        if rest.count is None or not all(is_comment for _, is_comment in rest.rows) or blocks > _MOST_BLOCKS:
            raise ScanError(f"the file promises {promised} points and goes on after them, line {line}: {_DAMAGED}")
        at, line, promised = rest.starts_at, rest.first_line, rest.count
        if promised > limits.points:
            raise ScanError(_too_many(promised, limits))
    if promised:
        raise ScanError(f"the file promises {promised} points, and ends before them: {_DAMAGED}")


def _after_lines(text: bytes, at: int, count: int) -> int:
    """Return where in a text the line begins that is so many after another's beginning."""
    while at < len(text):
        end = min(at + _BLOCK_BYTES, len(text))
        here = text.count(b"\n", at, end)
        if here < count:
            count -= here
            at = end
            continue
        breaks = np.flatnonzero(np.frombuffer(text, dtype=np.uint8, count=end - at, offset=at) == ord("\n"))
        return at + int(breaks[count - 1]) + 1
    return len(text)
