"""Who replaced a site file, consents of customers, papers that outlive an erased installation."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("site_file_version", schema=None) as batch_op:
        batch_op.add_column(sa.Column("replaced_by", sa.String(length=200), nullable=True))

    op.create_table(
        "consent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.String(length=30), nullable=False),
        sa.Column("given_by", sa.String(length=200), nullable=False),
        sa.Column("given_on", sa.Date(), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_by", sa.String(length=200), nullable=True),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_consent_site_id_site"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent")),
    )
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_consent_site_id"), ["site_id"], unique=False)

    op.create_table(
        "kept_papers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("firm_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=20), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("papers", sa.JSON(), nullable=False),
        sa.Column("kept_by", sa.String(length=200), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("keep_until", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["firm_id"], ["firm.id"], name=op.f("fk_kept_papers_firm_id_firm"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_papers")),
        sa.UniqueConstraint("reference", name=op.f("uq_kept_papers_reference")),
    )
    with op.batch_alter_table("kept_papers", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_kept_papers_firm_id"), ["firm_id"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("kept_papers", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_kept_papers_firm_id"))

    op.drop_table("kept_papers")
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_consent_site_id"))

    op.drop_table("consent")
    with op.batch_alter_table("site_file_version", schema=None) as batch_op:
        batch_op.drop_column("replaced_by")
