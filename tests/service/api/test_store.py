"""Records: the tables as they are mapped, one transaction for each step, and no attempt that ends another's job."""

import sqlite3
import threading
from types import SimpleNamespace

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from service.contract import job_state
from service.contract.documents import BestShown, ErrorShown
from service.contract.job_state import JobState, JobStateError
from service.contract.refusals import ConflictError, NotFoundError, TooManyError
from service.contract.ticks import Change
from service.store import store as store_module
from service.store.database import Database
from service.store.records import JobRow, PlanRow, Record
from service.store.store import HEAD_START, SMALL_BYTES, Store
from service.typed.files import MILL_FILE, PRICES_FILE, parse_document, settle
from service.typed.log_reading import AboutLog

ABOUT = AboutLog(species="white ash")
A_KEY = f"{'a':0>64}"
PLAN = SimpleNamespace(
    model_dump_json=lambda: "{}", plans=[SimpleNamespace(net=12.5, net_expected=11.5)], bound=SimpleNamespace(gap=0.01),
    currency="USD",
    mill=SimpleNamespace(name="mill"), prices=SimpleNamespace(name="book"), made_at="2026-01-01T00:00:00+00:00",
)  # fmt: skip


@pytest.fixture
def store(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'pithline.db'}")
    database.migrate()
    yield Store(database)
    database.close()


def added(store, digit="a", about=ABOUT, most_queued=10, file_bytes=3):
    return store.add_log(
        name="log",
        file_name="log.ply",
        file_sha256=f"{digit:0>64}",
        file_bytes=file_bytes,
        about=about,
        most_queued=most_queued,
    )


def running(store):
    log, _ = added(store)
    job = store.next_job()
    assert job.log_id == log.id
    return job


def planning(store):
    read = running(store)
    store.step_job(read.id, lambda status: job_state.failed(status, "not of interest"))
    store.queue("plan", read.log_id, {}, 10)
    return store.next_job()


def test_the_migrations_make_the_tables_that_are_mapped(store):
    with store.database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, Record.metadata)

    assert differences == []


def test_what_was_written_last_is_first_though_the_clock_was_set_back(store, monkeypatch):
    clock = iter(f"20{year}-01-01" for year in range(99, 10, -1))
    monkeypatch.setattr(store_module, "now", lambda: next(clock))
    logs = [added(store, digit)[0].id for digit in "abc"]
    mill, book = settle(None, MILL_FILE), settle(None, PRICES_FILE)
    mills = [store.write_mill(parse_document(mill.file, Mill)).id for _ in range(2)]
    books = [store.write_price_book(parse_document(book.file, PriceBook)).id for _ in range(2)]
    again = [store.write_mill(store.mill(mills[0]).mill, mills[0]).id]

    assert [log.id for log in store.logs()] == logs[::-1]
    assert [kept.id for kept in store.mills()] == mills
    assert store.mill().id == again[0]
    assert [kept.id for kept in store.price_books()] == books[::-1]
    assert store.price_book().id == books[-1]


def test_plans_stand_in_the_order_in_which_they_were_asked_for(store):
    read = running(store)
    store.step_job(read.id, lambda status: job_state.failed(status, "not of interest"))
    jobs = [store.queue("plan", read.log_id, {"lays": lays}, 10) for lays in (1, 2, 3)]
    for year, _ in enumerate(jobs):
        job = store.next_job()
        later = SimpleNamespace(**(vars(PLAN) | {"made_at": f"20{90 - year}-01-01"}))
        assert store.finish_plan(job.id, job.attempt, later)

    assert [line.id for line in store.plans()] == [job.id for job in jobs[::-1]]


def test_what_was_written_before_there_were_numbers_stands_in_the_order_of_its_times(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'old.db'}")
    database.migrate("0005")
    with database.writing() as session:
        for name, changed_at in (("second", "2026-02-02"), ("first", "2026-01-01"), ("third", "2026-03-03")):
            values = f"('{name}', '{name}', '{{}}', '{changed_at}')"
            session.execute(text(f"INSERT INTO mills (id, name, document, changed_at) VALUES {values}"))  # noqa: S608
    database.migrate()
    with database.reading() as session:
        names = session.execute(text("SELECT name, number FROM mills ORDER BY number")).all()
    database.close()

    assert [tuple(name) for name in names] == [("first", 1), ("second", 2), ("third", 3)]


def test_a_database_of_the_first_version_is_brought_up_to_date(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'old.db'}")
    database.migrate("0001")
    with database.writing() as session:
        session.execute(text("INSERT INTO mills VALUES ('a', 'Old', '{}', '2026-01-01')"))
    database.migrate()
    store = Store(database)
    planned = planning(store)

    assert store.finish_plan(planned.id, planned.attempt, PLAN)
    with database.reading() as session:
        assert session.execute(text("SELECT name FROM mills")).scalars().all() == ["Old"]
    database.close()


def test_jobs_of_an_older_database_keep_their_order_and_their_plans(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'old.db'}")
    database.migrate("0002")
    log, first, second, third = (digit * 32 for digit in "0cab")
    old_log = "INSERT INTO logs VALUES (:log, 'k', 'log', 'f', 's', 1, '{}', NULL, NULL, '2026')"
    old_job = (
        "INSERT INTO jobs VALUES (:job, 'plan', :log, '{}', 'done', 1, 0, 0, NULL, '', 0, 0, NULL, NULL, :day, "
        "NULL, NULL)"
    )
    old_plan = "INSERT INTO plans VALUES (:job, :log, 'plan', 'm', 'p', 'USD', 1, '2026', 'x', NULL)"
    with database.writing() as session:
        session.execute(text(old_log), {"log": log})
        for job, day in ((third, "3"), (first, "1"), (second, "2")):
            session.execute(text(old_job), {"job": job, "log": log, "day": day})
        session.execute(text(old_plan), {"job": second, "log": log})
    database.migrate()
    store = Store(database)

    assert [job.id for job in store.jobs()] == [third, second, first]
    assert [plan.id for plan in store.plans()] == [second]
    assert store.queue("plan", log, {}, 10).id == store.jobs()[0].id
    database.close()


def test_migrating_again_keeps_what_is_there(store):
    added(store)
    store.database.migrate()

    assert len(store.logs()) == 1


def test_sqlite_writes_ahead_and_keeps_references(store):
    with store.database.engine.connect() as connection:
        settings = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("journal_mode", "foreign_keys")]

    assert settings == ["wal", 1]


def test_one_upload_is_one_log_even_twice_at_once(store):
    found = []
    threads = [threading.Thread(target=lambda: found.append(added(store))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len({log.id for log, _ in found}) == 1
    assert sorted(was_here for _, was_here in found) == [False] + [True] * 5
    assert len(store.jobs()) == 1


def test_the_job_that_waited_longest_is_taken_up_once(store):
    first, second = added(store, "a")[0], added(store, "b")[0]

    assert [store.next_job().log_id, store.next_job().log_id] == [first.id, second.id]
    assert store.next_job() is None


@pytest.fixture
def clock(monkeypatch):
    """A clock that every look sets back."""
    times = (f"2026-01-01T00:00:{second:02d}.000+00:00" for second in range(59, 0, -1))
    monkeypatch.setattr(store_module, "now", lambda: next(times))


@pytest.mark.usefixtures("clock")
def test_a_clock_that_is_set_back_changes_no_order(store):
    jobs = [added(store, str(k), file_bytes=SMALL_BYTES + 1)[0].job_id for k in range(3)]

    assert [job.id for job in store.jobs()] == jobs[::-1]
    assert [store.next_job().id for _ in jobs] == jobs


@pytest.mark.usefixtures("clock")
def test_a_log_that_is_read_again_after_the_clock_was_set_back_is_being_read(store):
    job = running(store)
    error = ErrorShown(status=507, message="no", what_to_do="x")
    store.step_job(job.id, lambda at: job_state.failed(at, "no"), attempt=job.attempt, error=error)
    again, _ = added(store)

    assert (again.state, store.log(again.id).state) == ("reading", "reading")
    assert store.log(again.id).job_id != job.id


def test_small_jobs_go_before_scans_and_plans_the_oldest_first(store):
    scans = [added(store, str(k), file_bytes=SMALL_BYTES + 1, most_queued=50)[0] for k in range(20)]
    plan = store.queue("plan", scans[0].id, {}, 50)
    sheet = added(store, "a", most_queued=50)[0]
    way = store.queue("way", scans[0].id, {}, 50)
    taken = [store.next_job().id for _ in range(23)]

    assert taken == [sheet.job_id, way.id, *(scan.job_id for scan in scans), plan.id]


def test_a_scan_does_not_starve_behind_small_jobs(store):
    scan = added(store, "a", file_bytes=SMALL_BYTES + 1)[0]
    taken = []
    for k in range(HEAD_START + 5):
        added(store, f"b{k}")
        taken.append(store.next_job().id)

    assert taken.index(scan.job_id) == HEAD_START - 1


def test_no_more_jobs_wait_than_may(store):
    added(store, "a", most_queued=1)
    with pytest.raises(TooManyError, match="1 jobs wait already"):
        added(store, "b", most_queued=1)

    assert len(store.logs()) == 1


def test_a_plan_and_the_end_of_its_job_are_one(store, monkeypatch):
    job = planning(store)
    monkeypatch.setattr(PlanRow, "__init__", lambda *_, **__: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        store.finish_plan(job.id, job.attempt, PLAN)
    assert store.job(job.id).state is JobState.RUNNING
    monkeypatch.undo()
    assert store.finish_plan(job.id, job.attempt, PLAN)
    assert (store.job(job.id).state, store.job(job.id).gap) == (JobState.DONE, 0.01)
    assert [(plan.net, plan.net_expected) for plan in store.plans()] == [(12.5, 11.5)]


def test_a_plan_is_not_made_twice(store):
    job = planning(store)
    assert store.finish_plan(job.id, job.attempt, PLAN)

    assert not store.finish_plan(job.id, job.attempt, PLAN)
    assert len(store.plans()) == 1


def test_an_attempt_that_was_given_up_ends_nothing(store):
    job = running(store)
    store.step_job(job.id, lambda status: job_state.lost(status, "killed"), attempt=job.attempt)
    again = store.next_job()

    assert (again.id, again.attempt) == (job.id, 2)
    assert not store.note_progress(job.id, 1, "scouting", 1, 2, None)
    assert not store.finish_plan(job.id, 1, PLAN)
    assert store.step_job(job.id, lambda status: job_state.failed(status, "late"), attempt=1) is None
    assert store.note_progress(job.id, 2, "scouting", 1, 2, 3.5, 0.25)
    assert store.note_progress(job.id, 2, "choosing", 0, 2, None)
    noted = store.job(job.id)
    assert (noted.stage, noted.best_net, noted.gap) == ("choosing", 3.5, 0.25)


def test_a_worker_sees_that_its_job_was_cancelled_or_is_gone(store):
    job = running(store)
    store.step_job(job.id, job_state.cancel_asked)

    assert not store.note_progress(job.id, job.attempt, "scouting", 1, 2, None)
    store.remove_log(job.log_id)
    assert not store.note_progress(job.id, job.attempt, "scouting", 1, 2, None)
    with pytest.raises(NotFoundError):
        store.step_job(job.id, job_state.cancel_asked)


def test_a_job_that_ended_cannot_be_cancelled(store):
    job = planning(store)
    store.finish_plan(job.id, job.attempt, PLAN)

    with pytest.raises(JobStateError, match="is done"):
        store.step_job(job.id, job_state.cancel_asked)


@pytest.mark.parametrize(("status", "again"), [(500, True), (404, True), (507, True), (422, False)])
def test_a_reading_that_failed_by_no_fault_of_the_file_is_tried_again(store, status, again):
    job = running(store)
    error = ErrorShown(status=status, message="no", what_to_do="x")
    store.step_job(job.id, lambda at: job_state.failed(at, "no"), attempt=job.attempt, error=error)
    assert store.log(job.log_id).state == "failed"

    log, was_here = added(store)

    assert was_here
    assert (log.state == "reading") is again
    assert (log.job_id != job.id) is again


def test_what_is_said_anew_of_a_log_reads_it_again(store):
    job = running(store)

    changed = store.change_log(job.log_id, name=None, about=AboutLog(species="white oak"), most_queued=10)

    assert store.job(job.id).cancel_wanted
    assert (changed.state, changed.about.species) == ("reading", "white oak")
    assert changed.job_id != job.id
    other, _ = added(store)
    with pytest.raises(ConflictError):
        store.change_log(other.id, name=None, about=AboutLog(species="white oak"), most_queued=10)


def test_a_roll_that_was_said_turns_with_the_butt_end_that_it_was_said_of(store):
    log, _ = added(store)
    scan_id, _ = store.add_walk(
        log.id, file_name="two.ply", file_sha256="b" * 64, file_bytes=3, rolled_deg=120.0, most_queued=10
    )

    rolls = []
    for about in (AboutLog(butt="other"), AboutLog(butt="other", species="white oak"), AboutLog(species="white oak")):
        store.change_log(log.id, name=None, about=about, most_queued=10)
        rolls.append(store.walks(log.id, scan_id)[0].rolled_deg)

    assert rolls == [-120.0, -120.0, 120.0]


def test_a_log_goes_with_all_that_is_its_own_and_files_that_nobody_else_needs(store):
    job = planning(store)
    store.finish_plan(job.id, job.attempt, PLAN)
    twin, _ = added(store, "a", AboutLog())

    assert store.remove_log(job.log_id) == {A_KEY}
    assert store.unnamed({A_KEY}) == set()
    assert (store.plans(), [left.log_id for left in store.jobs()]) == ([], [twin.id])
    assert store.remove_log(twin.id) == {A_KEY}
    assert (store.named(), store.unnamed({A_KEY})) == (set(), {A_KEY})


def planned(store):
    job = planning(store)
    store.finish_plan(job.id, job.attempt, PLAN)
    return job


def test_ticks_are_kept_one_by_one_with_who_and_when(store):
    plan_id = planned(store).id

    store.change_tick(plan_id, "1", "pass-1", Change(is_ticked=True, who="Ann"))
    store.change_tick(plan_id, "1", "pass-2", Change(is_ticked=True))
    store.change_tick(plan_id, "plain", "pass-1", Change(is_ticked=True))
    store.change_tick(plan_id, "1", "pass-2", Change(is_ticked=False, who="Ben"))

    ticks = store.ticks(plan_id)
    assert [(tick.way, tick.step, tick.is_ticked, tick.who, tick.changes) for tick in ticks] == [
        ("1", "pass-1", True, "Ann", 1),
        ("1", "pass-2", False, "Ben", 2),
        ("plain", "pass-1", True, "", 1),
    ]
    assert all(tick.changed_at.endswith("+00:00") for tick in ticks)


def test_a_tick_that_is_made_many_times_at_once_is_changed_that_often(store):
    plan_id = planned(store).id
    threads = [
        threading.Thread(target=store.change_tick, args=(plan_id, "1", "pass-1", Change(is_ticked=True)))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [tick.changes for tick in store.ticks(plan_id)] == [8]


@pytest.mark.parametrize("with_its_log", [False, True])
def test_a_plan_takes_its_ticks_along(store, with_its_log):
    job = planned(store)
    store.change_tick(job.id, "1", "pass-1", Change(is_ticked=True))

    if with_its_log:
        store.remove_log(job.log_id)
    else:
        store.remove_plan(job.id)

    with store.database.reading() as session:
        assert session.execute(text("SELECT count(*) FROM ticks")).scalar() == 0
    with pytest.raises(NotFoundError):
        store.ticks(job.id)
    with pytest.raises(NotFoundError):
        store.change_tick(job.id, "1", "pass-1", Change(is_ticked=True))


def test_readers_do_not_wait_for_a_writer(store):
    added(store)
    with store.database.writing() as session:
        session.query(JobRow).update({"stage": "writing"})
        session.flush()

        assert store.jobs()[0].stage == "waiting"


def test_a_half_written_transaction_is_nothing_after_a_crash(store, tmp_path):
    added(store)

    def crash_half_way():
        with store.database.writing() as session:
            session.query(JobRow).update({"stage": "half"})
            session.flush()
            raise RuntimeError("crash")

    with pytest.raises(RuntimeError, match="crash"):
        crash_half_way()

    with sqlite3.connect(tmp_path / "pithline.db") as other:
        assert other.execute("select stage from jobs").fetchall() == [("waiting",)]
    other.close()


def test_the_same_order_joins_the_job_that_goes_on_and_another_does_not(store):
    read = running(store)
    store.step_job(read.id, lambda status: job_state.failed(status, "not of interest"))
    first = store.queue("plan", read.log_id, {"lays": 1}, 10)
    assert store.queue("plan", read.log_id, {"lays": 1}, 10).id == first.id
    other = store.queue("plan", read.log_id, {"lays": 2}, 10)
    assert other.id != first.id
    assert store.next_job().id == first.id
    assert store.queue("plan", read.log_id, {"lays": 1}, 10).id == first.id
    assert [job.id for job in store.ahead_of(other.id)] == [first.id]
    assert store.ahead_of(first.id) == []
    store.step_job(first.id, lambda status: job_state.failed(status, "not of interest"))
    assert store.queue("plan", read.log_id, {"lays": 1}, 10).id not in {first.id, other.id}


def test_the_best_so_far_is_kept_until_a_better_one_and_the_share_never_falls(store):
    job = running(store)
    best = BestShown(
        net=5.0, roll_deg=1.0, log_to_bed=((1.0,),), stretch_m=(0.0, 1.0), blade_heights_m=(0.5,), buck_cuts=()
    )
    assert store.note_progress(job.id, job.attempt, "scouting", 1, 2, 5.0, None, best, 0.4, 9.0)
    assert store.note_progress(job.id, job.attempt, "refining", 1, 2, None, None, None, 0.3, 8.0)

    shown = store.job(job.id)
    assert shown.best == best
    assert shown.share == 0.4
    assert shown.seconds_left == 8.0
