"""How far the log is turned before it is sawn, as the drawing of its butt end shows it.

The mark is a plumb line from the pith up, drawn on the butt before the log is moved: where it was, and where it goes.
"""

from math import cos, radians, sin

from service.drawings.svg import Drawing
from service.words.turn_words import turn_and_side, turn_told

TITLE_SIZE, TITLE_HIGH = 15.5, 44.0
BELOW_TITLE = "At the butt: what was up goes to the dot"
_HALO = {"fill": "none", "stroke": "#ffffff"}


def draw_turn(
    drawing: Drawing, roll_deg: float, middle: tuple[float, float], reach: float, *, is_done: bool
) -> None:  # fmt: skip
    """Write what to do at the top, and show it on the butt end by an arc.

    middle : the pith of the butt. reach : from there to the edge, about. is_done : whether the log is turned already.
    """
    turn, side = turn_and_side(roll_deg)
    words = "Leave it as it lies on the bed" if is_done else turn_told(roll_deg)
    drawing.text((6.0, 17.0), words, size=TITLE_SIZE, font_weight=700)
    if is_done or turn == 0:
        return
    shown = radians(turn if side == "clockwise" else -turn)
    (x, y), at = middle, 0.62 * reach
    up, tip = (0.0, -1.0), (sin(shown), -cos(shown))
    drawing.text((6.0, 36.0), BELOW_TITLE, size=15.0)
    drawing.shape(
        "line", "turn", x1=x, y1=y, x2=x, y2=y + reach * up[1], stroke_width=2.0, stroke_dasharray="4 4"
    )  # fmt: skip
    for css, width in (("halo", 7.0), ("turn", 3.5)):
        look = _HALO if css == "halo" else {}
        drawing.shape(
            "line", css, x1=x, y1=y, x2=x + reach * tip[0], y2=y + reach * tip[1], stroke_width=width, **look
        )  # fmt: skip
    sweep = 1 if shown > 0.0 else 0
    path = f"M{x:.1f} {y - at:.1f}A{at:.1f} {at:.1f} 0 0 {sweep} {x + at * tip[0]:.1f} {y + at * tip[1]:.1f}"
    for css, width in (("halo", 6.5), ("turn", 3.0)):
        drawing.shape("path", css, **({"fill": "none"} | (_HALO if css == "halo" else {})), d=path, stroke_width=width)
    drawing.shape(
        "circle", "turn-tip", cx=x + reach * tip[0], cy=y + reach * tip[1], r=7.0, stroke="#ffffff", stroke_width=2.0
    )  # fmt: skip
