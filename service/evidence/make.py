"""Making a bundle: into a file that is whole before anybody gets it."""

import tempfile
from datetime import datetime
from pathlib import Path

from sqlalchemy.orm import Session

from service.db.models import Site
from service.errors import ConflictError
from service.evidence.archive import write_bundle
from service.evidence.contents import Source, members
from service.evidence.signing import installation_key
from service.ingest.files import DamagedError, RawStore


def make_bundle(
    db: Session, *, site: Site, raw: RawStore, everything: bool, now: datetime
) -> tuple[Path, str]:
    """Make a bundle in a temporary file, which is the caller's to remove; gives its root, too.

    Raises
    ------
    ConflictError : a kept log is damaged
    TooLargeError : it would not fit into one bundle
    """
    source = Source(db=db, site=site, raw=raw, everything=everything)
    # The name is one that the worker sweeps away, should this process end here.
    descriptor, temporary = tempfile.mkstemp(prefix=".incoming-", suffix=".zip", dir=raw.folder)
    path = Path(temporary)
    try:
        with open(descriptor, "w+b") as out:  # noqa: PTH123 - it is open already
            root = write_bundle(out, members(source), key=installation_key(db), now=now)
    except DamagedError as error:
        path.unlink()
        raise ConflictError(
            f"The kept log with SHA-256 {error} is missing or damaged on this server. Bring it "
            "back from a copy of the data folder, then make the bundle again."
        ) from None
    except BaseException:
        path.unlink()
        raise
    return path, root


def bundle_name(site: Site, *, everything: bool) -> str:
    """Give the name that the file has for people."""
    return f"{site.slug}-{'everything' if everything else 'evidence'}.zip"
