"""Runs the steps on the connection that `service.database` hands over."""

from alembic import context

from service.store.records import Record

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Record.metadata,
    render_as_batch=True,  # SQLite alters tables by copying them
)
context.run_migrations()
