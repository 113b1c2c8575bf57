"""Downloads of a site's bundle: the evidence for others, everything for the customer."""

from fastapi import APIRouter, Response
from fastapi.responses import FileResponse
from starlette.background import BackgroundTask

from service.accounts.rights import Right
from service.context import Context, Here
from service.evidence.make import bundle_name, make_bundle

router = APIRouter(include_in_schema=False)


@router.post("/sites/{slug}/bundle")
def evidence(here: Here, slug: str) -> Response:
    """Give the evidence bundle."""
    return _bundle(here, slug, may="see", everything=False)


@router.post("/sites/{slug}/privacy/export")
def everything(here: Here, slug: str) -> Response:
    """Give everything that is held about the site and its people."""
    return _bundle(here, slug, may="arrange", everything=True)


def _bundle(here: Context, slug: str, *, may: Right, everything: bool) -> Response:
    with here.database.session() as db:
        here.site(db, slug, may=may)  # leaves the line in the audit trail
    with here.database.reading() as db:
        site = here.site(db, slug, may=may)
        path, _ = make_bundle(db, site=site, raw=here.raw, everything=everything, now=here.now())
        name = bundle_name(site, everything=everything)
    return FileResponse(
        path,
        media_type="application/zip",
        filename=name,
        # It is packed already.
        headers={"Cache-Control": "no-store", "Content-Encoding": "identity"},
        background=BackgroundTask(path.unlink, missing_ok=True),
    )
