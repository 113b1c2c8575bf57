"""Days that are kept as five-minute means or not at all, and files whose bytes were removed."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "rolled_day",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("extremes", sa.LargeBinary(), nullable=True),
        sa.Column("rolled_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
            name=op.f("fk_rolled_day_site_id_site"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("site_id", "day", name=op.f("pk_rolled_day")),
    )
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("held", sa.Boolean(), server_default=sa.false(), nullable=False)
        )
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.add_column(sa.Column("bytes_gone_at", sa.DateTime(timezone=True), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.drop_column("bytes_gone_at")
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.drop_column("held")
    op.drop_table("rolled_day")
