"""Jobs are numbered as they are asked for, as a clock may be set back."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_JOBS = sa.table("jobs", sa.column("id"), sa.column("number"), sa.column("made_at"))


def upgrade() -> None:
    """Give the jobs that are there numbers by their times, and look jobs up by number."""
    # In place: a table that is copied is dropped, and the plans of its jobs go with it.
    op.add_column("jobs", sa.Column("number", sa.Integer, nullable=False, server_default="0"))
    connection = op.get_bind()
    ids = connection.scalars(sa.select(_JOBS.c.id).order_by(_JOBS.c.made_at, _JOBS.c.id)).all()
    for number, job_id in enumerate(ids, 1):
        connection.execute(_JOBS.update().where(_JOBS.c.id == job_id).values(number=number))
    op.drop_index("jobs_waiting", "jobs")
    op.create_index("jobs_waiting", "jobs", ["state", "number"])
    op.create_index("ix_jobs_number", "jobs", ["number"])


def downgrade() -> None:
    """Take the numbers away."""
    op.drop_index("ix_jobs_number", "jobs")
    op.drop_index("jobs_waiting", "jobs")
    op.drop_column("jobs", "number")
    op.create_index("jobs_waiting", "jobs", ["state", "made_at"])
