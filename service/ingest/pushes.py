"""A gateway's batch: JSON in, rows out, or a refusal that names row, field and reason.

Fields are `time` and the column heads of a tidy log. Either `{"rows": [{"time": "...Z",
"t_collector_c": 61.2}, ...]}` or `{"columns": {"time": [...], "t_collector_c": [...]}}`. A value is
a number or null, for pumps and backup also true, false, "on" or "off". As in a log, a pump or
backup field that never goes above 1 within the batch means 0/1, else percent.
"""

import json
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np

from analysis.blocks import Block, merge
from analysis.channels import Channel, channel_of_tidy, is_daily
from analysis.days import local_date
from analysis.logs.summaries import noons_of
from service.errors import InvalidError

MOST_ROWS = 100_000
_EARLIEST_S = 631_152_000  # 1990: a clock before it was never set
_AHEAD_S = 86_400
# As much of what was sent is shown in an answer.
_SHOWN = 60
_SWITCH: dict[object, float] = {"on": 100.0, "off": 0.0, True: 100.0, False: 0.0}


def parse_push(data: bytes, *, now_s: int) -> Block:
    """Read a batch.

    Rows may come in any order; where a time stands twice the later row's values win.

    Raises
    ------
    InvalidError : with `row` (counted from 1) and `field` where it is about one
    """
    columns = _columns(_json(data))
    times = columns.pop("time", None)
    if times is None:
        raise InvalidError("Every row needs its time.", field="time")
    if not columns:
        raise InvalidError("No value was sent: beside time, send at least one field of a tidy log.")
    stamps = np.array(
        [_stamp(value, row=row, now_s=now_s) for row, value in enumerate(times, start=1)],
        dtype=np.int64,
    )
    values: dict[str, np.ndarray] = {}
    for head, column in columns.items():
        found = _channel(head)
        if found.name in values:
            raise InvalidError(f"{found.tidy} stands twice.", field=head)
        values[found.name] = _values(found, column)
    return _sorted(stamps, values)


def _json(data: bytes) -> Mapping[str, Any]:
    try:
        content = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise InvalidError(f"The body is not JSON: {error}.") from None
    if not isinstance(content, dict) or len(content.keys() & {"rows", "columns"}) != 1:
        raise InvalidError('The body must be {"rows": [...]} or {"columns": {...}}.')
    return content


def _columns(content: Mapping[str, Any]) -> dict[str, Sequence[object]]:
    """Give the batch column by column."""
    if "rows" not in content:
        return _given_columns(content["columns"])
    rows = content["rows"]
    if not isinstance(rows, list) or not rows:
        raise InvalidError('"rows" must be a list of at least one row.', field="rows")
    _not_too_many(len(rows))
    columns: dict[str, list[object]] = {}
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, dict):
            raise InvalidError(f"Row {number} is no object.", row=number)
        for head, value in row.items():
            if head not in columns:
                # Before the room for it is made: a few bytes of names could ask for gigabytes.
                _known(head)
                columns[head] = [None] * len(rows)
            columns[head][number - 1] = value
    return dict(columns)


def _given_columns(columns: object) -> dict[str, Sequence[object]]:
    if not isinstance(columns, dict) or not columns:
        raise InvalidError('"columns" must be an object of lists.', field="columns")
    for head, values in columns.items():
        if not isinstance(values, list) or not values:
            raise InvalidError(f"{head} must be a list of at least one value.", field=head)
    lengths = {head: len(values) for head, values in columns.items()}
    if len(set(lengths.values())) > 1:
        listed = ", ".join(f"{head} {length}" for head, length in sorted(lengths.items()))
        raise InvalidError(f"The columns differ in length: {listed}.")
    _not_too_many(next(iter(lengths.values())))
    return dict(columns)


def _not_too_many(rows: int) -> None:
    if rows > MOST_ROWS:
        raise InvalidError(f"{rows} rows are too many for one batch; send at most {MOST_ROWS}.")


def _known(head: str) -> None:
    if head != "time":
        _channel(head)


def _channel(head: str) -> Channel:
    found = channel_of_tidy(head)
    if found is None:
        shown = head[:_SHOWN]
        raise InvalidError(
            f"{shown} is not a field of a tidy log; send names such as t_collector_c or "
            "flow_l_min.",
            field=shown,
        )
    return found


def _stamp(value: object, *, row: int, now_s: int) -> int:
    """Read one time as epoch seconds."""
    moment = None
    if isinstance(value, str):
        try:
            moment = datetime.fromisoformat(value)
        except ValueError:
            moment = None
    if moment is None or moment.tzinfo is None:
        raise InvalidError(
            f"Row {row}: the time is {json.dumps(value)[:_SHOWN]}; send ISO 8601 with Z or an "
            "offset, such as 2025-06-01T12:00:00Z.",
            row=row,
            field="time",
        )
    stamp_s = math.floor(moment.timestamp())
    if not _EARLIEST_S <= stamp_s <= now_s + _AHEAD_S:
        now = datetime.fromtimestamp(now_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        raise InvalidError(
            f"Row {row}: the time {value} cannot be (it is {now} now); set the gateway's clock.",
            row=row,
            field="time",
        )
    return stamp_s


def _values(found: Channel, column: Sequence[object]) -> np.ndarray:
    """Read one field of all rows."""
    share = found.quantity == "share"
    values = np.array(
        [_number(found, value, row=row, share=share) for row, value in enumerate(column, start=1)]
    )
    if share and not any(isinstance(value, (bool, str)) for value in column):
        known = values[~np.isnan(values)]
        if known.shape[0] and known.max() <= 1.0:
            values = values * 100.0
    return values


def _number(found: Channel, value: object, *, row: int, share: bool) -> float:
    if value is None:
        return math.nan
    if share and isinstance(value, (bool, str)):
        word = value.strip().lower() if isinstance(value, str) else value
        if word in _SWITCH:
            return _SWITCH[word]
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if math.isfinite(number):
            return number
    allowed = ", true, false, on, off" if share else ""
    raise InvalidError(
        f"Row {row}: {found.tidy} is {json.dumps(value)[:_SHOWN]}; send a finite number{allowed} "
        "or null.",
        row=row,
        field=found.tidy,
    )


def _sorted(stamps: np.ndarray, values: dict[str, np.ndarray]) -> Block:
    """Bring rows in order of time; of rows with one time the later values win."""
    unique = np.unique(stamps)
    if unique.shape == stamps.shape and bool(np.all(unique == stamps)):
        return Block(stamp_s=stamps, columns=values)
    place = np.searchsorted(unique, stamps)
    columns: dict[str, np.ndarray] = {}
    for name, column in values.items():
        merged = np.full(unique.shape[0], np.nan)
        given = ~np.isnan(column)
        merged[place[given]] = column[given]  # of equal places numpy keeps the last
        columns[name] = merged
    return Block(stamp_s=unique, columns=columns)


def on_their_days(rows: Block, *, timezone: str) -> Block:
    """Put figures of whole days on the noon of their day, as logs have them.

    Parameters
    ----------
    rows : what a gateway pushed
    timezone : IANA name of the site's zone; its midnight ends a day
    """
    figures = {name: values for name, values in rows.columns.items() if is_daily(name)}
    if not figures:
        return rows
    dates = [local_date(stamp_s - 1, timezone).isoformat() for stamp_s in rows.stamp_s.tolist()]
    noon_s, at_noon = noons_of(figures, dates, timezone=timezone)
    if not len(noon_s):
        return rows
    rest = {name: values for name, values in rows.columns.items() if name not in figures}
    days = Block(stamp_s=noon_s, columns=at_noon)
    return merge(Block(stamp_s=rows.stamp_s, columns=rest), days) if rest else days
