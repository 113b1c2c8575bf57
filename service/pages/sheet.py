"""The savings sheet of a site as a page, for the firm and for the customer."""

from fastapi import Response
from sqlalchemy.orm import Session

from analysis.results import report_from_json
from dashboards.private import shareable
from service.context import Context
from service.db.models import Site, SiteReport
from service.pages.answers import page


def sheet_page(db: Session, here: Context, site: Site, *, for_customer: bool) -> Response:
    """Show what a site delivered and saved, in plain words."""
    saved = db.get(SiteReport, site.id)
    report = shareable(report_from_json(saved.report)) if saved else None
    return page("sheet.html", site=site, report=report, for_customer=for_customer)
