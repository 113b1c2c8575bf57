"""The compiled loop of shading: sectors that were dark day after day."""

from analysis.compiled import compiled
from analysis.record import Bools, Ints


@compiled
def mark_lasting(
    dark: Bools, free: Bools, seen: int, least: int, most_days: int, told: Ints, marked: Bools
) -> None:
    """Mark dark sectors that were dark on most of some days in a row that tell.

    Parameters
    ----------
    dark, free : shape (days, sectors), of days that tell one of them
    seen, least : of so many days in a row at least so many are dark, the first of them in any case
    most_days : they lie no further apart
    told : shape (days,), room for the days of a sector that tell
    marked : shape (days, sectors), written where it is so
    """
    days, sectors = dark.shape
    for sector in range(sectors):
        count = 0
        for day in range(days):
            if dark[day, sector] or free[day, sector]:
                told[count] = day
                count += 1
        for first in range(count - seen + 1):
            apart = told[first + seen - 1] - told[first]
            if not dark[told[first], sector] or apart > most_days:
                continue
            number = 0
            for one in range(first, first + seen):
                number += dark[told[one], sector]
            if number >= least:
                for one in range(first, first + seen):
                    marked[told[one], sector] |= dark[told[one], sector]
