"""One file: from planned rows to stamps in UTC and values as written, in the order of its rows."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.errors import LogError
from analysis.logs.blocks import BlockReader
from analysis.logs.clockfix import clock_error_s, in_span, span_keys
from analysis.logs.exchanged import day_and_month_exchanged
from analysis.logs.halfdays import AS_WRITTEN, UNTOLD, halves_told
from analysis.logs.holding import Samples, held, what_is_written
from analysis.logs.layout import Layout
from analysis.logs.longtable import long_columns, series_of
from analysis.logs.midnights import at_the_end_of_their_day
from analysis.logs.planning import FilePlan, Told
from analysis.logs.resets import Reset, clock_resets
from analysis.logs.rows import Part, RowReader, unit_ratio
from analysis.logs.shapes import ProblemList
from analysis.logs.timecolumns import EARLIEST_S, LATEST_S
from analysis.logs.walltime import (
    DOUBLED_HOUR,
    GOOD,
    MISSING_HOUR,
    STRAIGHT_ON,
    utc_from_wall,
)
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
            bool(np.isfinite(one).mean() > 0.7) for one in rows.values if len(one)
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
        read=rows.read + min(more, 0),
        made=max(more, 0),
        written=written,
    )


def _wide_rows(plan: FilePlan, told: Told, problems: ProblemList) -> RowsRead:
    if plan.layout.groups:
        return _rows_beside(plan, told, problems)
    part = _parts(plan, plan.layout, problems)
    part, clock = _on_utc(plan, part, told, problems)
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
    )


def _parts(
    plan: FilePlan, layout: Layout, problems: ProblemList, *, group: int | None = None
) -> Part:
    dialect = replace(plan.dialect, first_line=plan.dialect.first_line + plan.line_offset)
    rows = RowReader(file=plan.name, dialect=dialect, layout=layout, problems=problems, group=group)
    parts = BlockReader(rows=rows).read(plan.text)
    read = sum(part.read for part in parts)
    if not parts:
        return Part(
            stamp_s=np.zeros(0, dtype=np.int64),
            values=tuple(np.zeros(0) for _ in layout.columns),
            lines=np.zeros(0, dtype=np.int32),
            read=read,
        )
    stamp_s = np.concatenate([part.stamp_s for part in parts])
    lines = np.concatenate([part.lines for part in parts])
    held = [list(part.values) for part in parts]
    parts.clear()
    # The pieces of a column are let go of before the next one is put together.
    values = tuple(np.concatenate([own.pop(0) for own in held]) for _ in layout.columns)
    return Part(stamp_s=stamp_s, values=values, lines=lines, read=read)


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
        own, clock = _on_utc(plan, own, told, problems)
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
    clocks: list[_Clock] = []
    aside = [0]
    at = {column.place: number for number, column in enumerate(plan.layout.columns)}
    order: list[int] = []
    for group in plan.layout.groups:
        columns = tuple(one for one in plan.layout.columns if one.place in group.places)
        if not columns:
            continue
        own = replace(plan.layout, stamp=group.stamp, columns=columns, open=(), groups=())
        part = _parts(plan, own, problems, group=len(clocks))
        part, clock = _on_utc(replace(plan, layout=own), part, told, problems)
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


def _reversed(part: Part) -> Part:
    """Turn a file written newest first, so that the order of rows can prove the doubled hour."""
    steps = np.sign(np.diff(part.stamp_s))
    if not len(steps) or steps.sum() >= -len(steps) // 2:
        return part
    return replace(
        part,
        stamp_s=part.stamp_s[::-1].copy(),
        values=tuple(values[::-1].copy() for values in part.values),
        lines=part.lines[::-1].copy(),
    )


def zone_of(plan: FilePlan, told: Told) -> str:
    """Give the zone of a file's clock where its stamps do not carry it."""
    return plan.layout.stamp.zone or told.zone


@dataclass(frozen=True, slots=True, kw_only=True)
class _Clock:
    """How many rows the changes of the clock cost, whether it has twelve hours, and how many rows
    of a clock that had been reset, or of midnight, were put where they must belong.
    """

    missing: int = 0
    doubled: int = 0
    straight: int = 0
    halves_told: bool = False
    put_back: int = 0
    midnights: int = 0


def _on_utc(plan: FilePlan, part: Part, told: Told, problems: ProblemList) -> tuple[Part, _Clock]:
    """Bring stamps to UTC and set aside those that are no time a log can hold."""
    stamp, name = plan.layout.stamp, plan.name
    head = stamp.head
    part = _reversed(part)
    if day_and_month_exchanged(part.stamp_s):
        raise LogError(
            "the rows jump by months and back, and run on without a jump once day and month change "
            "places in all dates up to the 12th: a spreadsheet exchanged them; give the file that "
            "the logger wrote, unopened",
            file=name,
            line=int(part.lines[0]),
            column=head,
        )
    if stamp.count_s is not None and told.log_map.time_origin is not None:
        part = replace(part, stamp_s=part.stamp_s + int(told.log_map.time_origin.timestamp()))
    late = at_the_end_of_their_day(part.stamp_s)
    if late.any():
        part = replace(part, stamp_s=np.where(late, part.stamp_s + _DAY, part.stamp_s))
    part, put_back = _put_back(plan, part, told, problems)
    real = (part.stamp_s >= EARLIEST_S) & (part.stamp_s < LATEST_S)
    real |= in_span(told.log_map, part.stamp_s)
    why = "before 1990 or after 2100: the logger's clock was not set (a column that counts from "
    why += "another day needs time_origin in [log])"
    part = _without(name, part, ~real, head, why, problems)
    clock = _Clock(put_back=put_back, midnights=int(late.sum()))
    if not stamp.aware:
        part, halves = _on_24_hours(plan, part, told, problems)
        zone = zone_of(plan, told)
        utc_s, state = utc_from_wall(part.stamp_s, zone=zone)
        bad = state != GOOD
        remedy = f'say timezone = "UTC" in [log] if its clock does not follow {zone}'
        clock = replace(
            clock,
            missing=int((state == MISSING_HOUR).sum()),
            doubled=int((state == DOUBLED_HOUR).sum()),
            straight=int((state == STRAIGHT_ON).sum()),
            halves_told=halves,
        )
        for code, why in (
            (MISSING_HOUR, f"this hour does not exist, the clocks go forward; {remedy}"),
            (DOUBLED_HOUR, f"this hour comes twice and no order of rows tells which; {remedy}"),
            (STRAIGHT_ON, f"this hour comes twice, and the log passes it once; {remedy}"),
        ):
            problems.add_rows(file=name, lines=part.lines[state == code], column=head, why=why)
        part = replace(part, stamp_s=utc_s)
        part = part.of_rows(~bad) if bad.any() else part
    error_s = clock_error_s(part.stamp_s, told.log_map, zone=zone_of(plan, told))
    if error_s is not None:
        part = replace(part, stamp_s=part.stamp_s - error_s)
    if told.now_s is not None:
        ahead = part.stamp_s > told.now_s + int(SECONDS_PER_DAY)
        why = "in the future: the clock is ahead; set the logger's clock"
        part = _without(name, part, ahead, head, why, problems)
    return part, clock


def _put_back(plan: FilePlan, part: Part, told: Told, problems: ProblemList) -> tuple[Part, int]:
    """Put rows of a clock that had been reset where they must belong; set aside the others.

    Those that the map places by its span of days, or that were never set, are left to others.
    """
    stamp_s = part.stamp_s.copy()
    aside = np.zeros(len(stamp_s), dtype=np.bool_)
    placed = 0
    zone = None if plan.layout.stamp.aware else zone_of(plan, told)
    for reset in clock_resets(part.stamp_s):
        run_s = part.stamp_s[reset.part]
        shift_s = reset.shift_s(int(run_s[-1]))
        if in_span(told.log_map, run_s).all() or (shift_s is None and run_s.max() < EARLIEST_S):
            continue
        if reset.proven and shift_s is not None:
            stamp_s[reset.part] += shift_s
            placed += len(run_s)
            continue
        aside[reset.part] = True
        problems.add_rows(
            file=plan.name,
            lines=part.lines[reset.part],
            column=plan.layout.stamp.head,
            why=_reset_says(reset, run_s, shift_s, zone),
        )
    part = replace(part, stamp_s=stamp_s)
    return (part.of_rows(~aside) if aside.any() else part), placed


def _reset_says(
    reset: Reset, run_s: NDArray[np.int64], shift_s: int | None, zone: str | None
) -> str:
    """Say between which rows the rows of a reset clock belong, and what places them."""
    before_s, after_s = reset.between_s
    why = "the logger's clock was reset, years before the rows around it; these rows belong after "
    if after_s is None or shift_s is None:
        return f"{why}{_written(before_s)}, and no later row tells when"
    keys = span_keys(run_s, shift_s, zone=zone)
    return (
        f"{why}{_written(before_s)} and before {_written(after_s)}; if the logger ran on while its "
        f"clock was set, {keys} in [log] put them there"
    )


def _written(stamp_s: int) -> str:
    return datetime.fromtimestamp(stamp_s, tz=UTC).strftime("%Y-%m-%d %H:%M")


def _on_24_hours(
    plan: FilePlan, part: Part, told: Told, problems: ProblemList
) -> tuple[Part, bool]:
    """Tell the halves of the day where the clock does not; whether that was so."""
    if plan.layout.stamp.count_s is not None or told.log_map.time_format is not None:
        return part, False
    stamp_s, state = halves_told(part.stamp_s)
    if not (state != AS_WRITTEN).any():
        return part, False
    why = "the clock shows twelve hours and no am or pm, and no order of rows tells the half of "
    why += "the day; set the logger to 24 hours"
    part = replace(part, stamp_s=stamp_s)
    return _without(plan.name, part, state == UNTOLD, plan.layout.stamp.head, why, problems), True


def _without(
    name: str, part: Part, bad: NDArray[np.bool_], head: str, why: str, problems: ProblemList
) -> Part:
    if not bad.any():
        return part
    problems.add_rows(file=name, lines=part.lines[bad], column=head, why=why)
    return part.of_rows(~bad)
