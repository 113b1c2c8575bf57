"""Use cases of letters: an address, who may get one, choosing, and writing what was chosen.

A letter is chosen by a person and written by the worker: row and mail are one commit each, so a
crash neither loses one nor sends one twice.
"""

import logging
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from dashboards.letter_mail import letter_mail
from dashboards.mails import Mail
from dashboards.sheet.languages import LANGUAGES
from service.assessments.sheet import sheet_of
from service.clock import Clock
from service.db.engine import Database
from service.db.models import CustomerContact, Firm, Outbox, Site, YearlyLetter
from service.errors import ConflictError, InvalidError
from service.letters import queries
from service.letters.stopping import letter_stop_url
from service.mail import outbox
from service.mail.addresses import is_address
from service.settings import Settings
from service.sites import queries as site_queries

LOG = logging.getLogger("suntally.mail")

_MOST_TRIES = 5
_NO_ADDRESS = "no mail address of the customer is on record"
_NO_CONSENT = "the customer's consent to letters is not on record"
_NO_YEAR = "nothing is known of this year"


def set_contact(
    db: Session, *, site: Site, name: str, address: str, language: str, now: datetime
) -> None:
    """Note where the customer gets letters; an empty address forgets them.

    Raises
    ------
    InvalidError : no mail address, or a language the sheet does not speak
    """
    found = queries.contact_of(db, site_id=site.id)
    address = address.strip()
    if not address:
        if found is not None:
            db.delete(found)
        return
    if not is_address(address):
        raise InvalidError(
            "This is not a mail address; it looks like name@example.org.", field="address"
        )
    if language not in LANGUAGES:
        raise InvalidError(f"A language is one of {', '.join(LANGUAGES)}.", field="language")
    if found is None:
        found = CustomerContact(site_id=site.id, address=address, language=language)
        db.add(found)
    found.name, found.address, found.language = name.strip()[:200], address, language
    found.changed_at = now


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A site of the firm in a year's round of letters.

    Attributes
    ----------
    why_not : why it gets none; None where it may
    letter : the newest letter about the year
    mail : that letter in the outbox, while it is remembered
    """

    site: Site
    contact: CustomerContact | None
    why_not: str | None
    letter: YearlyLetter | None
    mail: Outbox | None

    @property
    def serial(self) -> int:
        """The serial that the next letter would have."""
        return 0 if self.letter is None else self.letter.serial + 1


def candidates(db: Session, *, firm_id: int, year: int) -> list[Candidate]:
    """Give every site of a firm with where it stands in a year's round of letters."""
    contacts = queries.contacts(db, firm_id=firm_id)
    agreed = queries.agreed_sites(db, firm_id=firm_id)
    years = queries.years_known(db, firm_id=firm_id)
    letters = queries.letters_of(db, firm_id=firm_id, year=year)
    mails = queries.mails_of(db, list(letters.values()))
    made = []
    for site in site_queries.list_sites(db, firm_id=firm_id):
        letter = letters.get(site.id)
        made.append(
            Candidate(
                site=site,
                contact=contacts.get(site.id),
                why_not=_why_not(
                    contacts.get(site.id),
                    agreed=site.id in agreed,
                    known=year in years.get(site.id, ()),
                ),
                letter=letter,
                mail=mails.get(letter.message_id or "") if letter else None,
            )
        )
    return made


def _why_not(contact: CustomerContact | None, *, agreed: bool, known: bool) -> str | None:
    if contact is None:
        return _NO_ADDRESS
    if not agreed:
        return _NO_CONSENT
    return None if known else _NO_YEAR


def choose(
    db: Session, *, firm_id: int, year: int, wanted: dict[int, int], who: str, now: datetime
) -> int:
    """Note whom a letter goes to; gives how many were noted.

    Parameters
    ----------
    wanted : site number to the serial that its letter was shown with: the same form handed in
        again sends nothing again
    """
    chosen = 0
    for one in candidates(db, firm_id=firm_id, year=year):
        if one.why_not is None and wanted.get(one.site.id) == one.serial:
            db.add(
                YearlyLetter(
                    site_id=one.site.id, year=year, serial=one.serial, chosen_by=who, chosen_at=now
                )
            )
            chosen += 1
    db.flush()
    return chosen


def written(db: Session, site: Site, *, year: int, settings: Settings, today: date) -> Mail:
    """Write a site's letter.

    Raises
    ------
    ConflictError : there is no address, or nothing is known of the year
    """
    contact = queries.contact_of(db, site_id=site.id)
    if contact is None:
        raise ConflictError(f"There is no letter: {_NO_ADDRESS}.")
    view = sheet_of(db, site, language=contact.language, today=today, year=year)
    if view.year != year:
        raise ConflictError(f"There is no letter: {_NO_YEAR}.")
    firm = db.get_one(Firm, site.firm_id)
    stop_url = letter_stop_url(db, contact=contact, settings=settings)
    return letter_mail(view, name=contact.name, firm=firm.name, stop_url=stop_url)


def write_chosen(database: Database, *, settings: Settings, clock: Clock) -> int:
    """Write the letters that were chosen and lay them out; gives how many."""
    with database.reading() as db:
        waiting = queries.to_write(db, most_tries=_MOST_TRIES)
    laid = 0
    for letter_id in waiting:
        try:
            laid += _write(database, letter_id, settings=settings, clock=clock)
        except Exception as error:
            LOG.exception("letter %s failed", letter_id)
            why = error.detail if isinstance(error, ConflictError) else type(error).__name__
            with database.session() as db:
                letter = queries.letter_to_change(db, letter_id)
                if letter is not None and letter.laid_at is None:
                    letter.tries += 1
                    letter.problem = why
    return laid


def _write(database: Database, letter_id: int, *, settings: Settings, clock: Clock) -> bool:
    now = clock.now()
    with database.session() as db:
        letter = queries.letter_to_change(db, letter_id)
        if letter is None or letter.laid_at is not None:
            return False
        site = db.get_one(Site, letter.site_id)
        if site.deleted_at is not None or not queries.agreed(db, site_id=site.id):
            raise ConflictError(f"There is no letter: {_NO_CONSENT}, or the site is gone.")
        mail = written(db, site, year=letter.year, settings=settings, today=now.date())
        contact = db.get_one(CustomerContact, site.id)
        letter.message_id = outbox.message_id(
            settings,
            what=f"letter-{letter.year}-{site.id}-{letter.serial}",
            address=contact.address,
        )
        letter.laid_at, letter.problem = now, None
        outbox.put(
            db,
            mail,
            firm_id=site.firm_id,
            recipient=contact.address,
            message_id=letter.message_id,
            not_before=now,
            now=now,
        )
    return True
