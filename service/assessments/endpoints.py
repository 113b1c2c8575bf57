"""The machine report of a site over HTTP."""

from typing import Any

from fastapi import APIRouter

from service.assessments import queries
from service.context import Here
from service.db.models import SiteReport
from service.errors import NotFoundError

router = APIRouter(prefix="/api/sites/{slug}", tags=["report"])

_WAITING = {
    "reading": "its logs are being read; try again in a moment",
    "analysing": "its days are being analysed; try again in a moment",
    None: "no log was handed in yet; upload one first",
}


@router.get("/report")
def give_report(here: Here, slug: str) -> dict[str, Any]:
    """Give the latest machine report, as `suntally report --json` writes it."""
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        saved = db.get(SiteReport, site.id)
        if saved is None:
            why = site.problem or _WAITING[queries.pending_of(db, site_id=site.id)]
            raise NotFoundError(f"There is no report for “{site.name}” yet: {why}.")
        return saved.report
