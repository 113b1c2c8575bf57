"""All SQL about visits. Nothing here commits."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.db.models import Firm, Site, Visit, VisitEntry, VisitPhoto, VisitSave


def visit_of(
    db: Session, *, firm_id: int, visit_id: int, locked: bool = False
) -> tuple[Visit, Site] | None:
    """Give a visit of a firm with its site; deleted sites are out of sight."""
    found = (
        select(Visit, Site)
        .join(Site, Visit.site_id == Site.id)
        .where(Visit.id == visit_id, Site.firm_id == firm_id, Site.deleted_at.is_(None))
    )
    if locked:
        found = found.with_for_update()
    row = db.execute(found).one_or_none()
    return (row[0], row[1]) if row is not None else None


def visits_of_firm(
    db: Session,
    *,
    firm_id: int,
    state: str,
    on: date | None = None,
    technician_id: int | None = None,
    limit: int | None = None,
) -> list[tuple[Visit, Site]]:
    """Give a firm's visits in a state, by day; finished ones the latest first."""
    found = (
        select(Visit, Site)
        .join(Site, Visit.site_id == Site.id)
        .where(Site.firm_id == firm_id, Site.deleted_at.is_(None), Visit.state == state)
    )
    if on is not None:
        found = found.where(Visit.planned_on == on)
    if technician_id is not None:
        found = found.where(Visit.technician_id == technician_id)
    order = (
        (Visit.finished_at.desc(), Visit.id.desc())
        if state == "finished"
        else (Visit.planned_on, Visit.id)
    )
    return [(row[0], row[1]) for row in db.execute(found.order_by(*order).limit(limit))]


def visits_of_site(db: Session, *, site_id: int) -> list[Visit]:
    """Give a site's visits that were not dropped, the latest first."""
    found = select(Visit).where(Visit.site_id == site_id, Visit.state != "dropped")
    return list(db.scalars(found.order_by(Visit.planned_on.desc(), Visit.id.desc())))


def save_of_key(db: Session, key: str) -> VisitSave | None:
    """Give the save that came with a key."""
    return db.scalar(select(VisitSave).where(VisitSave.key == key))


def entries_of(db: Session, *, visit_id: int) -> list[VisitEntry]:
    """Give all that was typed, in the order in which it counts."""
    found = select(VisitEntry).where(VisitEntry.visit_id == visit_id)
    return list(db.scalars(found.order_by(VisitEntry.typed_at, VisitEntry.id)))


def last_typed_by(db: Session, *, firm_id: int, who: str, field: str) -> str:
    """Give what somebody of a firm typed last into a field, on any visit; empty for nothing."""
    found = (
        select(VisitEntry.value)
        .join(Visit, VisitEntry.visit_id == Visit.id)
        .join(Site, Visit.site_id == Site.id)
        .where(Site.firm_id == firm_id, VisitEntry.who == who, VisitEntry.field == field)
        .order_by(VisitEntry.typed_at.desc(), VisitEntry.id.desc())
        .limit(1)
    )
    return db.scalar(found) or ""


def photos_of(db: Session, *, visit_id: int) -> list[VisitPhoto]:
    """Give a visit's photos, the oldest first."""
    found = select(VisitPhoto).where(VisitPhoto.visit_id == visit_id)
    return list(db.scalars(found.order_by(VisitPhoto.id)))


def photo_of_key(db: Session, key: str) -> VisitPhoto | None:
    """Give the photo that came with a key."""
    return db.scalar(select(VisitPhoto).where(VisitPhoto.key == key))


def firm_of(db: Session, firm_id: int) -> Firm:
    """Give a firm."""
    firm = db.get(Firm, firm_id)
    assert firm is not None
    return firm
