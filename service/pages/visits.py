"""The list of visits: which sites want one, what is planned for whom, and planning one."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Query, Response
from sqlalchemy.orm import Session

from analysis.results import Finding, Report
from analysis.sitefile import parse_site
from dashboards.format import URGENCY_RANK, day, local_date
from dashboards.links import finding_key, finding_of_key
from dashboards.losses import open_findings
from dashboards.private import shareable
from dashboards.texts import title_of
from dashboards.visits.distance import Place
from dashboards.visits.listing import (
    ListedSite,
    PlannedVisit,
    planned_days,
    wanting,
    wanting_sites,
)
from service.accounts import queries as account_queries
from service.accounts.access import Caller
from service.assessments import queries as assessment_queries
from service.care import queries as care_queries
from service.care.actions import without_aside
from service.context import Context, Here
from service.db.models import Account, FindingCase, Site, Visit
from service.errors import InvalidError
from service.pages import loading
from service.pages.answers import page, see_other, texts
from service.visits import actions, queries
from service.visits.actions import Plan
from service.visits.schemas import PlannedFinding

router = APIRouter(include_in_schema=False)

_FINISHED_SHOWN = 8
_OVER = ("put_right", "confirmed")


@router.get("/visits")
def visits(
    here: Here,
    day: Annotated[date | None, Query()] = None,
    technician: Annotated[str, Query(max_length=20)] = "",
    near: Annotated[str, Query(max_length=40)] = "",
    message: Annotated[str | None, Query()] = None,
) -> Response:
    """Show the list, of one day or one person where that is asked."""
    return _list(
        here, day=day, technician=technician, near=near, message=_MESSAGES.get(message or "")
    )


_MESSAGES = {
    "planned": "The visit is planned.",
    "dropped": "The visit is struck off.",
    "base": "It is noted where you set out from.",
}


def _list(
    here: Context,
    *,
    day: date | None = None,
    technician: str = "",
    near: str = "",
    message: str | None = None,
    problem: str | None = None,
) -> Response:
    with here.database.reading() as db:
        caller = here.person(db, may="see")
        firm = queries.firm_of(db, caller.firm_id)
        base = _base(firm.base_latitude_deg, firm.base_longitude_deg)
        start = actions.place_of(*near.split(",")) if near.count(",") == 1 else None
        people = people_of(db, caller)
        person = _person(technician, caller)
        planned = queries.visits_of_firm(
            db, firm_id=caller.firm_id, state="planned", on=day, technician_id=person
        )
        names = {one.id: name_of(one) for one in people}
        today = here.now().date()
        sites = [] if day else _listed(db, firm_id=caller.firm_id, today=today)
        finished = (
            []
            if day
            else queries.visits_of_firm(
                db,
                firm_id=caller.firm_id,
                state="finished",
                technician_id=person,
                limit=_FINISHED_SHOWN,
            )
        )
    zones = {site.timezone for _, site in planned}
    local_today = min((local_date(here.now().timestamp(), zone) for zone in zones), default=today)
    return page(
        "visits.html",
        status=422 if problem else 200,
        wanting=wanting_sites(sites, texts=texts(), base=start or base),
        days=planned_days(
            (_planned(visit, site, names) for visit, site in planned),
            base=start or base,
            today=local_today,
        ),
        finished=[_finished(visit, site) for visit, site in finished],
        people=[(one.id, name_of(one)) for one in people],
        technician=technician,
        day=day,
        day_words=_day_words(day),
        base=base,
        near=start is not None,
        may_arrange=caller.may("arrange"),
        me=caller.account_id,
        who=caller.who,
        message=message,
        problem=problem,
        iso_today=local_today.isoformat(),
    )


def _day_words(when: date | None) -> str | None:
    return day(when, weekday=True) if when else None


def _base(latitude_deg: float | None, longitude_deg: float | None) -> Place | None:
    return None if latitude_deg is None or longitude_deg is None else (latitude_deg, longitude_deg)


def _person(technician: str, caller: Caller) -> int | None:
    if technician == "me":
        return caller.account_id
    return int(technician) if technician.isdecimal() and len(technician) < 10 else None


def people_of(db: Session, caller: Caller) -> list[Account]:
    """Give who of the firm can make a visit."""
    return account_queries.accounts_of(db, firm_id=caller.firm_id)


def name_of(account: Account) -> str:
    """Give what somebody is called."""
    return account.name or account.login


def _listed(db: Session, *, firm_id: int, today: date) -> list[ListedSite]:
    cases = care_queries.cases_of_firm(db, firm_id=firm_id)
    planned: dict[str, set[str]] = {}
    for visit, site in queries.visits_of_firm(db, firm_id=firm_id, state="planned"):
        planned.setdefault(site.slug, set()).update(one.key for one in actions.findings_of(visit))
    return [
        _site(entry, cases.get(entry.site.slug, {}), planned.get(entry.site.slug, set()), today)
        for entry in assessment_queries.fleet(db, firm_id=firm_id)
    ]


def _site(
    entry: assessment_queries.FleetEntry,
    cases: Mapping[str, FindingCase],
    planned: Iterable[str],
    today: date,
) -> ListedSite:
    report = shareable(entry.report) if entry.report is not None else None
    if report is not None:
        report, _ = without_aside(report, cases, today=today)
    return ListedSite(
        slug=entry.site.slug,
        name=entry.site.name,
        place=_place(entry.site),
        report=report,
        done={key for key, case in cases.items() if case.state in _OVER},
        planned=_keys_now(planned, report),
    )


def _keys_now(keys: Iterable[str], report: Report | None) -> set[str]:
    """Give the keys that findings have now: their starts may have moved a little."""
    found = {key: finding_of_key(report, key) if report else None for key in keys}
    return {finding_key(one) if one else key for key, one in found.items()}


def _place(site: Site) -> Place:
    place = parse_site(site.text).place
    return place.latitude_deg, place.longitude_deg


def _planned(visit: Visit, site: Site, names: dict[int, str]) -> PlannedVisit:
    found = actions.findings_of(visit)
    ranked = sorted((one.urgency for one in found), key=lambda one: URGENCY_RANK[one])
    return PlannedVisit(
        id=visit.id,
        slug=site.slug,
        site=site.name,
        on=visit.planned_on,
        place=_place(site),
        technician=names.get(visit.technician_id or 0, ""),
        note=visit.note,
        titles=[one.title for one in found],
        urgency=ranked[0] if ranked else None,
    )


def _finished(visit: Visit, site: Site) -> dict[str, object]:
    assert visit.finished_at is not None
    return {
        "id": visit.id,
        "site": site.name,
        "on": day(local_date(visit.finished_at.timestamp(), site.timezone), weekday=True),
        "what": _what(actions.findings_of(visit)),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteVisit:
    """A visit as the pages of its site and findings list it."""

    path: str
    when: str
    state: str
    made: bool
    what: str
    keys: tuple[str, ...]

    def findings_in(self, report: Report) -> list[Finding]:
        """Give what it looked at, as an analysis sees it."""
        found = (finding_of_key(report, key) for key in self.keys)
        return [one for one in found if one is not None]


def visits_of(db: Session, site: Site) -> list[SiteVisit]:
    """Give a site's visits, the latest first."""
    return [_of_site(visit, site) for visit in queries.visits_of_site(db, site_id=site.id)]


def _of_site(visit: Visit, site: Site) -> SiteVisit:
    done, found = visit.finished_at, actions.findings_of(visit)
    when = local_date(done.timestamp(), site.timezone) if done else visit.planned_on
    return SiteVisit(
        path=f"/visits/{visit.id}",
        when=day(when, weekday=True),
        state="made" if done else "planned",
        made=done is not None,
        what=_what(found),
        keys=tuple(one.key for one in found),
    )


def _what(found: Iterable[PlannedFinding]) -> str:
    return ", ".join(one.title for one in found) or "Routine visit"


@router.post("/visits/base")
def set_base(
    here: Here,
    latitude: Annotated[str, Form(max_length=40)] = "",
    longitude: Annotated[str, Form(max_length=40)] = "",
) -> Response:
    """Set where the firm's people set out from."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            actions.set_base(db, firm_id=caller.firm_id, latitude=latitude, longitude=longitude)
    except InvalidError as error:
        return _list(here, problem=error.detail)
    return see_other("/visits?message=base")


@router.get("/visits/new")
def new(
    here: Here,
    site: Annotated[str, Query(max_length=80)] = "",
    finding: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Show the form that plans a visit to a site."""
    return _new_page(here, site, finding=finding)


def _new_page(
    here: Context,
    slug: str,
    *,
    finding: str = "",
    values: dict[str, str] | None = None,
    problem: str | None = None,
) -> Response:
    values = values or {}
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug, may="care")
        caller = here.person(db, may="care")
        people = people_of(db, caller)
        cases = care_queries.cases_by_key(db, site_id=loaded.row.id)
        listed = ListedSite(
            slug=slug,
            name=loaded.head.name,
            place=_place(loaded.row),
            report=loaded.report,
            done={key for key, case in cases.items() if case.state in _OVER},
            planned=(),
        )
    report = shareable(loaded.report) if loaded.report else None
    asked = finding_of_key(report, finding) if report and finding else None
    lasting = list(open_findings(report)) if report else []
    if asked is not None and asked not in lasting:
        lasting.insert(0, asked)
    chosen = {finding_key(asked)} if asked else {
        finding_key(one) for one in lasting if wanting(one, listed)
    }  # fmt: skip
    zone = loaded.row.timezone
    return page(
        "visit_new.html",
        status=422 if problem else 200,
        site=loaded.head,
        findings=[
            {
                "key": finding_key(one),
                "title": title_of(one.kind, texts()),
                "mark": one.urgency,
                "summary": one.summary,
                "chosen": finding_key(one) in chosen,
            }
            for one in lasting
        ],
        people=[(one.id, name_of(one)) for one in people],
        me=caller.account_id,
        today=f"{here.now().astimezone(ZoneInfo(zone)):%Y-%m-%d}",
        values=values,
        problem=problem,
    )


@router.post("/visits/new")
def plan(
    here: Here,
    site: Annotated[str, Form(max_length=80)] = "",
    on: Annotated[str, Form(max_length=20)] = "",
    technician: Annotated[str, Form(max_length=20)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
    finding: Annotated[list[str] | None, Form()] = None,
) -> Response:
    """Plan a visit."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="care")
            row = here.site_of(db, caller, site)
            report = assessment_queries.latest_report(db, site_id=row.id)
            asked = [
                finding_of_key(shareable(report), key)
                for key in finding or []
                if report is not None
            ]
            visit = actions.plan_visit(
                db,
                site=row,
                plan=plan_of(on, technician, note),
                findings=list(dict.fromkeys(one for one in asked if one is not None)),
                texts=texts(),
                who=caller.who,
                now=here.now(),
            )
            made = visit.id
    except InvalidError as error:
        return _new_page(here, site, values={"on": on, "note": note}, problem=error.detail)
    return see_other(f"/visits/{made}?message=planned")


def plan_of(on: str, technician: str, note: str) -> Plan:
    """Read the form of a plan.

    Raises
    ------
    InvalidError : no day
    """
    try:
        when = datetime.strptime(on, "%Y-%m-%d").date()  # noqa: DTZ007 - a day, no instant
    except ValueError:
        raise InvalidError("Write the day like 2026-03-01.", field="on") from None
    person = int(technician) if technician.isdecimal() and len(technician) < 10 else None
    return Plan(on=when, technician_id=person, note=note)
