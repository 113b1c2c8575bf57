"""An upload as API and pages show it: what became of it, and which later files replaced rows."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from service.db.models import Upload
from service.ingest import layer_queries, queries
from service.ingest.schemas import Replaced, Rows, UploadShown

_PROBLEMS_SHOWN = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """Which uploads of a site replaced rows of which, and what they are called."""

    names: Mapping[int, str]
    replaced: Mapping[int, Mapping[int, int]]

    @classmethod
    def of(cls, db: Session, site_id: int) -> "Naming":
        """Load it for a site."""
        replaced = layer_queries.replacements(db, site_id)
        above = {number for by in replaced.values() for number in by}
        return cls(names=queries.names_of(db, ids=sorted(above)), replaced=replaced)

    def of_upload(self, upload_id: int) -> list[Replaced]:
        """Give which later files replaced rows of an upload, the latest first."""
        by = self.replaced.get(upload_id, {})
        return [
            Replaced(upload_id=above, name=self.names.get(above, ""), rows=count)
            for above, count in sorted(by.items(), reverse=True)
        ]


NOTHING_REPLACED = Naming(names={}, replaced={})


def upload_shown(slug: str, upload: Upload, *, naming: Naming = NOTHING_REPLACED) -> UploadShown:
    """Give an upload as the API shows it."""
    files = upload.files or []
    return UploadShown(
        id=upload.id,
        name=upload.name,
        state=upload.state,
        message=upload.message,
        sha256=upload.sha256,
        size_bytes=upload.size_bytes,
        via=upload.via,
        received_at=upload.received_at,
        settled_at=upload.settled_at,
        bytes_gone_at=upload.bytes_gone_at,
        first_s=min((one["first_s"] for one in files), default=None),
        last_s=max((one["last_s"] for one in files), default=None),
        rows=Rows(
            read=upload.rows_read or 0,
            kept=upload.rows_kept or 0,
            duplicate=upload.rows_duplicate or 0,
            rejected=upload.rows_rejected or 0,
        ),
        replaced=naming.of_upload(upload.id),
        problems=(upload.problems or [])[:_PROBLEMS_SHOWN],
        files=files,
        status_url=f"/api/sites/{slug}/uploads/{upload.id}",
    )
