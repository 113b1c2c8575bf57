"""Weather of sites: files, the hours they gave, and addresses to fetch from."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "weather_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("via", sa.String(length=10), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("message", sa.Text(), nullable=True),
        sa.Column("hours", sa.Integer(), nullable=False),
        sa.Column("first_s", sa.BigInteger(), nullable=True),
        sa.Column("last_s", sa.BigInteger(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_weather_file_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weather_file")),
        sa.UniqueConstraint("site_id", "sha256", name=op.f("uq_weather_file_site_id_sha256")),
    )
    with op.batch_alter_table("weather_file", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_weather_file_site_id"), ["site_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_weather_file_state"), ["state"], unique=False)
        batch_op.create_index(batch_op.f("ix_weather_file_sha256"), ["sha256"], unique=False)

    op.create_table(
        "weather_day",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("hours", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_weather_day_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("site_id", "day", name=op.f("pk_weather_day")),
    )
    op.create_table(
        "weather_source",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("settled_before", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
            name=op.f("fk_weather_source_site_id_site"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_weather_source")),
    )
    with op.batch_alter_table("weather_source", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_weather_source_next_at"), ["next_at"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("weather_source", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_weather_source_next_at"))

    op.drop_table("weather_source")
    op.drop_table("weather_day")
    with op.batch_alter_table("weather_file", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_weather_file_sha256"))
        batch_op.drop_index(batch_op.f("ix_weather_file_state"))
        batch_op.drop_index(batch_op.f("ix_weather_file_site_id"))

    op.drop_table("weather_file")
