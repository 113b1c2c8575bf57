"""The savings sheet of a site, from its latest report."""

from datetime import date

from sqlalchemy.orm import Session

from analysis.sitefile import parse_site
from dashboards.private import shareable
from dashboards.sheet.view import SheetView, sheet_view
from service.assessments import queries
from service.db.models import Site


def sheet_of(
    db: Session, site: Site, *, language: str, today: date, year: int | None = None
) -> SheetView:
    """Write the sheet (see `dashboards.sheet.view`), without what is private."""
    report = queries.latest_report(db, site_id=site.id)
    facts = parse_site(site.text)
    return sheet_view(
        shareable(report) if report else None,
        site_name=site.name,
        fuel=facts.backup.fuel if facts.backup else None,
        language=language,
        today=today,
        year=year,
    )
