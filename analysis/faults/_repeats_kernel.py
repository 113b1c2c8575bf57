"""The compiled loop of `analysis.faults._stillness`: rows in which a channel repeats one value."""

from analysis.compiled import compiled
from analysis.record import Floats, Ints


@compiled
def find_repeats(values: Floats, edge: Ints, fewest: int, first: Ints, last: Ints) -> int:
    """Find runs of one value.

    Two rows of a run that lie half of its fewest apart are looked for, each so many rows: hardly
    any are alike, and the rows between are read only where they are.

    Parameters
    ----------
    values : shape (n,), of each row; no NaN
    edge : shape (parts + 1,), the first row of each part, and the one after the last's; no run goes
        from one part into the next
    fewest : rows that a run has at least, 1 or more
    first, last : shape (n // fewest,), written: both rows included

    Returns
    -------
    how many runs there are
    """
    found, apart = 0, fewest // 2
    for part in range(edge.size - 1):
        row, stop = edge[part], edge[part + 1]
        while row + apart < stop:
            value = values[row]
            if values[row + apart] != value:
                row += apart
                continue
            begin, end = row, row + 1
            while begin > edge[part] and values[begin - 1] == value:
                begin -= 1
            while end < stop and values[end] == value:
                end += 1
            if end - begin >= fewest:
                first[found], last[found] = begin, end - 1
                found += 1
            row = end
    return found
