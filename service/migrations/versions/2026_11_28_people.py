"""People: roles, second factors, keys of the firm, customers' links, the audit trail."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "server_secret",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=100), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_server_secret")),
    )
    op.create_table(
        "firm_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=100), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_firm_key_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firm_key")),
        sa.UniqueConstraint("key_hash", name=op.f("uq_firm_key_key_hash")),
    )
    with op.batch_alter_table("firm_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_firm_key_firm_id"), ["firm_id"], unique=False)

    op.create_table(
        "trail_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("what", sa.String(length=60), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=True),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_trail_entry_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail_entry")),
    )
    with op.batch_alter_table("trail_entry", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_trail_entry_firm_id_trail_entry_at"), ["firm_id", "at"], unique=False
        )

    op.create_table(
        "customer_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("made_by", sa.String(length=200), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_customer_link_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer_link")),
    )
    with op.batch_alter_table("customer_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_customer_link_site_id"), ["site_id"], unique=False)

    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("name", sa.String(length=200), server_default="", nullable=False)
        )
        batch_op.add_column(sa.Column("totp_secret", sa.String(length=64), nullable=True))
        batch_op.add_column(
            sa.Column("totp_confirmed", sa.Boolean(), server_default=sa.false(), nullable=False)
        )
        batch_op.add_column(
            sa.Column("totp_step", sa.BigInteger(), server_default="0", nullable=False)
        )
        batch_op.add_column(
            sa.Column("recovery_hashes", sa.JSON(), server_default="[]", nullable=False)
        )
        batch_op.add_column(sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.alter_column("password_hash", existing_type=sa.VARCHAR(length=300), nullable=True)

    with op.batch_alter_table("setup_link", schema=None) as batch_op:
        batch_op.add_column(sa.Column("account_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.create_index(batch_op.f("ix_setup_link_account_id"), ["account_id"], unique=False)
        batch_op.create_foreign_key(
            batch_op.f("fk_setup_link_account_id_account"),
            "account",
            ["account_id"],
            ["id"],
            ondelete="CASCADE",
        )

    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("code_due", sa.Boolean(), server_default=sa.false(), nullable=False)
        )
        batch_op.add_column(sa.Column("tries", sa.Integer(), server_default="0", nullable=False))


def downgrade() -> None:
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.drop_column("tries")
        batch_op.drop_column("code_due")

    with op.batch_alter_table("setup_link", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_setup_link_account_id_account"), type_="foreignkey")
        batch_op.drop_index(batch_op.f("ix_setup_link_account_id"))
        batch_op.drop_column("expires_at")
        batch_op.drop_column("account_id")

    op.execute("DELETE FROM account WHERE password_hash IS NULL")
    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.alter_column("password_hash", existing_type=sa.VARCHAR(length=300), nullable=False)
        batch_op.drop_column("closed_at")
        batch_op.drop_column("recovery_hashes")
        batch_op.drop_column("totp_step")
        batch_op.drop_column("totp_confirmed")
        batch_op.drop_column("totp_secret")
        batch_op.drop_column("name")

    with op.batch_alter_table("customer_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_customer_link_site_id"))

    op.drop_table("customer_link")
    with op.batch_alter_table("trail_entry", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_trail_entry_firm_id_trail_entry_at"))

    op.drop_table("trail_entry")
    with op.batch_alter_table("firm_key", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_firm_key_firm_id"))

    op.drop_table("firm_key")
    op.drop_table("server_secret")
