"""What a soak's client was told: what it made, changed and removed, and what it cannot know for want of an answer."""

import time
from dataclasses import dataclass, field
from threading import Lock
from typing import Any


@dataclass
class Kept:
    """Something that a client made.

    id : None while the request that made it has had no answer.
    says : what it may hold; more than one where a change has had no answer. perhaps_gone : its removal had none.
    """

    id: str | None
    says: list[dict[str, Any]]
    perhaps_gone: bool = False

    @property
    def is_sure(self) -> bool:
        """Whether it is known to be there."""
        return self.id is not None and not self.perhaps_gone

    def changed(self, change: dict[str, Any], *, answered: bool) -> None:
        """Note a change: for sure, or perhaps."""
        after = [said | change for said in self.says]
        self.says = after if answered else self.says + [said for said in after if said not in self.says]


@dataclass
class JobKept:
    """A job that was confirmed. ends : the states that it may end in. mill : name of the mill that was asked for."""

    id: str
    ends: set[str]
    mill: str | None = None
    plan_removed: bool | None = False


@dataclass
class LogKept(Kept):
    """A log with all that hangs on it.

    fails : whether its file cannot be read. is_heavy : whether its plans take many seconds.
    path, upload : what to send, and where, to have the same log again. jobs_unanswered : requests for a job that had
    no answer. ticks : by plan and pass, whether it is ticked, perhaps.
    """

    fails: bool = False
    is_heavy: bool = False
    path: str = "/api/logs"
    upload: dict[str, Any] | None = None
    marks: list[Kept] = field(default_factory=list)
    marks_of_sheet: int = 0
    jobs: list[JobKept] = field(default_factory=list)
    jobs_unanswered: int = 0
    ticks: dict[str, dict[int, set[bool]]] = field(default_factory=dict)


@dataclass
class Ledger:
    """All that one client was told."""

    logs: list[LogKept] = field(default_factory=list)
    mills: list[Kept] = field(default_factory=list)
    price_books: list[Kept] = field(default_factory=list)
    removed: set[str] = field(default_factory=set)


FAULTS = ("lost", "doubled", "stuck", "orphans", "5xx", "unanswered", "unexpected")


class Faults:
    """What was found wrong: each answer, and each thing that is not as it should be once, at whichever check."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._found: dict[str, dict[str, None]] = {kind: {} for kind in FAULTS}
        self._lock = Lock()

    def add(self, kind: str, what: str) -> None:
        """Note a fault."""
        self._note(kind, " ".join(what.split()))

    def add_answer(self, kind: str, what: str) -> None:
        """Note an answer, or none, with the time [s]: the same may come again, and counts again then."""
        self._note(kind, f"{time.monotonic() - self._start:.3f} s {' '.join(what.split())}")

    def _note(self, kind: str, what: str) -> None:
        with self._lock:
            self._found[kind][what] = None

    def counts(self) -> dict[str, int]:
        """Return how many of each kind there are."""
        with self._lock:
            return {kind: len(found) for kind, found in self._found.items()}

    def lines(self) -> list[str]:
        """Return all of them, one a line."""
        with self._lock:
            return [f"{kind}: {what}" for kind, found in self._found.items() for what in found]
