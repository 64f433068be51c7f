"""What a plan nets in the mean, where doubt was weighed."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add it to plans."""
    op.add_column("plans", sa.Column("net_expected", sa.Double))


def downgrade() -> None:
    """Take it away."""
    with op.batch_alter_table("plans") as plans:
        plans.drop_column("net_expected")
