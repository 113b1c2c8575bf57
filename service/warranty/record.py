"""The warranty record of a site, put together from what is stored."""

from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy.orm import Session

from analysis.days import DayTable, local_date, table_from_rows
from analysis.results import Report
from analysis.site import Site as SiteFacts
from analysis.warranty.hot_years import HotYear, hot_years
from analysis.warranty.judge import Judged, Record, judge
from dashboards.warranty_page import VisitLine
from service.assessments import queries as assessment_queries
from service.db.models import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What is known about terms and heat on a day."""

    judged: tuple[Judged, ...]
    years: tuple[HotYear, ...]
    visits: tuple[VisitLine, ...] | None
    as_of: date


def kept_record(db: Session, *, site: Site, facts: SiteFacts, as_of: date) -> Kept:
    """Judge the papers' terms as of a local day, and add up what the plant stood by years."""
    table = day_table(db, site)
    days, visits = visits_of(db, site)
    record = Record(site=facts, table=table, visits=days, as_of=as_of)
    return Kept(
        judged=judge(record) if facts.warranty is not None else (),
        years=hot_years(table) if table is not None else (),
        visits=visits,
        as_of=as_of,
    )


def day_table(db: Session, site: Site) -> DayTable | None:
    """Give what each local day showed, None before anything was analysed."""
    rows = assessment_queries.load_day_rows(db, site_id=site.id, but=())
    return table_from_rows(rows, timezone=site.timezone) if rows else None


def visits_of(
    db: Session, site: Site
) -> tuple[tuple[date, ...] | None, tuple[VisitLine, ...] | None]:
    """Give days and lines of the visits on record; None where no visit is kept on record here.

    Visits have no table of their own yet; here is where they come in.
    """
    del db, site
    return None, None


def last_day(report: Report | None, site: Site, *, otherwise: date) -> date:
    """Give the last local day of the log: a record as of it does not change by itself."""
    if report is None:
        return otherwise
    return local_date(report.end_s, site.timezone) - timedelta(days=1)
