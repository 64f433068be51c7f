"""Which change of a tick stands, where several phones make them, some without a signal."""

from datetime import UTC, datetime, timedelta

import pytest

from service.contract.ticks import Change, Tick, changed

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def test_changes_that_are_sent_as_they_are_made_stand_in_the_order_they_arrive() -> None:
    first = changed(None, Change(is_ticked=True, who="Ann"), NOON)
    back = changed(first, Change(is_ticked=False, who="Ben"), NOON + minutes(1))
    again = changed(back, Change(is_ticked=True), NOON + minutes(2))

    assert first == Tick(is_ticked=True, who="Ann", changed_at=NOON, changes=1)
    assert back == Tick(is_ticked=False, who="Ben", changed_at=NOON + minutes(1), changes=2)
    assert (again.is_ticked, again.who, again.changes) == (True, "", 3)


@pytest.mark.parametrize("is_ticked", [True, False])
def test_a_late_change_stands_where_nobody_changed_the_tick_since_its_page_saw_it(is_ticked: bool) -> None:
    kept = Tick(not is_ticked, "Ben", NOON - minutes(90), 4)

    after = changed(kept, Change(is_ticked, "Ann", seen=4, seconds_ago=3600.0), NOON)

    assert after == Tick(is_ticked, "Ann", NOON - minutes(60), 5)


@pytest.mark.parametrize("seconds_ago", [0.0, 60.0, 3600.0])
def test_a_late_untick_takes_back_no_tick_that_its_page_did_not_see(seconds_ago: float) -> None:
    newer = Tick(is_ticked=True, who="Ben", changed_at=NOON - minutes(5), changes=3)

    assert changed(newer, Change(is_ticked=False, who="Ann", seen=1, seconds_ago=seconds_ago), NOON) is newer


def test_a_tick_that_somebody_made_already_stays_theirs() -> None:
    theirs = Tick(is_ticked=True, who="Ben", changed_at=NOON - minutes(5), changes=1)

    assert changed(theirs, Change(is_ticked=True, who="Ann", seen=0, seconds_ago=60.0), NOON) is theirs


def test_of_a_late_tick_and_an_untick_that_it_did_not_see_the_later_stands() -> None:
    taken_back = Tick(is_ticked=False, who="Ben", changed_at=NOON - minutes(10), changes=2)

    older = changed(taken_back, Change(is_ticked=True, who="Ann", seen=0, seconds_ago=900.0), NOON)
    newer = changed(taken_back, Change(is_ticked=True, who="Ann", seen=0, seconds_ago=300.0), NOON)

    assert older is taken_back
    assert newer == Tick(is_ticked=True, who="Ann", changed_at=NOON - minutes(5), changes=3)
