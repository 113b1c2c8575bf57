"""Claims count their tries; a mail says which finding it is about."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.add_column(sa.Column("tries", sa.Integer(), server_default="1", nullable=False))
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.add_column(sa.Column("site_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("kind", sa.String(length=60), nullable=True))
        batch_op.add_column(sa.Column("channel", sa.String(length=40), nullable=True))
        batch_op.create_index(batch_op.f("ix_outbox_site_id"), ["site_id"], unique=False)
        batch_op.create_foreign_key(
            batch_op.f("fk_outbox_site_id_site"), "site", ["site_id"], ["id"], ondelete="CASCADE"
        )


def downgrade() -> None:
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_outbox_site_id_site"), type_="foreignkey")
        batch_op.drop_index(batch_op.f("ix_outbox_site_id"))
        batch_op.drop_column("channel")
        batch_op.drop_column("kind")
        batch_op.drop_column("site_id")
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.drop_column("tries")
