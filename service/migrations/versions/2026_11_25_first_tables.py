"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "claim",
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("holder", sa.String(length=200), nullable=False),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_claim")),
    )
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_claim_holder"), ["holder"], unique=False)

    op.create_table(
        "firm",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firm")),
    )
    op.create_table(
        "heartbeat",
        sa.Column("worker", sa.String(length=200), nullable=False),
        sa.Column("beat_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("worker", name=op.f("pk_heartbeat")),
    )
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("login", sa.String(length=200), nullable=False),
        sa.Column("password_hash", sa.String(length=300), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_account_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("login", name=op.f("uq_account_login")),
    )
    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_account_firm_id"), ["firm_id"], unique=False)

    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.String(length=250), nullable=False),
        sa.Column("recipient", sa.String(length=254), nullable=False),
        sa.Column("subject", sa.String(length=500), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("not_before", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_outbox_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("message_id", name=op.f("uq_outbox_message_id")),
    )
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_outbox_firm_id"), ["firm_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_outbox_state_outbox_not_before"), ["state", "not_before"], unique=False
        )

    op.create_table(
        "recipient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(length=254), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("timezone", sa.String(length=64), nullable=False),
        sa.Column("digest", sa.Boolean(), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("quiet_from", sa.String(length=5), nullable=False),
        sa.Column("quiet_until", sa.String(length=5), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_recipient_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipient")),
        sa.UniqueConstraint("firm_id", "address", name=op.f("uq_recipient_firm_id_address")),
    )
    op.create_table(
        "setup_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_setup_link_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_setup_link_token_hash")),
    )
    with op.batch_alter_table("setup_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_setup_link_firm_id"), ["firm_id"], unique=False)

    op.create_table(
        "site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("slug", sa.String(length=80), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("timezone", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("stamp", sa.String(length=5), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_site_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
        sa.UniqueConstraint("firm_id", "slug", name=op.f("uq_site_firm_id_slug")),
    )
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_site_firm_id"), ["firm_id"], unique=False)

    op.create_table(
        "api_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=100), nullable=False),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_api_key_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("key_hash", name=op.f("uq_api_key_key_hash")),
    )
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_key_site_id"), ["site_id"], unique=False)

    op.create_table(
        "channel_seen",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_channel_seen_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "channel", name=op.f("pk_channel_seen")),
    )
    op.create_table(
        "day_block",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("values_hash", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_day_block_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "day", name=op.f("pk_day_block")),
    )
    with op.batch_alter_table("day_block", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_block_values_hash"), ["values_hash"], unique=False)

    op.create_table(
        "day_mark",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("serial", sa.Integer(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_day_mark_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "date", name=op.f("pk_day_mark")),
    )
    with op.batch_alter_table("day_mark", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_mark_due_at"), ["due_at"], unique=False)

    op.create_table(
        "day_row",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("row", sa.JSON(), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_day_row_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "date", name=op.f("pk_day_row")),
    )
    op.create_table(
        "finding_seen",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=True),
        sa.Column("start_s", sa.BigInteger(), nullable=False),
        sa.Column("first_seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("mailed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_finding_seen_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "key", name=op.f("pk_finding_seen")),
    )
    op.create_table(
        "report",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("report", sa.JSON(), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("site_version", sa.Integer(), nullable=False),
        sa.Column("data_until_s", sa.BigInteger(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_report_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_report")),
    )
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_report_made_at"), ["made_at"], unique=False)

    op.create_table(
        "site_file_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
            name=op.f("fk_site_file_version_site_id_site"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_file_version")),
        sa.UniqueConstraint(
            "site_id", "version", name=op.f("uq_site_file_version_site_id_version")
        ),
    )
    op.create_table(
        "upload",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("pushed_on", sa.Date(), nullable=True),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("via", sa.String(length=10), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("message", sa.Text(), nullable=True),
        sa.Column("rows_read", sa.Integer(), nullable=False),
        sa.Column("rows_kept", sa.Integer(), nullable=False),
        sa.Column("rows_duplicate", sa.Integer(), nullable=False),
        sa.Column("rows_rejected", sa.Integer(), nullable=False),
        sa.Column("problems", sa.JSON(), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_upload_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upload")),
        sa.UniqueConstraint("site_id", "pushed_on", name=op.f("uq_upload_site_id_pushed_on")),
        sa.UniqueConstraint("site_id", "sha256", name=op.f("uq_upload_site_id_sha256")),
    )
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_upload_sha256"), ["sha256"], unique=False)
        batch_op.create_index(batch_op.f("ix_upload_site_id"), ["site_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_upload_state"), ["state"], unique=False)

    op.create_table(
        "web_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"],
            ["account.id"],
            name=op.f("fk_web_session_account_id_account"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_web_session")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_web_session_token_hash")),
    )
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_web_session_account_id"), ["account_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_web_session_expires_at"), ["expires_at"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_web_session_expires_at"))
        batch_op.drop_index(batch_op.f("ix_web_session_account_id"))

    op.drop_table("web_session")
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_upload_state"))
        batch_op.drop_index(batch_op.f("ix_upload_site_id"))
        batch_op.drop_index(batch_op.f("ix_upload_sha256"))

    op.drop_table("upload")
    op.drop_table("site_file_version")
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_report_made_at"))

    op.drop_table("report")
    op.drop_table("finding_seen")
    op.drop_table("day_row")
    with op.batch_alter_table("day_mark", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_mark_due_at"))

    op.drop_table("day_mark")
    with op.batch_alter_table("day_block", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_block_values_hash"))

    op.drop_table("day_block")
    op.drop_table("channel_seen")
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_key_site_id"))

    op.drop_table("api_key")
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_site_firm_id"))

    op.drop_table("site")
    with op.batch_alter_table("setup_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_setup_link_firm_id"))

    op.drop_table("setup_link")
    op.drop_table("recipient")
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_outbox_state_outbox_not_before"))
        batch_op.drop_index(batch_op.f("ix_outbox_firm_id"))

    op.drop_table("outbox")
    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_account_firm_id"))

    op.drop_table("account")
    op.drop_table("heartbeat")
    op.drop_table("firm")
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_claim_holder"))

    op.drop_table("claim")
