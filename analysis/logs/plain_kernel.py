"""The compiled loop that reads plain rows: numbers of digits, stamps that all have one layout."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.compiled import compiled, step
from analysis.record import Floats, Ints
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

Signs = NDArray[np.uint8]

DECLINED = -1
"""The loop met what it does not read: nothing that it wrote counts."""
PASSED_OVER, STAMP = -2, -1
"""What a cell holds that is not the value of a column."""
FIXED, YEAR, MONTH, DAY, HOUR, MINUTE, SECOND = range(-1, 6)
"""What a sign of a stamp belongs to; a fixed one is the same in every stamp."""

# A whole number of so many digits is a float, and divided by as high a power of ten the nearest one
# to what is written (W. D. Clinger, How to Read Floating Point Numbers Accurately, 1990).
_DIGITS = 15
_TENS = 10.0 ** np.arange(_DIGITS + 1)
_LINE_END, _RETURN, _MINUS, _NOUGHT, _QUOTE = (ord(sign) for sign in '\n\r-0"')
_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
# Days from the first of January of the year 1 to that of 1970.
_EPOCH_DAYS = 719162
_IMPOSSIBLE = -1 << 60
_DAY_S, _HOUR_S, _MINUTE_S = int(SECONDS_PER_DAY), int(SECONDS_PER_HOUR), 60


class Dialect(NamedTuple):
    """How rows are written: the sign between cells, the one within numbers; what to add to years,
    and how far the clock is ahead of UTC [s].
    """

    delimiter: int
    decimal: int
    century: int
    offset_s: int


@step
def _whole(signs: Signs, at: int, whole: int) -> tuple[int, int]:
    """Give where digits end, and the whole number that they go on with."""
    while at < signs.size:
        digit = np.int64(signs[at]) - _NOUGHT
        if digit < 0 or digit > 9:
            break
        whole = int(10 * whole + digit)
        at += 1
    return at, whole


@step
def _line_end(signs: Signs, at: int) -> int:
    """Give where the next line begins if this one ends here, else `DECLINED`."""
    if at < signs.size and signs[at] == _RETURN:
        at += 1
    return at + 1 if at < signs.size and signs[at] == _LINE_END else DECLINED


@step
def _number(signs: Signs, at: int, decimal: int) -> tuple[int, float]:
    """Give where a number ends, and the number: a minus, digits, digits behind a decimal sign.

    It ends where it began where there is none, and is `DECLINED` where it is cut short or long.
    """
    below = at < signs.size and signs[at] == _MINUS
    first = at + 1 if below else at
    end, whole = _whole(signs, first, 0)
    if end == first:
        return at, np.nan
    digits, behind = end - first, 0
    if end < signs.size and signs[end] == decimal:
        first = end + 1
        end, whole = _whole(signs, first, whole)
        behind = end - first
        if behind == 0:
            return DECLINED, np.nan
    if digits + behind > _DIGITS:
        return DECLINED, np.nan
    value = whole / _TENS[behind]
    return end, -value if below else value


@step
def _word(signs: Signs, at: int, delimiter: int, words: Signs) -> int:
    """Give where a word for a missing value ends that fills a cell; `DECLINED` where none does."""
    for word in range(words.shape[0]):
        end = int(at + np.int64(words[word, 0]))
        if end > signs.size:
            continue
        for place in range(at, end):
            if signs[place] != words[word, place - at + 1]:
                break
        else:
            if end == signs.size or signs[end] == delimiter or _line_end(signs, end) >= 0:
                return end
    return DECLINED


@step
def _passed_over(signs: Signs, at: int, delimiter: int) -> int:
    """Give where a cell ends; `DECLINED` for a quoted one, which may hold what would end it."""
    while at < signs.size and signs[at] not in (delimiter, _LINE_END, _RETURN):
        if signs[at] == _QUOTE:
            return DECLINED
        at += 1
    return at


@step
def _parts(signs: Signs, at: int, layout: Signs, part: Ints, number: Ints) -> int:
    """Write the numbers in a stamp; give where it ends, `DECLINED` where it has another layout."""
    number[:] = 0
    if at + layout.size > signs.size:
        return DECLINED
    for place in range(layout.size):
        if part[place] == FIXED:
            if signs[at + place] != layout[place]:
                return DECLINED
            continue
        digit = np.int64(signs[at + place]) - _NOUGHT
        if digit < 0 or digit > 9:
            return DECLINED
        number[part[place]] = 10 * number[part[place]] + digit
    return at + layout.size


@step
def _midnight_s(number: Ints, century: int) -> int:
    """Give when the day of a stamp begins, `_IMPOSSIBLE` where there is none such [s]."""
    year, month = number[YEAR] + century, number[MONTH]
    if year < 1 or not 1 <= month <= 12:
        return _IMPOSSIBLE
    leap = (year % 4 == 0 and year % 100 != 0) or year % 400 == 0
    if not 1 <= number[DAY] <= _MONTH_DAYS[month - 1] + (leap and month == 2):
        return _IMPOSSIBLE
    before = year - 1
    days = 365 * before + before // 4 - before // 100 + before // 400 - _EPOCH_DAYS
    days += _MONTH_DAYS[: month - 1].sum() + (leap and month > 2) + number[DAY] - 1
    return int(days) * _DAY_S


@step
def _of_day_s(number: Ints) -> int:
    """Give the time of day of a stamp, `_IMPOSSIBLE` where there is none such [s]."""
    if number[HOUR] > 23 or number[MINUTE] > 59 or number[SECOND] > 59:
        return _IMPOSSIBLE
    return int(number[HOUR] * _HOUR_S + number[MINUTE] * _MINUTE_S + number[SECOND])


@compiled
def read_plain(
    signs: Signs,
    dialect: Dialect,
    first_line: int,
    holds: Ints,
    layout: Signs,
    part: Ints,
    words: Signs,
    stamp_s: Ints,
    lines: NDArray[np.int32],
    values: Floats,
    ends: Floats,
    number: Ints,
) -> int:
    """Read rows of cells; empty lines are passed over.

    Parameters
    ----------
    signs : shape (n,), whole lines
    dialect : how they are written
    first_line : number of the first line
    holds : shape (cells,), `STAMP`, `PASSED_OVER` or the number of a column of `values`
    layout, part : shape (width,), one of the stamps, and what each of its signs belongs to
    words : shape (words, longest + 1), length and signs of the words for a missing value
    stamp_s : shape (rows,), written: epoch seconds [s]
    lines : shape (rows,), written: number of the line
    values : shape (columns, rows), written, NaN missing
    ends : shape (columns, 3), written: the least, the greatest, how many are missing
    number : shape (6,), room for the numbers of a stamp

    Returns
    -------
    how many rows there are; `DECLINED` where a cell is none of that, or cells are too few or many
    """
    row, line, at = 0, first_line - 1, 0
    dated, midnight_s = 0, _IMPOSSIBLE
    ends[:, 0], ends[:, 1], ends[:, 2] = np.inf, -np.inf, 0.0
    while at < signs.size:
        line += 1
        end = _line_end(signs, at)
        if end >= 0:
            at = end
            continue
        if row == lines.size:
            return DECLINED
        for cell in range(holds.size):
            column = holds[cell]
            if cell > 0:
                if at == signs.size or signs[at] != dialect.delimiter:
                    return DECLINED
                at += 1
            if column >= 0:
                end, value = _number(signs, at, dialect.decimal)
                if end == at:
                    end = _word(signs, at, dialect.delimiter, words)
                    ends[column, 2] += 1.0
                values[column, row] = value
                # NaN is neither.
                if value < ends[column, 0]:
                    ends[column, 0] = value
                if value > ends[column, 1]:
                    ends[column, 1] = value
            elif column == STAMP:
                end = _parts(signs, at, layout, part, number)
                day = (100 * number[YEAR] + number[MONTH]) * 100 + number[DAY]
                if day != dated:  # seldom: a logger writes many rows a day
                    dated, midnight_s = day, _midnight_s(number, dialect.century)
                of_day_s = _of_day_s(number)
                if midnight_s == _IMPOSSIBLE or of_day_s == _IMPOSSIBLE:
                    return DECLINED
                stamp_s[row] = midnight_s + of_day_s - dialect.offset_s
            else:
                end = _passed_over(signs, at, dialect.delimiter)
            if end < 0:
                return DECLINED
            at = end
        if at < signs.size:
            at = _line_end(signs, at)
            if at < 0:
                return DECLINED
        lines[row] = line
        row += 1
    return row
