"""Text formats: bytes to lines, and lines to numbers, fast where they are regular."""

import re
import warnings
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray

_BLOCK_BYTES = 1 << 25
_SPACE = 32
_DEEPEST_INDENT = 100


def as_text(data: bytes, limits: ReadingLimits) -> bytes:
    """Return a text file's bytes as UTF-8 or ASCII without a mark of its order, its lines ended by one newline each.

    Raises ScanError where the bytes are no text, or more than may be read.
    """
    if len(data) > limits.text_bytes:
        raise ScanError(
            f"the file has {len(data)} bytes of text, at most {limits.text_bytes} are read; thin the scan and export it"
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeError as error:
            raise ScanError("the text of the file is cut off or damaged; copy or export it again") from error
    data = data.removeprefix(b"\xef\xbb\xbf")
    if b"\0" in data:
        raise ScanError("the file should be text and is not; check what it is and rename it")
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data


def numbers_in(text: bytes) -> FloatArray | None:
    """Return all numbers of a text (N,), between white space; None where something in it is no number."""
    words = _count_words(text)
    if not words:
        return np.zeros(0)
    with warnings.catch_warnings():
        # Older numpy stops at what it cannot read and only warns of it.
        warnings.simplefilter("error", DeprecationWarning)
        try:
            found = np.fromstring(text, dtype=np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            return None
    # The filter of warnings is one for all threads, so that another may have taken it away.
    return found if len(found) == words else None


def words_per_line(text: bytes) -> IntArray:
    """Return how many words stand on each line (L,), those of empty lines too."""
    line_of, count = _lines_of_words(text)
    return np.bincount(line_of, minlength=count)


def marks_per_word(text: bytes, mark: bytes) -> IntArray:
    """Return how often one byte occurs in each word of a text (W,)."""
    letters = np.frombuffer(text, dtype=np.uint8)
    word_of = np.cumsum(_starts(letters)) - 1
    words = int(word_of[-1]) + 1 if len(word_of) else 0
    return np.bincount(word_of[letters == mark[0]], minlength=words)


def _count_words(text: bytes) -> int:
    return sum(int(np.count_nonzero(_starts(np.frombuffer(block, dtype=np.uint8)))) for block in blocks_of_lines(text))


def _starts(letters: NDArray[np.uint8]) -> NDArray[np.bool_]:
    black = letters > _SPACE
    starts = black.copy()
    starts[1:] &= ~black[:-1]
    return starts


def _lines_of_words(text: bytes) -> tuple[IntArray, int]:
    letters = np.frombuffer(text, dtype=np.uint8)
    breaks = np.flatnonzero(letters == ord("\n"))
    return np.searchsorted(breaks, np.flatnonzero(_starts(letters))), len(breaks) + (
        len(text) > 0 and not text.endswith(b"\n")
    )


def line_bounds(block: bytes, letters: NDArray[np.uint8]) -> tuple[IntArray, IntArray, IntArray]:
    """Return where each line of a block begins, where its first word does, and where its newline is (L,) each.

    block : bytes that end with a newline. letters : the same as numbers, perhaps with more after them. The first word
    of an empty line is its newline.
    """
    ends = np.flatnonzero(letters[: len(block)] == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1])
    firsts = starts.copy()
    rows = np.flatnonzero((letters[firsts] <= _SPACE) & (firsts < ends))
    for _ in range(_DEEPEST_INDENT):
        firsts[rows] += 1
        rows = rows[(letters[firsts[rows]] <= _SPACE) & (firsts[rows] < ends[rows])]
        if not len(rows):
            break
    for row in rows:
        line = block[firsts[row] : ends[row]]
        firsts[row] += len(line) - len(line.lstrip())
    return starts, firsts, ends


def blocks_of_lines(text: bytes) -> Iterator[bytes]:
    """Cut a text between lines into blocks that are small beside a large file."""
    at = 0
    while at < len(text):
        end = text.find(b"\n", at + _BLOCK_BYTES)
        end = len(text) if end < 0 else end + 1
        yield text[at:end]
        at = end


def table_of(text: bytes, first_line: int = 1) -> FloatArray:
    """Return a text's table of numbers (rows, columns), empty lines left out.

    first_line : the number of the text's first line in its file, for messages.

    Raises ScanError, with the line, where a row has another count of columns than the first, or holds no number.
    """
    parts: list[FloatArray] = []
    columns, line = -1, first_line
    for block in blocks_of_lines(text):
        counts = words_per_line(block)
        here = counts[counts > 0]
        if len(here):
            columns = int(here[0]) if columns < 0 else columns
            if (here != columns).any():
                at = int(np.flatnonzero((counts > 0) & (counts != columns))[0])
                raise ScanError(
                    f"line {line + at} of the file has {counts[at]} columns, those before have {columns}: "
                    "it is cut off or damaged; copy or export it again"
                )
            found = numbers_in(block)
            if found is None or len(found) != columns * len(here):
                raise ScanError(_no_number(block, line))
            parts.append(found.reshape(-1, columns))
        line += len(counts)
    return np.concatenate(parts) if parts else np.zeros((0, 0))


def _no_number(text: bytes, first_line: int) -> str:
    for number, row in enumerate(text.split(b"\n"), first_line):
        for word in row.split():
            if numbers_in(word) is None:
                return f"line {number} of the file holds {shown(word)}, which is no number; export the scan again"
    return f"line {first_line} and on of the file hold what is no number; export the scan again"


def shown(word: bytes) -> str:
    """Return a word of a file for a message: printable, and not long."""
    return repr(re.sub(rb"[^\x20-\x7e]", b"?", word[:40]).decode())
