"""Blocks of rows and rows of days are stored in shorter forms, which older versions do not read.

No table changes: what was stored before is read as it is, and written anew when it changes. The
number alone tells an older version that this database is not for it.
"""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

_MAGIC = b"SUN1"  # how a block begins (`service.ingest.block_form`)

_REFUSED = (
    "days are stored in a form that an older version does not read; restore a backup from before "
    "instead"
)


def upgrade() -> None:
    pass


def downgrade() -> None:
    rows = sa.table("day_row", sa.column("row", sa.JSON))
    # Older versions have the numbers of a day by name, under "columns" (`analysis.day_rows`).
    whole = sa.cast(rows.c.row, sa.Text)
    if op.get_bind().execute(sa.select(1).where(whole.like('%"names"%')).limit(1)).first():
        raise RuntimeError(_REFUSED)
    for name in ("day_block", "day_layer"):
        table = sa.table(name, sa.column("data", sa.LargeBinary))
        short = sa.select(sa.literal(1)).where(sa.func.substr(table.c.data, 1, 4) == _MAGIC)
        if op.get_bind().execute(short.limit(1)).first() is not None:
            raise RuntimeError(_REFUSED)
