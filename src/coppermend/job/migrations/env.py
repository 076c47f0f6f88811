"""Alembic's way in: runs the steps on the connection, and in the transaction, that ``job.migrate`` hands over."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
with context.begin_transaction():
    context.run_migrations()
