"""What the log is worth at every roll that was tried: how much it matters how it lies; its middle is as it lies."""

from optimizer.documents.plan import PlanDocument
from service.drawings.svg import Drawing
from service.words.measures import Measures
from service.words.turn_words import LOOKING, turn_in_full

WIDTH, HEIGHT = 340.0, 226.0
_LEFT, _RIGHT, _TOP, _FLOOR = 60.0, 328.0, 34.0, 172.0
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


def roll_chart(document: PlanDocument, measures: Measures) -> str:
    """Draw the best net found at each roll; the best plan and the plain way stand out. Needs two rolls at least."""
    # What refining found stands in the plans alone.
    found = {_either_side(at.roll_deg): at.net for at in document.value_by_roll}
    found |= {_either_side(plan.roll_deg): plan.net for plan in reversed(document.plans)}
    tried = sorted(found.items())
    worth = [net for _, net in tried if net is not None]
    best, plain = document.plans[0], document.plain_way
    marked = [best.net, *([plain.net] if plain is not None else [])]
    most, least = max([*worth, *marked]), min([*worth, *marked, 0.0])
    step = _step((most - least) / 3.0)

    def place(roll_deg: float, net: float) -> tuple[float, float]:
        share = (net - least) / (most - least or 1.0)
        return _LEFT + (roll_deg + 180.0) / 360.0 * (_RIGHT - _LEFT), _FLOOR - share * (_FLOOR - _TOP)

    low = f"between {measures.money(min(worth))} and {measures.money(max(worth))}" if worth else "nowhere possible"
    drawing = Drawing(f"What the log is worth by roll: {low}; best rolled {turn_in_full(best.roll_deg)}", "roll-chart")
    level = 0.0
    while level <= most:
        y = place(0.0, level)[1]
        drawing.line((_LEFT, y), (_RIGHT, y), "axis", 1.0)
        drawing.text((_LEFT - 6.0, y + 4.0), measures.money(level), "tick", 15, text_anchor="end", fill="#33413a")
        level += step
    for turn in range(-180, 181, 90):
        x = place(turn, least)[0]
        drawing.line((x, _FLOOR), (x, _FLOOR + 5.0), "axis", 1.2)
        anchor = "start" if turn == -180 else "end" if turn == 180 else "middle"
        drawing.text((x, _FLOOR + 19.0), f"{abs(turn)}", "tick", 15, text_anchor=anchor, fill="#33413a")
    for x, words, anchor in ((_LEFT, "counterclockwise", "start"), (_RIGHT, "clockwise", "end")):
        drawing.text((x, _FLOOR + 35.0), words, "tick", 15, text_anchor=anchor, fill="#33413a")
    drawing.text((0.5 * (_LEFT + _RIGHT), _FLOOR + 51.0), f"degrees of roll, {LOOKING}", "tick", 15,
                 text_anchor="middle", fill="#33413a")  # fmt: skip
    run: list[tuple[float, float]] = []
    # Half a turn either way is one and the same: the line reaches both edges.
    edge = [(180.0, net) for roll_deg, net in tried if roll_deg == -180.0]
    for roll_deg, net in [*tried, *edge, (0.0, None)]:
        if net is not None:
            run.append(place(roll_deg, net))
            continue
        if len(run) > 1:
            drawing.shape("polyline", "line", points=" ".join(f"{x:.1f},{y:.1f}" for x, y in run), stroke_width=2.5,
                          stroke_linejoin="round")  # fmt: skip
        run = []
    if plain is not None:
        x, y = place(_either_side(plain.roll_deg), plain.net)
        drawing.shape("circle", "other", cx=min(max(x, _LEFT + 6.0), _RIGHT - 6.0), cy=y, r=6.0, stroke_width=2.5)
    x, y = place(_either_side(best.roll_deg), best.net)
    drawing.shape("circle", "best", cx=x, cy=y, r=8.0, stroke_width=2.0)
    anchor = "start" if x < 90.0 else "end" if x > _RIGHT - 90.0 else "middle"
    drawing.text((x, _TOP - 16.0), measures.money(best.net), size=15, text_anchor=anchor, font_weight=700)
    return drawing.svg(WIDTH, HEIGHT)


def _either_side(roll_deg: float) -> float:
    """Return a roll in [-180, 180): clockwise is positive."""
    return (roll_deg + 180.0) % 360.0 - 180.0


def _step(about: float) -> float:
    size = 1.0
    while size * 10.0 <= about:
        size *= 10.0
    return next(size * factor for factor in _ROUND if size * factor >= about) if about > 0.0 else 1.0
