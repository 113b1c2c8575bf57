"""One press to add an invented site to look around in, one to remove it."""

from fastapi import APIRouter, Response

from dashboards.links import site_path
from service.context import Here
from service.ingest.actions import drop_bytes
from service.pages.answers import see_other
from service.sites import example

router = APIRouter(include_in_schema=False)


@router.post("/example")
def add(here: Here) -> Response:
    """Make the invented plant and hand in its log."""
    with here.database.reading() as db:
        here.person(db, may="arrange")
    files = example.example_files(here.now().date())
    kept = here.raw.keep([files.log])
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        site = example.add_example(
            db, firm_id=caller.firm_id, files=files, kept=kept, now=here.now()
        )
        slug = site.slug
    return see_other(site_path(slug))


@router.post("/example/remove")
def remove(here: Here) -> Response:
    """Remove the invented plant for good."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        hashes = example.remove_example(db, firm_id=caller.firm_id)
    drop_bytes(here.database, raw=here.raw, hashes=hashes)
    return see_other("/")
