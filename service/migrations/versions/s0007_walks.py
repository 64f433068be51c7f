"""Scans of a log beside its first."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make their table."""
    op.create_table(
        "walks",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("log_id", sa.String(32), sa.ForeignKey("logs.id", ondelete="CASCADE"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("file_name", sa.Text, nullable=False),
        sa.Column("file_sha256", sa.String(64), nullable=False),
        sa.Column("file_bytes", sa.BigInteger, nullable=False),
        sa.Column("rolled_deg", sa.Double),
        sa.Column("is_part", sa.Boolean, nullable=False),
        sa.Column("job_id", sa.String(32), sa.ForeignKey("jobs.id", ondelete="CASCADE"), nullable=False),
    )
    op.create_index("ix_walks_log_id", "walks", ["log_id"])
    op.create_index("ix_walks_file_sha256", "walks", ["file_sha256"])


def downgrade() -> None:
    """Take it away."""
    op.drop_table("walks")
