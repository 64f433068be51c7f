"""Databases as earlier steps of the tables left them, with a row in every table: brought up to date, nothing is lost.

The dumps in old_databases/ are invented throughout, and were written by SQLite's own dump when their step was the last.
"""

import contextlib
import sqlite3
from pathlib import Path

import pytest
from alembic.script import ScriptDirectory

from optimizer.documents.plan import PlanDocument
from service.contract.job_state import JobState
from service.desk import open_desk
from service.settings import Settings
from service.store.database import Database, _config
from service.store.store import Store

DUMPS = sorted((Path(__file__).parent / "old_databases").glob("*.sql"))


@pytest.fixture(params=DUMPS, ids=lambda path: path.stem)
def old(request, tmp_path):
    """Return a data folder that holds such a database."""
    with contextlib.closing(sqlite3.connect(tmp_path / "pithline.db")) as connection:
        connection.executescript(request.param.read_text())
    return tmp_path


def rows(file):
    """Return all rows of all tables, each with its columns' names."""
    with contextlib.closing(sqlite3.connect(file)) as connection:
        connection.row_factory = sqlite3.Row
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [dict(row) for row in connection.execute(f"SELECT * FROM {name} ORDER BY 1")]  # noqa: S608 - own names
            for name in names
            if name != "alembic_version"
        }


def test_there_is_a_dump_of_every_earlier_step():
    steps = [script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()]

    assert {"0001", "0002"} <= {path.stem for path in DUMPS} <= set(steps)


def test_every_row_is_there_still_with_all_that_it_said(old):
    before = rows(old / "pithline.db")
    assert all(before.values()), "a table of the dump is empty"
    database = Database(f"sqlite:///{old / 'pithline.db'}")
    database.check()
    database.migrate()
    database.close()
    after = rows(old / "pithline.db")

    for name, old_rows in before.items():
        assert len(after[name]) == len(old_rows)
        for was, now in zip(old_rows, after[name], strict=True):
            assert was.items() <= now.items(), name


def test_the_store_reads_it_and_goes_on(old):
    expected = rows(old / "pithline.db")["plans"][0].get("net_expected")
    desk = open_desk(Settings(data_folder=old, slots=0))
    try:
        store = desk.store
        (log,) = store.logs()
        (plan,) = store.plans()
        ((_, mark),) = store.marks(log.id)
        assert (log.name, log.state, log.about.cost, log.facts.limbs) == ("Old maple", "ready", 250.0, 2)
        assert (mark.id, mark.depth_m) == ("metal 1", 0.1)
        assert [kept.mill.throat_m for kept in store.mills()] == [pytest.approx(56 * 0.0254)]
        assert [kept.prices.per_board_foot[0].price for kept in store.price_books()] == [6.0]
        assert {(job.kind, job.state) for job in store.jobs()} == {
            ("read", JobState.DONE),
            ("plan", JobState.DONE),
            ("way", JobState.FAILED),
        }
        assert (plan.net, plan.net_expected) == (12.5, expected)
        assert isinstance(desk.plan_document(plan.id), PlanDocument)
        store.queue("plan", log.id, {}, 10)
        assert store.next_job().log_id == log.id
        assert store.remove_log(log.id) == {"b" * 64, "c" * 64}
        assert (store.logs(), store.plans(), store.jobs()) == ([], [], [])
    finally:
        desk.close()


def test_what_an_old_database_names_is_known_before_it_is_brought_up_to_date(old):
    database = Database(f"sqlite:///{old / 'pithline.db'}")
    try:
        assert Store(database).named() == {"b" * 64, "c" * 64}
    finally:
        database.close()
