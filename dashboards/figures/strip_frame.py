"""The frame of the year strip: twelve whole months, folded into one, two or four rows."""

from dataclasses import dataclass
from datetime import date, timedelta

ROWS_OF_WIDTH = {1: 1120.0, 2: 680.0, 4: 356.0}
_HEIGHT = {1: 132.0, 2: 96.0, 4: 66.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of the folded strip: local days `first` to `last`, both included."""

    first: date
    last: date
    pitch: float
    width: float
    height: float

    @property
    def days(self) -> int:
        """How many days the row holds."""
        return (self.last - self.first).days + 1

    def holds(self, when: date) -> bool:
        """Tell whether a day lies in this row."""
        return self.first <= when <= self.last

    def x(self, when: date) -> float:
        """Give the left edge of a day's column."""
        return (when - self.first).days * self.pitch


def frame(*, end: date, folds: int) -> tuple[Row, ...]:
    """Give the rows of the twelve months that end with the month of `end`.

    Parameters
    ----------
    end : last day of interest
    folds : 1, 2 or 4 rows

    Returns
    -------
    tuple of Row, oldest first; the columns of all rows are equally wide
    """
    width = ROWS_OF_WIDTH[folds]
    starts = [_month_back(end, 11 - number * (12 // folds)) for number in range(folds)]
    stops = [*starts[1:], _month_back(end, -1)]
    longest = max((stop - start).days for start, stop in zip(starts, stops, strict=True))
    return tuple(
        Row(
            first=start,
            last=stop - timedelta(days=1),
            pitch=width / longest,
            width=width,
            height=_HEIGHT[folds],
        )
        for start, stop in zip(starts, stops, strict=True)
    )


def _month_back(when: date, months: int) -> date:
    count = when.year * 12 + when.month - 1 - months
    return date(count // 12, count % 12 + 1, 1)
