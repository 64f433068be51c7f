"""What a person gave is there still: whatever the database, whoever removes the same content, however full the disk."""

import contextlib
import multiprocessing
import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest
from served import refused, serving
from small_log import STRAIGHT

from service.contract import job_state
from service.contract.refusals import TooManyError
from service.desk import open_desk
from service.jobs import work as job_work
from service.settings import Settings
from service.store.database import Database
from service.store.file_store import FileStore
from service.store.store import Store
from service.typed.errors import InputError
from service.typed.log_reading import AboutLog
from service.words.messages import COMMAND_LINE, said

pytestmark = pytest.mark.usefixtures("own_files")
SCAN = b"ply\nof nothing that could be read\n"


@pytest.fixture
def settings(tmp_path):
    return Settings(data_folder=tmp_path / "data", slots=0, free_bytes=0)


@contextlib.contextmanager
def opened(settings):
    desk = open_desk(settings)
    try:
        yield desk
    finally:
        desk.close()


def with_a_log(settings, data=SCAN, name="log.ply", about=None):
    """Keep a log in a data folder; return the key of its file."""
    with opened(settings) as desk:
        return desk.add_scan(data, name, about=about).log.file_sha256


def trashed(settings):
    return {path.name: path for path in (settings.data_folder / "trash").glob("*/*")}


# Files and a database that do not belong to each other


def take_away(file):
    file.unlink()


def empty(file):
    for path in file.parent.glob("pithline.db*"):
        path.unlink()
    file.touch()


def tables_alone(file):
    take_away(file)
    database = Database(f"sqlite:///{file}")
    database.migrate()
    database.close()


@pytest.mark.parametrize("lose", [take_away, empty, tables_alone])
def test_files_beside_a_database_without_logs_stay_and_nothing_is_started(settings, lose):
    key = with_a_log(settings)
    file = settings.data_folder / "pithline.db"
    lose(file)
    was_there = file.exists()

    with pytest.raises(InputError, match="holds 1 files of logs, but the database holds no log") as told:
        open_desk(settings)

    assert FileStore(settings.data_folder / "files").read(key) == SCAN
    assert file.exists() == was_there
    line = said(told.value, None, COMMAND_LINE)
    assert "restore a backup (pithline restore), or give --set-aside, which" in line


def test_such_files_are_moved_to_the_trash_where_that_is_wanted(settings, caplog):
    key = with_a_log(settings)
    take_away(settings.data_folder / "pithline.db")

    with opened(settings.model_copy(update={"set_aside": True})) as desk:
        assert desk.store.logs() == []

    assert trashed(settings)[key].read_bytes() == SCAN
    assert str(trashed(settings)[key].parent) in caplog.text
    with opened(settings) as desk:
        assert not desk.files.has(key)


def test_files_that_an_older_database_does_not_name_go_to_the_trash(settings, caplog):
    first = with_a_log(settings)
    older = (settings.data_folder / "pithline.db").read_bytes()
    second = with_a_log(settings, SCAN + b"later\n")
    (settings.data_folder / "pithline.db").write_bytes(older)

    with opened(settings) as desk:
        assert [desk.files.has(first), desk.files.has(second)] == [True, False]

    assert trashed(settings)[second].read_bytes() == SCAN + b"later\n"
    assert "1 of 2 files are named by no log" in caplog.text


def test_files_that_are_missing_are_told(settings, caplog):
    key = with_a_log(settings)
    FileStore(settings.data_folder / "files").remove(key)

    with opened(settings):
        pass

    assert "1 files that logs need are not in" in caplog.text


def test_set_aside_is_typed(pithline):
    files = FileStore(Path("data/files"))
    files.make_folders()
    files.add(SCAN)

    code, out, err = pithline("serve", "--data", "data", "--port", "0")

    assert (code, out) == (2, "")
    assert err.startswith("data holds 1 files of logs, but the database holds no log; ")
    assert err.count("\n") == 1
    assert not Path("data/pithline.db").exists()


class Killed(BaseException):
    """In place of an end that runs nothing more."""


def cut_off_between(monkeypatch, *steps):
    """Let the server be killed once a step was done, before what would follow it."""

    def killed(*_, **__):
        raise Killed

    for owner, name in steps:
        monkeypatch.setattr(owner, name, killed)


def test_a_start_after_a_kill_between_the_first_file_and_its_record_needs_nobody(settings, monkeypatch, caplog):
    with opened(settings) as desk, monkeypatch.context() as during:
        cut_off_between(during, (Store, "add_log"), (Store, "unnamed"))
        with pytest.raises(Killed):
            desk.add_scan(SCAN, "log.ply")
        (key,) = desk.files.keys()

    with opened(settings) as desk:
        assert desk.files.keys() == []

    assert trashed(settings)[key].read_bytes() == SCAN
    assert "1 of 1 files are named by no log" in caplog.text


def test_a_start_after_a_kill_between_the_last_removal_and_its_file_needs_nobody(settings, monkeypatch):
    with_a_log(settings)
    with opened(settings) as desk, monkeypatch.context() as during:
        cut_off_between(during, (Store, "unnamed"))
        with pytest.raises(Killed):
            desk.remove_log(desk.store.logs()[0].id)
        assert len(desk.files.keys()) == 1

    with opened(settings) as desk:
        assert desk.files.keys() == []


def test_files_of_another_database_without_logs_stay(settings, tmp_path):
    with_a_log(settings)
    other = Settings(data_folder=tmp_path / "other", slots=0, free_bytes=0)
    with opened(other):
        pass
    take_away(settings.data_folder / "pithline.db")
    (other.data_folder / "pithline.db").rename(settings.data_folder / "pithline.db")

    with pytest.raises(InputError, match="holds 1 files of logs, but the database holds no log"):
        open_desk(settings)


def test_what_came_in_by_half_is_cleared_and_what_others_may_be_writing_is_not(settings):
    with opened(settings) as desk:
        incoming = desk.files.folder / "incoming"
        names = ("young", "old")
        for name in names:
            (incoming / name).write_bytes(b"half")
        (incoming / "links").mkdir()
        os.utime(incoming / "old", (0, 0))
        desk.files.clear_incoming(others_may_write=True)
        assert {path.name for path in incoming.iterdir()} == {"young", "links"}
        desk.files.clear_incoming(others_may_write=False)
        assert {path.name for path in incoming.iterdir()} == {"links"}
        os.utime(incoming / "links", (0, 0))
        desk.files.clear_incoming(others_may_write=False)
        assert list(incoming.iterdir()) == []


# The same content, removed and uploaded at once


def test_an_upload_while_the_same_content_is_removed_keeps_its_file(settings, monkeypatch):
    with opened(settings) as desk:
        old = desk.add_scan(SCAN, "log.ply").log
        forgotten, goes_on, added = threading.Event(), threading.Event(), []
        remove_log = Store.remove_log

        def held_open(store, log_id):
            keys = remove_log(store, log_id)
            forgotten.set()
            goes_on.wait(1.0)
            return keys

        def upload():
            forgotten.wait(10.0)
            added.append(desk.add_scan(SCAN, "log.ply").log)
            goes_on.set()

        monkeypatch.setattr(Store, "remove_log", held_open)
        uploading = threading.Thread(target=upload)
        uploading.start()
        desk.remove_log(old.id)
        uploading.join()

        assert [log.id for log in desk.store.logs()] == [added[0].id]
        assert desk.files.read(added[0].file_sha256) == SCAN


def test_a_sheet_that_is_refused_does_not_take_another_logs_file_with_it(settings):
    """The same content, once a scan by its name and once a sheet that is wrong."""
    with opened(settings) as desk:
        kept = desk.add_scan(b"not a sheet", "log.xyz").log
        with pytest.raises(InputError):
            desk.add_scan(b"not a sheet", "log.toml")

        assert desk.files.read(kept.file_sha256) == b"not a sheet"


def hold_the_lock(folder, holds, let_go):
    with FileStore(folder).lock():
        holds.set()
        let_go.wait(20.0)


def test_another_process_that_keeps_a_file_is_waited_for(settings):
    spawn = multiprocessing.get_context("spawn")
    holds, let_go = spawn.Event(), spawn.Event()
    with opened(settings) as desk:
        log = desk.add_scan(SCAN, "log.ply").log
        worker = spawn.Process(target=hold_the_lock, args=(desk.files.folder, holds, let_go))
        worker.start()
        assert holds.wait(60.0)
        removing = threading.Thread(target=desk.remove_log, args=(log.id,))
        removing.start()
        removing.join(0.3)
        was_waiting = removing.is_alive() and len(desk.store.logs()) == 1
        let_go.set()
        removing.join()
        worker.join()

        assert was_waiting
        assert desk.store.logs() == []
        assert desk.files.keys() == []


def test_what_was_read_goes_once_the_log_is_read_anew(settings):
    with opened(settings) as desk:
        log = desk.add_scan(SCAN, "log.ply").log
        read_key = desk.files.add(b"as it was read")
        with desk.store.database.writing() as session:
            session.connection().exec_driver_sql("UPDATE logs SET read_key = ?", (read_key,))
        desk.change_log(log.id, None, AboutLog(species="white oak"))

        assert desk.files.keys() == [log.file_sha256]


# What is refused leaves nothing


@pytest.mark.parametrize("path", ["/api/logs", "/logs"])
@pytest.mark.parametrize(
    ("file", "fields", "statuses"),
    [
        (("log.ply", SCAN), {"bark": "perhaps"}, {422}),
        (("log.ply", SCAN), {"species": "no such wood"}, {422, 202}),
        (("log.toml", b"species = 3"), {}, {422}),
        (("log.ply", SCAN + b"one more\n"), {"cost": "3"}, {429}),
    ],
)
def test_an_upload_that_is_refused_leaves_no_file(settings, path, file, fields, statuses):
    with serving(settings.model_copy(update={"most_queued": 1})) as client:
        if statuses == {429}:
            client.post("/api/logs", files={"file": ("first.toml", STRAIGHT)})
        before = {key for log in client.get("/api/logs").json() for key in [log["file_sha256"]]}
        status = client.post(path, files={"file": file}, data=fields).status_code
        kept = set(FileStore(settings.data_folder / "files").keys())
        named = {log["file_sha256"] for log in client.get("/api/logs").json()}

    assert status in statuses
    assert kept == named
    assert status == 202 or named == before


def test_a_log_that_no_more_jobs_may_wait_for_leaves_no_file(settings):
    with opened(settings.model_copy(update={"most_queued": 1})) as desk:
        kept = desk.add_scan(SCAN, "log.ply").log
        with pytest.raises(TooManyError):
            desk.add_scan(SCAN + b"more", "log.ply")

        assert desk.files.keys() == [kept.file_sha256]


# Disks that are full or cannot be written


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte; None where this user may not mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m,mode=700", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("needs the right to mount a small disk")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder):
    """Fill a disk to the last byte."""
    with (folder / "filler").open("ab", buffering=0) as stream, contextlib.suppress(OSError):
        while True:
            stream.write(b"\0" * 4096)


def test_a_full_disk_is_told_for_every_write(small_disk, settings):
    settings = settings.model_copy(update={"data_folder": small_disk / "data"})
    with serving(settings) as client:
        log_id = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()["log"]["id"]
        mill = client.get("/api/mills").json()[0]["mill"]
        fill(small_disk)
        large = client.post("/api/logs", files={"file": ("log.ply", b"x" * 900_000)})
        small = client.post("/api/logs", files={"file": ("log.ply", b"x" * 10)})
        page = client.post("/logs", files={"file": ("log.ply", b"x" * 10)})
        # The journal may hold a few pages more; then it is full, too.
        names = [client.patch(f"/api/logs/{log_id}", json={"name": "n" * 200}) for _ in range(300)]
        mills = [client.post("/api/mills", json=mill | {"name": "m" * 100}) for _ in range(300)]
        shown = client.get(f"/api/logs/{log_id}")
        (small_disk / "filler").unlink()
        again = client.patch(f"/api/logs/{log_id}", json={"name": "room again"})

    for answer in (large, small):
        assert "no room for the file on the service's disk" in refused(answer, 507)
    assert page.status_code == 507
    assert "no room" in page.text
    assert {answer.status_code for answer in names} <= {200, 507}
    assert {answer.status_code for answer in mills} <= {201, 507}
    assert "the database cannot be written (database or disk is full)" in refused(mills[-1], 507)
    assert shown.status_code == 200
    assert again.json()["name"] == "room again"


def planning(desk):
    """Return the order to plan a log, whose job runs."""
    read = desk.store.step_job(desk.add_scan(SCAN, "log.ply").job.id, job_state.started)
    desk.store.step_job(read.id, lambda status: job_state.failed(status, "not of interest"))
    desk.store.queue("plan", read.log_id, {}, 10)
    job = desk.store.next_job()
    return job_work.Order(desk.settings.database, str(desk.files.folder), job.id, job.attempt, 1)


def large_plan(worker):
    plans = [SimpleNamespace(net=1.0, net_expected=None)]
    named = SimpleNamespace(name="of the test")
    worker._finish(
        SimpleNamespace(
            model_dump_json=lambda: os.urandom(800_000).hex(), plans=plans, bound=None, currency="USD", mill=named,
            prices=named, made_at="2026-01-01",
        )
    )  # fmt: skip


@pytest.mark.parametrize("to_the_last", [False, True])
def test_a_job_whose_plan_the_disk_cannot_hold_fails_and_says_so(small_disk, settings, monkeypatch, to_the_last):
    monkeypatch.setattr(job_work._Worker, "plan", large_plan)
    monkeypatch.setattr(job_work, "_END_SECONDS", 0.05)
    with opened(settings.model_copy(update={"data_folder": small_disk / "data"})) as desk:
        order = planning(desk)
        if to_the_last:
            fill(small_disk)
            making_room = threading.Timer(0.5, (small_disk / "filler").unlink)
            making_room.start()
        job_work.work_off(order)
        job = desk.store.job(order.job_id)

    assert (job.state, job.error.status) == (job_state.JobState.FAILED, 507)
    assert job.error.message == "the database cannot be written (database or disk is full)"


def test_a_disk_that_cannot_be_written_is_one_line(small_disk, pithline):
    folder = small_disk / "data"
    with opened(Settings(data_folder=folder, slots=0, free_bytes=0)):
        pass
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    before = pithline("serve", "--data", str(folder), "--port", "0")
    new = pithline("serve", "--data", str(small_disk / "new"), "--port", "0")

    for code, out, err in (before, new):
        assert (code, out) == (2, "")
        assert "Read-only file system; " in err
        assert err.count("\n") == 1


def test_a_full_disk_at_the_start_is_one_line(small_disk, pithline):
    fill(small_disk)
    code, out, err = pithline("serve", "--data", str(small_disk / "data"), "--port", "0")

    assert (code, out) == (2, "")
    assert err.count("\n") == 1


# Damage, and who may read


def test_the_journal_stays_while_another_process_comes_and_goes(settings):
    """As it would not where the service had lost its locks on a database that was there before it."""
    look = "import sqlite3, sys; database = sqlite3.connect(sys.argv[1]); database.execute('select * from logs'); "
    with_a_log(settings)
    with opened(settings) as desk:
        second = desk.add_scan(SCAN + b"more", "log.ply").log
        file = settings.data_folder / "pithline.db"
        subprocess.run([sys.executable, "-c", f"{look}database.close()", str(file)], check=True)
        assert file.with_name("pithline.db-wal").exists()
        third = desk.add_scan(SCAN + b"still more", "log.ply").log
        with contextlib.closing(sqlite3.connect(file)) as connection:
            ids = {key for (key,) in connection.execute("select id from logs")}

    assert {second.id, third.id} < ids


def garbage_in_the_middle(data):
    middle = len(data) // 2 // 4096 * 4096
    return data[: middle - 20_000] + b"\xa5" * 40_000 + data[middle + 20_000 :]


def garbage_alone(data):
    return b"garbage" * (len(data) // 7)


def cut_off(data):
    return data[:9000]


@pytest.mark.parametrize("spoil", [garbage_in_the_middle, garbage_alone, cut_off])
def test_a_damaged_database_is_one_line_that_says_what_to_do(pithline, spoil):
    with opened(Settings(data_folder=Path("data"), slots=0, free_bytes=0)) as desk:
        for k in range(90):
            desk.add_scan(b"%d" % k, f"{'long name' * 20}.ply", about=AboutLog(cost=k))
    file = Path("data/pithline.db")
    spoiled = spoil(file.read_bytes())
    file.write_bytes(spoiled)

    code, out, err = pithline("serve", "--data", "data", "--port", "0")

    assert (code, out) == (2, "")
    assert err.startswith("the database ")
    assert "data/pithline.db is damaged" in err
    assert "pithline restore" in err
    assert err.count("\n") == 1
    assert file.read_bytes() == spoiled


def test_a_database_of_a_later_version_is_one_line(pithline):
    with opened(Settings(data_folder=Path("data"), slots=0)):
        pass
    with contextlib.closing(sqlite3.connect("data/pithline.db")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()

    code, out, err = pithline("serve", "--data", "data", "--port", "0")

    assert (code, out) == (2, "")
    assert err.startswith("a newer Pithline made the database: its tables are at step 9999, ")
    assert err.count("\n") == 1


def test_nobody_else_may_read_what_is_kept(settings):
    def open_to_others():
        paths = [path for path in settings.data_folder.rglob("*") if path.is_file()]
        assert {"pithline.db", "pithline.db-wal", "pithline.db-shm"} <= {path.name for path in paths}
        return [path.name for path in paths if path.stat().st_mode & 0o077]

    before = os.umask(0o022)
    try:
        with opened(settings) as desk:
            desk.add_scan(SCAN, "log.ply")
            assert open_to_others() == []
        (settings.data_folder / "pithline.db").chmod(0o644)  # as earlier versions left it
        with opened(settings) as desk:
            desk.add_scan(SCAN, "log.ply", about=AboutLog(cost=1))
            assert open_to_others() == []
    finally:
        os.umask(before)
