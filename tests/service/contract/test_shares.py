"""How much of a job is done: between 0 and 1, rising with its stages, and no time left is told too early."""

import books
import pytest
import shapes
from planned_logs import a_run, given_log

from optimizer.planning import Progress, SearchSettings, plan_log
from scans.log_of_scan import READING_STAGES
from service.contract.shares import _STAGES, seconds_left, share_done

SEARCH = ("scouting", "refining", "pricing", "polishing", "checking how sure it is", "working out heights")


def test_the_stages_of_a_search_follow_one_another() -> None:
    shares = [share_done(stage, done, 4) for stage in SEARCH for done in (1, 4)]

    assert shares == sorted(shares)
    assert 0.0 < shares[0] < shares[-1] <= 1.0


def test_a_search_names_no_stage_that_has_no_share(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimizer.planning.CHOICE_LOGS", 4)
    monkeypatch.setattr("optimizer.planning.REPORT_LOGS", 8)
    told: list[Progress] = []
    settings = SearchSettings(lays=16, doubt=True, buck="limbs")
    log = given_log(shapes.forked(lumpy=0.04))
    plan_log(log, books.mill(), books.prices(), settings=settings, run=a_run(), on_progress=told.append)

    assert {progress.stage for progress in told} == set(_STAGES)


def test_a_reading_goes_step_by_step() -> None:
    count = len(READING_STAGES) + 1
    shares = [share_done(stage, at, count) for at, stage in enumerate(READING_STAGES)]

    assert shares == [at / count for at in range(len(READING_STAGES))]


@pytest.mark.parametrize(
    ("share", "seconds", "left"), [(0.5, 10.0, 10.0), (0.25, 10.0, 30.0), (0.01, 10.0, None), (0.5, 0.5, None)]
)
def test_time_left_follows_what_is_done(share: float, seconds: float, left: float | None) -> None:
    assert seconds_left(share, seconds) == left


def test_a_stage_without_a_count_is_at_its_beginning() -> None:
    assert share_done("pricing", 0, 0) == share_done("pricing", 0, 9)
