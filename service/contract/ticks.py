"""Ticks on a cut list, made by several phones at once, some of them without a signal: which change of a tick stands.

Each step of a way (`pass-3`, `roll`, `shim-1`) has a tick of its own, and each change is sent by itself, so that no
page writes over a tick that it does not know of. A tick that was taken back stays on record, as not ticked, with how
often it was changed.

- A change that is sent as it is made stands, in the order of arrival. No clock of a phone is asked.
- One that waited for a signal says how often the tick was changed when its page saw it last (`seen`). Where nobody
  changed it since, it stands.
- Where somebody did, taking back is refused: it was meant for another tick than the one that is there now. A tick too
  many is seen at the log; one that is lost has a pass sawn that should not be, or the wood left unmeasured.
- Where somebody took it back meanwhile, the later of the two stands. How long ago the late one was made is a difference
  on its phone's own clock, so that a clock that is wrong all along does no harm; none lies in the future.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

MOST_WHO = 40
"""Letters of a name beside a tick; more would not fit beside it on a phone."""
MOST_SECONDS_AGO = 366 * 86400


@dataclass(frozen=True)
class Tick:
    """How a tick stands. changes : how often it was changed, which tells one state of it from another."""

    is_ticked: bool
    who: str
    changed_at: datetime
    changes: int


@dataclass(frozen=True)
class Change:
    """A tick that is made or taken back.

    who : a short name, or nothing. seen : `changes` of the tick when its page saw it last, 0 for none; None for a
    change that is sent as it is made. seconds_ago : how long it waited. [s]
    """

    is_ticked: bool
    who: str = ""
    seen: int | None = None
    seconds_ago: float = 0.0


def changed(kept: Tick | None, change: Change, now: datetime) -> Tick:
    """Return how a tick stands after a change. kept : how it stood; None for one that was never made."""
    is_late = change.seen is not None
    made_at = now - timedelta(seconds=change.seconds_ago if is_late else 0.0)
    if kept is not None and is_late and change.seen != kept.changes:
        takes_back_another = not change.is_ticked
        if takes_back_another or kept.is_ticked or made_at <= kept.changed_at:
            return kept
    return Tick(change.is_ticked, change.who, made_at, 1 if kept is None else kept.changes + 1)
