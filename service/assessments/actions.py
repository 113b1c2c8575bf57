"""Keeping a site's report up to date: only the days that changed are looked at again.

Stage one looks at the samples of marked days and writes a row per day; stage two concludes from
all rows. Rows, report and the clearing of marks are one commit, so a crash leaves the marks.
"""

import gc
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

from sqlalchemy.orm import Session

from analysis.results import Finding, Problem, Report, RowCount
from analysis.sitefile import parse_site
from dashboards.known import match
from service.assessments import queries
from service.care.actions import check_cases
from service.clock import Clock
from service.db.engine import Database
from service.db.models import FindingSeen, Site
from service.ingest import queries as ingest_queries
from service.jobs import claims
from service.sites import queries as site_queries
from service.weather.actions import load_weather
from service.webhooks.actions import is_listened_to, tell_of_report

# One pass holds at most this many days of rows in memory.
_MOST_DAYS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What the analysis looks at, as of one moment.

    `days` are those of the marked ones that are looked at: of the others the samples are not all
    there any more, and their rows stand. `lost` are days whose rows cannot be read any more.
    """

    site_text: str
    version: int
    marks: dict[date, int]
    days: frozenset[date]
    channels: frozenset[str]
    rows: list[dict[str, Any]]
    lost: set[date]
    fresh: list[dict[str, Any]]
    count: RowCount
    rejected: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Thought:
    """What came out of it."""

    report: Report
    until_s: int


def assess_site(database: Database, *, clock: Clock, site_id: int, holder: str, key: str) -> None:
    """Analyse the marked days of a site and make its report anew.

    The claim `key` of `holder` ends in the transaction that saves the report.
    """
    from analysis.assess import METHOD

    seen = _seen(database, site_id=site_id, method=METHOD, now=clock.now())
    thought = None if seen is None else _think(seen, now=clock.now())
    with database.session() as db:
        site = site_queries.locked_site(db, site_id)
        claims.finish(db, key=key, holder=holder)
        if site is None or seen is None or site.version != seen.version:
            return  # gone, or its facts changed: still marked
        _save(db, site=site, seen=seen, thought=thought, method=METHOD, now=clock.now())
    _keep_what_is_loaded()


@cache
def _keep_what_is_loaded() -> None:
    """Search what was loaded for garbage no more: each search takes as long as four analyses."""
    gc.freeze()


def _seen(database: Database, *, site_id: int, method: str, now: datetime) -> _Seen | None:
    """Look at a site once every day of it is of this method and can be read, or is marked."""
    lost: set[date] = set()
    with database.reading() as db:  # mostly they are, and nobody has to wait for a writer
        if not queries.foreign_rows(db, site_id=site_id, method=method):
            seen = _look(db, site_id)
            if seen is None or not seen.lost:
                return seen
            lost = seen.lost
    with database.session() as db:
        if queries.foreign_rows(db, site_id=site_id, method=method):
            ingest_queries.mark_everything(db, site_id=site_id, due_at=now)
        ingest_queries.mark_days(db, site_id=site_id, days=lost, due_at=now)
    with database.reading() as db:
        return _look(db, site_id)


def _look(db: Session, site_id: int) -> _Seen | None:
    """Read everything, marks first: what is marked later stays marked."""
    site = db.get(Site, site_id)
    if site is None or site.deleted_at is not None:
        return None
    marks, held = queries.marks_of(db, site_id=site_id)
    days = marks.keys() - held
    channels = ingest_queries.channels_seen(db, site_id)
    rows, lost = queries.load_day_rows(db, site_id=site_id, but=days)
    read, kept, duplicate, rejected = ingest_queries.rows_counted(db, site_id)
    return _Seen(
        site_text=site.text,
        version=site.version,
        marks=marks,
        days=frozenset(days),
        channels=channels,
        rows=rows,
        lost=lost,
        fresh=_observed(db, site=site, days=sorted(days), channels=channels),
        count=RowCount(read=read, kept=kept, duplicate=duplicate, rejected=rejected),
        rejected=queries.problems_of(db, site_id=site_id),
    )


def _observed(
    db: Session, *, site: Site, days: Sequence[date], channels: frozenset[str]
) -> list[dict[str, Any]]:
    """Stage one: the rows of these days; days without data have none."""
    from analysis.assess import MARGIN_DAYS, observe
    from analysis.day_rows import day_rows
    from analysis.days import local_midnight_s

    facts = parse_site(site.text)
    margin = timedelta(days=MARGIN_DAYS)
    rows: list[dict[str, Any]] = []
    for first, last in runs(days):
        record = ingest_queries.load_record(
            db,
            site_id=site.id,
            start_s=local_midnight_s(first - margin, site.timezone),
            end_s=local_midnight_s(last + margin + timedelta(days=1), site.timezone),
        )
        if record is None:
            continue
        wanted = (first.isoformat(), last.isoformat())
        weather = load_weather(
            db,
            site_id=site.id,
            start_s=int(record.start_s[0]),
            end_s=int(record.start_s[-1] + round(record.step_s[-1])),
        )
        table = observe(site=facts, record=record, channels=channels, weather=weather)
        rows.extend(row for row in day_rows(table) if wanted[0] <= str(row["date"]) <= wanted[1])
    return rows


def runs(days: Sequence[date]) -> Iterator[tuple[date, date]]:
    """Give the first and last day of each run of neighbouring days, none too long for memory."""
    first = previous = None
    for day in days:
        if first is None or previous is None:
            first = day
        elif day - previous > timedelta(days=1) or (day - first).days >= _MOST_DAYS:
            yield first, previous
            first = day
        previous = day
    if first is not None and previous is not None:
        yield first, previous


def _think(seen: _Seen, *, now: datetime) -> _Thought | None:
    """Stage two: conclude from all rows; None without any."""
    from analysis.assess import assess
    from analysis.day_rows import table_from_rows
    from analysis.days import span_s

    rows = sorted((*seen.rows, *seen.fresh), key=lambda row: str(row["date"]))
    if not rows:
        return None
    facts = parse_site(seen.site_text)
    table = table_from_rows(rows, timezone=facts.place.timezone)
    span = span_s(table)
    if span is None:
        return None
    start_s, end_s = span
    report = assess(
        site=facts,
        table=table,
        start_s=start_s,
        end_s=end_s,
        until_s=max(int(now.timestamp()), end_s),
        channels=seen.channels,
        rows=seen.count,
        rejected=seen.rejected,
    )
    return _Thought(report=report, until_s=end_s)


def _save(
    db: Session,
    *,
    site: Site,
    seen: _Seen,
    thought: _Thought | None,
    method: str,
    now: datetime,
) -> None:
    queries.save_day_rows(db, site_id=site.id, rows=seen.fresh, instead_of=seen.days, method=method)
    queries.clear_marks(db, site_id=site.id, marks=seen.marks)
    site.problem = None
    if thought is None:
        queries.drop_report(db, site_id=site.id)
        return
    if is_listened_to(db, firm_id=site.firm_id):
        before = queries.latest_report(db, site_id=site.id)
        tell_of_report(db, site=site, before=before, report=thought.report, now=now)
    queries.save_report(
        db,
        site=site,
        report=thought.report,
        method=method,
        data_until_s=thought.until_s,
        now=now,
    )
    _remember_findings(db, site=site, report=thought.report, now=now)
    check_cases(db, site=site, report=thought.report, data_until_s=thought.until_s, now=now)


def _remember_findings(db: Session, *, site: Site, report: Report, now: datetime) -> None:
    """Note which findings were seen first when; one whose start moved keeps its history.

    What came back since it was mailed may be mailed again.
    """
    before = queries.findings_seen(db, site_id=site.id)
    for known in match(report.findings, before):
        old = known.before
        again = old is not None and came_back(known.finding, old.mailed_at)
        if old is not None and old.key == known.key:
            old.mailed_at = None if again else old.mailed_at
            continue
        if old is not None:
            db.delete(old)
            db.flush()
        db.add(
            FindingSeen(
                site_id=site.id,
                key=known.key,
                kind=known.finding.kind,
                channel=known.finding.channel,
                start_s=known.finding.start_s,
                first_seen_at=old.first_seen_at if old is not None else now,
                mailed_at=old.mailed_at if old is not None and not again else None,
                case_id=old.case_id if old is not None else None,
            )
        )


def came_back(finding: Finding, mailed_at: datetime | None) -> bool:
    """Tell whether a finding was gone and is here again since somebody was told of it."""
    if mailed_at is None or not finding.breaks:
        return False
    return finding.end_s is None and finding.breaks[-1][1] > mailed_at.timestamp()
