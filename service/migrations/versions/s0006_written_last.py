"""Logs, mills and price books are numbered as they are written, as a clock may be set back."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_TIMES = {"logs": "made_at", "mills": "changed_at", "price_books": "changed_at"}


def upgrade() -> None:
    """Give the rows that are there numbers by their times, and look rows up by number."""
    connection = op.get_bind()
    for name, time in _TIMES.items():
        # In place: a table that is copied is dropped, and what belongs to its rows goes with it.
        op.add_column(name, sa.Column("number", sa.Integer, nullable=False, server_default="0"))
        table = sa.table(name, sa.column("id"), sa.column("number"), sa.column(time))
        ids = connection.scalars(sa.select(table.c.id).order_by(table.c[time], table.c.id)).all()
        for number, row_id in enumerate(ids, 1):
            connection.execute(table.update().where(table.c.id == row_id).values(number=number))
        op.drop_index(f"ix_{name}_{time}", name)
        op.create_index(f"ix_{name}_number", name, ["number"])


def downgrade() -> None:
    """Take the numbers away."""
    for name, time in _TIMES.items():
        op.drop_index(f"ix_{name}_number", name)
        op.drop_column(name, "number")
        op.create_index(f"ix_{name}_{time}", name, [time])
