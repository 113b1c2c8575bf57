"""Short reports beside the whole ones, and a mark that is new with each writing."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.add_column(sa.Column("short", sa.JSON(), nullable=True))
        batch_op.add_column(
            sa.Column("mark", sa.String(length=32), server_default="", nullable=False)
        )
    report = sa.table("report", sa.column("site_id", sa.Integer), sa.column("mark", sa.String))
    db = op.get_bind()
    for site_id in db.execute(sa.select(report.c.site_id)).scalars().all():
        db.execute(
            sa.update(report).where(report.c.site_id == site_id).values(mark=secrets.token_hex(16))
        )
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.alter_column("mark", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.drop_column("mark")
        batch_op.drop_column("short")
