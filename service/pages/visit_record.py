"""The service record of a visit, on screen, printed and as PDF."""

from typing import Annotated

from fastapi import APIRouter, Query, Response
from sqlalchemy.orm import Session

from analysis.sitefile import parse_site
from dashboards.format import local_date
from dashboards.sheet.languages import language_for
from dashboards.visits.record import LookedAt, RecordView, record_view
from service.context import Context, Here, RowId
from service.pages.answers import page
from service.visits import actions, queries
from service.visits.routine import CHECKS

router = APIRouter(include_in_schema=False)

Language = Annotated[str | None, Query(alias="lang", max_length=10)]


@router.get("/visits/{visit_id}/record")
def record(here: Here, visit_id: RowId, lang: Language = None) -> Response:
    """Show the record."""
    with here.database.reading() as db:
        view = _view(db, here, visit_id, lang)
    return page("visit_record.html", view=view, path=f"/visits/{visit_id}")


@router.get("/visits/{visit_id}/record.pdf")
def record_as_pdf(here: Here, visit_id: RowId, lang: Language = None) -> Response:
    """Give the record as PDF."""
    from dashboards.visits.record_pdf import record_pdf

    with here.database.reading() as db:
        view = _view(db, here, visit_id, lang)
    return Response(
        record_pdf(view),
        media_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="visit-{visit_id}.pdf"',
            "Cache-Control": "no-store",
        },
    )


def _view(db: Session, here: Context, visit_id: int, language: str | None) -> RecordView:
    caller = here.person(db, may="see")
    visit, site = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id)
    entries = actions.values_of(queries.entries_of(db, visit_id=visit.id))
    done = visit.finished_at
    planned = [
        LookedAt(place=place, kind=one.kind, title=one.title, checks=one.checks)
        for place, one in enumerate(actions.findings_of(visit))
    ]
    routine = LookedAt(place="routine", kind=None, title="", checks=CHECKS)
    return record_view(
        {name: one.value for name, one in entries.items()},
        planned or [routine],
        arrays=parse_site(site.text).arrays,
        site=site.name,
        number=visit.id,
        finished_on=local_date(done.timestamp(), site.timezone) if done else None,
        finished_by=visit.finished_by or "",
        facts=visit.facts_kept,
        later=[name for name, one in entries.items() if done and one.typed_at > done],
        photos=len(queries.photos_of(db, visit_id=visit.id)),
        language=language_for(language, accepted=here.request.headers.get("accept-language", "")),
        today=local_date(here.now().timestamp(), site.timezone),
    )
