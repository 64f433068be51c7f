"""A job shows the best plan that its search has so far, how much of it all is done, and how long it takes yet."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is shown; jobs that are there know nothing of it."""
    op.add_column("jobs", sa.Column("best", sa.JSON(none_as_null=True)))
    op.add_column("jobs", sa.Column("share", sa.Double, nullable=False, server_default="0"))
    op.add_column("jobs", sa.Column("seconds_left", sa.Double))


def downgrade() -> None:
    """Take it away."""
    for name in ("seconds_left", "share", "best"):
        op.drop_column("jobs", name)
