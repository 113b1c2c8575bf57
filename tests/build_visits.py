"""Builders for tests of visits: a site whose invented report has a lasting finding, and photos."""

import io
import uuid
from datetime import UTC, datetime
from typing import Any

from PIL import Image

from analysis.assess import METHOD
from analysis.results import Finding, report_json
from dashboards.links import finding_key
from service.db.models import FindingSeen, Site, SiteReport
from tests.build_report import a_finding, a_report, at
from tests.build_service import BackEnd

# The morning after the report's last day; the invented report ends with its year.
AFTER = datetime(2026, 1, 1, 8, 0, tzinfo=UTC)
STANDING = a_finding(
    start_s=at(12, 1, 9), end_s=None, urgency="act", summary="No heat came down since 1 December."
)
TUBES = a_finding(
    kind="degraded_tubes",
    start_s=at(8, 20),
    end_s=None,
    summary="Since 20 August the array gives about a quarter less than it did in spring.",
)


def with_report(back: BackEnd, slug: str, *found: Finding, **given: Any) -> list[str]:
    """Give a site an invented report with these findings; gives their keys."""
    found = found or (STANDING, TUBES)
    now = back.clock.now()
    with back.database.session() as db:
        site = db.get(Site, back.site_id(slug))
        assert site is not None
        report = a_report(
            site=site.name, timezone=site.timezone, method=METHOD, findings=found, **given
        )
        db.merge(
            SiteReport(
                site_id=site.id,
                report=report_json(report),
                method=METHOD,
                site_version=site.version,
                data_until_s=report.end_s,
                made_at=now,
            )
        )
        for one in found:
            db.merge(
                FindingSeen(
                    site_id=site.id,
                    key=finding_key(one),
                    kind=one.kind,
                    channel=one.channel,
                    start_s=one.start_s,
                    first_seen_at=now,
                )
            )
    return [finding_key(one) for one in found]


def a_save(*fields: tuple[str, str], at: datetime = AFTER, **given: Any) -> dict[str, Any]:
    """Give the body of a save whose fields were typed as it was sent, unless told otherwise."""
    return {
        "key": str(uuid.uuid4()),
        "sent_at": at.isoformat(),
        "fields": [{"field": n, "value": v, "typed_at": at.isoformat()} for n, v in fields],
        **given,
    }


def a_photo(kind: str = "JPEG", *, size: tuple[int, int] = (64, 48), **given: Any) -> bytes:
    """Give an invented picture as a file."""
    out = io.BytesIO()
    Image.new("RGB", size, (30, 120, 90)).save(out, format=kind, **given)
    return out.getvalue()


def a_located_photo() -> bytes:
    """Give a JPEG that lies on its side, with a place and a device in its EXIF data."""
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: to be turned by a quarter (EXIF 2.3)
    exif[0x010F] = "Invented Phone"  # Make
    place = exif.get_ifd(0x8825)  # GPS
    place[1], place[2] = "N", (52.0, 24.0, 0.0)
    place[3], place[4] = "W", (1.0, 30.0, 0.0)
    return a_photo(exif=exif)
