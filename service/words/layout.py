"""Plain text that fits a page 80 columns wide, on a terminal and in a file alike.

No boxes and no colors, so that it reads the same on a terminal, in a file and on paper. The column gap narrows before a
table grows past 80 columns.
"""

import re
import textwrap
from collections.abc import Sequence

PAGE_WIDTH = 80
_WIDE_GAP, _NARROW_GAP = "  ", " "
_NO_BREAK = "\u00a0"


def columns(header: Sequence[str], rows: Sequence[Sequence[str | None]], *, left: Sequence[int] = (0,)) -> list[str]:
    """Set rows under a header, each column as wide as it must be.

    rows : each as long as the header; None for a cell that the one to the left of it runs on over.
    header : a line break starts its next line. left : the columns set to the left; others to the right.
    The gap between columns narrows to one blank where two would not fit the page.
    """
    heads = [text.split("\n") for text in header]
    depth = max(len(lines) for lines in heads)
    cells: list[Sequence[str | None]] = [
        [lines[at] if at < len(lines) else "" for lines in heads] for at in range(depth)
    ]
    cells += rows
    runs = [[_run(row, at) for at in range(len(header))] for row in cells]
    widths = [
        max(len(row[at] or "") for row, run in zip(cells, runs, strict=True) if run[at] == 1)
        for at in range(len(header))
    ]
    fits = sum(widths) + len(_WIDE_GAP) * (len(widths) - 1) <= PAGE_WIDTH
    gap = _WIDE_GAP if fits else _NARROW_GAP
    return [
        gap.join(
            _set(cell, sum(widths[at : at + run]) + len(gap) * (run - 1), is_left=at in left)
            for at, (cell, run) in enumerate(zip(row, run_of_row, strict=True))
            if cell is not None
        ).rstrip()
        for row, run_of_row in zip(cells, runs, strict=True)
    ]


def _run(row: Sequence[str | None], at: int) -> int:
    """Return over how many columns a cell runs; 0 for one that another runs on over."""
    if row[at] is None:
        return 0
    after = at + 1
    while after < len(row) and row[after] is None:
        after += 1
    return after - at


def _set(cell: str, width: int, *, is_left: bool) -> str:
    return cell.ljust(width) if is_left else cell.rjust(width)


def aligned(numbers: Sequence[str]) -> list[str]:
    """Pad numbers so that their whole parts end below one another: `29` above `26 11/16`."""
    longest = max((len(number.partition(" ")[2]) for number in numbers), default=0)
    if not longest:
        return list(numbers)
    split = [number.rpartition(" ") if "/" in number else (number, " ", "") for number in numbers]
    return [f"{whole} {fraction.ljust(longest)}" for whole, _, fraction in split]


_WITHIN_A_MEASURE = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|ft|mm|cm|m|lb|kg|deg)\b)|(?<=\dft) (?=\d)|(?<=\d ft) (?=\d)")


def unbroken(text: str) -> str:
    """Return a text whose measures stay on one line: no unit or fraction stands alone at the start of the next."""
    return _WITHIN_A_MEASURE.sub(_NO_BREAK, text)


def paragraph(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    """Fill a paragraph to the page; `first` stands before its first line, `rest` before the others."""
    after = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(
        unbroken(text), PAGE_WIDTH, initial_indent=first, subsequent_indent=after, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace(_NO_BREAK, " ") for line in lines] or [first.rstrip()]


def sums(rows: Sequence[tuple[str, str, str]]) -> list[str]:
    """Set rows of what, how much, and a remark."""
    what = max(len(row[0]) for row in rows)
    amount = max(len(row[1]) for row in rows)
    return [line for a, b, c in rows for line in paragraph(c, first=f"  {a.ljust(what)}  {b.rjust(amount)}  ")]
