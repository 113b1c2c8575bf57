"""The SQL of days' rows as they are stored: what their numbers are called is stored once for all.

The names of a day's numbers are longer than the numbers, and all days that one method saw with the
same channels have the same.
"""

import hashlib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from service.db.engine import dialect_of, insert_for
from service.db.models import DayNames, DayRow, Site

_NAMES = select(DayNames.key, DayNames.names).where(
    DayNames.key.in_(bindparam("keys", expanding=True))
)
_KEY = DayRow.row["names"].as_string()
_UNREADABLE = (
    select(Site.name, DayRow.held, func.count().label("days"))
    .join(DayRow, DayRow.site_id == Site.id)
    .where(
        Site.deleted_at.is_(None),
        DayRow.numbers.is_not(None),
        _KEY.not_in(select(DayNames.key)),
    )
    .group_by(Site.id, Site.name, DayRow.held)
    .order_by(Site.name, Site.id, DayRow.held)
)
# A key stands for one text, whatever database it is read from; there are a few dozen.
_KNOWN: dict[str, str] = {}


def stored_rows(db: Session, rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Turn rows into the columns `row` and `numbers` of `DayRow`; stores what keys stand for."""
    keys: dict[str, str] = {}
    stored = []
    for row in rows:
        key = keys.setdefault(row["names"], _key(row["names"]))
        rest = {name: value for name, value in row.items() if name != "numbers"}
        stored.append({"row": {**rest, "names": key}, "numbers": row["numbers"]})
    if keys:
        found = [{"key": key, "names": names} for names, key in sorted(keys.items())]
        db.connection().execute(_naming(dialect_of(db)), found)
    return stored


@lru_cache
def _naming(dialect: str) -> Any:
    return insert_for(dialect, DayNames).on_conflict_do_nothing()


def whole_rows(
    db: Session, stored: Iterable[tuple[dict[str, Any], bytes | None]]
) -> list[dict[str, Any] | None]:
    """Give rows again, from both columns as they were just read; None where names are lost."""
    rows, named = [], []
    for row, numbers in stored:
        rows.append(row)
        if numbers is not None:
            row["numbers"] = numbers
            named.append(row)
    missing = {row["names"] for row in named} - _KNOWN.keys()
    if missing:
        found = db.connection().execute(_NAMES, {"keys": sorted(missing)})
        _KNOWN.update((key, names) for key, names in found)
    for row in named:
        row["names"] = _KNOWN.get(row["names"])
    return [None if row.get("names", "") is None else row for row in rows]


def unreadable_days(db: Session) -> list[tuple[str, bool, int]]:
    """Count days whose names are lost: by site, in words, and whether their figures stand."""
    rows = db.connection().execute(_UNREADABLE)
    return [(row.name, row.held, row.days) for row in rows]


def _key(names: str) -> str:
    return hashlib.sha256(names.encode()).hexdigest()[:32]
