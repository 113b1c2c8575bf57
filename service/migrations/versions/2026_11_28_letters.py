"""Customers' addresses, and yearly letters to them."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "customer_contact",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("address", sa.String(length=254), nullable=False),
        sa.Column("language", sa.String(length=10), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
            name=op.f("fk_customer_contact_site_id_site"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_customer_contact")),
    )
    op.create_table(
        "yearly_letter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("year", sa.Integer(), nullable=False),
        sa.Column("serial", sa.Integer(), nullable=False),
        sa.Column("chosen_by", sa.String(length=200), nullable=False),
        sa.Column("chosen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("laid_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("message_id", sa.String(length=250), nullable=True),
        sa.Column("tries", sa.Integer(), server_default="0", nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_yearly_letter_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_yearly_letter")),
        sa.UniqueConstraint(
            "site_id", "year", "serial", name=op.f("uq_yearly_letter_site_id_year_serial")
        ),
    )
    with op.batch_alter_table("yearly_letter", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_yearly_letter_laid_at"), ["laid_at"], unique=False)


def downgrade() -> None:
    op.drop_table("yearly_letter")
    op.drop_table("customer_contact")
