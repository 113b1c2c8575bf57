"""The compiled loops of shading: sectors dark beside free ones, day after day."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats, Ints


@compiled
def mark_beside(
    share: Floats, free: Bools, dark_frac: float, reach: int, widest: int, marked: Bools
) -> None:
    """Mark dark sectors that two free ones in a row come close to, and what hangs on them.

    Parameters
    ----------
    share, free : shape (days, sectors), NaN unknown; what is free is known
    dark_frac : less than this is dark, where it is less than this part of the free ones as well
    reach : so many sectors away free ones tell
    widest : dark sectors up to so many away hang on one
    marked : shape (days, sectors), written where it is so
    """
    days, sectors = share.shape
    for day in range(days):
        for sector in range(sectors):
            if not share[day, sector] < dark_frac:
                continue
            near = -np.inf
            for apart in range(1, reach + 1):
                for one in (sector - apart - 1, sector + apart):
                    if 0 <= one < sectors - 1 and free[day, one] and free[day, one + 1]:
                        near = max(near, min(share[day, one], share[day, one + 1]))
            if not share[day, sector] < dark_frac * near:
                continue
            for way in (-1, 1):
                place, left = sector, widest + 1
                while left and 0 <= place < sectors and share[day, place] < dark_frac:
                    marked[day, place] = True
                    place, left = place + way, left - 1


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
