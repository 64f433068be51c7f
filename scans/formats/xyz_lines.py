"""Lines of a table of points as text: where the numbers begin, what stands above them, and what parts them."""

import re
from dataclasses import dataclass

from scans.errors import ScanError
from scans.formats.number_text import shown

PLAIN = "export the table with decimal points, its columns parted by spaces"
_MOST_HEADER_LINES = 1000
_MOST_HEADER_ROWS = 20
_MOST_LINE_BYTES = 100_000
_COMMENT = re.compile(rb"(?:#|//)[^\n]*|^[ \t]*;[^\n]*", re.MULTILINE)
_NUMBER = re.compile(rb"[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_BETWEEN = re.compile(rb"[ \t]*[;,\t][ \t]*|[ \t]+")


@dataclass
class Head:
    """What stands above a table.

    rows : the words of each line there, and whether it is a comment. count : points that a line of its own promises.
    starts_at, first_line : the place and the number of the first line of numbers. parting : what parts its columns.
    has_points : whether a decimal point was seen in the table.
    """

    rows: list[tuple[list[str], bool]]
    count: int | None
    starts_at: int
    first_line: int
    parting: bytes
    has_points: bool = False


def head_of(text: bytes, at: int = 0, line: int = 1) -> Head:
    """Return what stands above the numbers of a text, from a place `at` on, in the line of that number.

    Raises ScanError where no numbers come within some lines, or a row of numbers holds something else.
    """
    rows: list[tuple[list[str], bool]] = []
    count: int | None = None
    named = 0
    for number in range(line, line + _MOST_HEADER_LINES):
        end = text.find(b"\n", at)
        end = len(text) if end < 0 else end
        if at >= len(text):
            return Head(rows, count, len(text), number, b" ")
        if end - at > _MOST_LINE_BYTES:
            raise ScanError(
                f"line {number} of the file has {end - at} bytes, no row of a table; check what the file is"
            )
        raw = text[at:end].strip().replace(b'"', b"")
        if raw.startswith((b"#", b"//", b";")):
            rows.append((_words(raw.lstrip(b"#/; \t")), True))
        elif raw:
            bare = re.sub(rb"(?:#|//).*", b"", raw)
            words = [word for word in _BETWEEN.split(bare.strip(b" \t;,")) if word]
            strange = [word for word in words if not _NUMBER.fullmatch(word)]
            if not strange and len(words) == 1 and count is None and re.fullmatch(rb"\d{1,15}", words[0]):
                count = int(words[0])
            elif not strange:
                return Head(rows, count, at, number, _parting(bare))
            elif (len(words) >= 3 and words[0] not in strange) or count is not None:
                raise ScanError(
                    f"line {number} of the file holds {shown(strange[0])}, which is no number; export it again"
                )
            else:
                rows.append((_words(raw), False))
                named += 1
        if named > _MOST_HEADER_ROWS:
            break
        at = end + 1
    raise ScanError("the file holds no table of numbers where one should begin; check what it is")


def _words(raw: bytes) -> list[str]:
    """Return the names of columns on a line, their units in brackets with them."""
    text = re.sub(r"\s+(?=[\[(])", "", raw.decode("utf-8", "replace")).strip(" \t;,")
    parting = next((mark for mark in ";\t," if mark in text), None)
    return [word.strip() for word in (text.split(parting) if parting else text.split())]


def _parting(row: bytes) -> bytes:
    """Return what parts the columns of a row: a semicolon, tab, comma or space."""
    for mark in (b";", b"\t"):
        if mark in row.strip():
            return mark
    if b"," not in row:
        return b" "
    if re.search(rb"[\d.],[-+\d.]", row) and re.search(rb"[\d.][ ]+[-+\d.]", row):
        raise ScanError(f"commas in the file could part columns or stand for decimal points: {PLAIN}")
    return b","


class Decimals:
    """Makes rows plain, columns parted by white space and decimals by points, and holds all blocks to one way."""

    def __init__(self, parting: bytes) -> None:
        self._parting = parting
        self._is_comma: bool | None = None

    def plain(self, block: bytes, first_line: int) -> bytes:
        """Return lines with equally many newlines, without comments, ready to be read as numbers.

        Raises ScanError where a column is empty, or commas and points are both there for decimals.
        """
        if b"#" in block or b"//" in block or block.lstrip(b" \t").startswith(b";") or b"\n;" in block:
            block = _COMMENT.sub(b"", block)
        if b'"' in block:
            block = block.replace(b'"', b"")
        mark = self._parting
        if mark == b" ":
            return block
        if mark in b";,":
            _check_empty(block, mark, first_line)
        if mark == b",":
            return block.replace(b",", b" ")
        has_comma, has_point = b"," in block, b"." in block
        if (has_comma and has_point) or (has_comma and self._is_comma is False) or (has_point and self._is_comma):
            raise ScanError(f"the file has commas and points in its numbers, from line {first_line} on: {PLAIN}")
        if has_comma or has_point:
            self._is_comma = has_comma
        return block.translate(bytes.maketrans(mark + b",", b" ."))


def _check_empty(block: bytes, mark: bytes, first_line: int) -> None:
    """Refuse rows with nothing between two marks, or before the first, as the next column would move there."""
    if not (b" " in block or b"\t" in block or mark * 2 in block or b"\n" + mark in block or block.startswith(mark)):
        return  # nearly all blocks, at a tenth of the time
    empty = re.search(rb"[%b][ \t]*[%b]|^[ \t]*[%b]" % (mark, mark, mark), block, re.MULTILINE)
    if empty is not None:
        line = first_line + block.count(b"\n", 0, empty.start())
        raise ScanError(f"line {line} of the file has an empty column; export the scan again")
