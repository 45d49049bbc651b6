"""Run by Alembic: migrates on the connection that it is handed, in that connection's transaction."""

from alembic import context

from tutor.store.tables import metadata, schema_version

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=schema_version.name,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
