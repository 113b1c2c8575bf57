"""One finding: what shows it, what to do, and what people did about it."""

from datetime import date, datetime, timedelta
from typing import Annotated, cast

from fastapi import APIRouter, Form, Query, Response
from sqlalchemy.orm import Session

from analysis.results import Finding
from dashboards.care_view import LifeStep, LifeView, life_view
from dashboards.figures.course import course
from dashboards.figures.decisive import decisive_hours
from dashboards.figures.evidence import evidence
from dashboards.finding_page import finding_view
from dashboards.format import moment
from dashboards.links import finding_key, finding_of_key, finding_path
from dashboards.texts import titles
from service.care import actions, queries
from service.care.endpoints import finding_of_site
from service.care.life import STATE_WORDS, STEPS, State
from service.context import Context, Here
from service.db.models import Site
from service.errors import ConflictError, InvalidError, NotFoundError
from service.pages import loading, visits
from service.pages.answers import page, see_other, texts

router = APIRouter(include_in_schema=False)

_USUAL_ASIDE_DAYS = 30


@router.get("/sites/{slug}/findings/{key}")
def finding(
    here: Here, slug: str, key: str, message: Annotated[str | None, Query()] = None
) -> Response:
    """Show one finding."""
    return _page(here, slug, key, message="It is noted." if message == "noted" else None)


def _page(
    here: Context, slug: str, key: str, *, message: str | None = None, problem: str | None = None
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        report = loaded.report
        found = finding_of_key(report, key) if report else None
        if report is None or found is None:
            raise NotFoundError(
                "This finding is not there any more: newer data may have shown otherwise."
            )
        zone = report.timezone
        start_s, end_s = decisive_hours(found, report.days, timezone=zone, end_s=report.end_s)
        record = loading.record_of(db, loaded.row, start_s, end_s)
        life = _life(db, loaded.row, found)
        made = [one for one in visits.visits_of(db, loaded.row) if found in one.findings_in(report)]
    weeks = course(found, report, titles=titles(texts()))
    return page(
        "finding.html",
        status=422 if problem else 200,
        site=loaded.head,
        view=finding_view(found, report, slug=slug, texts=texts()),
        figure=evidence(found, record, site=loaded.facts, hours=(start_s, end_s)).to_json()
        if record
        else None,
        course={"says": weeks.says, "figure": weeks.figure.to_json()} if weeks else None,
        hours=f"{moment(start_s, zone)} to {moment(end_s, zone)}",
        life=life,
        visits=made,
        usual_until=(here.now().date() + timedelta(days=_USUAL_ASIDE_DAYS)).isoformat(),
        message=message,
        problem=problem,
    )


def _life(db: Session, site: Site, found: Finding) -> LifeView:
    """Give what people did about a finding."""
    case = queries.case_of(db, site_id=site.id, key=finding_key(found))
    state = cast(State, case.state) if case else "new"
    events = queries.events_of(db, case_id=case.id) if case else []
    return life_view(
        state=state,
        words=STATE_WORDS[state],
        until=case.until if case else None,
        may=STEPS[state],
        steps=[
            LifeStep(
                at=moment(int(one.at.timestamp()), site.timezone),
                who=one.who,
                words=STATE_WORDS[cast(State, one.state)],
                note=one.note,
            )
            for one in events
        ],
    )


@router.post("/sites/{slug}/findings/{key}/step")
def take_step(
    here: Here,
    slug: str,
    key: str,
    to: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    until: Annotated[str, Form()] = "",
) -> Response:
    """Take a step in the finding's life."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="care")
            site = here.site_of(db, caller, slug)
            found = finding_of_site(db, site, key)
            actions.step(
                db,
                site=site,
                key=finding_key(found),
                to=to,
                who=caller.who,
                now=here.now(),
                urgency=found.urgency,
                note=note,
                until=_day(until),
            )
    except (InvalidError, ConflictError) as error:
        return _page(here, slug, key, problem=error.detail)
    return see_other(f"{finding_path(slug, found)}?message=noted#life")


def _day(text: str) -> date | None:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date() if text else None  # noqa: DTZ007
    except ValueError:
        raise InvalidError("Write the day like 2026-03-01.", field="until") from None
