"""The savings sheet of a site: for the firm, for the customer with a link, on screen and as PDF."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Response
from sqlalchemy.orm import Session

from dashboards.links import site_path
from dashboards.sheet.languages import language_for
from dashboards.sheet.picture import picture
from dashboards.sheet.view import SheetView
from service.accounts.customers import site_of_token
from service.assessments.sheet import sheet_of
from service.context import Context, Here
from service.db.models import Site
from service.pages.answers import page

router = APIRouter(include_in_schema=False)

Language = Annotated[str | None, Query(alias="lang", max_length=10)]
Year = Annotated[int | None, Query(ge=1970, le=2200)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """Which sheet a request is about; `home` leads back for who belongs to the firm."""

    path: str
    pdf: str
    home: str | None


@router.get("/sites/{slug}/sheet")
def sheet(here: Here, slug: str, lang: Language = None, year: Year = None) -> Response:
    """Show the sheet to the firm."""
    with here.database.reading() as db:
        view = _view(db, here, here.site(db, slug, may="see"), lang, year)
    path = f"{site_path(slug)}/sheet"
    return _page(view, _Wanted(path=path, pdf=f"{path}.pdf", home=site_path(slug)))


@router.get("/sites/{slug}/sheet.pdf")
def sheet_as_pdf(here: Here, slug: str, lang: Language = None, year: Year = None) -> Response:
    """Give the sheet as PDF to the firm."""
    with here.database.reading() as db:
        view = _view(db, here, here.site(db, slug, may="see"), lang, year)
    return _pdf(view)


@router.get("/shared/{token}")
def shared(here: Here, token: str, lang: Language = None, year: Year = None) -> Response:
    """Show a customer the sheet of their own site."""
    with here.database.session() as db:
        link, site = site_of_token(db, token, now=here.now())
        link.opened_at = here.now()
        view = _view(db, here, site, lang, year)
    path = f"/shared/{token}"
    return _page(view, _Wanted(path=path, pdf=f"{path}/sheet.pdf", home=None))


@router.get("/shared/{token}/sheet.pdf")
def shared_as_pdf(here: Here, token: str, lang: Language = None, year: Year = None) -> Response:
    """Give a customer the sheet of their own site as PDF."""
    with here.database.reading() as db:
        _, site = site_of_token(db, token, now=here.now())
        view = _view(db, here, site, lang, year)
    return _pdf(view)


def _view(
    db: Session, here: Context, site: Site, language: str | None, year: int | None
) -> SheetView:
    accepted = here.request.headers.get("accept-language", "")
    chosen = language_for(language, accepted=accepted)
    return sheet_of(db, site, language=chosen, today=here.now().date(), year=year)


def _page(view: SheetView, wanted: _Wanted) -> Response:
    return page(
        "sheet.html",
        view=view,
        picture=picture(view.bars, says=view.picture) if view.bars else None,
        path=wanted.path,
        pdf=wanted.pdf,
        home=wanted.home,
    )


def _pdf(view: SheetView) -> Response:
    from dashboards.sheet.pdf import sheet_pdf

    return Response(
        sheet_pdf(view),
        media_type="application/pdf",
        headers={
            "Content-Disposition": 'inline; filename="savings.pdf"',
            "Cache-Control": "no-store",
        },
    )
