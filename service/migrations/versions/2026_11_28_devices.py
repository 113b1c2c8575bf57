"""What a signed-in browser runs on; not known of those that are signed in already."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.add_column(sa.Column("device", sa.String(length=20), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.drop_column("device")
