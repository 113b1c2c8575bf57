"""Visits over HTTP, for the page's script: saves and photos, each counted once by its key."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool

from service.context import Context, Here, RowId
from service.db.models import Visit
from service.errors import InvalidError
from service.visits import actions, queries
from service.visits.photos import clean_photo
from service.visits.schemas import PhotoShown, SaveGiven, SaveShown, ValueShown

router = APIRouter(prefix="/api/visits/{visit_id}", tags=["visits"])

Key = Annotated[str, Query(pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]


@router.post("/saves")
def save(here: Here, visit_id: RowId, given: SaveGiven) -> SaveShown:
    """Take in what was typed on a visit; the same save again changes nothing."""
    with here.database.session() as db:
        caller = here.person(db, may="care")
        visit, site = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id, locked=True)
        problem = actions.take_save(
            db, visit=visit, site=site, given=given, who=caller.who, now=here.now()
        )
        values = actions.values_of(queries.entries_of(db, visit_id=visit.id))
        return SaveShown(
            state=visit.state,
            problem=problem,
            problems=actions.problems_of(values, site),
            values={
                name: ValueShown(value=one.value, who=one.who, typed_at=one.typed_at)
                for name, one in values.items()
            },
        )


@router.post("/photos", status_code=201)
async def add_photo(here: Here, request: Request, visit_id: RowId, key: Key) -> PhotoShown:
    """Take in a photo: the body is a JPEG, PNG or WebP; the same key again changes nothing."""
    await run_in_threadpool(_seen, here, visit_id)
    return await run_in_threadpool(keep_photo, here, visit_id, key, await request.body())


def _seen(here: Context, visit_id: int) -> Visit:
    """Look whether the caller may, before a body is read."""
    with here.database.reading() as db:
        caller = here.person(db, may="care")
        return actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id)[0]


def keep_photo(here: Context, visit_id: int, key: str, data: bytes) -> PhotoShown:
    """Clean a photo, keep its bytes, then note it."""
    if not data:
        raise InvalidError("The body is empty; send the photo's bytes.", field="photo")
    photo = clean_photo(data)
    kept = here.raw.keep([photo.data])
    with here.database.session() as db:
        caller = here.person(db, may="care")
        visit, _ = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id, locked=True)
        made = actions.keep_photo(
            db, visit=visit, key=key, photo=photo, kept=kept, who=caller.who, now=here.now()
        )
    if not here.raw.path(kept.sha256).exists():  # a purge met it between file and note
        here.raw.keep([photo.data])
    return PhotoShown(
        id=made.id,
        sha256=made.sha256,
        size_bytes=made.size_bytes,
        width_px=made.width_px,
        height_px=made.height_px,
    )
