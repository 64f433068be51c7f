"""A database bears a name that no other has, so that a folder of files can tell whose it is."""

import uuid

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make up a name."""
    table = op.create_table("database_name", sa.Column("name", sa.String(32), primary_key=True))
    op.bulk_insert(table, [{"name": uuid.uuid4().hex}])


def downgrade() -> None:
    """Take it away."""
    op.drop_table("database_name")
