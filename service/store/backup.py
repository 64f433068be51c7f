"""A copy of all that the service keeps, in one file: the database, the files of logs, and the passphrase's hash.

The file is a ZIP archive. The service may run meanwhile: what is copied is what stood there at one moment.
"""

import hashlib
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from importlib.metadata import version
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from scans.messages import counted, named
from service.settings import DATABASE_FILE, FILES_FOLDER, Settings
from service.store.database import Database
from service.store.file_store import FileStore, sync
from service.store.passphrase import PASSPHRASE_FILE
from service.store.store import Store, now
from service.typed.errors import InputError

SCHEMA = "pithline.backup/1"
MANIFEST = "pithline_backup.json"
CHUNK_BYTES = 1_000_000


class Manifest(BaseModel):
    """What a backup says of itself.

    missing, damaged : keys of files that logs need and that were not there, or had another content, when it was made.
    """

    model_config = ConfigDict(extra="forbid")

    schema_: str = SCHEMA
    made_at: str
    made_with: str
    logs: int
    missing: tuple[str, ...] = ()
    damaged: tuple[str, ...] = ()


def back_up(settings: Settings, target: Path, *, force: bool) -> str:
    """Write a backup, whole or not at all; return what to tell of it. Raises InputError."""
    if target.exists() and not force:
        raise InputError(f"{target} is there already", f"{named('force')} writes over it, or name another file")
    database = Database(settings.database)
    file = database.file
    if file is None:
        raise InputError(
            "a backup holds a SQLite database alone; copy yours with its own tools, and the folder "
            f"{settings.data_folder / FILES_FOLDER}"
        )
    if not file.exists():
        raise InputError(f"there is no database {file} to back up; name the service's data folder ({named('data')})")
    try:
        database.check()
        with tempfile.TemporaryDirectory(dir=target.absolute().parent, prefix=f".{target.name}.") as beside:
            return _backed_up(settings, file, target, Path(beside))
    except sqlite3.Error as error:
        raise InputError(f"the database {file} cannot be copied: {error}; try again") from None
    except OSError as error:
        raise InputError(f"{target} cannot be written: {error.strerror or error}; nothing was changed") from None
    finally:
        database.close()


def _backed_up(settings: Settings, file: Path, target: Path, beside: Path) -> str:
    files = FileStore(settings.data_folder / FILES_FOLDER)
    files.make_folders()
    copied, packed = beside / DATABASE_FILE, beside / "packed.zip"
    with files.linked() as links:
        # Files are kept and removed under this lock alone: what the copied database names is held by a second name
        # before anybody can remove it.
        with files.lock():
            _copy_database(file, copied)
            logs, missing = _hold(copied, files, links)
        made = Manifest(made_at=now(), made_with=f"pithline {version('pithline')}", logs=logs, missing=missing)
        held = sorted(links.iterdir())
        passphrase = settings.data_folder / PASSPHRASE_FILE
        made = _pack(packed, copied, held, passphrase if passphrase.is_file() else None, made)
        sync(packed)
        size = packed.stat().st_size
        packed.chmod(0o600)
        packed.replace(target)
        sync(target.absolute().parent)
    lines = [f"Wrote {target}: {counted(logs, 'log')}, {counted(len(held), 'file')}, {size / 1e6:,.1f} MB."]
    if lost := len(made.missing) + len(made.damaged):
        lines.append(
            f"WARNING {counted(lost, 'file')} that logs need were lost or damaged already. Upload those again: "
            + ", ".join(key[:12] for key in (*made.missing, *made.damaged))
        )
    return "\n".join(lines)


def _copy_database(file: Path, copied: Path) -> None:
    """Copy a database as it stands at one moment, without who is signed in."""
    address = f"{file.absolute().as_uri()}?mode=rw"
    with closing(sqlite3.connect(address, uri=True)) as source, closing(sqlite3.connect(copied)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
        if copy.execute("SELECT 1 FROM sqlite_master WHERE name = 'sessions'").fetchone():
            copy.execute("DELETE FROM sessions")
        copy.commit()


def _hold(copied: Path, files: FileStore, links: Path) -> tuple[int, tuple[str, ...]]:
    """Give all files that a database names a second name; return how many logs there are, and what is missing."""
    with kept_in(copied) as store:
        named, logs = (store.named(), store.count_logs()) if store.database.has_logs() else (set(), 0)
    missing = []
    for key in sorted(named):
        try:
            os.link(files.path(key), links / key)
        except FileNotFoundError:
            missing.append(key)
        except OSError:  # a disk that knows no second names
            shutil.copyfile(files.path(key), links / key)
    return logs, tuple(missing)


@contextmanager
def kept_in(file: Path) -> Iterator[Store]:
    """Open the records of an SQLite database that nobody else uses."""
    database = Database(f"sqlite:///{file.absolute()}")
    try:
        yield Store(database)
    finally:
        database.close()


def _pack(packed: Path, database: Path, held: Iterable[Path], passphrase: Path | None, made: Manifest) -> Manifest:
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.write(database, DATABASE_FILE)
        if passphrase is not None:
            archive.write(passphrase, PASSPHRASE_FILE)
        damaged = tuple(path.name for path in held if _add(archive, path, f"{FILES_FOLDER}/{path.name}") != path.name)
        whole = made.model_copy(update={"damaged": damaged})
        archive.writestr(MANIFEST, whole.model_dump_json(indent=1))
    return whole


def _add(archive: zipfile.ZipFile, path: Path, name: str) -> str:
    """Add a file; return the hash of its content."""
    digest = hashlib.sha256()
    about = zipfile.ZipInfo(name)
    about.compress_type = zipfile.ZIP_DEFLATED
    with path.open("rb") as source, archive.open(about, "w", force_zip64=True) as into:
        while chunk := source.read(CHUNK_BYTES):
            digest.update(chunk)
            into.write(chunk)
    return digest.hexdigest()
