"""How Alembic runs here: on the connection that is handed in, all scripts in its transaction."""

from alembic import context

from tierpole.records.schema import tables

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=tables,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
