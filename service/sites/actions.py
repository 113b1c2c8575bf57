"""Use cases of the site register: add, change, delete, bring back, gateway keys."""

import re
import unicodedata
from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from analysis.site import HandReading
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from analysis.sitefile_splice import with_reading
from service.accounts.queries import lock_firm
from service.accounts.secrets import hashed, new_secret
from service.db.models import ApiKey, Site, SiteFileVersion, Upload
from service.errors import ConflictError, NotFoundError
from service.ingest import queries as ingest_queries
from service.ingest.actions import ask_again, read_again
from service.privacy.erasure import forget_traces
from service.sites import queries
from service.weather import actions as weather_actions

_SLUG_LENGTH = 60
_NAME_LENGTH = 200


def register_site(db: Session, *, firm_id: int, text: str, now: datetime) -> Site:
    """Add a site from the text of its site file.

    Raises
    ------
    analysis.errors.SiteFileError : key, line and what is allowed
    """
    facts = parse_site(text)
    lock_firm(db, firm_id)  # one at a time picks a slug
    site = Site(
        firm_id=firm_id,
        slug=_free_slug(facts.place.name, queries.slugs(db, firm_id=firm_id)),
        name=_one_line(facts.place.name),
        timezone=facts.place.timezone,
        text=text,
        version=1,
        created_at=now,
    )
    db.add(site)
    db.flush()
    return site


def _one_line(name: str) -> str:
    """Give a name as lists, pages and subjects of mails show it."""
    words = "".join(sign if sign.isprintable() else " " for sign in name).split()
    return " ".join(words)[:_NAME_LENGTH] or "Site"


def _free_slug(name: str, taken: set[str]) -> str:
    """Turn a name into an address part that nobody has yet; `new` is a page of its own."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_SLUG_LENGTH].strip("-") or "site"
    number, slug = 1, base
    while slug in taken or slug == "new":
        number += 1
        slug = f"{base}-{number}"
    return slug


def replace_site_file(db: Session, *, site: Site, text: str, who: str, now: datetime) -> str | None:
    """Give a site another site file; the old one is kept, with who replaced it.

    Every day is analysed again, unless only papers changed that no figure rests on.

    Returns
    -------
    What the user should know beyond "done", or None.

    Raises
    ------
    analysis.errors.SiteFileError : key, line and what is allowed; nothing changes then
    """
    facts = parse_site(text)
    if queries.locked_site(db, site.id) is None or text == site.text:
        return None
    before = parse_site(site.text)
    db.add(
        SiteFileVersion(
            site_id=site.id,
            version=site.version,
            text=site.text,
            replaced_at=now,
            replaced_by=who,
        )
    )
    site.text = text
    site.version += 1
    site.name = _one_line(facts.place.name)
    site.timezone = facts.place.timezone
    site.problem = None
    if _but_columns(before) != _but_columns(facts):
        ingest_queries.mark_everything(db, site_id=site.id, due_at=now)
    if _spot(before) != _spot(facts):
        # Beam and diffuse of its hours came from the sun of the old place.
        weather_actions.read_again(db, site_id=site.id, now=now)
    if before.readings != facts.readings:
        # The days stay as they are; the report is made anew.
        last = ingest_queries.last_day_stored(db, site.id)
        ingest_queries.mark_days(db, site_id=site.id, days=[last] if last else [], due_at=now)
    ask_again(db, site_id=site.id)
    if _rules(before) == _rules(facts):
        return None
    return _new_reading_rules(db, site=site, old=before, new=facts, now=now)


def _spot(facts: SiteFacts) -> tuple[float, float, float]:
    place = facts.place
    return place.latitude_deg, place.longitude_deg, place.elevation_m


def add_reading(
    db: Session,
    *,
    site: Site,
    at: datetime,
    register_kwh: float,
    who: str | None,
    noted_by: str,
    now: datetime,
) -> None:
    """Write what somebody (`who`) read off the heat meter into the site's file.

    Raises
    ------
    analysis.errors.SiteFileError : the reading is not possible
    """
    reading = HandReading(at=at, heat_register_kwh=register_kwh, who=who)
    text = with_reading(site.text, reading)
    replace_site_file(db, site=site, text=text, who=noted_by, now=now)


def _but_columns(facts: SiteFacts) -> SiteFacts:
    """Give everything that a day's analysis rests on beside its rows."""
    made = facts.commissioned
    dated = made and (made.filled or made.tubes_fitted or made.fluid_tested)
    return replace(
        facts,
        log=replace(facts.log, columns=()),
        readings=(),
        parts=(),
        warranty=None,
        commissioned=replace(made, by=None, registration=None, serials=())
        if made is not None and dated
        else None,
    )


def _rules(facts: SiteFacts) -> tuple[object, ...]:
    """Give everything that a log is read by."""
    return facts.log, facts.place.timezone, facts.loop.fluid, facts.loop.concentration_frac


def _new_reading_rules(
    db: Session, *, site: Site, old: SiteFacts, new: SiteFacts, now: datetime
) -> str | None:
    """Have the logs read anew under the new rules, where their bytes are all there is."""
    uploads = ingest_queries.list_uploads(db, site.id)
    stored = [upload for upload in uploads if upload.state == "stored"]
    if not stored:
        return None
    if any(upload.pushed_on is not None for upload in stored):
        if old.log == new.log:
            return None
        return (
            "The rules for reading logs changed. Rows that a gateway pushed stay as they are; "
            "the new rules hold for logs uploaded from now on."
        )
    only_columns = _rules(_but_columns(old)) == _rules(_but_columns(new))
    heads = {head for head, _ in {*old.log.columns} ^ {*new.log.columns}}
    concerned = [one for one in stored if not only_columns or _holds(one, heads)]
    if not concerned:
        return None
    count = read_again(db, site=site, uploads=concerned, now=now)
    return (
        f"The rules for reading logs changed, so {count} of the {len(stored)} logs of "
        "this site are being read again."
        if count < len(stored)
        else "The rules for reading logs changed, so all logs of this site are being read again."
    )


def _holds(upload: Upload, heads: set[str]) -> bool:
    """Tell whether an upload has a column that another meaning is told of."""
    if any(head.isdigit() for head in heads):
        return True  # the number of a column fits every file
    folded = {" ".join(head.split()).lower() for head in heads}
    return any(
        " ".join(head.split()).lower() in folded
        for one in upload.files or []
        for head in (*(column["head"] for column in one["columns"]), *one["ignored"])
    )


def delete_site(db: Session, *, site: Site, confirm: str, now: datetime) -> None:
    """Put a site out of sight; it can be brought back for a while.

    Raises
    ------
    ConflictError : the confirmation is not the site's name
    """
    if confirm.strip() != site.name.strip():
        raise ConflictError(f"Nothing was deleted: to confirm, give the name “{site.name}”.")
    site.deleted_at = now


def restore_site(db: Session, *, firm_id: int, slug: str, now: datetime) -> Site:
    """Bring a deleted site back and have it assessed again."""
    site = queries.site_by_slug(db, firm_id=firm_id, slug=slug, deleted=True)
    if site is None:
        raise NotFoundError("There is no deleted site of this name; it may have been purged.")
    site.deleted_at = None
    ingest_queries.mark_everything(db, site_id=site.id, due_at=now)
    return site


def purge_sites(db: Session, *, now: datetime, undo: timedelta) -> list[str]:
    """Remove sites whose time to be brought back is over.

    Returns
    -------
    Hashes of raw files that nothing refers to any more; drop them after the commit.
    """
    hashes: set[str] = set()
    for site in queries.long_deleted(db, before=now - undo):
        hashes |= ingest_queries.hashes_of(db, site_id=site.id)
        forget_traces(db, site)
        db.delete(site)
    db.flush()
    return sorted(hashes - ingest_queries.hashes_referred_to(db, sorted(hashes)))


def make_key(db: Session, *, site: Site, label: str, now: datetime) -> tuple[ApiKey, str]:
    """Make a gateway key; its text is given here once and never again."""
    secret = new_secret("sk")
    key = ApiKey(
        site_id=site.id,
        label=label.strip()[:100] or "gateway",
        key_hash=hashed(secret),
        created_at=now,
    )
    db.add(key)
    db.flush()
    return key, secret


def revoke_key(db: Session, *, site: Site, key_id: int, now: datetime) -> None:
    """Make a gateway key useless."""
    key = db.get(ApiKey, key_id)
    if key is None or key.site_id != site.id:
        raise NotFoundError("There is no such key at this site.")
    key.revoked_at = key.revoked_at or now
