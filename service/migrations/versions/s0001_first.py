"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_ID = sa.String(32)
_TIME = sa.String(32)


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "logs",
        sa.Column("id", _ID, primary_key=True),
        sa.Column("key", sa.String(64), nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("file_name", sa.Text, nullable=False),
        sa.Column("file_sha256", sa.String(64), nullable=False),
        sa.Column("file_bytes", sa.BigInteger, nullable=False),
        sa.Column("about", sa.JSON, nullable=False),
        sa.Column("read_key", sa.String(64)),
        sa.Column("facts", sa.JSON),
        sa.Column("made_at", _TIME, nullable=False, index=True),
    )
    op.create_table(
        "marks",
        sa.Column("id", _ID, primary_key=True),
        sa.Column("log_id", _ID, sa.ForeignKey("logs.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("document", sa.JSON, nullable=False),
        sa.Column("made_at", _TIME, nullable=False),
    )
    for name in ("mills", "price_books"):
        op.create_table(
            name,
            sa.Column("id", _ID, primary_key=True),
            sa.Column("name", sa.Text, nullable=False),
            sa.Column("document", sa.JSON, nullable=False),
            sa.Column("changed_at", _TIME, nullable=False, index=True),
        )
    op.create_table(
        "jobs",
        sa.Column("id", _ID, primary_key=True),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("log_id", _ID, sa.ForeignKey("logs.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("request", sa.JSON, nullable=False),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("attempt", sa.Integer, nullable=False),
        sa.Column("losses", sa.Integer, nullable=False),
        sa.Column("cancel_wanted", sa.Boolean, nullable=False),
        sa.Column("error", sa.JSON),
        sa.Column("stage", sa.Text, nullable=False),
        sa.Column("done", sa.Integer, nullable=False),
        sa.Column("total", sa.Integer, nullable=False),
        sa.Column("best_net", sa.Double),
        sa.Column("gap", sa.Double),
        sa.Column("made_at", _TIME, nullable=False),
        sa.Column("started_at", _TIME),
        sa.Column("ended_at", _TIME),
    )
    op.create_index("jobs_waiting", "jobs", ["state", "made_at"])
    op.create_table(
        "plans",
        sa.Column("id", _ID, sa.ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("log_id", _ID, sa.ForeignKey("logs.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("mill", sa.Text, nullable=False),
        sa.Column("prices", sa.Text, nullable=False),
        sa.Column("currency", sa.String(8), nullable=False),
        sa.Column("net", sa.Double, nullable=False),
        sa.Column("made_at", _TIME, nullable=False, index=True),
        sa.Column("document", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "sessions",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("passphrase", sa.String(64), nullable=False),
        sa.Column("expires_at", sa.Double, nullable=False),
    )


def downgrade() -> None:
    """Take them away."""
    for name in ("sessions", "plans", "jobs", "price_books", "mills", "marks", "logs"):
        op.drop_table(name)
