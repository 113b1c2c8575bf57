"""The weekly digest as it would read now, in the browser."""

from datetime import timedelta

from fastapi import APIRouter, Response

from dashboards.mails import as_page
from dashboards.weeks import parse_week, week_of
from service.context import Here
from service.digests.actions import preview_week
from service.errors import NotFoundError
from service.pages.answers import mail_page

router = APIRouter(include_in_schema=False)


@router.get("/digest/{week}")
def digest(here: Here, week: str) -> Response:
    """Show the digest of a week; nothing is sent."""
    try:
        asked = parse_week(week)
        before = week_of(asked.monday - timedelta(days=7))
        after = week_of(asked.monday + timedelta(days=7))
    except (ValueError, OverflowError):
        raise NotFoundError(f"“{week}” is no week; write it like 2026-W26.") from None
    with here.database.reading() as db:
        caller = here.person(db, may="see")
        mail = preview_week(
            db,
            firm_id=caller.firm_id,
            week=asked,
            settings=here.settings,
            today=here.now().date(),
        )
    return mail_page(
        "digest.html",
        words=asked.days.words,
        before=before,
        after=after,
        subject=mail.subject,
        html=as_page(mail),
        text=mail.text,
    )
