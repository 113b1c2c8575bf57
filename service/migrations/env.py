"""Run migrations on the connection that `Database.migrate` hands over."""

from alembic import context

import service.db.models  # noqa: F401 - fills the metadata
from service.db.base import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
