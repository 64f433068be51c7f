"""The database: its engine, its transactions, and its migrations."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.orm import Session

WAIT_SECONDS = 20
_WRITES = "writes"


class Database:
    """Where records are kept.

    url : as SQLAlchemy writes it. SQLite keeps its journal ahead (WAL), so that readers do not wait for the one
    writer; a writing transaction takes the lock when it begins, so that it never fails half-way for another's sake.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = _engine(url)
        self._writing = self.engine.execution_options(**{_WRITES: True})

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Read in one transaction."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Write in one transaction: all of it, or nothing where an error comes out of it."""
        with Session(self._writing, expire_on_commit=False) as session, session.begin():
            yield session

    def migrate(self, step: str = "head") -> None:
        """Bring the tables up to date, or up to a step."""
        config = Config()
        config.set_main_option("script_location", "service:migrations")
        with self._writing.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, step)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


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
