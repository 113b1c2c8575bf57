"""Dates whose day and month a spreadsheet exchanged where the day is no more than 12.

Opened under the other habit of writing dates, `01/06` becomes 6 January while `13/06` stays what
it was. The order of the rows shows it: they jump by months at midnight, and run on without a jump
once those dates are put right.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY

_DAY_S = int(SECONDS_PER_DAY)
_LAST_MONTH = 12
# Engineering judgement: rows further apart than this jump, and one jump may be a pause.
_JUMP_D, _FEWEST = 20, 3


def day_and_month_exchanged(stamp_s: NDArray[np.int64]) -> bool:
    """Tell whether rows fall into place once day and month of their early days change places.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps of the wall clock in the order of the file [s].
    """
    jumps = np.abs(np.diff(stamp_s)) > _JUMP_D * _DAY_S
    if np.count_nonzero(jumps) < _FEWEST:
        return False
    days = stamp_s // _DAY_S
    days = days[np.append(True, np.diff(days) != 0)]
    before = int((np.abs(np.diff(days)) > _JUMP_D).sum())
    if before < _FEWEST:
        return False
    dates = days.astype("datetime64[D]")
    months = dates.astype("datetime64[M]")
    day = (dates - months).astype(np.int64) + 1
    years = dates.astype("datetime64[Y]")
    month = (months - years).astype(np.int64) + 1
    put_right = (
        (years.astype("datetime64[M]") + (np.minimum(day, _LAST_MONTH) - 1)).astype("datetime64[D]")
        + (month - 1)
    ).astype(np.int64)
    whole = np.where(day <= _LAST_MONTH, put_right, days)
    return int((np.abs(np.diff(whole)) > _JUMP_D).sum()) * _FEWEST < before
