"""A day keeps what each upload said of it, so that a corrected log can be undone."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "day_layer",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("upload_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("pushed", sa.Boolean(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=True),
        sa.Column("replaced", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_day_layer_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "day", "upload_id", name=op.f("pk_day_layer")),
    )


def downgrade() -> None:
    op.drop_table("day_layer")
