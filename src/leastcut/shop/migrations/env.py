"""How a step of the tables runs: on the connection, and in the transaction, that was handed in."""

from alembic import context

from leastcut.shop.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
context.run_migrations()
