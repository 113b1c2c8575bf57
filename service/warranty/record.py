"""The warranty record of a site, put together from what is stored."""

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from analysis.day_rows import table_from_rows
from analysis.days import DayTable, local_date
from analysis.results import Report
from analysis.site import Site as SiteFacts
from analysis.warranty.hot_years import HotYear, hot_years
from analysis.warranty.judge import Judged, Record, judge
from dashboards.warranty_page import VisitLine
from service.assessments import queries as assessment_queries
from service.db.models import Site, Visit
from service.visits import queries as visit_queries
from service.visits.actions import values_of
from service.visits.facts import FLUID_DATES


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What is known about terms and heat on a day."""

    judged: tuple[Judged, ...]
    years: tuple[HotYear, ...]
    visits: tuple[VisitLine, ...]
    as_of: date


def kept_record(db: Session, *, site: Site, facts: SiteFacts, as_of: date) -> Kept:
    """Judge the papers' terms as of a local day, and add up what the plant stood by years."""
    table = day_table(db, site)
    visits = _visits(db, site)
    record = Record(
        site=facts,
        table=table,
        visits=tuple(one.day for one in visits),
        as_of=as_of,
        fluid=_fluid_days(db, site),
    )
    return Kept(
        judged=judge(record) if facts.warranty is not None else (),
        years=hot_years(table) if table is not None else (),
        visits=visits,
        as_of=as_of,
    )


def day_table(db: Session, site: Site) -> DayTable | None:
    """Give what each local day showed, None before anything was analysed."""
    rows, _ = assessment_queries.load_day_rows(db, site_id=site.id, but=())
    return table_from_rows(rows, timezone=site.timezone) if rows else None


def _visits(db: Session, site: Site) -> tuple[VisitLine, ...]:
    """Give the finished visits, the latest first."""
    return tuple(
        VisitLine(
            number=one.id,
            day=_day_of(one, site),
            who=one.finished_by or one.made_by,
            what=tuple(one.facts_kept),
        )
        for one in visit_queries.visits_of_site(db, site_id=site.id)
        if one.state == "finished"
    )


def _fluid_days(db: Session, site: Site) -> tuple[date, ...]:
    """Give the days on which finished visits tested or renewed the fluid."""
    days = []
    for one in visit_queries.visits_of_site(db, site_id=site.id):
        if one.state == "finished":
            typed = values_of(visit_queries.entries_of(db, visit_id=one.id))
            if "fluid" in typed and typed["fluid"].value in FLUID_DATES:
                days.append(_day_of(one, site))
    return tuple(days)


def _day_of(visit: Visit, site: Site) -> date:
    return (
        visit.planned_on
        if visit.finished_at is None
        else visit.finished_at.astimezone(ZoneInfo(site.timezone)).date()
    )


def last_day(report: Report | None, site: Site, *, otherwise: date) -> date:
    """Give the last local day of the log: a record as of it does not change by itself."""
    if report is None:
        return otherwise
    return local_date(report.end_s, site.timezone) - timedelta(days=1)
