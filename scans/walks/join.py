"""Whether two walks are of one log, and how the second lies in the first: told where it is sure, else asked.

Our own rules, no source, learnt on invented scans (tests/benchmarks/walks.py, seeds 300-308): where the log is the same
the next best roll fits 1.9 times worse or more; where it is another the best two fit alike, and 18 mm off or more.
"""

from scans.errors import ScanError
from scans.log import Log
from scans.messages import long_length, named, short_length
from scans.walks.register import Registration, registered
from scans.walks.witness import Witness, witness_of

MOST_APART_M = 0.016
"""Two walks of one log do not lie farther apart than this, where both saw it. [m]"""

MOST_APART_TOLD_M = 0.007
"""Nor farther than this where only the user knows the roll, so that another log like it is not taken for it. [m]"""

MOST_SCALE_OFF = 0.025
"""Nor do their sizes, each within 1 % mostly, differ by more than this share."""

LEAST_SHARED = 0.25
"""Both must have seen so much of what each saw."""

CLEARLY_WORSE = 1.35
"""The best roll is taken where the next best fits so many times worse."""

KNOWN_WITHIN_DEG = 5.5
"""And where rolls farther off than this fit clearly worse: the best was then at most 0.36 times as far off, on invented
logs and real stems."""

TOLD_WITHIN_DEG = 20.0
"""How far off a roll may be that a user tells."""


def joined(one: Log, two: Log, number: int, rolled_deg: float | None = None) -> Registration:
    """Return how the log of scan `number` lies in that of the scans before it.

    one, two : logs made of them alone, of the size that the scans gave them. rolled_deg : how far the user says that it
    was rolled between, clockwise seen from the butt of the first.

    Raises ScanError where they are not of one log, saw too little of the same, where the roll is not sure, or is not
    as the user says.
    """
    first, second = witness_of(one), witness_of(two)
    found = registered(first, second)
    is_sure = found.known_within_deg <= KNOWN_WITHIN_DEG
    is_sure &= min(found.other_roll, found.other_end) >= CLEARLY_WORSE
    if found.misfit_m > MOST_APART_M or abs(found.scale - 1.0) > MOST_SCALE_OFF:
        raise _other_log(found, first, second, number)
    if found.shared < LEAST_SHARED:
        raise ScanError(
            f"scan {number} and those before it saw only {found.shared:.0%} of the same bark, too little to fit them "
            "together",
            "scan it again, rolled a third of a turn from how it lay",
        )
    if not is_sure:
        if rolled_deg is None:
            raise ScanError(
                f"how far the log was rolled before scan {number} is not sure: its shape fits "
                f"{turn_said(found.roll_deg)}, and others about as well",
                f"say how far you rolled it, clockwise looking at the butt: {named('rolled_deg', '150')}",
                field="rolled_deg",
            )
        least = found.misfit_m
        found = registered(first, second, rolled_deg, TOLD_WITHIN_DEG)
        if found.misfit_m > min(MOST_APART_TOLD_M, CLEARLY_WORSE * least):
            raise _not_as_told(found, rolled_deg, number)
        if found.other_end < CLEARLY_WORSE:
            raise ScanError(
                f"which end is which in scan {number} is not sure: the log fits those before it about as well end for "
                "end",
                "scan it again, rolled less, so that more of the same bark is seen",
            )
        return found
    if rolled_deg is not None and abs((found.roll_deg - rolled_deg + 180.0) % 360.0 - 180.0) > TOLD_WITHIN_DEG:
        raise _not_as_told(found, rolled_deg, number)
    return found


def turn_said(roll_deg: float) -> str:
    """Say how far a log was rolled, by the smaller turn, looking at its butt."""
    turn = round(roll_deg) % 360
    return f"{turn} degrees clockwise" if turn <= 180 else f"{360 - turn} degrees counterclockwise"


def _other_log(found: Registration, first: Witness, second: Witness, number: int) -> ScanError:
    return ScanError(
        f"scan {number} and those before it do not make one log: where they fit best they are "
        f"{short_length(found.misfit_m)} apart ({long_length(second.length_m)} long against "
        f"{long_length(first.length_m)})",
        "check that all are of one log, and that each shows both ends and all sides but the underside",
    )


def _not_as_told(found: Registration, rolled_deg: float, number: int) -> ScanError:
    return ScanError(
        f"{named('rolled_deg')}: scan {number} does not fit those before it at {turn_said(rolled_deg)}, but best at "
        f"{turn_said(found.roll_deg)}",
        "check which way you rolled it, clockwise looking at the butt, and which end the butt is: "
        f"{named('butt', 'other')}",
        field="rolled_deg",
    )
