"""Text read as the numbers that it writes, or as none. All text here is invented."""

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats import number_text
from scans.formats.number_text import (
    as_text,
    blocks_of_lines,
    line_bounds,
    marks_per_word,
    numbers_in,
    shown,
    table_of,
    words_per_line,
)
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()


@pytest.mark.parametrize(
    "data",
    [
        b"v 1\nv 2\n",
        b"v 1\r\nv 2\r\n",
        b"v 1\rv 2\r",
        b"\xef\xbb\xbfv 1\nv 2\n",
        "v 1\nv 2\n".encode("utf-16"),
        b"\xfe\xff" + "v 1\r\nv 2\n".encode("utf-16-be"),
    ],
)
def test_every_writing_of_a_text_gives_the_same_bytes(data):
    assert as_text(data, LIMITS) == b"v 1\nv 2\n"


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"v 1\0", "should be text and is not"),
        (b"\xff\xfev\0 \0\x31", "cut off or damaged"),
        (b"\xff\xfe\x00\xd8v\0", "cut off or damaged"),
        (b"123456789", "has 9 bytes of text, at most 8 are read"),
    ],
)
def test_what_is_no_text_is_refused(data, line):
    with pytest.raises(ScanError, match=line):
        as_text(data, ReadingLimits(text_bytes=8))


def test_numbers_are_read_as_python_reads_them():
    words = ["1", "-2.5", "+.5", "3.", "1e-3", "-1.25E+2", "nan", "inf", "-inf", "0.1", "1e400", "007"]

    np.testing.assert_array_equal(numbers_in("\t ".join(words).encode()), [float(word) for word in words])
    assert len(numbers_in(b" \n\t")) == 0


@pytest.mark.parametrize("word", ["1,5", "1.5.5", "1-2", "1.0e", "0x10", "1_000", "x", "--1", "1d3", "١", "1\x01"])
def test_what_is_no_number_gives_none(word):
    assert numbers_in(f"1 2\n{word} 4".encode()) is None


def test_words_and_marks_are_counted():
    assert words_per_line(b"a b\n\n c/1/ \tdd e").tolist() == [2, 0, 3]
    assert words_per_line(b"a b\n\n").tolist() == [2, 0]
    assert marks_per_word(b"1/2/3 4 //5\n6/", b"/").tolist() == [2, 0, 2, 1]
    assert words_per_line(b"").tolist() == []
    assert marks_per_word(b" ", b"/").tolist() == []


@pytest.mark.parametrize("indent", [0, 1, 99, 100, 101, 500])
def test_lines_begin_with_their_first_word(indent):
    text = b" \n\nv 1\n" + b" " * indent + b"f 1\n" + b"\t" * indent + b"\n"
    starts, firsts, ends = line_bounds(text, np.frombuffer(text, dtype=np.uint8))
    assert starts.tolist() == [0, 2, 3, 7, 11 + indent]
    assert firsts.tolist() == [1, 2, 3, 7 + indent, 11 + 2 * indent]
    assert ends.tolist() == [1, 2, 6, 10 + indent, 11 + 2 * indent]


def test_blocks_end_with_lines_and_miss_nothing(monkeypatch):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", 10)
    text = b"".join(b"%d %d\n" % (row, row * row) for row in range(50)) + b"50 2500"

    blocks = list(blocks_of_lines(text))

    assert len(blocks) > 20
    assert b"".join(blocks) == text
    assert all(block.endswith(b"\n") for block in blocks[:-1])
    np.testing.assert_array_equal(table_of(text), [[row, row * row] for row in range(51)])


@pytest.mark.parametrize("block_bytes", [1, 1 << 20])
@pytest.mark.parametrize(
    ("text", "line"),
    [
        (b"1 2\n\n3 4\n5\n6 7", "line 13 of the file has 1 columns, those before have 2"),
        (b"1 2\n3 4,5\n", "line 11 of the file holds '4,5', which is no number"),
        (b"1 2\n3 \xff\xfe\n", r"line 11 of the file holds '\?\?', which is no number"),
    ],
)
def test_a_row_that_is_none_of_the_table_is_named(monkeypatch, block_bytes, text, line):
    monkeypatch.setattr(number_text, "_BLOCK_BYTES", block_bytes)
    with pytest.raises(ScanError, match=line):
        table_of(text, first_line=10)


def test_a_word_is_shown_short_and_printable():
    assert shown(b"bark\x1b[31m") == "'bark?[31m'"
    assert len(shown(b"x" * 1000)) == 42


def test_numbers_that_numpy_stopped_before_give_none(monkeypatch):
    monkeypatch.setattr(number_text.np, "fromstring", lambda *_, **__: np.array([1.0]))
    assert numbers_in(b"1 x") is None
