"""Yearly letters to customers: who may get one, how it reads, and sending the chosen ones."""

from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Response
from sqlalchemy.orm import Session

from dashboards.format import day, sentence
from dashboards.letter_mail import LETTERS
from dashboards.links import site_path
from dashboards.mails import as_page
from dashboards.sheet.languages import LANGUAGES
from service.context import Context, Here
from service.db.models import Firm
from service.errors import InvalidError
from service.letters import actions, queries
from service.letters.actions import Candidate
from service.letters.stopping import LetterStop, letter_stop_of, stop_letters
from service.mail import outbox
from service.pages.answers import mail_page, page, see_other

router = APIRouter(include_in_schema=False)

Year = Annotated[int, Path(ge=1970, le=2200)]


@router.get("/letters")
def letters(here: Here, year: Annotated[int | None, Query(ge=1970, le=2200)] = None) -> Response:
    """Show a year's round of letters; without a year, last year's."""
    return _page(here, year or here.now().year - 1)


def _page(
    here: Context, year: int, *, asked: dict[int, int] | None = None, problem: str | None = None
) -> Response:
    with here.database.reading() as db:
        caller = here.person(db, may="arrange")
        every = actions.candidates(db, firm_id=caller.firm_id, year=year)
    sent = [one for one in every if one.letter is not None]
    return page(
        "letters.html",
        status=422 if problem else 200,
        year=year,
        ready=[_shown(one) for one in every if one.why_not is None and one.letter is None],
        sent=[_shown(one) for one in sent],
        tally=_tally(sent),
        without=_without(every),
        asked=[
            {**_shown(one), "serial": asked[one.site.id]}
            for one in every
            if asked and one.site.id in asked and one.why_not is None
        ],
        problem=problem,
    )


def _shown(one: Candidate) -> dict[str, object]:
    return {
        "id": one.site.id,
        "name": one.site.name,
        "path": site_path(one.site.slug),
        "slug": one.site.slug,
        "address": one.contact.address if one.contact else "",
        "language": LANGUAGES[one.contact.language].name if one.contact else "",
        "serial": one.serial,
        "state": _state(one),
        "again": one.letter is not None and one.letter.laid_at is not None and one.why_not is None,
    }


def _state(one: Candidate) -> str:
    """Say how far a letter is."""
    letter, mail = one.letter, one.mail
    if letter is None:
        return ""
    if letter.laid_at is None:
        return f"not written: {letter.problem}" if letter.problem else "being written"
    if mail is None:
        return f"sent, chosen on {day(letter.chosen_at.date())}"
    if mail.state == outbox.SENT and mail.sent_at is not None:
        return f"sent on {day(mail.sent_at.date())}"
    if mail.state == outbox.FAILED:
        return f"not taken by the mail server: {mail.problem}"
    return "waits to be sent"


def _without(every: list[Candidate]) -> list[tuple[str, list[dict[str, object]]]]:
    """Give who gets no letter, under each reason."""
    by_reason: dict[str, list[dict[str, object]]] = {}
    for one in every:
        if one.why_not and one.letter is None:
            by_reason.setdefault(sentence(one.why_not), []).append(_shown(one))
    return list(by_reason.items())


def _tally(sent: list[Candidate]) -> dict[str, int]:
    """Count how far the letters are."""
    states = [_state(one) for one in sent]
    done = sum(state.startswith("sent") for state in states)
    failed = sum(state.startswith("not ") for state in states)
    return {"all": len(states), "sent": done, "failed": failed, "open": len(states) - done - failed}


@router.get("/letters/{year}/{slug}")
def preview(here: Here, year: Year, slug: str) -> Response:
    """Show a letter as its customer would have it."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="arrange")
        mail = actions.written(db, site, year=year, settings=here.settings, today=here.now().date())
        contact = queries.contact_of(db, site_id=site.id)
    return mail_page(
        "letter.html",
        year=year,
        site=site.name,
        address=contact.address if contact else "",
        subject=mail.subject,
        html=as_page(mail),
        text=mail.text,
        sheet=f"{site_path(slug)}/sheet.pdf?year={year}&lang={contact.language if contact else ''}",
    )


@router.post("/letters/{year}")
def send(
    here: Here,
    year: Year,
    letter: Annotated[list[str], Form(default_factory=list)],
    sure: Annotated[bool, Form()] = False,
) -> Response:
    """Show whom letters would go to; handed in once more, with `sure`, send them."""
    wanted = _wanted(letter)
    if not wanted:
        return _page(here, year, problem="Choose who gets a letter first.")
    if not sure:
        return _page(here, year, asked=wanted)
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        actions.choose(
            db, firm_id=caller.firm_id, year=year, wanted=wanted, who=caller.who, now=here.now()
        )
    return see_other(f"/letters?year={year}")


def _wanted(given: list[str]) -> dict[int, int]:
    """Read `site:serial` of each ticked box."""
    wanted = {}
    for one in given:
        number, _, serial = one.partition(":")
        if not (number.isdecimal() and serial.isdecimal()):
            raise InvalidError("The form cannot be read; load the page anew.", field="letter")
        wanted[int(number)] = int(serial)
    return wanted


@router.get("/mail/stop-letters/{token}")
def ask_stop_letters(here: Here, token: str) -> Response:
    """Show a button to the customer; looking at the link stops nothing."""
    with here.database.reading() as db:
        return _stop_page(db, letter_stop_of(db, token), token=token, done=False)


@router.post("/mail/stop-letters/{token}")
def do_stop_letters(here: Here, token: str) -> Response:
    """Take the consent to letters back: the button's way, and that of mail programs (RFC 8058)."""
    with here.database.session() as db:
        found = letter_stop_of(db, token)
        stop_letters(db, found, now=here.now())
        return _stop_page(db, found, token=token, done=True)


def _stop_page(db: Session, found: LetterStop, *, token: str, done: bool) -> Response:
    return page(
        "letter_stop.html",
        says=LETTERS[found.contact.language],
        language=found.contact.language,
        address=found.contact.address,
        firm=db.get_one(Firm, found.site.firm_id).name,
        token=token,
        done=done,
    )
