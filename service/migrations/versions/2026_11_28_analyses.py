"""Analyses can wait, and old reports are found without reading them."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "analysis_pause",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_analysis_pause")),
    )
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_report_method_report_made_at"), ["method", "made_at"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_report_method_report_made_at"))
    op.drop_table("analysis_pause")
