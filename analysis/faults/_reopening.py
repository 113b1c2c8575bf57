"""Findings that stay one while they last; `analysis.life` joins what comes back in a season."""

from collections.abc import Sequence

import numpy as np

from analysis.days import DayTable, Happening
from analysis.faults._episodes import days_between
from analysis.record import Bools


def lasting(
    items: Sequence[Happening],
    *,
    table: DayTable,
    good: Bools,
    quiet_days: int,
) -> list[tuple[list[Happening], bool]]:
    """Group happenings that no proof of the contrary parts, and say of each whether it is over.

    Parameters
    ----------
    items : happenings in order of start
    table : the days
    good : shape (n_days,), days that prove that all is well; days without opportunity do not
    quiet_days : so many proofs after the last happening end a finding
    """
    if not items:
        return []
    proofs = np.concatenate(([0], np.cumsum(good)))
    place = {day: number for number, day in enumerate(table.days.dates)}

    def proved(last: Happening, before: int) -> bool:
        return bool(proofs[before] - proofs[place[last.date] + 1] >= quiet_days)

    groups: list[list[Happening]] = []
    for item in items:
        last = groups[-1][-1] if groups else None
        if last is not None and not proved(last, place[item.date]):
            groups[-1].append(item)
        else:
            groups.append([item])
    return [(group, proved(group[-1], len(table.days))) for group in groups]


def without_strays(
    items: Sequence[Happening], *, least: int, within_days: int
) -> tuple[Happening, ...]:
    """Keep happenings from the first `least` days on that lie within so many days; else none."""
    for first in range(len(items) - least + 1):
        if days_between(items[first].date, items[first + least - 1].date) < within_days:
            return tuple(items[first:])
    return ()
