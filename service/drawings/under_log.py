"""What a log is set on, as drawings of it on the bed show it: shims and blocks to scale, and the center of weight."""

from collections.abc import Callable, Sequence

from optimizer.documents.plan import Holding, Plan, PlanDocument, SupportPlaced
from service.drawings.svg import Drawing
from service.words.measures import Measures
from service.words.support_words import bunk_number, is_set

RESTS = "rests"
WEIGHT = "center of weight"
_WIDE_M = 0.1
"""A shim or a block is about as wide, seen from either side. [m]"""
_LEAST_WIDE = 12.0
_SIZE = 13.0
_LETTER = 0.58 * _SIZE
"""As wide as a letter of a label, about, and rather more."""
_ROW = 16.0
_GAP = 8.0

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
    labels = [(across(one), _label(document, plan, one, measures, bunk_named=bunk_named)) for one in held]
    over = plan.overturning
    if over is not None and over.flipped is flipped and over.holding is not None:
        at, height_m = across(over.holding), over.holding.height_m
        _block(drawing, "wanted", at, floor, height_m * scale, scale, stroke_dasharray="4 3")
        labels.append((at, f"{measures.short(height_m)} needed here"))
    return _labels(drawing, labels, floor + 12.0, width)


def _block(
    drawing: Drawing, css: str, at: float, floor: float, height: float, scale: float, **more: object
) -> None:  # fmt: skip
    wide = max(_WIDE_M * scale, _LEAST_WIDE)
    tall = max(height, 2.0)
    drawing.shape("rect", css, x=at - wide / 2, y=floor - tall, width=wide, height=tall, stroke_width=1.2, **more)


def _label(
    document: PlanDocument, plan: Plan, support: SupportPlaced, measures: Measures, *, bunk_named: bool
) -> str:  # fmt: skip
    kind = "blocks " if support.kind == "prop" else ""
    said = f"{kind}{measures.short(support.height_m)}" if is_set(support, measures) else RESTS
    return f"bunk {bunk_number(document.mill, plan, support)}: {said}" if bunk_named else said


def _labels(drawing: Drawing, labels: Sequence[tuple[float, str]], top: float, width: float) -> float:
    """Write labels as near under their places as they go without touching; return where the last row ends."""
    rows: list[list[tuple[float, float]]] = []
    for at, words in sorted(labels):
        half = _LETTER * len(words) / 2
        middle = min(max(at, half), width - half)
        span = (middle - half - _GAP / 2, middle + half + _GAP / 2)
        row = next((k for k, row in enumerate(rows) if all(span[0] >= e or span[1] <= s for s, e in row)), len(rows))
        if row == len(rows):
            rows.append([])
        rows[row].append(span)
        drawing.text((middle, top + _ROW * (row + 1)), words, size=_SIZE, text_anchor="middle", font_weight=600)
    return top + _ROW * len(rows)


def draw_weight(drawing: Drawing, at: tuple[float, float], below: float) -> float:
    """Mark the center of weight, and say in a row below what the mark is; return where that row ends."""
    _weight(drawing, at)
    row = below + _ROW + 2.0
    _weight(drawing, (12.0, row - 4.5))
    drawing.text((24.0, row), WEIGHT, size=_SIZE)
    return row


def _weight(drawing: Drawing, at: tuple[float, float]) -> None:
    (x, y), reach = at, 6.0
    drawing.shape("circle", "weight", cx=x, cy=y, r=reach, stroke_width=1.8)
    for end in ((reach, 0.0), (0.0, reach)):
        drawing.line((x - end[0], y - end[1]), (x + end[0], y + end[1]), "weight", 1.8)
