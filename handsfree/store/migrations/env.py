"""Runs the steps on the connection that the store gives."""

from alembic import context

from handsfree.store.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
context.run_migrations()
