"""A roll in words: so many degrees to one side, 0 to 180, as one sees it looking at the butt."""

from service.words.measures import turn_deg

CLOCKWISE, COUNTERCLOCKWISE = "clockwise", "counterclockwise"
LOOKING = "looking at the butt"
COLUMN_KEY = f"degrees {CLOCKWISE} (cw) or {COUNTERCLOCKWISE} (ccw), {LOOKING}"
"""What a column of `turn_column` holds."""


def turn_words(roll_deg: float) -> str:
    """Say a roll where what one looks at is said already: `67 degrees counterclockwise`."""
    degrees, side = turn_and_side(roll_deg)
    return f"{degrees} {'degree' if degrees == 1 else 'degrees'} {side}" if degrees else "as it lies"


def turn_in_full(roll_deg: float) -> str:
    """Say a roll by itself: `67 degrees counterclockwise, looking at the butt`."""
    said = turn_words(roll_deg)
    return f"{said}, {LOOKING}" if turn_deg(roll_deg) else said


def turn_told(roll_deg: float) -> str:
    """Say what to do to the log: `Turn it 67 degrees counterclockwise`."""
    return f"Turn it {turn_words(roll_deg)}" if turn_deg(roll_deg) else "Don't turn it: it stays as it lies"


def turn_column(roll_deg: float) -> str:
    """Say a roll in a column that `COLUMN_KEY` explains: `67 ccw`."""
    degrees, side = turn_and_side(roll_deg)
    return f"{degrees} {'cw' if side == CLOCKWISE else 'ccw'}" if degrees else "0"


def turn_and_side(roll_deg: float) -> tuple[int, str]:
    """Return a roll as the smaller turn, in whole degrees from 0 to 180, and which way it goes."""
    turn = turn_deg(roll_deg)
    return (turn, CLOCKWISE) if turn <= 180 else (360 - turn, COUNTERCLOCKWISE)
