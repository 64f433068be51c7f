"""What state a job is in, and what may come of it: pure rules, with no database, process or clock.

queued --started--> running --finished--> done
  ^                   |------failed-----> failed
  |<----put_back------|                   the service ended
  |<------lost--------|------lost-------> failed, when its own process died too often
  |---cancel_asked---------------------> cancelled
                      |--cancel_asked, then stopped or lost--> cancelled
"""

from dataclasses import dataclass, replace
from enum import StrEnum

MOST_LOSSES = 2
"""So often a job whose process died runs again."""


class JobState(StrEnum):
    """Where a job is."""

    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"

    @property
    def is_ended(self) -> bool:
        """Whether nothing more will come of it."""
        return self in {JobState.DONE, JobState.FAILED, JobState.CANCELLED}


class JobStateError(ValueError):
    """A step that a job cannot take from the state that it is in."""


@dataclass(frozen=True)
class JobStatus:
    """Where a job is.

    attempt : how often it was started. A worker that holds an older number works in vain.
    losses : how often its process died while the service lived on. cancel_wanted : whether it is to be stopped.
    reason : why it failed.
    """

    state: JobState = JobState.QUEUED
    attempt: int = 0
    losses: int = 0
    cancel_wanted: bool = False
    reason: str | None = None


def started(status: JobStatus) -> JobStatus:
    """Take a queued job up."""
    _expect(status, JobState.QUEUED, "started")
    return replace(status, state=JobState.RUNNING, attempt=status.attempt + 1)


def finished(status: JobStatus) -> JobStatus:
    """End a job whose result is there, even where a cancel came too late."""
    _expect(status, JobState.RUNNING, "finished")
    return replace(status, state=JobState.DONE)


def failed(status: JobStatus, reason: str) -> JobStatus:
    """End a job that cannot be done, whoever tries."""
    _expect(status, JobState.RUNNING, "failed")
    return replace(status, state=JobState.FAILED, reason=reason)


def cancel_asked(status: JobStatus) -> JobStatus:
    """Cancel a waiting job, or ask a running one to stop; twice is as good as once."""
    if status.state is JobState.QUEUED:
        return replace(status, state=JobState.CANCELLED, cancel_wanted=True)
    if status.state is JobState.CANCELLED:
        return status
    _expect(status, JobState.RUNNING, "cancelled")
    return replace(status, cancel_wanted=True)


def stopped(status: JobStatus) -> JobStatus:
    """End a running job that was asked to stop."""
    _expect(status, JobState.RUNNING, "stopped")
    if not status.cancel_wanted:
        raise JobStateError("a job that nobody cancelled cannot be stopped; put it back instead")
    return replace(status, state=JobState.CANCELLED)


def put_back(status: JobStatus) -> JobStatus:
    """Let a running job wait again, through no fault of its own: the service ended, however it did."""
    _expect(status, JobState.RUNNING, "put back")
    return replace(status, state=JobState.CANCELLED if status.cancel_wanted else JobState.QUEUED)


def lost(status: JobStatus, why: str) -> JobStatus:
    """Let a job whose process died while the service lived on run again, or fail where that happened too often."""
    _expect(status, JobState.RUNNING, "lost")
    if status.cancel_wanted:
        return replace(status, state=JobState.CANCELLED)
    losses = status.losses + 1
    if losses <= MOST_LOSSES:
        return replace(status, state=JobState.QUEUED, losses=losses)
    reason = f"{why}, {losses} times; it is not tried again"
    return replace(status, state=JobState.FAILED, losses=losses, reason=reason)


def _expect(status: JobStatus, state: JobState, step: str) -> None:
    if status.state is not state:
        raise JobStateError(f"a job that is {status.state} cannot be {step}; it must be {state}")
