"""What a way should net, as a bar from what one log in ten nets less than to what one in ten nets more than."""

from optimizer.documents.plan import Plan, PlanDocument
from service.drawings.svg import Drawing
from service.words.measures import Measures
from service.words.money_words import more_than_straight, range_words, worth

WIDTH, STRAIGHT = 340.0, "straight through"
_SIDE, _SIZE, _LETTER = 10.0, 15.0, 0.56
_HIGH = 12.0


def net_bar(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Draw the range of a way's net with its average as a dot, and sawing straight through as a ring.

    Nothing where doubt was not weighed. The ring is left out where the two cannot be compared.
    """
    low, high = plan.net_p10, plan.net_p90
    if low is None or high is None:
        return ""
    is_against = more_than_straight(document, plan) is not None
    straight = None if document.plain_way is None or not is_against else worth(document.plain_way)
    amounts = [low, high, worth(plan), *([] if straight is None else [straight])]
    least, most = min(amounts), max(amounts)

    def across(amount: float) -> float:
        return _SIDE + (amount - least) / (most - least or 1.0) * (WIDTH - 2.0 * _SIDE)

    against = "" if straight is None else f"; {STRAIGHT} {measures.money(straight)}"
    drawing = Drawing(
        f"{measures.money(worth(plan))}, 4 times out of 5 {range_words(plan, measures)}{against}", "net-bar"
    )
    top = 4.0
    if straight is not None:
        said = f"{STRAIGHT} {measures.money(straight)}"
        half = 0.5 * _LETTER * _SIZE * len(said)
        at = min(max(across(straight), half), WIDTH - half)
        drawing.text((at, 14.0), said, size=_SIZE, text_anchor="middle")
        top = 22.0
    bar = (across(low), max(across(high) - across(low), 4.0))
    middle = top + 0.5 * _HIGH
    drawing.line((_SIDE, middle), (WIDTH - _SIDE, middle), "axis", 2.0)
    drawing.shape("rect", "range", x=bar[0], y=top, width=bar[1], height=_HIGH, rx=_HIGH / 2, stroke_width=1.2)
    if straight is not None:
        drawing.shape("circle", "other", cx=across(straight), cy=middle, r=6.5, stroke_width=2.5)
    drawing.shape("circle", "best", cx=across(worth(plan)), cy=middle, r=8.0, stroke_width=2.0)
    return drawing.svg(WIDTH, top + _HIGH + 4.0)
