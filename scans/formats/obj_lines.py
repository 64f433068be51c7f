"""The lines of an OBJ's text by what they begin with, block by block, each with its number in the file."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import blocks_of_lines, line_bounds, numbers_in, shown, words_per_line
from scans.log import FloatArray, IntArray

_DAMAGED = "it is cut off or damaged; copy or export the file again"
_KNOWN = frozenset(
    b"v vt vn vp f fo l p o g s mg usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj cstype "
    b"deg bmat step curv curv2 surf parm trim hole scrv sp end con ctech stech call csh vc".split()
)
_CONTINUED = re.compile(rb"^[ \t]*(?:v|vt|vn|f|l|p)[ \t][^\n]*\\\n(?:[^\n]*\\\n)*[^\n]*", re.MULTILINE)
_ODD_EXPONENT = re.compile(rb"([0-9.])([+-])([eE])([0-9])")
_BLANK = 32


@dataclass(frozen=True)
class Rows:
    """Lines of one sort without their first word, and their numbers in the file (L,)."""

    text: bytes
    lines: IntArray


@dataclass(frozen=True)
class Block:
    """Some lines of the file, one after another.

    vertices, places, faces : those that begin with v, vt and f. vertex_count_at, place_count_at : how many of those
    stand before each face within the block (L,). uses : lines and names of usemtl. libraries : of mtllib.
    unknown : first words that OBJ does not know.
    """

    vertices: Rows
    places: Rows
    faces: Rows
    vertex_count_at: IntArray
    place_count_at: IntArray
    uses: list[tuple[int, str]] = field(default_factory=list)
    libraries: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


def is_keyword(word: bytes) -> bool:
    """Whether OBJ has lines that begin with a word."""
    return word in _KNOWN


def plain(text: bytes) -> bytes:
    """Return a text without comments and with its continued lines joined; every line keeps its number."""
    if b"#" in text:
        pieces, at, mark = [], 0, text.find(b"#")
        while mark >= 0:
            # A mark within a word is part of a name.
            if mark == 0 or text[mark - 1] <= _BLANK:
                pieces.append(text[at:mark])
                at = text.find(b"\n", mark)
                at = len(text) if at < 0 else at
            mark = text.find(b"#", max(at, mark + 1))
        text = b"".join([*pieces, text[at:]])
    if b"\\\n" in text:
        text = _CONTINUED.sub(lambda found: found[0].replace(b"\\\n", b" ") + b"\n" * found[0].count(b"\\\n"), text)
    return text if text.endswith(b"\n") else text + b"\n"


def blocks_of(text: bytes) -> Iterator[Block]:
    """Cut a plain text into blocks of sorted lines.

    Raises ScanError where a line begins with what can be no word of an OBJ.
    """
    first_line = 1
    for piece in blocks_of_lines(text):
        block, count = _sorted(piece, first_line)
        yield block
        first_line += count


def _sorted(piece: bytes, first_line: int) -> tuple[Block, int]:
    letters = np.frombuffer(piece + b"\n\n\n", dtype=np.uint8).copy()
    starts, firsts, ends = line_bounds(piece, letters)
    lengths = ends + 1 - starts
    first, second, third = letters[firsts], letters[firsts + 1], letters[firsts + 2]
    is_short = second <= _BLANK
    is_long = (first == ord("v")) & (third <= _BLANK)
    is_vertex = is_short & (first == ord("v"))
    is_place = is_long & (second == ord("t"))
    is_face = is_short & (first == ord("f"))
    is_passed = (is_short & ((first == ord("l")) | (first == ord("p")))) | (is_long & (second == ord("n")))
    letters[firsts[is_vertex | is_face | is_place]] = _BLANK
    letters[firsts[is_place] + 1] = _BLANK

    def rows(is_own: NDArray[np.bool_]) -> Rows:
        own = letters[: len(piece)][np.repeat(is_own, lengths)]
        return Rows(own.tobytes(), first_line + np.flatnonzero(is_own))

    block = Block(
        rows(is_vertex),
        rows(is_place),
        rows(is_face),
        np.cumsum(is_vertex)[is_face],
        np.cumsum(is_place)[is_face],
    )
    for row in np.flatnonzero(~(is_vertex | is_place | is_face | is_passed) & (firsts < ends)):
        _take(piece[firsts[row] : ends[row]], int(first_line + row), block)
    return block, len(ends)


def _take(line: bytes, number: int, block: Block) -> None:
    """Add what a line of another sort says to a block."""
    word, *rest = line.split(None, 1)
    name = rest[0].strip().decode("utf-8", "replace") if rest else ""
    if word == b"usemtl":
        block.uses.append((number, name))
    elif word == b"mtllib":
        block.libraries.append(name)
    elif word not in _KNOWN:
        # A word of some program's own moves nothing; anything else may be a vertex that is none any more.
        if not re.fullmatch(rb"[A-Za-z_]{2}[A-Za-z_0-9]*", word[:40]):
            raise ScanError(f"line {number} of the file begins with {shown(word)}, as none of an OBJ does: {_DAMAGED}")
        block.unknown.append(word[:40].decode())


def numbers_of(rows: Rows) -> tuple[FloatArray, IntArray]:
    """Return all numbers of some lines in a row, and how many each line has (L,).

    Raises ScanError, with the line, where something in it is no number.
    """
    if b"," in rows.text:
        line = rows.lines[rows.text.count(b"\n", 0, rows.text.index(b","))]
        raise ScanError(f"line {line} of the file has decimal commas; export it again with decimal points")
    found = numbers_in(rows.text)
    if found is None:
        # Some programs write the sign of an exponent before its letter: 3.1+e2.
        found = numbers_in(_ODD_EXPONENT.sub(rb"\1\3\2\4", rows.text))
    if found is None:
        row, text = bad_row(rows.text)
        raise ScanError(f"line {rows.lines[row]} of the file holds {shown(text)}, which is no number: {_DAMAGED}")
    return found, words_per_line(rows.text)


def bad_row(text: bytes) -> tuple[int, bytes]:
    """Return the first line of a text that is not all numbers, as its number from 0 and what it is."""
    lines = text.split(b"\n")
    low, high = 0, len(lines)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if numbers_in(b"\n".join(lines[low:middle])) is None else (middle, high)
    return low, lines[low].strip()
