"""Alembic's entry: run the revisions on the connection that `upgrade` opened, within its transaction."""

from alembic import context

from curbtick.store import tables

context.configure(connection=context.config.attributes["connection"], target_metadata=tables.metadata)
context.run_migrations()
