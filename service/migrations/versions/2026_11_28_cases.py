"""What people do about findings: cases and their steps."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "finding_case",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=True),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.Date(), nullable=True),
        sa.Column("urgency_then", sa.String(length=10), nullable=True),
        sa.Column("put_right_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_finding_case_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding_case")),
    )
    with op.batch_alter_table("finding_case", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_finding_case_site_id"), ["site_id"], unique=False)

    op.create_table(
        "case_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["finding_case.id"],
            name=op.f("fk_case_event_case_id_finding_case"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_event")),
    )
    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_case_event_case_id"), ["case_id"], unique=False)

    with op.batch_alter_table("finding_seen", schema=None) as batch_op:
        batch_op.add_column(sa.Column("case_id", sa.Integer(), nullable=True))
        batch_op.create_index(batch_op.f("ix_finding_seen_case_id"), ["case_id"], unique=False)
        batch_op.create_foreign_key(
            batch_op.f("fk_finding_seen_case_id_finding_case"),
            "finding_case",
            ["case_id"],
            ["id"],
            ondelete="SET NULL",
        )


def downgrade() -> None:
    with op.batch_alter_table("finding_seen", schema=None) as batch_op:
        batch_op.drop_constraint(
            batch_op.f("fk_finding_seen_case_id_finding_case"), type_="foreignkey"
        )
        batch_op.drop_index(batch_op.f("ix_finding_seen_case_id"))
        batch_op.drop_column("case_id")

    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_case_event_case_id"))

    op.drop_table("case_event")
    with op.batch_alter_table("finding_case", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_finding_case_site_id"))

    op.drop_table("finding_case")
