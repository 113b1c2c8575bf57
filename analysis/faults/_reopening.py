"""Findings that stay one while they last, and open again as the same one within a season."""

from collections.abc import Sequence

import numpy as np

from analysis.days import DayTable, Happening
from analysis.faults._episodes import days_between
from analysis.record import Bools

# The same again within a season is the same finding (engineering judgement).
SEASON_DAYS = 90


def lasting(
    items: Sequence[Happening],
    *,
    table: DayTable,
    good: Bools,
    quiet_days: int,
    season_days: int = SEASON_DAYS,
) -> list[tuple[list[Happening], bool]]:
    """Group happenings into findings, and say of each whether it is over.

    Parameters
    ----------
    items : happenings in order of start
    table : the days
    good : shape (n_days,), days that prove that all is well; days without opportunity do not
    quiet_days : so many proofs after the last happening end a finding
    season_days : a finding that ended opens again with what happens within so many days
    """
    proofs = np.concatenate(([0], np.cumsum(good)))
    place = {day: number for number, day in enumerate(table.days.dates)}

    def proved(last: Happening, before: int) -> bool:
        return bool(proofs[before] - proofs[place[last.date] + 1] >= quiet_days)

    groups: list[list[Happening]] = []
    for item in items:
        last = groups[-1][-1] if groups else None
        if last is not None and (
            days_between(last.date, item.date) <= season_days or not proved(last, place[item.date])
        ):
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
