"""The rules of jobs, with no server."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.contract import job_state
from service.contract.job_state import MOST_LOSSES, JobState, JobStateError, JobStatus

STEPS = {
    "started": job_state.started,
    "finished": job_state.finished,
    "failed": lambda status: job_state.failed(status, "it cannot be"),
    "cancel_asked": job_state.cancel_asked,
    "stopped": job_state.stopped,
    "put_back": job_state.put_back,
    "lost": lambda status: job_state.lost(status, "its process died"),
}
MAY = {
    JobState.QUEUED: {"started", "cancel_asked"},
    JobState.RUNNING: {"finished", "failed", "cancel_asked", "put_back", "lost"},
    JobState.DONE: set(),
    JobState.FAILED: set(),
    JobState.CANCELLED: {"cancel_asked"},
}


@pytest.mark.parametrize(("state", "step"), list(product(JobState, STEPS)))
def test_a_step_is_taken_only_from_where_it_may_be(state, step):
    if step in MAY[state]:
        STEPS[step](JobStatus(state))
    else:
        with pytest.raises(JobStateError):
            STEPS[step](JobStatus(state))


def test_a_job_runs_to_its_end():
    status = job_state.finished(job_state.started(JobStatus()))

    assert status == JobStatus(JobState.DONE, attempt=1)


def test_a_waiting_job_is_cancelled_at_once_and_a_running_one_when_it_stops():
    asked = job_state.cancel_asked(job_state.started(JobStatus()))

    assert job_state.cancel_asked(JobStatus()).state is JobState.CANCELLED
    assert (asked.state, asked.cancel_wanted) == (JobState.RUNNING, True)
    assert job_state.stopped(asked).state is JobState.CANCELLED
    assert job_state.lost(asked, "killed").state is JobState.CANCELLED
    assert job_state.put_back(asked).state is JobState.CANCELLED


def test_a_result_that_is_there_outlives_a_cancel():
    asked = job_state.cancel_asked(job_state.started(JobStatus()))

    assert job_state.finished(asked).state is JobState.DONE


def test_a_lost_job_runs_twice_more_and_then_fails_with_the_reason():
    status = JobStatus()
    for _ in range(MOST_LOSSES):
        status = job_state.lost(job_state.started(status), "its process died")
        assert status.state is JobState.QUEUED
    status = job_state.lost(job_state.started(status), "its process died")

    assert status.state is JobState.FAILED
    assert status.attempt == 3
    assert status.reason == "its process died, 3 times; it is not tried again"


def test_the_end_of_the_service_is_not_held_against_a_job():
    status = JobStatus()
    for _ in range(10):
        status = job_state.put_back(job_state.started(status))

    assert status == JobStatus(JobState.QUEUED, attempt=10)


@given(st.lists(st.sampled_from(sorted(STEPS)), max_size=30))
def test_whatever_happens_a_job_ends_once_and_no_attempt_comes_twice(names):
    status, ends, attempts = JobStatus(), 0, []
    for name in names:
        try:
            after = STEPS[name](status)
        except JobStateError:
            continue
        ends += after.state.is_ended and not status.state.is_ended
        if name == "started":
            attempts.append(after.attempt)
        assert not status.state.is_ended or after == status
        status = after

    assert ends <= 1
    assert attempts == list(range(1, len(attempts) + 1))
    assert status.losses <= MOST_LOSSES + 1
