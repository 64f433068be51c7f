"""What is ticked off on cut lists."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make its table."""
    op.create_table(
        "ticks",
        sa.Column("plan_id", sa.String(32), sa.ForeignKey("plans.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("way", sa.String(10), primary_key=True),
        sa.Column("step", sa.String(16), primary_key=True),
        sa.Column("is_ticked", sa.Boolean, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("changed_at", sa.String(32), nullable=False),
        sa.Column("changes", sa.Integer, nullable=False),
    )


def downgrade() -> None:
    """Take it away."""
    op.drop_table("ticks")
