"""Figures of whole days are put on the noon of their day, whatever stamp their row carries.

A bare date means that day, and so does a time from noon on. A row stamped in the small hours may
tell of the day that begins or of the one that ended: `stamp` of the `[log]` table says which, else
it is asked. Several figures for one day, as of a counter that starts anew each day, give the
highest.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from analysis.channels import channel_of_tidy, is_daily
from analysis.days import LocalDays, days_of_span, local_noon_s, one_row_a_day
from analysis.errors import LogError
from analysis.logs.asking import Choice, Question
from analysis.logs.on_utc import zone_of
from analysis.logs.planning import FilePlan, Told
from analysis.logs.understanding import FileValues
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

Columns = dict[str, NDArray[np.float64]]

_NOON_S = 12 * int(SECONDS_PER_HOUR)
_CLOCK_SIGNS = ("%H", "%I", "%T", "%X", "%c", "%R")


def bare_dates(plan: FilePlan) -> bool:
    """Tell whether the stamps of a file are dates without a time of day."""
    stamp = plan.layout.stamp
    texts = [" ".join(row[at].strip() for at in stamp.places) for row in plan.dialect.samples]
    texts = [text for text in texts if text]
    if stamp.count_s is not None:
        numbers = [plan.dialect.numbers.value(text) for text in texts]
        return stamp.count_s == SECONDS_PER_DAY and all(
            number is not None and number % 1 == 0 for number in numbers
        )
    one = stamp.formats[0]
    if one.told is not None:
        return not any(sign in one.told for sign in _CLOCK_SIGNS)
    matches = [one.pattern.fullmatch(text) for text in texts]
    return bool(matches) and not any(
        match is not None and match.groupdict().get("H") for match in matches
    )


def on_their_days(
    one: FileValues, plan: FilePlan, told: Told, *, dated: bool, keep_open: bool
) -> FileValues:
    """Put the figures of whole days on rows of their own, at the noon of each day.

    Parameters
    ----------
    one : FileValues
        What the file holds, each value on the stamp of its row.
    plan : FilePlan
        How the file was read.
    told : Told
        Zones of clock and place, and what the map says of stamps.
    dated : bool
        Whether its stamps are bare dates.
    keep_open : bool
        Whether figures of days that nobody can tell apart are wanted all the same.

    Returns
    -------
    FileValues
        The same where it has no figures of days. Where it is open which days they are of, they
        are left out and asked.

    Raises
    ------
    LogError
        It holds nothing else, and which days it tells of has to be asked.
    """
    names = [name for name in one.values if is_daily(name)]
    if not names:
        return one
    days, number, since_s = _local(one.stamp_s, plan, told)
    stamp = told.log_map.stamp or _tidy(plan)
    early = since_s < _NOON_S
    if not dated and not one_row_a_day(np.sort(one.stamp_s)):
        # Among samples: the row that ends a step tells of what came before it.
        number = number - ((since_s == 0) & (told.stamp == "end"))
    elif not dated and stamp == "end":
        number = number - early
    elif not dated and stamp is None and bool(early.any()):
        question = _question(plan, days.dates[int(number[np.argmax(early)])])
        one = _asking(one, question)
        if not keep_open:
            return _without(one, names, question)
        number = number - early
    return _placed(one, names, [days.dates[at] for at in number.tolist()], told=told)


def _local(
    stamp_s: NDArray[np.int64], plan: FilePlan, told: Told
) -> tuple[LocalDays, NDArray[np.int64], NDArray[np.int64]]:
    """Give the days on the clock of the file, the number of each row's and the time since [s].

    Stamps that say their zone are taken on the clock of the place, but where only that of UTC has
    them all at midnight.
    """
    zone = told.place_zone if plan.layout.stamp.aware else zone_of(plan, told)
    found = _on_clock(stamp_s, zone)
    if plan.layout.stamp.aware and found[2].any():
        by_utc = _on_clock(stamp_s, "UTC")
        found = found if by_utc[2].any() else by_utc
    return found


def _on_clock(
    stamp_s: NDArray[np.int64], zone: str
) -> tuple[LocalDays, NDArray[np.int64], NDArray[np.int64]]:
    day = int(SECONDS_PER_DAY)
    days = days_of_span(
        start_s=int(stamp_s.min()) - day, end_s=int(stamp_s.max()) + day, timezone=zone
    )
    number = np.searchsorted(days.edge_s, stamp_s, side="right") - 1
    return days, number, stamp_s - days.edge_s[number]


def _tidy(plan: FilePlan) -> str | None:
    """Give "end" for a tidy log, whose stamps are never open."""
    tidy = (channel_of_tidy(column.head) for column in plan.layout.columns)
    return "end" if any(found is not None and found.daily for found in tidy) else None


def noons_of(
    columns: Columns, dates: Sequence[str], *, timezone: str
) -> tuple[NDArray[np.int64], Columns]:
    """Give each day's figures at its noon; of several for one day the highest.

    Parameters
    ----------
    columns : channels of whole days to values, shape (n,) [canonical unit]
    dates : the day that each row tells of, n of them
    timezone : IANA name of the zone of the place

    Returns
    -------
    tuple
        Noons, rising [s], and the figures there.
    """
    there = np.zeros(len(dates), dtype=np.bool_)
    for values in columns.values():
        there |= np.isfinite(values)
    held, place = np.unique(np.array(dates, dtype=str)[there], return_inverse=True)
    noons = [local_noon_s(date.fromisoformat(day), timezone) for day in held.tolist()]
    found = {}
    for name, values in columns.items():
        found[name] = np.full(len(held), np.nan)
        np.fmax.at(found[name], place, values[there])
    return np.array(noons, dtype=np.int64), found


def _placed(one: FileValues, names: list[str], dates: list[str], *, told: Told) -> FileValues:
    figures = {name: one.values[name] for name in names}
    noon_s, summed = noons_of(figures, dates, timezone=told.place_zone)
    rest = {name: values for name, values in one.values.items() if name not in summed}
    if not rest and not one.open_values:
        return replace(one, stamp_s=noon_s, values=summed, bounds={})
    nothing = np.full(len(one.stamp_s), np.nan)
    return replace(
        one,
        bounds={},
        stamp_s=np.concatenate([one.stamp_s, noon_s]),
        values={name: _after(values, len(noon_s)) for name, values in rest.items()}
        | {name: np.concatenate([nothing, values]) for name, values in summed.items()},
        open_values={name: _after(values, len(noon_s)) for name, values in one.open_values.items()},
        added_s=np.concatenate([one.added_s, noon_s]),
    )


def _after(values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    return np.concatenate([values, np.full(count, np.nan)])


def _question(plan: FilePlan, day: str) -> Question:
    this = date.fromisoformat(day)
    before = this - timedelta(days=1)
    return Question(
        kind="stamp",
        file=plan.name,
        subject="",
        choices=(
            Choice(
                value="end",
                says=f"of the day that ended, {before:%-d %B}",
                certainty_frac=float("nan"),
            ),
            Choice(
                value="start",
                says=f"of the day that begins, {this:%-d %B}",
                certainty_frac=float("nan"),
            ),
        ),
        why=(
            f"each row sums up a day, and nothing tells which day the row of {this:%-d %B}, "
            "written in its first hours, is of"
        ),
    )


def _asking(one: FileValues, question: Question) -> FileValues:
    known = one.account.understood
    if known is None:
        return one
    known = replace(known, questions=(*known.questions, question))
    return replace(one, account=replace(one.account, understood=known))


def _without(one: FileValues, names: list[str], question: Question) -> FileValues:
    """Give what is left without the figures of days."""
    rest = {name: values for name, values in one.values.items() if name not in names}
    if not rest:
        raise LogError(
            f'{question.why}; tell it in [log]: stamp = "end" or stamp = "start"',
            file=one.account.name,
            questions=(question,),
        )
    columns = tuple(column for column in one.account.columns if column.channel not in names)
    return replace(one, values=rest, account=replace(one.account, columns=columns))
