"""The frame of the year strip: one year of days, folded into one, two or four rows."""

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


def first_day(*, first: date, last: date, until: date | None = None) -> date:
    """Give the day that the strip of a year begins with.

    Parameters
    ----------
    first, last : the days of the report
    until : the day the year shall end with; default: the last one

    Returns
    -------
    date : a year before the end; for a log younger than a year the first of its first month, so
        that its strip fills as the year goes on
    """
    if until is None and last < _year_on(first.replace(day=1)):
        return first.replace(day=1)
    end = until or last
    return _year_on(end + timedelta(days=1), years=-1)


def frame(*, first: date, folds: int) -> tuple[Row, ...]:
    """Give the rows of the year that begins with `first`.

    Parameters
    ----------
    first : first day
    folds : 1, 2 or 4 rows

    Returns
    -------
    tuple of Row, oldest first; the columns of all rows are equally wide
    """
    width = ROWS_OF_WIDTH[folds]
    length = (_year_on(first) - first).days
    longest = -(-length // folds)
    return tuple(
        Row(
            first=first + timedelta(days=number * longest),
            last=first + timedelta(days=min((number + 1) * longest, length) - 1),
            pitch=width / longest,
            width=width,
            height=_HEIGHT[folds],
        )
        for number in range(folds)
    )


def _year_on(when: date, *, years: int = 1) -> date:
    """Give the same day of another year; 29 February becomes 1 March."""
    try:
        return when.replace(year=when.year + years)
    except ValueError:
        return date(when.year + years, 3, 1)
