"""What the numbers of days are called is stored once, and they as they are, beside the JSON.
Reports are packed with less work.

Rows of days that were stored before are read as they are, and written anew when they change.
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

_REFUSED = (
    "days are stored in a form that an older version does not read; restore a backup from before "
    "instead"
)


def upgrade() -> None:
    op.create_table(
        "day_names",
        sa.Column("key", sa.String(length=32), nullable=False),
        sa.Column("names", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_day_names")),
    )
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.add_column(sa.Column("numbers", sa.LargeBinary(), nullable=True))
    if _packs_fast():
        for name in ("report", "short"):
            op.execute(f"ALTER TABLE report ALTER COLUMN {name} SET COMPRESSION lz4")


def _packs_fast() -> bool:
    """Tell whether the server has the quicker way to pack long values; SQLite packs none."""
    db = op.get_bind()
    if db.dialect.name != "postgresql":
        return False
    ways = sa.text("SELECT enumvals FROM pg_settings WHERE name = 'default_toast_compression'")
    return "lz4" in (db.execute(ways).scalar() or ())


def downgrade() -> None:
    rows = sa.table("day_row", sa.column("numbers", sa.LargeBinary))
    if op.get_bind().execute(sa.select(1).where(rows.c.numbers.is_not(None)).limit(1)).first():
        raise RuntimeError(_REFUSED)
    if _packs_fast():
        for name in ("report", "short"):
            op.execute(f"ALTER TABLE report ALTER COLUMN {name} SET COMPRESSION default")
    with op.batch_alter_table("day_row", schema=None) as batch_op:
        batch_op.drop_column("numbers")
    op.drop_table("day_names")
