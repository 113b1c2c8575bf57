"""The invented site of a firm: made on the spot, never counted, removed for good."""

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from service.accounts.queries import lock_firm
from service.db.models import Site
from service.ingest import queries as ingest_queries
from service.ingest.actions import keep_upload
from service.ingest.files import Kept
from service.privacy.erasure import forget_traces
from service.sites import queries
from service.sites.actions import register_site

if TYPE_CHECKING:
    from fixtures.fleet import DemoFiles

_DAYS = 120


def example_files(today: date) -> "DemoFiles":
    """Simulate the invented plant up to yesterday; takes some seconds."""
    from fixtures.fleet import EXAMPLE, demo_files

    return demo_files(EXAMPLE, last_day=today - timedelta(days=1), days=_DAYS)


def add_example(
    db: Session, *, firm_id: int, files: "DemoFiles", kept: Kept, now: datetime
) -> Site:
    """Add the invented site with its log; the same again changes nothing."""
    lock_firm(db, firm_id)  # one at a time adds it
    site = queries.invented_site(db, firm_id=firm_id)
    if site is not None:
        return site
    site = register_site(db, firm_id=firm_id, text=files.site_toml, now=now)
    site.invented = True
    keep_upload(db, site=site, kept=kept, name=files.log_name, via="demo", now=now)
    return site


def remove_example(db: Session, *, firm_id: int) -> list[str]:
    """Remove the invented site for good; gives the hashes of files that may go after the commit."""
    site = queries.invented_site(db, firm_id=firm_id)
    if site is None:
        return []
    hashes = ingest_queries.hashes_of(db, site_id=site.id)
    forget_traces(db, site)
    db.delete(site)
    return sorted(hashes)
