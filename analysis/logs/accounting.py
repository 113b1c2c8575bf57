"""How a file was understood, as `Understood` and in one line of words; and what is asked."""

import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from numpy.typing import NDArray

from analysis.logs.asking import Choice, ColumnUnderstood, Proposal, Question, Understood
from analysis.logs.beside import StampGroup
from analysis.logs.clockfix import clock_says
from analysis.logs.dialect import DELIMITER_NAMES
from analysis.logs.holding import LONGEST_H, SILENT_H
from analysis.logs.layout import Column
from analysis.logs.on_utc import zone_of
from analysis.logs.onefile import RowsRead
from analysis.logs.planning import FilePlan, Told
from analysis.logs.shapes import quoted
from analysis.logs.step_figures import extremes
from analysis.site import ColumnMeaning
from analysis.units import SECONDS_PER_HOUR

_CHUNKS = 64
_GAP_STEPS = 1.5


def used_column(
    plan: FilePlan,
    column: Column,
    proposal: Proposal | None,
    far: tuple[float, ...],
    masked: int,
    set_aside: int,
) -> ColumnUnderstood:
    """Account for a column in use: its far values, how many were not used, cells set aside."""
    assert column.channel is not None
    unit = None if column.unit.share_unsure else column.unit_says
    proposed = column.source == "proposal" and proposal is not None
    return ColumnUnderstood(
        place=column.place,
        head=plan.dialect.heads[column.place],
        shared_head=plan.dialect.is_shared(column.place),
        unit_head=plan.dialect.headers.units[column.place] or column.cell_unit,
        meaning=ColumnMeaning(channel=column.channel.name, unit=unit),
        source="proposal" if proposed else "map" if column.source == "map" else "header",
        certainty_frac=proposal.certainty_frac if proposed and proposal is not None else 1.0,
        reasons=proposal.reasons if proposed and proposal is not None else (),
        sentinels=far,
        masked=masked,
        set_aside=set_aside,
    )


def left_column(plan: FilePlan, column: Column, proposal: Proposal | None) -> ColumnUnderstood:
    """Account for a column of numbers that is not used."""
    return ColumnUnderstood(
        place=column.place,
        head=plan.dialect.heads[column.place],
        shared_head=plan.dialect.is_shared(column.place),
        unit_head=column.unit_says,
        meaning=None,
        source="none",
        certainty_frac=0.0 if proposal is None else proposal.certainty_frac,
        reasons=() if proposal is None else proposal.reasons,
    )


def questions_of(
    plan: FilePlan,
    rows: RowsRead,
    told: Told,
    said: Mapping[int, Proposal],
    left: Sequence[Column],
) -> tuple[Question, ...]:
    """Give what is to be asked about a file that was read."""
    open_places = {column.place for column in left}
    asked = [
        question
        for place, proposal in sorted(said.items())
        for question in proposal.questions
        if place in open_places or question.kind == "unit"
    ]
    doubt = plan.dialect.number_doubt
    if doubt:
        asked.append(
            Question(
                kind="decimal",
                file=plan.name,
                subject="",
                choices=(
                    Choice(value=",", says="commas are decimal signs", certainty_frac=0.5),
                    Choice(value=".", says="points are decimal signs", certainty_frac=0.5),
                ),
                why=f"{doubt} can be thousands or have decimals, and no number tells which",
            )
        )
    if rows.written == "unsure":
        asked.append(_cells_question(plan))
    if rows.missing_hour or rows.straight_on:
        asked.append(_zone_question(plan, rows, told))
    return tuple(asked)


def _cells_question(plan: FilePlan) -> Question:
    return Question(
        kind="cells",
        file=plan.name,
        subject="",
        choices=(
            Choice(
                value="changes",
                says="the logger writes a value only where it changed; it holds until the next",
                certainty_frac=math.nan,
            ),
            Choice(
                value="all",
                says="where nothing is written nothing was measured",
                certainty_frac=math.nan,
            ),
        ),
        why="values come at times without a usual step, so that most are missing in most rows",
    )


def _zone_question(plan: FilePlan, rows: RowsRead, told: Told) -> Question:
    zone = zone_of(plan, told)
    winter, summer = fixed_zones(zone, int(rows.stamp_s[0]))
    said = [
        (winter, "the clock stays on winter time"),
        ("UTC", "the clock stays on UTC"),
        (summer, "the clock stays on summer time"),
        (zone, f"the clock follows {zone}"),
    ]
    choices = [
        Choice(value=value, says=says, certainty_frac=math.nan) for value, says in said if value
    ]
    return Question(
        kind="time_zone",
        file=plan.name,
        subject="",
        choices=tuple({choice.value: choice for choice in reversed(choices)}.values())[::-1],
        why=f"{_clock_signs(rows, zone)}, so this clock seems not to follow summer time",
    )


def _clock_signs(rows: RowsRead, zone: str) -> str:
    signs = []
    if rows.missing_hour:
        signs.append(
            f"{rows.missing_hour} rows stand in the hour that the clocks of {zone} leave out in "
            "spring"
        )
    if rows.straight_on:
        signs.append(f"the log runs straight through the hour that comes twice in {zone} in autumn")
    return " and ".join(signs)


def fixed_zones(zone: str, at_s: int) -> tuple[str, str]:
    """Give zones that stay on the winter and the summer time of one; "" where none does.

    Parameters
    ----------
    zone : str
        IANA name.
    at_s : int
        A time in the year that counts, UTC epoch seconds [s].
    """
    year = datetime.fromtimestamp(at_s, tz=UTC).year
    hours = _offsets_h(zone, year)
    return _staying(min(hours), year), _staying(max(hours), year)


def _staying(hours: float, year: int) -> str:
    if hours % 1 == 0:
        return "UTC" if hours == 0 else f"Etc/GMT{-int(hours):+d}"
    # Zones of half hours have no name of their own; some place may stay on it.
    return next(
        (name for name in sorted(available_timezones()) if _offsets_h(name, year) == {hours}), ""
    )


def _offsets_h(zone: str, year: int) -> set[float]:
    info = ZoneInfo(zone)
    offsets = [datetime(year, month, 1, tzinfo=info).utcoffset() for month in range(1, 13)]
    return {one.total_seconds() / SECONDS_PER_HOUR for one in offsets if one is not None}


def _steps(stamp_s: NDArray[np.int64]) -> tuple[int, ...]:
    """Give the usual steps in the order in which they came [s]."""
    steps = np.diff(stamp_s)
    rising = steps > 0
    steps = steps if rising.all() else steps[rising]
    if not len(steps):
        return ()
    size = max(len(steps) // _CHUNKS, 16)
    found: list[int] = []
    for start in range(0, len(steps), size):
        chunk = steps[start : start + size]
        usual = int(chunk[0] if (chunk == chunk[0]).all() else np.median(chunk))
        if len(chunk) < size // 2 and found:
            continue
        if not found or not found[-1] / _GAP_STEPS < usual < found[-1] * _GAP_STEPS:
            found.append(usual)
    return tuple(found)


def _own_stamps(rows: RowsRead) -> NDArray[np.int64]:
    """Give the stamps of rows; of a long table those of one series, the one with most samples."""
    if not rows.series or not rows.values:
        return rows.stamp_s
    most = max((np.isfinite(values) for values in rows.values), key=lambda held: int(held.sum()))
    return rows.stamp_s[most] if most.any() else rows.stamp_s


def understood_of(
    plan: FilePlan,
    rows: RowsRead,
    told: Told,
    columns: tuple[ColumnUnderstood, ...],
    questions: tuple[Question, ...],
) -> Understood:
    """Give the whole account of a file."""
    stamp, dialect = plan.layout.stamp, plan.dialect
    remarks = []
    if plan.line_offset:
        remarks.append(f"the columns change in line {plan.line_offset + 1}")
    if plan.dated:
        remarks.append("the date stands on a line of its own, above the rows of its day")
    if plan.long is None:
        remarks += [_beside(plan, group) for group in plan.layout.groups[1:]]
        remarks += _without_numbers(plan)
    if plan.footers:
        lines = "1 line" if plan.footers == 1 else f"{plan.footers} lines"
        remarks.append(f"{lines} under the rows hold no row and were passed over")
    if rows.written == "changes":
        remarks.append(
            f"only changes are written: a value holds until the next, for {LONGEST_H} hours at "
            f'most and not while nothing at all is written for {SILENT_H} hours (cells = "all" in '
            "[log] where a value that is not written is a missing one)"
        )
    if rows.halves_told:
        remarks.append(
            "the clock shows twelve hours and no am or pm; the half of the day is told by the "
            "order of the rows"
        )
    twice = rows.doubled_hour + rows.straight_on
    if twice:
        remarks.append(f"{twice} rows of the hour that comes twice in autumn were set aside")
    if rows.put_back:
        remarks.append(
            f"the clock was reset and counted from another year; its {rows.put_back} rows were put "
            "between the rows before and after, where they fit to a quarter of an hour"
        )
    if rows.midnights:
        remarks.append(
            f"midnight stands as 00:00 under the date before; its {rows.midnights} rows were put a "
            "day later, where the order of rows proves them"
        )
    clock = clock_says(told.log_map)
    if clock is not None:
        remarks.append(clock)
    return Understood(
        file=plan.name,
        encoding=plan.encoding,
        delimiter=dialect.delimiter,
        decimal=dialect.decimal,
        thousands=dialect.numbers.thousands,
        header_lines=tuple(line + plan.line_offset for line in dialect.headers.lines),
        first_line=dialect.first_line + plan.line_offset,
        long=plan.long is not None,
        stamp_head=stamp.head,
        stamp_format=stamp.says,
        stamp_example=plan.stamp_example,
        time_zone="written" if stamp.aware else zone_of(plan, told),
        time_zone_source=(
            "stamps" if stamp.aware else "header" if stamp.zone is not None else told.zone_from
        ),
        steps_s=_steps(_own_stamps(rows)),
        columns=columns,
        questions=questions,
        remarks=tuple(remarks),
    )


def _beside(plan: FilePlan, group: StampGroup) -> str:
    """Say which columns of a group side by side were read on the stamps of their own."""
    heads = plan.dialect.heads
    named = " and ".join(quoted(heads[at] or f"column {at + 1}") for at in sorted(group.places))
    said = "is" if len(group.places) == 1 else "are"
    number = group.stamp.places[0] + 1
    return (
        f"{named} {said} read at the time in column {number}, {quoted(group.stamp.head)}, and not "
        "at the first time of the row"
    )


def _without_numbers(plan: FilePlan) -> list[str]:
    """Say which columns with a head are left out because their cells are no numbers."""
    dialect = plan.dialect
    aside = extremes(dialect.heads)
    said = []
    for place, head in enumerate(dialect.heads):
        if (
            not head
            or head not in plan.layout.ignored
            or place in aside
            or dialect.is_shared(place)
        ):
            continue
        cell = next((row[place] for row in dialect.samples if row[place].strip()), "")
        if cell:
            said.append(f"{quoted(head)} (as {quoted(cell)})")
    return [f"left out, for their cells are no numbers: {', '.join(said)}"] if said else []


def in_words(plan: FilePlan, told: Told) -> str:
    """Say how a file is written in one line."""
    stamp, dialect = plan.layout.stamp, plan.dialect
    sign = "comma" if dialect.decimal == "," else "point"
    line = dialect.header_line
    header = f"header in line {line + plan.line_offset}" if line else "no header"
    if stamp.count_s is not None and not stamp.wall:
        origin = told.log_map.time_origin
        since = origin.isoformat() if origin is not None else "1970-01-01T00:00:00Z"
        time = f"{stamp.says} since {since}"
    elif stamp.aware:
        time = f"time as {stamp.says}"
    else:
        time = f"time as {stamp.says}, clock of {zone_of(plan, told)}"
    delimiter = DELIMITER_NAMES.get(dialect.delimiter, dialect.delimiter)
    shape = ", one value per row" if plan.long is not None else ""
    used = [column.channel for column in plan.layout.columns if column.channel is not None]
    daily = bool(used) and all(one.daily for one in used)
    stamps = "each row for a whole day" if daily else f"stamps at the {told.stamp} of each step"
    return (
        f"{delimiter} separated{shape}, decimal {sign}, {header}, {plan.encoding}, {time}, {stamps}"
    )
