"""`pithline backup` and `pithline restore`: all or nothing, while the service runs, and nothing is lost by them."""

import contextlib
import os
import re
import sqlite3
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import pytest
from small_log import STRAIGHT

from service.contract import job_state
from service.desk import open_desk
from service.settings import Settings
from service.store import backup
from service.store.database import Database
from service.store.folder_lock import FolderLock
from service.store.passphrase import keep_passphrase
from service.typed.log_reading import AboutLog

pytestmark = pytest.mark.usefixtures("own_folder")
SCAN = b"ply\nof nothing that could be read\n"


def settings_of(folder):
    return Settings(data_folder=Path(folder), slots=0, free_bytes=0)


@contextlib.contextmanager
def opened(folder="data"):
    desk = open_desk(settings_of(folder))
    try:
        yield desk
    finally:
        desk.close()


def filled(folder="data"):
    """Keep a log of each kind, with something read of one; return all that the service shows of it."""
    with opened(folder) as desk:
        log = desk.add_scan(SCAN, "log.ply", about=AboutLog(cost=7)).log
        desk.add_scan(STRAIGHT.encode(), "log.toml")
        job = desk.store.step_job(log.job_id, job_state.started)
        desk.store.step_job(job.id, lambda status: job_state.failed(status, "invented"))
        with desk.store.database.writing() as session:
            session.connection().exec_driver_sql("INSERT INTO sessions VALUES ('a', 'b', 9e12)")
        return shown(desk)


def shown(desk):
    store = desk.store
    files = {key: desk.files.read(key) for key in store.named()}
    return store.logs(), store.jobs(), store.mills(), store.price_books(), store.plans(), files


def tree(folder):
    """Return all files of a folder with their content; not the locks."""
    return {
        path.relative_to(folder): path.read_bytes()
        for path in Path(folder).rglob("*")
        if path.is_file() and path.name not in {"lock", "in_use"}
    }


def test_a_copy_put_back_is_what_was_there(pithline):
    before = filled()
    keep_passphrase("heron ladle quartz tide", Path("data"))
    code, out, err = pithline("backup", "copy.zip", "--data", "data")
    assert (code, err) == (0, "")
    assert re.fullmatch(r"Wrote copy.zip: 2 logs, 2 files, 0\.\d MB\.\n", out)
    code, out, err = pithline("restore", "copy.zip", "--data", "new")
    assert (code, err) == (0, "")
    assert out.startswith("Restored 2 logs and 2 files into new, as they were on ")

    with opened("new") as desk:
        assert shown(desk) == before
        with desk.store.database.reading() as session:
            assert session.connection().exec_driver_sql("SELECT count(*) FROM sessions").scalar() == 0
    assert Path("new/passphrase").read_text() == Path("data/passphrase").read_text()
    others = [path for path in (Path("copy.zip"), *Path("new").rglob("*")) if path.stat().st_mode & 0o077]
    assert others == []
    assert not list(Path().glob(".copy*"))


def test_the_service_may_run_and_remove_meanwhile(pithline, monkeypatch):
    hold = backup._hold
    with opened() as desk:
        logs = [desk.add_scan(SCAN + b"%d" % k, "log.ply").log for k in range(6)]

        def removing(*given):
            thread = threading.Thread(target=desk.remove_log, args=(logs[0].id,))
            thread.start()
            thread.join(0.3)
            assert thread.is_alive(), "a file may go before it is held"
            held.append(thread)
            return hold(*given)

        def removed(packed, *given):
            held[0].join()
            desk.remove_log(logs[1].id)
            assert len(desk.files.keys()) == 4
            return pack(packed, *given)

        held, pack = [], backup._pack
        monkeypatch.setattr(backup, "_hold", removing)
        monkeypatch.setattr(backup, "_pack", removed)
        assert pithline("backup", "copy.zip", "--data", "data")[0] == 0
        assert list((desk.files.folder / "incoming").iterdir()) == []
    assert pithline("restore", "copy.zip", "--data", "new")[0] == 0

    with opened("new") as desk:
        assert {log.id for log in desk.store.logs()} == {log.id for log in logs}
        assert {desk.files.read(log.file_sha256) for log in desk.store.logs()} == {SCAN + b"%d" % k for k in range(6)}


def test_nothing_is_written_over_unless_it_is_said(pithline):
    filled()
    Path("copy.zip").write_text("mine")
    code, _, err = pithline("backup", "copy.zip", "--data", "data")
    assert (code, Path("copy.zip").read_text()) == (2, "mine")
    assert err == "copy.zip is there already; --force writes over it, or name another file\n"
    assert pithline("backup", "copy.zip", "--data", "data", "--force")[0] == 0
    with opened() as desk:
        later = desk.add_scan(b"later", "log.ply").log
        now = shown(desk)

    code, _, err = pithline("restore", "copy.zip", "--data", "data")
    assert code == 2
    assert err.startswith("data holds logs already; --replace moves them to its trash folder first")
    with opened() as desk:
        assert shown(desk) == now
    code, out, _ = pithline("restore", "copy.zip", "--data", "data", "--replace")

    assert code == 0
    (trash,) = Path("data/trash").iterdir()
    assert f"What was there before is now in {trash}" in out
    with opened() as desk:
        assert len(desk.store.logs()) == 2
    assert (trash / "files/kept" / later.file_sha256[:2] / later.file_sha256).read_bytes() == b"later"
    with contextlib.closing(sqlite3.connect(trash / "pithline.db")) as old:
        assert old.execute("SELECT count(*) FROM logs").fetchone() == (3,)


def test_a_folder_that_is_served_is_not_replaced(pithline):
    filled()
    pithline("backup", "copy.zip", "--data", "data")
    lock = FolderLock(Path("data"))
    code, _, err = pithline("restore", "copy.zip", "--data", "data", "--replace")
    lock.release()

    assert code == 2
    assert err.startswith("another service uses data; stop it")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("backup", "copy.zip", "--data", "nowhere"), "there is no database"),
        (("backup", "no/such/folder/copy.zip", "--data", "data"), "cannot be written: No such file or directory"),
        (("restore", "none.zip", "--data", "new"), "none.zip does not exist"),
        (("restore", "log.toml", "--data", "new"), "log.toml is no whole backup"),
        (("restore", "data", "--data", "new"), "data does not exist"),
    ],
)
def test_what_cannot_be_copied_is_one_line(pithline, options, says):
    filled()
    code, out, err = pithline(*options)

    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_another_kind_of_database_is_told_how_to_be_copied(pithline, monkeypatch):
    monkeypatch.setenv("PITHLINE_DATABASE_URL", "sqlite:///:memory:")
    code, _, err = pithline("backup", "copy.zip", "--data", "data")
    assert code == 2
    assert "copy yours with its own tools" in err
    code, _, err = pithline("restore", "copy.zip", "--data", "data")
    assert code == 2
    assert "unset PITHLINE_DATABASE_URL" in err


def rewritten(change):
    """Return a way to spoil a backup: each entry's name and content is handed over, and None drops it."""

    def spoil(path):
        with zipfile.ZipFile(path) as archive:
            entries = [(info.filename, archive.read(info)) for info in archive.infolist()]
        with zipfile.ZipFile(path, "w") as archive:
            for name, content in entries:
                found = change(name, content)
                if found is not None:
                    archive.writestr(*found)

    return spoil


def cut(path):
    path.write_bytes(path.read_bytes()[:-200])


def flipped(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 3] ^= 0xFF
    path.write_bytes(data)


def no_files(name, content):
    return None if name.startswith("files/") else (name, content)


def other_files(name, content):
    return (name, b"x" * len(content)) if name.startswith("files/") else (name, content)


def half_a_database(name, content):
    return (name, content[:5000]) if name == "pithline.db" else (name, content)


def out_of_the_folder(name, content):
    return (f"../../out{name[-1]}", content) if name.startswith("files/") else (name, content)


def no_manifest(name, content):
    return None if name == backup.MANIFEST else (name, content)


def newer_kind(name, content):
    return name, content.replace(b"backup/1", b"backup/2")


def newer_tables(name, content):
    if name == "pithline.db":
        Path("newer.db").write_bytes(content)
        with contextlib.closing(sqlite3.connect("newer.db")) as connection:
            connection.execute("UPDATE alembic_version SET version_num = '9999'")
            connection.commit()
        content = Path("newer.db").read_bytes()
    return name, content


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (cut, "is no whole backup"),
        (flipped, "backup"),
        (rewritten(no_files), "lacks 2 files"),
        (rewritten(other_files), "is damaged"),
        (rewritten(half_a_database), "is damaged"),
        (rewritten(out_of_the_folder), "of no backup"),
        (rewritten(no_manifest), "no backup of Pithline"),
        (rewritten(newer_kind), "newer Pithline"),
        (rewritten(newer_tables), "a newer Pithline made the database"),
    ],
)
def test_a_backup_that_is_not_whole_changes_nothing(pithline, spoil, says):
    filled()
    pithline("backup", "copy.zip", "--data", "data")
    before = tree("data")
    spoil(Path("copy.zip"))
    code, out, err = pithline("restore", "copy.zip", "--data", "data", "--replace")

    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1
    assert tree("data") == before
    assert not list(Path().glob("out*"))


def test_files_that_were_lost_before_are_told_and_the_rest_is_copied(pithline):
    with opened() as desk:
        lost, damaged, whole = (desk.add_scan(SCAN + b"%d" % k, "log.ply").log.file_sha256 for k in range(3))
        desk.files.remove(lost)
        desk.files.path(damaged).write_bytes(b"rotten")
    code, out, _ = pithline("backup", "copy.zip", "--data", "data")
    assert code == 0
    assert f"WARNING 2 files that logs need were lost or damaged already. Upload those again: {lost[:12]}" in out
    code, out, _ = pithline("restore", "copy.zip", "--data", "new")

    assert code == 0
    assert "WARNING 2 files" in out
    with opened("new") as desk:
        assert desk.files.has(whole)
        assert desk.files.path(damaged).read_bytes() == b"rotten"


def test_a_copy_of_an_older_version_is_brought_up_to_date(pithline):
    Path("data").mkdir()
    database = Database("sqlite:///data/pithline.db")
    database.migrate("0001")
    with database.writing() as session:
        session.connection().exec_driver_sql(
            "INSERT INTO logs VALUES (?, 'k', 'Old', 'old.ply', ?, 3, '{}', NULL, NULL, '2026-01-01')",
            ("b" * 32, "a" * 64),
        )
    database.close()
    code, out, _ = pithline("backup", "copy.zip", "--data", "data")
    assert code == 0
    assert "1 log, 0 files" in out
    assert pithline("restore", "copy.zip", "--data", "new")[0] == 0

    with opened("new") as desk:
        assert [log.name for log in desk.store.logs()] == ["Old"]


KILLED = """
import os, sys
from pathlib import Path
from service.cli.command_line import run

left = int(sys.argv[1])
def counted(step):
    def then(*given, **named):
        global left
        left -= 1
        if left < 0:
            os._exit(9)
        return step(*given, **named)
    return then

Path.rename, Path.replace, Path.rmdir = counted(Path.rename), counted(Path.replace), counted(Path.rmdir)
sys.exit(run(sys.argv[2:]))
"""


def killed_after(steps, *arguments):
    """Type a command into a process of its own that is gone at once after so many renames; return its exit code."""
    root = str(Path(__file__).parents[3])
    typed = [sys.executable, "-c", KILLED, str(steps), *arguments]
    return subprocess.run(typed, env={**os.environ, "PYTHONPATH": root}, capture_output=True, check=False).returncode


def test_a_restore_that_is_killed_leaves_the_old_or_the_new_whole(pithline):
    old = filled("old")
    pithline("backup", "copy.zip", "--data", "old")
    with opened("data") as desk:
        desk.add_scan(b"was there before", "log.ply")
        replaced = shown(desk)
    Path("data/pithline.db-wal").touch()
    seen = []
    for steps in range(20):
        subprocess.run(["cp", "-a", "data", f"data{steps}"], check=True)
        code = killed_after(steps, "restore", "copy.zip", "--data", f"data{steps}", "--replace")
        with opened(f"data{steps}") as desk:
            seen.append(shown(desk))
        if code == 0:
            break
        assert code == 9

    assert seen[0] == replaced
    assert len(seen) > 5
    assert all(found == old for found in seen[1:])
    assert not list(Path(f"data{steps}").glob("restor*"))


def test_a_backup_that_is_killed_leaves_no_file_of_its_name(pithline):
    filled()
    assert killed_after(0, "backup", "copy.zip", "--data", "data") == 9
    assert not Path("copy.zip").exists()
    with opened() as desk:
        assert len(desk.store.logs()) == 2
    assert pithline("backup", "copy.zip", "--data", "data")[0] == 0
