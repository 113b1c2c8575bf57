"""Rows from all through a file, for what its head cannot show."""

from analysis.logs.cells import cells_of, is_comment
from analysis.logs.dialect import Dialect
from analysis.logs.headers import bare

_SPOTS = 16
_SPOT_BYTES = 1500


def spread_rows(text: bytes, dialect: Dialect) -> list[list[list[str]]]:
    """Give stretches of neighbouring rows from spots spread over the file, in their order.

    Parameters
    ----------
    text : bytes
        The file as clean UTF-8.
    dialect : Dialect
        How it is written; rows of another width, and headers that stand again, are left out.

    Returns
    -------
    list of stretches
        Each with rows as cells, the outer blanks taken off; at most 16 stretches.
    """
    width, end = len(dialect.heads), len(text)
    found = []
    at = dialect.body_at
    every = max((end - at) // _SPOTS, _SPOT_BYTES)
    while at < end:
        start = at if at == dialect.body_at else text.find(b"\n", at) + 1 or end
        stop = text.find(b"\n", min(start + _SPOT_BYTES, end)) + 1 or end
        lines = text[start:stop].decode("utf-8", errors="replace").splitlines()
        rows = [
            [cell.strip() for cell in cells_of(line, dialect.delimiter)]
            for line in lines
            if line.strip() and not is_comment(line, dialect.delimiter)
        ]
        found.append(
            [row for row in rows if len(row) == width and bare(row) not in dialect.headers.again]
        )
        at = max(at + every, stop)
    return [rows for rows in found if rows]
