"""How much of a log's girth was seen along it, and whether that is enough to go by.

Under 30 % of the girth along half of the length is refused, under 45 % along a quarter warned of (our own rules, no
source).
"""

import numpy as np

from scans.errors import ScanError
from scans.fit.members import Members
from scans.log import FloatArray
from scans.messages import Note, named

LITTLE = 0.45
"""Where less of the girth was seen than this, the other side is little more than a guess."""

TOO_LITTLE = 0.30
MOST_LITTLE_LENGTH = 0.25
"""Share of the length with little girth seen from which on the user is told."""

MOST_TOO_LITTLE_LENGTH = 0.5
_STATION_M = 0.1
_BINS = 24
_NEAR_M = 0.04


def girth_seen(members: Members, main: int, places_m: FloatArray) -> tuple[Note, ...]:
    """Return what is to be said of how much was seen of stem and limbs, the first `main` members.

    places_m : (N, 3), spread evenly over what was seen.

    Our rules, no source: where on over a quarter of the length less than 45 % of the girth was seen, a warning;
    where on over half of it less than 30 %, no plan. Raises ScanError then.
    """
    shares = np.concatenate([_shares(members, m, places_m) for m in range(main)])
    notes = []
    if _at(shares, TOO_LITTLE) > MOST_TOO_LITTLE_LENGTH:
        raise ScanError(
            f"the scan saw {np.median(shares):.0%} of the girth, and under {TOO_LITTLE:.0%} along "
            f"{_at(shares, TOO_LITTLE):.0%} of the log: too little to tell its form by",
            f"walk all around it and film both sides, its top and its ends, or write {named('log_sheet')}",
        )
    if _at(shares, LITTLE) > MOST_LITTLE_LENGTH:
        notes.append(
            Note(
                "little_seen",
                f"The scan saw under {LITTLE:.0%} of the girth along {_at(shares, LITTLE):.0%} of the log, so the plan "
                "may be far off. Film both sides and the top again, or roll the log and scan it once more.",
                bears_on_plan=True,
            )
        )
    return tuple(notes)


def _at(shares: FloatArray, below: float) -> float:
    """Return the share of stations with less seen than `below`."""
    return float((shares < below).mean())


def _shares(members: Members, member: int, places_m: FloatArray) -> FloatArray:
    """Share of the girth seen at each station of a member that is not inside another."""
    at = members.places(places_m)
    on = (np.abs(at.off_m[:, member]) < _NEAR_M) & (at.share[:, member] > 0.5)
    count = max(3, round(members.lengths_m[member] / _STATION_M))
    station = np.clip(at.along_m[on, member] / members.lengths_m[member] * count, 0, count - 1).astype(np.int64)
    turn = ((at.angle[on, member] / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS
    seen = np.zeros((count, _BINS), dtype=np.bool_)
    seen[station, turn] = True
    # Of a girth that is partly inside another member only what is outside counts.
    along = (np.arange(count) + 0.5) / count * members.lengths_m[member]
    angle = (np.arange(_BINS) + 0.5) / _BINS * 2.0 * np.pi - np.pi
    middle, radius = members.line_m(member, along), members.radius_m(member, along)
    frames = members.frames_at(member, along)
    ring = np.cos(angle)[:, None] * frames[:, None, 1] + np.sin(angle)[:, None] * frames[:, None, 2]
    points = middle[:, None] + radius[:, None, None] * ring
    outside = members.places(points.reshape(-1, 3)).share[:, member].reshape(count, _BINS) > 0.5
    bare = outside.sum(axis=1) >= _BINS // 2
    return np.asarray((seen & outside).sum(axis=1)[bare] / outside.sum(axis=1)[bare])
