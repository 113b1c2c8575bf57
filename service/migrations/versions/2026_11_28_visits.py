"""Visits: plans, saves, what was typed, photos; where the firm sets out from."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("firm", schema=None) as batch_op:
        batch_op.add_column(sa.Column("base_latitude_deg", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("base_longitude_deg", sa.Double(), nullable=True))

    op.create_table(
        "visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("planned_on", sa.Date(), nullable=False),
        sa.Column("technician_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("findings", sa.JSON(), nullable=False),
        sa.Column("facts_kept", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.String(length=200), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("finished_by", sa.String(length=200), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_visit_site_id_site"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["account.id"],
            name=op.f("fk_visit_technician_id_account"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
    )
    op.create_index(op.f("ix_visit_site_id"), "visit", ["site_id"])
    op.create_index(op.f("ix_visit_planned_on"), "visit", ["planned_on"])
    op.create_index(op.f("ix_visit_technician_id"), "visit", ["technician_id"])

    op.create_table(
        "visit_save",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=36), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_visit_save_visit_id_visit"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_save")),
        sa.UniqueConstraint("key", name=op.f("uq_visit_save_key")),
    )
    op.create_index(op.f("ix_visit_save_visit_id"), "visit_save", ["visit_id"])

    op.create_table(
        "visit_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("save_id", sa.Integer(), nullable=False),
        sa.Column("field", sa.String(length=200), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("typed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["save_id"],
            ["visit_save.id"],
            name=op.f("fk_visit_entry_save_id_visit_save"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_visit_entry_visit_id_visit"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_entry")),
    )
    op.create_index(
        op.f("ix_visit_entry_visit_id_visit_entry_field"), "visit_entry", ["visit_id", "field"]
    )

    op.create_table(
        "visit_photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=36), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("media_type", sa.String(length=20), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("taken_in_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["visit_id"],
            ["visit.id"],
            name=op.f("fk_visit_photo_visit_id_visit"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_photo")),
        sa.UniqueConstraint("key", name=op.f("uq_visit_photo_key")),
    )
    op.create_index(op.f("ix_visit_photo_visit_id"), "visit_photo", ["visit_id"])
    op.create_index(op.f("ix_visit_photo_sha256"), "visit_photo", ["sha256"])


def downgrade() -> None:
    for table in ("visit_photo", "visit_entry", "visit_save", "visit"):
        op.drop_table(table)
    with op.batch_alter_table("firm", schema=None) as batch_op:
        batch_op.drop_column("base_longitude_deg")
        batch_op.drop_column("base_latitude_deg")
