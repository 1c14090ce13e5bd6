"""Where Alembic starts: on the connection and inside the transaction it is handed, with no ini file."""

from alembic import context

from kit.labbook.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
