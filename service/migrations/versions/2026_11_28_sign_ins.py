"""When a browser was last used, and how often a line of the trail happened."""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("trail_entry", schema=None) as batch_op:
        batch_op.add_column(sa.Column("count", sa.Integer(), server_default="1", nullable=False))
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.add_column(sa.Column("used_at", sa.DateTime(timezone=True), nullable=True))
    session = sa.table("web_session", sa.column("used_at", sa.DateTime(timezone=True)))
    # Nobody is signed out by an upgrade.
    op.get_bind().execute(sa.update(session).values(used_at=datetime.now(UTC)))
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.alter_column("used_at", nullable=False)


def downgrade() -> None:
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.drop_column("used_at")
    with op.batch_alter_table("trail_entry", schema=None) as batch_op:
        batch_op.drop_column("count")
