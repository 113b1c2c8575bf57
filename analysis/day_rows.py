"""A table of days as one plain row for each day, for storage, and back.

A row's numbers are the bytes of 64-bit floats, little-endian, under names in one text: a table has
some two hundred columns, and as numbers by name a year took three times as long to read. All else
is ready for JSON.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from functools import lru_cache
from math import isfinite
from typing import Any

import numpy as np

from analysis.days import DayTable, Happening, local_days

_KIND = "<f8"


def day_rows(table: DayTable) -> list[dict[str, Any]]:
    """Turn a table into one plain row per day; what is not finite is unknown."""
    names = sorted(table.columns)
    numbers = np.empty((len(table.days), len(names)))
    for place, name in enumerate(names):
        numbers[:, place] = table.columns[name]
    numbers[~np.isfinite(numbers)] = np.nan
    written = " ".join(names)
    rows: list[dict[str, Any]] = [
        {
            "date": day,
            "names": written,
            "numbers": own.astype(_KIND).tobytes(),
            "happenings": [],
        }
        for day, own in zip(table.days.dates, numbers, strict=True)
    ]
    place_of = {day: number for number, day in enumerate(table.days.dates)}
    for item in table.happenings:
        rows[place_of[item.date]]["happenings"].append(
            {
                "kind": item.kind,
                "start_s": item.start_s,
                "end_s": item.end_s,
                "values": {
                    name: value if isfinite(value) else None for name, value in item.values.items()
                },
                "channel": item.channel,
            }
        )
    return rows


def numbers_of(row: Mapping[str, Any]) -> dict[str, float]:
    """Give what a row knows, by column."""
    written, numbers = _numbers(row)
    known = zip(_names(written), np.frombuffer(numbers, _KIND).tolist(), strict=True)
    return {name: value for name, value in known if value == value}


def table_from_rows(rows: Sequence[Mapping[str, Any]], *, timezone: str) -> DayTable:
    """Build the table again from rows as `day_rows` gives them; missing days become NaN rows."""
    dates = [row["date"] for row in rows]
    days = local_days(
        first=date.fromisoformat(min(dates)),
        last=date.fromisoformat(max(dates)),
        timezone=timezone,
    )
    place_of = {day: number for number, day in enumerate(days.dates)}
    # Days that were looked at by one method have the same columns.
    alike: dict[str, tuple[list[int], list[bytes]]] = {}
    for row in rows:
        written, own = _numbers(row)
        at, joined = alike.setdefault(written, ([], []))
        at.append(place_of[row["date"]])
        joined.append(own)
    every = sorted(set().union(*map(_names, alike)))
    numbers = np.full((len(every), len(days)), np.nan)
    line_of = {name: number for number, name in enumerate(every)}
    for written, (at, joined) in alike.items():
        lines = [line_of[name] for name in _names(written)]
        by_day = np.frombuffer(b"".join(joined), _KIND).reshape(len(at), len(lines))
        numbers[np.ix_(lines, at)] = by_day.T
    known = ~np.isnan(numbers).all(axis=1)
    happenings = [_happening(item, row["date"]) for row in rows for item in row["happenings"]]
    happenings.sort(key=lambda item: (item.start_s, item.kind))
    return DayTable(
        days=days,
        columns={name: numbers[line] for name, line in line_of.items() if known[line]},
        happenings=tuple(happenings),
    )


def _happening(item: Mapping[str, Any], day: str) -> Happening:
    """Build a happening; by position, as a year has a thousand."""
    values = item["values"]
    if None in values.values():
        values = {name: np.nan if value is None else value for name, value in values.items()}
    return Happening(item["kind"], day, item["start_s"], item["end_s"], values, item["channel"])


def _numbers(row: Mapping[str, Any]) -> tuple[str, bytes]:
    """Give names, in one text, and bytes of a row's numbers.

    Older rows have their numbers as hexadecimal digits, those before them by name.
    """
    if "numbers" in row:
        return row["names"], row["numbers"]
    if "values" in row:
        return row["names"], bytes.fromhex(row["values"])
    held: Mapping[str, float] = row["columns"]
    return " ".join(held), np.array(list(held.values()), dtype=_KIND).tobytes()


@lru_cache(maxsize=256)
def _names(written: str) -> tuple[str, ...]:
    return tuple(written.split())
