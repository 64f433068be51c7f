"""How much of a whole job is done: its stages one after the other, each with the share of the time that it takes."""

LEAST_SHARE, LEAST_SECONDS = 0.05, 2.0
"""Earlier than this nobody can tell how long it takes yet (our own rule, no source)."""
_STAGES = {
    "scouting": (0.0, 0.3),
    "bucking": (0.1, 0.3),
    "refining": (0.3, 0.4),
    "pricing": (0.4, 0.5),
    "polishing": (0.5, 0.55),
    "checking what more is possible": (0.55, 0.65),
    "checking how sure it is": (0.65, 0.75),
    "choosing the best plans": (0.75, 0.85),
    "working out heights": (0.85, 0.9),
}
"""From what share of a search to what share a stage goes (our own guess). What comes after them tells no stage."""


def share_done(stage: str, done: int, total: int) -> float:
    """Return how much of a job is done, 0 to 1. A stage that is none of a search's is a step of so many."""
    part = min(done / total, 1.0) if total else 0.0
    low, high = _STAGES.get(stage, (0.0, 1.0))
    return low + (high - low) * part


def seconds_left(share: float, seconds: float) -> float | None:
    """Return how long a job takes yet, about; None where it is too early to tell. seconds : since it began."""
    if share < LEAST_SHARE or seconds < LEAST_SECONDS:
        return None
    return seconds * (1.0 - share) / share
