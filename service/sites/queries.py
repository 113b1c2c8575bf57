"""All SQL about sites. Nothing here commits; deleted sites are out of sight unless asked for."""

from datetime import datetime

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from service.db.models import ApiKey, Site, SiteFileVersion

# Every request asks some of these; statements that are built once cost a third of the time.
_NAMED = select(Site).where(Site.firm_id == bindparam("firm_id"), Site.slug == bindparam("slug"))
_BY_SLUG = _NAMED.where(Site.deleted_at.is_(None))
_DELETED_BY_SLUG = _NAMED.where(Site.deleted_at.is_not(None))
_OF_KEY = (
    select(Site)
    .join(ApiKey, ApiKey.site_id == Site.id)
    .where(
        ApiKey.key_hash == bindparam("key_hash"),
        ApiKey.revoked_at.is_(None),
        Site.deleted_at.is_(None),
    )
)
_LOCKED = (
    select(Site)
    .where(Site.id == bindparam("id"), Site.deleted_at.is_(None))
    .with_for_update()
    .execution_options(populate_existing=True)
)


def list_sites(db: Session, *, firm_id: int) -> list[Site]:
    """Give a firm's own sites by name, without an invented one."""
    found = select(Site).where(
        Site.firm_id == firm_id, Site.deleted_at.is_(None), Site.invented.is_(False)
    )
    return list(db.scalars(found.order_by(Site.name, Site.id)))


def invented_site(db: Session, *, firm_id: int) -> Site | None:
    """Give the firm's invented site."""
    found = select(Site).where(
        Site.firm_id == firm_id, Site.deleted_at.is_(None), Site.invented.is_(True)
    )
    return db.scalar(found.order_by(Site.id).limit(1))


def count_sites(db: Session) -> int:
    """Count all sites of all firms, deleted ones included."""
    return int(db.scalar(select(func.count(Site.id))) or 0)


def problems_said(db: Session) -> list[str]:
    """Give why sites could not be assessed, where that is so."""
    found = select(Site.problem).where(Site.problem.is_not(None)).order_by(Site.id)
    return [problem for problem in db.scalars(found) if problem is not None]


def list_deleted(db: Session, *, firm_id: int) -> list[Site]:
    """Give a firm's deleted sites that can still be brought back."""
    found = select(Site).where(Site.firm_id == firm_id, Site.deleted_at.is_not(None))
    return list(db.scalars(found.order_by(Site.deleted_at.desc())))


def site_by_slug(db: Session, *, firm_id: int, slug: str, deleted: bool = False) -> Site | None:
    """Give a site by its address part."""
    found = _DELETED_BY_SLUG if deleted else _BY_SLUG
    return db.scalar(found, {"firm_id": firm_id, "slug": slug})


def locked_site(db: Session, site_id: int) -> Site | None:
    """Give a site as it is now and let nobody else change it or its rows from here on."""
    return db.scalar(_LOCKED, {"id": site_id})


def slugs(db: Session, *, firm_id: int) -> set[str]:
    """Give the slugs that a firm uses, deleted sites included."""
    return set(db.scalars(select(Site.slug).where(Site.firm_id == firm_id)))


def file_versions(db: Session, *, site_id: int) -> list[SiteFileVersion]:
    """Give the replaced site files, the newest first."""
    found = select(SiteFileVersion).where(SiteFileVersion.site_id == site_id)
    return list(db.scalars(found.order_by(SiteFileVersion.version.desc())))


def keys_of(db: Session, *, site_id: int) -> list[ApiKey]:
    """Give the gateway keys in use."""
    found = select(ApiKey).where(ApiKey.site_id == site_id, ApiKey.revoked_at.is_(None))
    return list(db.scalars(found.order_by(ApiKey.id)))


def site_of_key(db: Session, *, key_hash: str) -> Site | None:
    """Give the site that a key opens."""
    return db.scalar(_OF_KEY, {"key_hash": key_hash})


def long_deleted(db: Session, *, before: datetime) -> list[Site]:
    """Give the sites that were deleted before a moment."""
    return list(db.scalars(select(Site).where(Site.deleted_at < before)))
