"""How far the analyses of all sites are, for whoever runs the server; and having them wait."""

from typing import Annotated

from fastapi import APIRouter, Query, Response
from sqlalchemy.orm import Session

from dashboards.format import moment
from service.accounts.queries import first_firm
from service.context import Context, Here
from service.errors import NotAllowedError
from service.jobs import queries
from service.jobs.run import look_of
from service.pages.answers import page, see_other
from service.retention.actions import limits_of, plan
from service.retention.queries import rolled_counts
from service.retention.words import done_words, plan_words, set_words

router = APIRouter(include_in_schema=False)


@router.get("/operation")
def show(here: Here, due: Annotated[bool, Query()] = False) -> Response:
    """Show what is analysed, what waits and why; what is `due` of old data where it is asked for.

    Counting that looks at every stored day, which takes seconds where they are millions.
    """
    limits = limits_of(here.settings, now=here.now())
    look = look_of(here.settings, now=here.now())
    with here.database.reading() as db:
        _operator(here, db)
        progress = queries.progress(db, look=look)
        last = queries.last_beat(db)
        rolled = rolled_counts(db)
        planned = plan(db, limits) if due and limits.any else None
    since = progress.paused_since
    return page(
        "operation.html",
        progress=progress,
        method=look.method,
        kept=set_words(here.settings),
        done=done_words(rolled),
        may_be_due=limits.any,
        due=plan_words(planned) if planned is not None else (),
        within_min=queries.LATELY_MIN,
        last_beat=moment(int(last.timestamp()), "UTC") if last is not None else None,
        paused_since=moment(int(since.timestamp()), "UTC") if since is not None else None,
    )


@router.post("/operation/pause")
def pause(here: Here) -> Response:
    """Have old reports wait."""
    with here.database.session() as db:
        queries.pause(db, who=_operator(here, db), now=here.now())
    return see_other("/operation")


@router.post("/operation/resume")
def resume(here: Here) -> Response:
    """Have old reports be made anew again."""
    with here.database.session() as db:
        _operator(here, db)
        queries.resume(db)
    return see_other("/operation")


def _operator(here: Context, db: Session) -> str:
    """Name the caller, who has to be an owner of the firm that runs the server: the first one."""
    caller = here.person(db, may="govern")
    own = first_firm(db)
    if own is None or own.id != caller.firm_id:
        raise NotAllowedError("This is for the firm that runs the server.")
    return caller.who
