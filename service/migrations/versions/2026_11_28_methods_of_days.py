"""Indexes that tell by which methods a site's days were looked at, and which are rolled up."""

from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

_METHODS = "ix_day_row_site_id_day_row_method_day_row_held"
_KINDS = "ix_rolled_day_site_id_rolled_day_kind_rolled_day_day"


def upgrade() -> None:
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.create_index(batch_op.f(_METHODS), ["site_id", "method", "held"], unique=False)
    with op.batch_alter_table("rolled_day", schema=None) as batch_op:
        batch_op.create_index(batch_op.f(_KINDS), ["site_id", "kind", "day"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("rolled_day", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f(_KINDS))
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f(_METHODS))
