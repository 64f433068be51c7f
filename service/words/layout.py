"""Plain text that fits a page 80 columns wide, on a terminal and in a file alike.

No boxes and no colors, so that it reads the same on a terminal, in a file and on paper. The column gap narrows before a
table grows past 80 columns.
"""

import textwrap
from collections.abc import Sequence

PAGE_WIDTH = 80
_WIDE_GAP, _NARROW_GAP = "  ", " "


def columns(header: Sequence[str], rows: Sequence[Sequence[str]], *, left: Sequence[int] = (0,)) -> list[str]:
    """Set rows under a header, each column as wide as it must be.

    rows : each as long as the header. header : a line break starts its second line.
    left : the columns set to the left; others to the right.
    The gap between columns narrows to one blank where two would not fit the page.
    """
    heads = [text.split("\n") for text in header]
    depth = max(len(lines) for lines in heads)
    head_rows = [[lines[at] if at < len(lines) else "" for lines in heads] for at in range(depth)]
    cells = [*head_rows, *rows]
    widths = [max(len(row[at]) for row in cells) for at in range(len(header))]
    fits = sum(widths) + len(_WIDE_GAP) * (len(widths) - 1) <= PAGE_WIDTH
    gap = _WIDE_GAP if fits else _NARROW_GAP
    return [
        gap.join(
            cell.ljust(width) if at in left else cell.rjust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]


def aligned(numbers: Sequence[str]) -> list[str]:
    """Pad numbers so that their whole parts end below one another: `29` above `26 11/16`."""
    longest = max((len(number.partition(" ")[2]) for number in numbers), default=0)
    if not longest:
        return list(numbers)
    split = [number.rpartition(" ") if "/" in number else (number, " ", "") for number in numbers]
    return [f"{whole} {fraction.ljust(longest)}" for whole, _, fraction in split]


def paragraph(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    """Fill a paragraph to the page; `first` stands before its first line, `rest` before the others."""
    after = " " * len(first) if rest is None else rest
    return textwrap.wrap(
        text, PAGE_WIDTH, initial_indent=first, subsequent_indent=after, break_long_words=False, break_on_hyphens=False
    ) or [first.rstrip()]


def sums(rows: Sequence[tuple[str, str, str]]) -> list[str]:
    """Set rows of what, how much, and a remark."""
    what = max(len(row[0]) for row in rows)
    amount = max(len(row[1]) for row in rows)
    return [f"  {a.ljust(what)}  {b.rjust(amount)}  {c}".rstrip() for a, b, c in rows]
