"""Writing a site's data into a file: one unchanging moment of the database, a piece at a time."""

from datetime import date
from pathlib import Path

from sqlalchemy.orm import Session

from analysis.faults import CATALOGUE
from analysis.results import Report
from dashboards.private import shareable
from service.assessments import queries as assessment_queries
from service.care import queries as care_queries
from service.db.models import Site
from service.errors import NotFoundError
from service.exports.names import Form, What
from service.exports.rows import hours_table, readings_table
from service.exports.tables import Span, Table, days_table, findings_table, savings_table
from service.exports.writers import FORMATS
from service.retention.queries import held_days


def write_export(
    db: Session, site: Site, *, what: What, form: Form, span: Span, path: Path
) -> None:
    """Write a site's data into a file.

    Raises
    ------
    NotFoundError : there is no report yet
    InvalidError : too much for the form
    """
    FORMATS[form].write(_table(db, site, what=what, span=span), path)


def _table(db: Session, site: Site, *, what: What, span: Span) -> Table:
    if what == "readings":
        return readings_table(db, site, span)
    if what == "hours":
        return hours_table(db, site, span)
    report = _report(db, site)
    if what == "days":
        days = {date.fromisoformat(one.date) for one in report.days}
        return days_table(report, span, held=held_days(db, site_id=site.id, days=days))
    if what == "savings":
        return savings_table(report)
    cases = care_queries.cases_by_key(db, site_id=site.id)
    return findings_table(
        report,
        span,
        states={key: case.state for key, case in cases.items()},
        texts={fault.kind: fault.text for fault in CATALOGUE},
    )


def _report(db: Session, site: Site) -> Report:
    report = assessment_queries.latest_report(db, site_id=site.id)
    if report is None:
        raise NotFoundError(f"There is no report for “{site.name}” yet; hand in a log first.")
    return shareable(report)


def file_name(site: Site, *, what: What, form: Form) -> str:
    """Name the file."""
    return f"{site.slug}-{what}.{form}"
