"""The tables of the database, as SQLAlchemy maps them. Their history is in `service/migrations`."""

from typing import Any

from sqlalchemy import JSON, BigInteger, ForeignKey, Index, LargeBinary, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

ID = String(32)
CASCADE = "CASCADE"


class Record(DeclarativeBase):
    """A row of some table. Times are ISO 8601 texts in UTC, ids 32 hexadecimal digits.

    Numbers count up as rows of a table are written, whatever the clock says: what is last has the highest.
    """


class LogRow(Record):
    """A log, with its number. key : hash of file and what was said of it, so that one upload makes one log."""

    __tablename__ = "logs"

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    key: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str] = mapped_column(Text)
    file_name: Mapped[str] = mapped_column(Text)
    file_sha256: Mapped[str] = mapped_column(String(64))
    file_bytes: Mapped[int] = mapped_column(BigInteger)
    about: Mapped[dict[str, Any]] = mapped_column(JSON)
    read_key: Mapped[str | None] = mapped_column(String(64))
    facts: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    made_at: Mapped[str] = mapped_column(String(32))
    number: Mapped[int] = mapped_column(index=True, server_default="0")


class WalkRow(Record):
    """A scan of a log beside its first, with its number. The log was rolled before it.

    rolled_deg : clockwise seen from the butt, as far as somebody said it. is_part : whether the log is made of it.
    job_id : of the job that last tried to fit it to the others.
    """

    __tablename__ = "walks"

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    log_id: Mapped[str] = mapped_column(ForeignKey("logs.id", ondelete=CASCADE), index=True)
    number: Mapped[int]
    file_name: Mapped[str] = mapped_column(Text)
    file_sha256: Mapped[str] = mapped_column(String(64), index=True)
    file_bytes: Mapped[int] = mapped_column(BigInteger)
    rolled_deg: Mapped[float | None]
    is_part: Mapped[bool]
    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete=CASCADE))


class MarkRow(Record):
    """A mark on a log, at its place."""

    __tablename__ = "marks"

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    log_id: Mapped[str] = mapped_column(ForeignKey("logs.id", ondelete=CASCADE), index=True)
    document: Mapped[dict[str, Any]] = mapped_column(JSON)
    made_at: Mapped[str] = mapped_column(String(32))


class MillRow(Record):
    """A mill, with its number."""

    __tablename__ = "mills"

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    document: Mapped[dict[str, Any]] = mapped_column(JSON)
    changed_at: Mapped[str] = mapped_column(String(32))
    number: Mapped[int] = mapped_column(index=True, server_default="0")


class PriceBookRow(Record):
    """A price book, with its number."""

    __tablename__ = "price_books"

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    document: Mapped[dict[str, Any]] = mapped_column(JSON)
    changed_at: Mapped[str] = mapped_column(String(32))
    number: Mapped[int] = mapped_column(index=True, server_default="0")


class JobRow(Record):
    """A job, with its number, its progress, and the flag that stops it."""

    __tablename__ = "jobs"
    __table_args__ = (Index("jobs_waiting", "state", "number"),)

    id: Mapped[str] = mapped_column(ID, primary_key=True)
    number: Mapped[int] = mapped_column(index=True, server_default="0")
    kind: Mapped[str] = mapped_column(String(8))
    log_id: Mapped[str] = mapped_column(ForeignKey("logs.id", ondelete=CASCADE), index=True)
    request: Mapped[dict[str, Any]] = mapped_column(JSON)
    state: Mapped[str] = mapped_column(String(12))
    attempt: Mapped[int]
    losses: Mapped[int]
    cancel_wanted: Mapped[bool]
    error: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    stage: Mapped[str] = mapped_column(Text)
    done: Mapped[int]
    total: Mapped[int]
    best_net: Mapped[float | None]
    gap: Mapped[float | None]
    best: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    share: Mapped[float] = mapped_column(server_default="0")
    seconds_left: Mapped[float | None]
    made_at: Mapped[str] = mapped_column(String(32))
    started_at: Mapped[str | None] = mapped_column(String(32))
    ended_at: Mapped[str | None] = mapped_column(String(32))


class PlanRow(Record):
    """A plan document, compressed with gzip. It bears the id of the job that made it, so that none is made twice."""

    __tablename__ = "plans"

    id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete=CASCADE), primary_key=True)
    log_id: Mapped[str] = mapped_column(ForeignKey("logs.id", ondelete=CASCADE), index=True)
    kind: Mapped[str] = mapped_column(String(8))
    mill: Mapped[str] = mapped_column(Text)
    prices: Mapped[str] = mapped_column(Text)
    currency: Mapped[str] = mapped_column(String(8))
    net: Mapped[float]
    net_expected: Mapped[float | None]
    made_at: Mapped[str] = mapped_column(String(32), index=True)
    document: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)


class TickRow(Record):
    """What is ticked off on a cut list, or was: one step of one way of a plan. changes : how often it was changed."""

    __tablename__ = "ticks"

    plan_id: Mapped[str] = mapped_column(ForeignKey("plans.id", ondelete=CASCADE), primary_key=True)
    way: Mapped[str] = mapped_column(String(10), primary_key=True)
    step: Mapped[str] = mapped_column(String(16), primary_key=True)
    is_ticked: Mapped[bool]
    who: Mapped[str] = mapped_column(Text)
    changed_at: Mapped[str] = mapped_column(String(32))
    changes: Mapped[int]


class DatabaseNameRow(Record):
    """What the database is called, in one row: no other has the same name."""

    __tablename__ = "database_name"

    name: Mapped[str] = mapped_column(ID, primary_key=True)


class SessionRow(Record):
    """Somebody who is signed in. id : hash of the token in the cookie. expires_at : seconds since 1970."""

    __tablename__ = "sessions"

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    passphrase: Mapped[str] = mapped_column(String(64))
    expires_at: Mapped[float]
