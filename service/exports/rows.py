"""Readings and hours of a site, a month of stored rows in memory at a time."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from analysis.blocks import Block, utc_day
from analysis.channels import channel
from analysis.days import local_midnight_s
from analysis.record import Record
from analysis.rollup import STRETCH_S
from analysis.units import SECONDS_PER_HOUR
from service.db.models import Site
from service.exports.tables import Kind, Piece, Span, Table, only_pieces, walls
from service.ingest import queries
from service.ingest.rolled import extremes_back
from service.retention import queries as retention_queries

_DAYS_AT_ONCE = 31
_HOUR_S = int(SECONDS_PER_HOUR)
_ROLLED, _ENDS = "mean of [s]", ("lowest of the hour", "highest of the hour")


def readings_table(db: Session, site: Site, span: Span) -> Table:
    """Give every stored row under the heads of a tidy log, stamped as the logger did.

    Where days are rolled up, a column says of which rows, and two for each head hold the lowest
    and highest value of each hour, where its stamp is.
    """
    heads = _heads(db, site)
    has_means = retention_queries.rolled_of(db, site.id).means_until is not None

    def pieces() -> Iterator[Piece | None]:
        for start_s, end_s in _months(db, site, span):
            rows = queries.load_rows(db, site_id=site.id, start_s=start_s, end_s=end_s - 1)
            if rows is None:
                yield None
                continue
            yield {
                "time": rows.stamp_s,
                "time_local": walls(rows.stamp_s, site.timezone),
                **{
                    head: rows.columns[name] for name, head in heads.items() if name in rows.columns
                },
                **(_rolled(db, site, heads, rows) if has_means else {}),
            }

    columns = _columns(heads)
    if has_means:
        more = [_ROLLED, *(f"{head}, {end}" for head in heads.values() for end in _ENDS)]
        columns |= dict.fromkeys(more, "number")
    return Table(columns=columns, pieces=only_pieces(pieces()))


def _rolled(
    db: Session, site: Site, heads: dict[str, str], rows: Block
) -> dict[str, NDArray[np.float64]]:
    """Say which rows are means, of how many seconds, and give the extremes behind them."""
    days = retention_queries.rolled_between(
        db,
        site_id=site.id,
        first=utc_day(int(rows.stamp_s[0])),
        last=utc_day(int(rows.stamp_s[-1])),
    )
    out: dict[str, NDArray[np.float64]] = {}
    seconds = np.full(len(rows), np.nan)
    dates = [utc_day(int(stamp)) for stamp in rows.stamp_s]
    for one in days:
        first, after = bisect_left(dates, one.day), bisect_right(dates, one.day)
        seconds[first:after] = STRETCH_S
        for end, block in zip(_ENDS, extremes_back(one.extremes), strict=True):
            _, here, there = np.intersect1d(
                rows.stamp_s, block.stamp_s, assume_unique=True, return_indices=True
            )
            for name, values in block.columns.items():
                column = out.setdefault(f"{heads[name]}, {end}", np.full(len(rows), np.nan))
                column[here] = values[there]
    return {_ROLLED: seconds, **out}


def hours_table(db: Session, site: Site, span: Span) -> Table:
    """Give each hour's means, and what a counter showed last; steps count where they begin."""
    heads = {
        name: head
        for name, head in _heads(db, site).items()
        if (found := channel(name)) is None or not found.daily
    }

    def pieces() -> Iterator[Piece | None]:
        for start_s, end_s in _months(db, site, span):
            record = queries.load_record(db, site_id=site.id, start_s=start_s, end_s=end_s)
            yield None if record is None else _hours(record, site, heads, (start_s, end_s))

    return Table(
        columns={**_columns(heads), "logged [share]": "number"}, pieces=only_pieces(pieces())
    )


def _columns(heads: dict[str, str]) -> dict[str, Kind]:
    return {"time": "instant", "time_local": "wall", **dict.fromkeys(heads.values(), "number")}


def _heads(db: Session, site: Site) -> dict[str, str]:
    """Give the tidy head of every channel that the site ever logged; units stand in them."""
    return {
        name: found.tidy if (found := channel(name)) is not None else name
        for name in sorted(queries.channels_seen(db, site.id))
    }


def _months(db: Session, site: Site, span: Span) -> Iterator[tuple[int, int]]:
    """Give stretches of local days that hold rows, each a month at most, end excluded."""
    stored = queries.days_stored(db, site.id)
    if not stored:
        return
    # A local day may begin on the UTC day before, or end on the one after.
    first = max(span.first or date.min, stored[0] - timedelta(days=1))
    last = min(span.last or date.max, stored[-1] + timedelta(days=1))
    day = timedelta(days=1)
    while first <= last:
        after = min(first + _DAYS_AT_ONCE * day, last + day)
        if any(first - day <= one <= after for one in stored):
            yield local_midnight_s(first, site.timezone), local_midnight_s(after, site.timezone)
        first = after


def _hours(
    record: Record, site: Site, heads: dict[str, str], bounds: tuple[int, int]
) -> Piece | None:
    inside = (record.start_s >= bounds[0]) & (record.start_s < bounds[1])
    if not bool(inside.any()):
        return None
    hour = record.start_s[inside] // _HOUR_S
    numbers, place = np.unique(hour, return_inverse=True)
    step_s = record.step_s[inside]
    time_s = (numbers * _HOUR_S).astype(np.int64)
    logged = np.minimum(np.bincount(place, weights=step_s) / SECONDS_PER_HOUR, 1.0)
    piece: dict[str, list[str] | NDArray[np.float64] | NDArray[np.int64]] = {
        "time": time_s,
        "time_local": walls(time_s, site.timezone),
        "logged [share]": logged,
    }
    for name, head in heads.items():
        if name not in record.columns:
            continue
        values = record.columns[name][inside]
        found = channel(name)
        if found is not None and found.counter:
            piece[head] = _last(values, place, size=numbers.shape[0])
        else:
            piece[head] = _means(values, step_s, place)
    return piece


def _means(
    values: NDArray[np.float64], weights: NDArray[np.float64], place: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Give the mean of each hour over the time that has a value; NaN where none has."""
    known = np.isfinite(values)
    count = int(place[-1]) + 1
    over = np.bincount(place, weights=np.where(known, weights, 0.0), minlength=count)
    sums = np.bincount(place, weights=np.where(known, values * weights, 0.0), minlength=count)
    means = np.full(count, np.nan)
    np.divide(sums, over, out=means, where=over > 0)
    return means


def _last(
    values: NDArray[np.float64], place: NDArray[np.intp], *, size: int
) -> NDArray[np.float64]:
    """Give the last value of each hour; NaN where none is."""
    known = np.isfinite(values)
    out = np.full(size, np.nan)
    out[place[known]] = values[known]  # the latest of an hour is written last
    return out
