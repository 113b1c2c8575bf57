"""All SQL about day rows, reports and known findings. Nothing here commits."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any, Literal

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Select,
    Text,
    and_,
    bindparam,
    cast,
    delete,
    func,
    or_,
    select,
)
from sqlalchemy.orm import InstrumentedAttribute, Session

from analysis.results import Problem, Report, report_json
from dashboards.short_report import short_json
from service.assessments.built import BUILT
from service.assessments.row_queries import stored_rows, whole_rows
from service.db.engine import dialect_of, insert_for, read_json
from service.db.models import DayMark, DayRow, FindingSeen, Site, SiteReport, Upload
from service.db.models.assessments import new_mark
from service.db.moment import AHEAD, NOW

Pending = Literal["reading", "analysing"]
_AT_ONCE = 400
# As many as one reading lists (`analysis.logs.shapes.PROBLEMS_LISTED`).
_PROBLEMS_LISTED = 1000

# What every analysis asks is put into words once: building a statement takes longer than it does.
_OF_SITE: BindParameter[int] = bindparam("site_id")
_SOME_DAYS: BindParameter[date] = bindparam("days", expanding=True)
_MARKS = (
    select(DayMark.date, DayMark.serial, DayRow.held)
    .outerjoin(DayRow, and_(DayRow.site_id == DayMark.site_id, DayRow.date == DayMark.date))
    .where(DayMark.site_id == _OF_SITE)
)
_CLEAR = delete(DayMark).where(
    DayMark.site_id == _OF_SITE,
    DayMark.serial == bindparam("marked"),
    DayMark.date.in_(_SOME_DAYS),
)
# Nothing but what an index holds: the rows themselves are long.
_FOREIGN = (
    select(DayRow.method)
    .where(DayRow.site_id == _OF_SITE, DayRow.method != bindparam("own"), DayRow.held.is_(False))
    .limit(1)
)
_ROWS = (
    select(DayRow.date, cast(DayRow.row, Text), DayRow.numbers, DayRow.held)
    .where(DayRow.site_id == _OF_SITE)
    .order_by(DayRow.date)
    .execution_options(as_stored=True)
)
_DROP_ROWS = delete(DayRow).where(DayRow.site_id == _OF_SITE, DayRow.date.in_(_SOME_DAYS))
_SEEN = select(FindingSeen).where(FindingSeen.site_id == _OF_SITE)
_PROBLEMS = (
    select(Upload.problems)
    .where(Upload.site_id == _OF_SITE, Upload.state == "stored")
    .order_by(Upload.id)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetEntry:
    """One site as the fleet page shows it.

    `pending` says what the worker still has to do; `data_until_s` is the end of the newest row
    that was analysed, None without any. `site.problem` says why it could not be assessed.
    """

    site: Site
    report: Report | None
    made_at: datetime | None
    data_until_s: int | None
    pending: Pending | None


def latest_report(db: Session, *, site_id: int) -> Report | None:
    """Give a site's latest report, None before there is one."""
    mark = db.scalar(select(SiteReport.mark).where(SiteReport.site_id == site_id))
    if mark is None:
        return None
    held = BUILT.get(mark)
    if held is not None:
        return held
    # Mark and content by one statement: between two the report may have been written anew.
    row = db.execute(
        select(SiteReport.mark, SiteReport.report).where(SiteReport.site_id == site_id)
    ).one_or_none()
    return BUILT.keep(row[0], row[1]) if row is not None else None


def short_reports(db: Session, site_ids: Iterable[int]) -> dict[int, Report]:
    """Give sites' latest reports as lists need them (see `dashboards.short_report`)."""
    wanted = list(site_ids)
    marks = select(SiteReport.site_id, SiteReport.mark).where(SiteReport.site_id.in_(wanted))
    found = {row.site_id: BUILT.get(_short(row.mark)) for row in db.execute(marks)}
    lacking = [site_id for site_id, report in found.items() if report is None]
    # A report that was written before there were short ones stands for its own.
    content = func.coalesce(SiteReport.short, SiteReport.report, type_=SiteReport.report.type)
    stored = select(SiteReport.site_id, SiteReport.mark, content).where(
        SiteReport.site_id.in_(lacking)
    )
    built = {row[0]: BUILT.keep(_short(row[1]), row[2]) for row in db.execute(stored)}
    return {site_id: report for site_id, report in found.items() if report is not None} | built


def _short(mark: str) -> str:
    return f"short:{mark}"


def fleet(
    db: Session, *, firm_id: int, invented: bool = False, whole: bool = False
) -> list[FleetEntry]:
    """Give all sites of a firm by name, an invented one on request.

    Their reports are the short ones of lists, or, one after the other, the `whole` ones.
    """
    own = () if invented else (Site.invented.is_(False),)
    found: Sequence[Any] = db.execute(
        select(Site, SiteReport)
        .outerjoin(SiteReport, SiteReport.site_id == Site.id)
        .where(Site.firm_id == firm_id, Site.deleted_at.is_(None), *own)
        .order_by(Site.name, Site.id)
    ).all()
    reading, analysing = _busy(db)
    assessed = [site.id for site, saved in found if saved is not None]
    reports = (
        {site_id: latest_report(db, site_id=site_id) for site_id in assessed}
        if whole
        else short_reports(db, assessed)
    )
    return [
        FleetEntry(
            site=site,
            report=reports.get(site.id),
            made_at=saved.made_at if saved is not None else None,
            data_until_s=saved.data_until_s if saved is not None else None,
            pending=_pending(site.id, reading, analysing),
        )
        for site, saved in found
    ]


def sites_pending(db: Session, *, firm_id: int) -> list[tuple[Site, Pending | None]]:
    """Give all sites of a firm by name, and what the worker still has to do for each."""
    found = select(Site).where(
        Site.firm_id == firm_id, Site.deleted_at.is_(None), Site.invented.is_(False)
    )
    reading, analysing = _busy(db)
    return [
        (site, _pending(site.id, reading, analysing))
        for site in db.scalars(found.order_by(Site.name, Site.id))
    ]


def _busy(db: Session) -> tuple[set[int], set[int]]:
    reading = set(db.scalars(select(Upload.site_id).where(Upload.state == "kept").distinct()))
    return reading, set(db.scalars(select(DayMark.site_id).distinct()))


def pending_of(db: Session, *, site_id: int) -> Pending | None:
    """Say what the worker still has to do for a site."""
    kept = select(Upload.site_id).where(Upload.state == "kept", Upload.site_id == site_id)
    marked = select(DayMark.site_id).where(DayMark.site_id == site_id)
    return _pending(site_id, set(db.scalars(kept)), set(db.scalars(marked.limit(1))))


def _pending(site_id: int, reading: set[int], analysing: set[int]) -> Pending | None:
    if site_id in reading:
        return "reading"
    return "analysing" if site_id in analysing else None


def due_sites(*, stale: ColumnElement[bool], each: bool = False) -> Select[int, int]:
    """Select the sites to analyse, twice in each row, as of a `moment`.

    They have due marks, or, where `stale` ones are asked for, a report that was made before
    `made_before` or by another method than `method`. What bears a time far ahead is due, too: the
    clock was wrong when it was written. With `each`, for a few sites, none but theirs is looked at.
    """
    marked = select(DayMark.site_id).where(or_(DayMark.due_at <= NOW, DayMark.due_at > AHEAD))
    old = select(SiteReport.site_id).where(
        or_(
            SiteReport.made_at < bindparam("made_before"),
            SiteReport.made_at > AHEAD,
            SiteReport.method != bindparam("method"),
        )
    )
    # An invented log ends where it ends; that it grows old is no finding.
    grown_old = and_(stale, _has(old, SiteReport.site_id, each=each), Site.invented.is_(False))
    found = select(Site.id, Site.id.label("site_id")).where(Site.deleted_at.is_(None))
    due = or_(_has(marked, DayMark.site_id, each=each), grown_old)
    return found.where(due).order_by(Site.id)


def _has(
    rows: Select[int], site_id: InstrumentedAttribute[int], *, each: bool
) -> ColumnElement[bool]:
    """Tell of a site that it has some of these rows, gathered for all sites or for it alone."""
    return rows.where(site_id == Site.id).exists() if each else Site.id.in_(rows)


def marks_of(db: Session, *, site_id: int) -> tuple[dict[date, int], frozenset[date]]:
    """Give the marked local days with their serials, and those of them whose figures stand."""
    found = db.connection().execute(_MARKS, {"site_id": site_id}).all()
    held = frozenset(day for day, _, stands in found if stands)
    return {day: serial for day, serial, _ in found}, held


def clear_marks(db: Session, *, site_id: int, marks: Mapping[date, int]) -> None:
    """Remove marks that were not set once more since they were read."""
    by_serial: dict[int, list[date]] = {}
    for day, serial in marks.items():
        by_serial.setdefault(serial, []).append(day)
    for serial, days in by_serial.items():
        for part in _parts(days):
            values = {"site_id": site_id, "marked": serial, "days": part}
            db.connection().execute(_CLEAR, values)


def foreign_rows(db: Session, *, site_id: int, method: str) -> bool:
    """Tell whether some day rows were made by another method and can be made by this one."""
    values = {"site_id": site_id, "own": method}
    return db.connection().execute(_FOREIGN, values).first() is not None


def load_day_rows(
    db: Session, *, site_id: int, but: Iterable[date]
) -> tuple[list[dict[str, Any]], set[date]]:
    """Give the stored day rows without those of some days, rising by date.

    What cannot be read any more, as what its numbers are called is lost, is left out as well; the
    days of it that can be looked at again are given beside.
    """
    left_out = set(but)
    # All at once: asked for one by one, rows take the driver longer than the database.
    every = db.connection().execute(_ROWS, {"site_id": site_id}).all()
    found = [one for one in every if one[0] not in left_out]
    rows = read_json(f"[{','.join([one[1] for one in found])}]")
    whole = whole_rows(db, zip(rows, [one[2] for one in found], strict=True))
    lost = {
        day for (day, _, _, held), row in zip(found, whole, strict=True) if row is None and not held
    }
    return [row for row in whole if row is not None], lost


def save_day_rows(
    db: Session,
    *,
    site_id: int,
    rows: Sequence[Mapping[str, Any]],
    instead_of: Iterable[date],
    method: str,
) -> None:
    """Write rows in place of what these days had."""
    written = [
        {
            "site_id": site_id,
            "date": date.fromisoformat(columns["row"]["date"]),
            **columns,
            "method": method,
            "held": False,
        }
        for columns in stored_rows(db, rows)
    ]
    for part in _parts(sorted(set(instead_of) - {row["date"] for row in written})):
        db.connection().execute(_DROP_ROWS, {"site_id": site_id, "days": part})
    if written:
        db.connection().execute(_saving_rows(dialect_of(db)), written)


@lru_cache
def _saving_rows(dialect: str) -> Any:
    statement = insert_for(dialect, DayRow)
    return statement.on_conflict_do_update(
        index_elements=[DayRow.site_id, DayRow.date],
        set_={name: statement.excluded[name] for name in ("row", "numbers", "method", "held")},
    )


def save_report(
    db: Session,
    *,
    site: Site,
    report: Report,
    method: str,
    data_until_s: int,
    now: datetime,
) -> None:
    """Write the site's report in place of the one before."""
    whole = report_json(report)
    values = {
        "site_id": site.id,
        "report": whole,
        "short": short_json(report, whole),
        "mark": new_mark(),
        "method": method,
        "site_version": site.version,
        "data_until_s": data_until_s,
        "made_at": now,
    }
    db.connection().execute(_saving_report(dialect_of(db)), values)


@lru_cache
def _saving_report(dialect: str) -> Any:
    statement = insert_for(dialect, SiteReport)
    # What was sent once is not sent again for the row that is there already.
    names = ("report", "short", "mark", "method", "site_version", "data_until_s", "made_at")
    return statement.on_conflict_do_update(
        index_elements=[SiteReport.site_id],
        set_={name: statement.excluded[name] for name in names},
    )


def drop_report(db: Session, *, site_id: int) -> None:
    """Forget the report of a site that has no rows; figures that stand may be readable again."""
    db.execute(delete(SiteReport).where(SiteReport.site_id == site_id))
    db.execute(delete(DayRow).where(DayRow.site_id == site_id, DayRow.held.is_(False)))


def findings_seen(db: Session, *, site_id: int) -> list[FindingSeen]:
    """Give the findings that the site's reports have shown."""
    return list(db.scalars(_SEEN, {"site_id": site_id}))


def problems_of(db: Session, *, site_id: int) -> tuple[Problem, ...]:
    """Give what was set aside in the logs of a site."""
    listed: list[Problem] = []
    for problems in db.connection().execute(_PROBLEMS, {"site_id": site_id}).scalars():
        listed.extend(Problem(**item) for item in problems[: _PROBLEMS_LISTED - len(listed)])
    return tuple(listed)


def _parts(days: Sequence[date]) -> Iterable[Sequence[date]]:
    return (days[first : first + _AT_ONCE] for first in range(0, len(days), _AT_ONCE))
