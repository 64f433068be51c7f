"""What a log is set on, as drawings of it on the bed show it: shims and blocks to scale, and the center of weight."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from optimizer.documents.plan import Holding, Plan, PlanDocument, SupportPlaced
from optimizer.report.bunk_places import bunk_number
from service.drawings.svg import Drawing
from service.words.measures import Measures
from service.words.support_words import is_set, member_words

RESTS = "rests"
WEIGHT, PITH = "center of weight", "pith"
_WIDE_M = 0.1
"""A shim or a block is about as wide, seen from either side. [m]"""
_LEAST_WIDE = 12.0
_SIZE = 15.0
_LETTER = 0.66 * _SIZE
"""As wide as a letter of a label, about, and rather more."""
_ROW = 17.0
_GAP = 8.0


@dataclass(frozen=True)
class _Label:
    """Words to write under a place. at : from the left."""

    at: float
    words: str
    css: str = "label"


Across = Callable[[SupportPlaced | Holding], float]
"""Where in a drawing a support stands, from the left."""


def draw_under(
    drawing: Drawing, document: PlanDocument, plan: Plan, measures: Measures, *, flipped: bool, across: Across,
    floor: float, scale: float, width: float, bunk_named: bool,
) -> float:  # fmt: skip
    """Draw what the log is set on, with heights written below the bunks; return where the last row of them ends.

    floor : the tops of the bunks, downwards. width : of the drawing. bunk_named : whether each height says which bunk
    it is on, where the drawing does not.
    """
    held = [one for one in plan.supports if one.flipped is flipped]
    for one in sorted(held, key=lambda one: -one.height_m):
        if is_set(one, measures):
            _block(drawing, "prop" if one.kind == "prop" else "shim", across(one), floor, one.height_m * scale, scale)
    bunks = [bunk_number(document.mill, plan, one.x_m) for one in held]
    labels = []
    for one, bunk in zip(held, bunks, strict=True):
        shared = not bunk_named and bunks.count(bunk) > 1
        where = f"bunk {bunk}: " if bunk_named else f"{member_words(plan, one)}: " if shared else ""
        labels.append(_Label(across(one), where + _held_words(one, measures)))
    over = plan.overturning
    if over is not None and over.flipped is flipped and over.holding is not None:
        at, height_m = across(over.holding), over.holding.height_m
        _block(drawing, "wanted", at, floor, height_m * scale, scale, stroke_dasharray="4 3")
        where = f"bunk {bunk_number(document.mill, plan, over.holding.x_m)}: " if bunk_named else ""
        labels.append(_Label(at, f"{where}needs {measures.short(height_m)}", "label-blade"))
    return _labels(drawing, labels, floor + 12.0, width)


def _block(
    drawing: Drawing, css: str, at: float, floor: float, height: float, scale: float, **more: object
) -> None:  # fmt: skip
    wide = max(_WIDE_M * scale, _LEAST_WIDE)
    tall = max(height, 2.0)
    drawing.shape("rect", css, x=at - wide / 2, y=floor - tall, width=wide, height=tall, stroke_width=1.2, **more)


def _held_words(support: SupportPlaced, measures: Measures) -> str:
    if not is_set(support, measures):
        return RESTS
    return f"{'blocks ' if support.kind == 'prop' else ''}{measures.short(support.height_m)}"


def _labels(drawing: Drawing, labels: Sequence[_Label], top: float, width: float) -> float:
    """Write labels as near under their places as they go without touching; return where the last row ends."""
    rows: list[list[tuple[float, float]]] = []
    for label in sorted(labels, key=lambda label: label.at):
        half = _LETTER * len(label.words) / 2
        middle = min(max(label.at, half), width - half)
        span = (middle - half - _GAP / 2, middle + half + _GAP / 2)
        row = next((k for k, row in enumerate(rows) if all(span[0] >= e or span[1] <= s for s, e in row)), len(rows))
        if row == len(rows):
            rows.append([])
        rows[row].append(span)
        place = (middle, top + _ROW * (row + 1))
        drawing.text(place, label.words, label.css, _SIZE, text_anchor="middle", font_weight=600)
    return top + _ROW * len(rows)


def draw_weight(drawing: Drawing, at: tuple[float, float]) -> None:
    """Mark the center of weight."""
    (x, y), reach = at, 6.0
    drawing.shape("circle", "weight", cx=x, cy=y, r=reach, stroke_width=1.8)
    for end in ((reach, 0.0), (0.0, reach)):
        drawing.line((x - end[0], y - end[1]), (x + end[0], y + end[1]), "weight", 1.8)


def draw_pith(drawing: Drawing, at: tuple[float, float]) -> None:
    """Mark a heart."""
    drawing.shape("circle", "pith", cx=at[0], cy=at[1], r=4.5, stroke_width=1.2)


def draw_key(drawing: Drawing, below: float, *, has_weight: bool, has_pith: bool) -> float:
    """Say in a row what the marks are; return where that row ends."""
    if not has_weight and not has_pith:
        return below
    row, left = below + _ROW + 3.0, 12.0
    for is_there, words, draw in ((has_weight, WEIGHT, draw_weight), (has_pith, PITH, draw_pith)):
        if is_there:
            draw(drawing, (left, row - 4.5))
            drawing.text((left + 12.0, row), words, size=_SIZE)
            left += 12.0 + _LETTER * len(words) + 24.0
    return row
