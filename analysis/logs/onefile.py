"""One file: from planned rows to stamps in UTC and values as written, in the order of its rows."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.logs.blocks import BlockReader
from analysis.logs.bounds import Known, ends_of
from analysis.logs.holding import Samples, held, what_is_written
from analysis.logs.layout import Layout
from analysis.logs.longtable import long_columns, series_of
from analysis.logs.on_utc import Clock, on_utc
from analysis.logs.planning import FilePlan, Told
from analysis.logs.rows import Part, RowReader, unit_ratio
from analysis.logs.shapes import ProblemList
from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsRead:
    """The rows of a file.

    Attributes
    ----------
    stamp_s : UTC epoch seconds as stamped [s]
    values : for each column of the layout, as written
    read : how many rows there were, those set aside too
    missing_hour, doubled_hour : how many rows were set aside because of the clock changes
    straight_on : how many of the doubled hour, because the log passes it once
    put_back : how many rows of a clock that had been reset were put where they must belong
    midnights : how many stood as 00:00 under the date that ends with them
    halves_told : whether the clock has twelve hours and the order of rows told the half of the day
    made : how many of the rows, the last ones, are none of the file: values hold there
    written : whether every value is written or only those that changed
    series, units : of a long table, the names of its series and their units
    bounds : of the values, as far as they are known
    """

    stamp_s: NDArray[np.int64]
    values: tuple[NDArray[np.float64], ...]
    read: int
    missing_hour: int = 0
    doubled_hour: int = 0
    straight_on: int = 0
    put_back: int = 0
    midnights: int = 0
    halves_told: bool = False
    made: int = 0
    written: Literal["all", "changes", "unsure"] = "all"
    series: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    bounds: Known = field(default_factory=dict)


def read_rows(plan: FilePlan, *, told: Told, problems: ProblemList) -> RowsRead:
    """Read the rows of a file.

    Parameters
    ----------
    plan : FilePlan
        How; with one stamp format.
    told : Told
        Zone of the logger's clock, present time.
    problems : ProblemList
        Takes what was set aside.

    Returns
    -------
    RowsRead
        Of a wide table a column of values for each of the layout, of a long one for each series.
    """
    if plan.long is not None:
        rows, samples = _long_rows(plan, told, problems)
        return _holding(rows, samples, told)
    rows = _wide_rows(plan, told, problems)
    return _holding(rows, None, told)


def _holding(rows: RowsRead, samples: Sequence[Samples] | None, told: Told) -> RowsRead:
    """Hold values until the next where a log writes changes alone, as its map or its values say."""
    said = told.log_map.cells
    if samples is None:
        if said != "changes" and all(
            ends_of(one, rows.bounds).whole or np.count_nonzero(np.isfinite(one)) / len(one) > 0.7
            for one in rows.values
            if len(one)
        ):
            return rows
        samples = [
            Samples(stamp_s=rows.stamp_s[there], values=values[there])
            for values in rows.values
            for there in [~np.isnan(values)]
        ]
    written = said or what_is_written(samples)
    if written != "changes":
        return replace(rows, written=written)
    stamp_s, values = held(samples, rows.stamp_s)
    more = len(stamp_s) - len(rows.stamp_s)
    return replace(
        rows,
        stamp_s=stamp_s,
        values=values,
        bounds={},
        read=rows.read + min(more, 0),
        made=max(more, 0),
        written=written,
    )


def _wide_rows(plan: FilePlan, told: Told, problems: ProblemList) -> RowsRead:
    if plan.layout.groups:
        return _rows_beside(plan, told, problems)
    part = _parts(plan, plan.layout, problems)
    part, clock = on_utc(plan, part, told, problems)
    return RowsRead(
        stamp_s=part.stamp_s,
        values=part.values,
        read=part.read,
        missing_hour=clock.missing,
        doubled_hour=clock.doubled,
        straight_on=clock.straight,
        put_back=clock.put_back,
        midnights=clock.midnights,
        halves_told=clock.halves_told,
        bounds=part.bounds,
    )


def _parts(
    plan: FilePlan, layout: Layout, problems: ProblemList, *, group: int | None = None
) -> Part:
    dialect = replace(plan.dialect, first_line=plan.dialect.first_line + plan.line_offset)
    rows = RowReader(file=plan.name, dialect=dialect, layout=layout, problems=problems, group=group)
    return BlockReader(rows=rows).read(plan.text)


def _long_rows(plan: FilePlan, told: Told, problems: ProblemList) -> tuple[RowsRead, list[Samples]]:
    """Give each series of a long table a column; each is brought to UTC in its own order."""
    assert plan.long is not None
    columns, names, units = long_columns(plan.long, plan.dialect.heads)
    by_place = replace(plan.layout, columns=columns, open=())
    part = _parts(plan, by_place, problems)
    values, naming = part.values[0], part.values[1 : 1 + len(names)]
    unit_codes = part.values[-1] if len(columns) > 1 + len(names) else np.full(len(values), np.nan)
    unit_words = list(units.codes)
    codes, series = series_of(naming, names)
    stamps, sampled, printed = [], [], []
    clocks = []
    for number in range(len(series)):
        rows = codes == number
        own = Part(
            stamp_s=part.stamp_s[rows],
            values=(values[rows],),
            lines=part.lines[rows],
            read=int(rows.sum()),
        )
        own, unit = _in_one_unit(own, unit_codes[rows], unit_words)
        printed.append(unit)
        own, clock = on_utc(plan, own, told, problems)
        clocks.append(clock)
        stamps.append(own.stamp_s)
        sampled.append(own.values[0])
    missing = sum(clock.missing for clock in clocks)
    doubled = sum(clock.doubled for clock in clocks)
    straight = sum(clock.straight for clock in clocks)
    every, wide = _on_one_axis(stamps, sampled)
    rows = RowsRead(
        stamp_s=every,
        values=wide,
        read=len(every) + (part.read - len(part.stamp_s)) + missing + doubled + straight,
        missing_hour=missing,
        doubled_hour=doubled,
        straight_on=straight,
        put_back=sum(clock.put_back for clock in clocks),
        midnights=sum(clock.midnights for clock in clocks),
        halves_told=any(clock.halves_told for clock in clocks),
        series=series,
        units=tuple(printed),
    )
    return rows, [
        Samples(stamp_s=stamp_s, values=values)
        for stamp_s, values in zip(stamps, sampled, strict=True)
    ]


def _rows_beside(plan: FilePlan, told: Told, problems: ProblemList) -> RowsRead:
    """Give the columns of groups side by side, each on the stamps of its group."""
    stamps: list[NDArray[np.int64]] = []
    sampled: list[NDArray[np.float64]] = []
    clocks: list[Clock] = []
    aside = [0]
    at = {column.place: number for number, column in enumerate(plan.layout.columns)}
    order: list[int] = []
    for group in plan.layout.groups:
        columns = tuple(one for one in plan.layout.columns if one.place in group.places)
        if not columns:
            continue
        own = replace(plan.layout, stamp=group.stamp, columns=columns, open=(), groups=())
        part = _parts(plan, own, problems, group=len(clocks))
        part, clock = on_utc(replace(plan, layout=own), part, told, problems)
        clocks.append(clock)
        aside.append(part.read - len(part.stamp_s))
        order.extend(at[one.place] for one in columns)
        stamps.extend(part.stamp_s for _ in columns)
        sampled.extend(part.values)
    every, wide = _on_one_axis(stamps, sampled)
    return RowsRead(
        stamp_s=every,
        values=tuple(wide[place] for place in np.argsort(order).tolist()),
        read=len(every) + max(aside),
        missing_hour=max((clock.missing for clock in clocks), default=0),
        doubled_hour=max((clock.doubled for clock in clocks), default=0),
        straight_on=max((clock.straight for clock in clocks), default=0),
        put_back=sum(clock.put_back for clock in clocks),
        midnights=sum(clock.midnights for clock in clocks),
        halves_told=any(clock.halves_told for clock in clocks),
    )


def _on_one_axis(
    stamps: Sequence[NDArray[np.int64]], columns: Sequence[NDArray[np.float64]]
) -> tuple[NDArray[np.int64], tuple[NDArray[np.float64], ...]]:
    """Give all stamps, each once, and every column of values on them [s]."""
    every = np.unique(np.concatenate(stamps)) if stamps else np.zeros(0, dtype=np.int64)
    wide = []
    for stamp_s, one in zip(stamps, columns, strict=True):
        column = np.full(len(every), np.nan)
        there = ~np.isnan(one)
        column[np.searchsorted(every, stamp_s[there])] = one[there]
        wide.append(column)
    return every, tuple(wide)


def _in_one_unit(part: Part, codes: NDArray[np.float64], words: list[str]) -> tuple[Part, str]:
    """Bring the values of a series to the unit that it has first; some loggers change over."""
    seen = codes[np.isfinite(codes)]
    if not len(seen):
        return part, ""
    first = words[int(seen[0])]
    values = part.values[0]
    for code in np.unique(seen[seen != seen[0]]).tolist():
        ratio = unit_ratio(words[int(code)], first)
        values = np.where(codes == code, values * ratio, values)
    return replace(part, values=(values,)), first
