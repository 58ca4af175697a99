"""What Alembic runs: the migrations, within the transaction that the caller began."""

from __future__ import annotations

from alembic import context

from jobnotes.store.tables import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,
    # SQLite can take back a change of its tables; Alembic does not count on it unless told.
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
