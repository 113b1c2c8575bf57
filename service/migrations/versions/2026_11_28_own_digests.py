"""Each recipient's own digest, refused addresses, and parts of mails."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("recipient", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("digest_weekday", sa.Integer(), server_default="0", nullable=False)
        )
        batch_op.add_column(
            sa.Column("digest_hour", sa.Integer(), server_default="6", nullable=False)
        )
        batch_op.add_column(
            sa.Column("every_site", sa.Boolean(), server_default=sa.true(), nullable=False)
        )
        batch_op.add_column(
            sa.Column("skip_unchanged", sa.Boolean(), server_default=sa.false(), nullable=False)
        )
        batch_op.add_column(sa.Column("told", sa.JSON(), nullable=True))
        batch_op.add_column(sa.Column("refusals", sa.Integer(), server_default="0", nullable=False))
        batch_op.add_column(sa.Column("refused_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("refused_why", sa.String(length=500), nullable=True))
        batch_op.add_column(sa.Column("paused_at", sa.DateTime(timezone=True), nullable=True))

    op.create_table(
        "recipient_site",
        sa.Column("recipient_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recipient_id"],
            ["recipient.id"],
            name=op.f("fk_recipient_site_recipient_id_recipient"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
            name=op.f("fk_recipient_site_site_id_site"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("recipient_id", "site_id", name=op.f("pk_recipient_site")),
    )
    with op.batch_alter_table("recipient_site", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recipient_site_site_id"), ["site_id"], unique=False)

    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.add_column(sa.Column("stop_url", sa.String(length=500), nullable=True))

    op.create_table(
        "outbox_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("outbox_id", sa.Integer(), nullable=False),
        sa.Column("cid", sa.String(length=60), nullable=True),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("media_type", sa.String(length=60), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outbox_id"],
            ["outbox.id"],
            name=op.f("fk_outbox_part_outbox_id_outbox"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox_part")),
    )
    with op.batch_alter_table("outbox_part", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_outbox_part_outbox_id"), ["outbox_id"], unique=False)


def downgrade() -> None:
    op.drop_table("outbox_part")
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.drop_column("stop_url")
    op.drop_table("recipient_site")
    with op.batch_alter_table("recipient", schema=None) as batch_op:
        for name in (
            "paused_at",
            "refused_why",
            "refused_at",
            "refusals",
            "told",
            "skip_unchanged",
            "every_site",
            "digest_hour",
            "digest_weekday",
        ):
            batch_op.drop_column(name)
