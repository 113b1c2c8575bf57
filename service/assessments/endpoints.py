"""The results of a site over HTTP: the machine report, its days, the savings sheet."""

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Query

from dashboards.sheet.languages import language_for
from service.assessments import queries
from service.assessments.schemas import DayShown, SheetShown
from service.assessments.sheet import sheet_of
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


@router.get("/days", summary="List a site's days")
def list_days(
    here: Here,
    slug: str,
    first: Annotated[
        date | None, Query(alias="from", description="First local day; default: all.")
    ] = None,
    last: Annotated[date | None, Query(alias="to", description="Last local day.")] = None,
) -> list[DayShown]:
    """Give each local day of the latest report: heat with its bounds, what was expected, sun."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="see")
        report = queries.latest_report(db, site_id=site.id)
    found = report.days if report is not None else ()
    return [
        DayShown.model_validate(one, from_attributes=True)
        for one in found
        if (first is None or one.date >= first.isoformat())
        and (last is None or one.date <= last.isoformat())
    ]


@router.get("/sheet", summary="Give the savings sheet")
def give_sheet(
    here: Here,
    slug: str,
    language: Annotated[str | None, Query(alias="lang", max_length=10)] = None,
    year: Annotated[int | None, Query(ge=1970, le=2200)] = None,
) -> SheetShown:
    """Give what the customer's page shows of a year, without what is private."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="see")
        accepted = here.request.headers.get("accept-language", "")
        chosen = language_for(language, accepted=accepted)
        view = sheet_of(db, site, language=chosen, today=here.now().date(), year=year)
    return SheetShown.model_validate(view, from_attributes=True)
