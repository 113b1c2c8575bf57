"""Numbers that a spreadsheet took for dates: `14.5` became `14. Mai`, or `May 14`."""

import re
from collections.abc import Sequence

from analysis.logs.numbers import looks_like_number
from analysis.logs.stamps import month_of

_DAY_AND_MONTH = re.compile(
    r"(?:\d{1,2}\.?[ -]?(?P<after>[^\W\d_]{3,5})\.?|(?P<before>[^\W\d_]{3,5})\.?[ -]\d{1,2})"
)
# Engineering judgement: a single one may be a remark.
_FEWEST_CELLS, _FEWEST_COLUMNS = 2, 2


def turned_into_date(columns: Sequence[Sequence[str]]) -> tuple[int, str] | None:
    """Find numbers that became dates.

    Parameters
    ----------
    columns : sequence of sequence of str
        The sample cells of each column that holds no stamp.

    Returns
    -------
    tuple or None
        Which of the columns, and such a cell; None where there are none.
    """
    found = []
    for number, cells in enumerate(columns):
        dates = [cell.strip() for cell in cells if _is_date(cell.strip())]
        if len(dates) < _FEWEST_CELLS:
            continue
        if any(looks_like_number(cell) for cell in cells):
            return number, dates[0]
        found.append((number, dates[0]))
    return found[0] if len(found) >= _FEWEST_COLUMNS else None


def _is_date(cell: str) -> bool:
    match = _DAY_AND_MONTH.fullmatch(cell)
    return match is not None and month_of(match["after"] or match["before"]) > 0
