"""The database: its engine, its transactions, and its migrations."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url, select
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.orm import InstrumentedAttribute, Session

from scans.messages import named
from service.contract.refusals import DiskFullError
from service.store.records import DatabaseNameRow, LogRow, Record
from service.typed.errors import InputError

WAIT_SECONDS = 20
"""So long a transaction waits for another's lock (our own rule, no source)."""
_WRITES = "writes"
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_NOT_WRITTEN = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN}
_POSTGRES_DISK_FULL = "53100"
"""Appendix A, error codes, of the PostgreSQL documentation."""
BESIDE = ("-wal", "-shm")
"""Endings of what SQLite keeps beside a database: its journal, and the journal's index."""


class Database:
    """Where records are kept.

    url : as SQLAlchemy writes it. SQLite keeps its journal ahead (WAL), so that readers do not wait for the one
    writer; a writing transaction takes the lock when it begins, so that it never fails half-way for another's sake.
    Raises InputError where there can be no such database.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        try:
            self.file = _sqlite_file(url)
            self.engine = _engine(url)
        except (SQLAlchemyError, ImportError) as error:
            raise _unusable(error) from None
        self._writing = self.engine.execution_options(**{_WRITES: True})

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Read in one transaction."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Write in one transaction: all of it, or nothing where an error comes out of it. Raises DiskFullError."""
        try:
            with Session(self._writing, expire_on_commit=False) as session, session.begin():
                yield session
        except DBAPIError as error:
            if not _is_not_written(error):
                raise
            raise DiskFullError(f"the database cannot be written ({error.orig})") from None

    def check(self) -> None:
        """See that the database is whole, where it is there already, and not of a later version. Raises InputError.

        SQLite's file is read from end to end: see PRAGMA quick_check in its documentation.
        """
        if self.file is not None and not self.file.exists():
            return
        try:
            with self.engine.connect() as connection:
                found = None
                if self.file is not None:
                    found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
                    keep_private(self.file)
                revision = MigrationContext.configure(connection).get_current_revision()
        except SQLAlchemyError as error:
            if self.file is None or _sqlite_code(error) not in _DAMAGED:
                raise _unusable(error) from None
            found = str(getattr(error, "orig", error))
        if found is not None and found != "ok":
            raise InputError(
                f"the database {self.file} is damaged ({' '.join(found.split())[:120]}); "
                f"restore {named('backup')}, or move the file elsewhere and ask somebody who can fix SQLite databases"
            )
        check_revision(revision)

    def has_logs(self) -> bool:
        """Whether there are tables, with a log in them; nothing is written. Raises InputError."""
        return self._first(LogRow, LogRow.id) is not None

    def name(self) -> str | None:
        """Return the name that no other database has; None of one of before, or none. Raises InputError."""
        return self._first(DatabaseNameRow, DatabaseNameRow.name)

    def _first(self, table: type[Record], column: InstrumentedAttribute[str]) -> str | None:
        """Return a text of some row; None where there is no row, no table or no file."""
        if self.file is not None and not self.file.exists():
            return None
        try:
            with self.engine.connect() as connection:
                if not inspect(connection).has_table(table.__tablename__):
                    return None
                return connection.scalar(select(column).limit(1))
        except SQLAlchemyError as error:
            raise _unusable(error) from None

    def migrate(self, step: str = "head") -> None:
        """Bring the tables up to date, or up to a step. Raises InputError."""
        if self.file is not None:
            # SQLite gives what it puts beside the file the file's own rights.
            _make_private(self.file)
        config = _config()
        try:
            with self._writing.begin() as connection:
                config.attributes["connection"] = connection
                command.upgrade(config, step)
        except SQLAlchemyError as error:
            raise _unusable(error) from None

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def check_revision(revision: str | None) -> None:
    """Refuse tables that a later Pithline made. Raises InputError."""
    known = [script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()]
    if revision is not None and revision not in known:
        raise InputError(
            f"a newer Pithline made the database: its tables are at step {revision}, this one knows them up to "
            f"{known[0]}; install the newer one again"
        )


def keep_private(file: Path) -> None:
    """Let nobody but this user read a database, nor what SQLite keeps beside it. Raises InputError."""
    for path in (file, *(Path(f"{file}{ending}") for ending in BESIDE)):
        try:
            if path.exists() and path.stat().st_mode & 0o077:
                path.chmod(0o600)
        except OSError as error:
            raise InputError(
                f"{path} can be read by others, and this user cannot change that: {error.strerror or error}; "
                "give the file to the user who runs the service"
            ) from None


def _make_private(file: Path) -> None:
    try:
        # One that is there is not opened: with a handle that is closed all locks of this process on the file go, those
        # of SQLite's own connections too, and another process would clear the journal away as if nobody used it. See
        # "How To Corrupt An SQLite Database File", 2.2, in SQLite's documentation.
        os.close(os.open(file, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        return
    except OSError as error:
        raise InputError(_USELESS.format(f"{file}: {error.strerror or error}")) from None


_USELESS = "the database cannot be used: {}; look at PITHLINE_DATABASE_URL and at who may write there"


def _unusable(error: Exception) -> InputError:
    return InputError(_USELESS.format(str(error).partition("\n")[0]))


def _sqlite_code(error: SQLAlchemyError) -> int | None:
    """Return SQLite's primary result code; None where the error is not SQLite's."""
    code = getattr(getattr(error, "orig", None), "sqlite_errorcode", None)
    return None if code is None else code & 0xFF


def _is_not_written(error: DBAPIError) -> bool:
    return _sqlite_code(error) in _NOT_WRITTEN or getattr(error.orig, "sqlstate", None) == _POSTGRES_DISK_FULL


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "service:migrations")
    return config


def _sqlite_file(url: str) -> Path | None:
    """Return the file of an SQLite database; None where it is in memory, or no SQLite."""
    parts = make_url(url)
    is_file = parts.get_backend_name() == "sqlite" and parts.database not in {None, "", ":memory:"}
    return Path(str(parts.database)) if is_file and not str(parts.database).startswith("file:") else None


def _engine(url: str) -> Engine:
    if not url.startswith("sqlite"):
        return create_engine(url, pool_pre_ping=True)
    engine = create_engine(url, connect_args={"timeout": WAIT_SECONDS})

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        # The driver's own transactions begin too late; see below.
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
