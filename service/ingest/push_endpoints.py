"""Gateways' batches over HTTP; asked for far more often than anything else."""

from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool

from service.accounts.access import shown_key
from service.context import Context, Here
from service.errors import NotFoundError, SignedOutError
from service.ingest.batches import Batch
from service.ingest.gate import Gate, KnownKeys
from service.ingest.places import Places
from service.ingest.schemas import Pushed

router = APIRouter(prefix="/api/sites/{slug}", tags=["logs"])

_BUSY: dict[int | str, dict[str, Any]] = {
    408: {"description": "The body comes too slowly while others wait."},
    429: {"description": "Too many at once; see Retry-After."},
}

_UNKNOWN = ""  # no site has such a name


@router.post("/rows", responses=_BUSY)
async def push_rows(request: Request, here: Here, slug: str) -> Pushed:
    """Take a gateway's batch of rows as JSON; a batch with a fault is refused as a whole.

    The body is `{"rows": [{"time": "2025-06-01T12:00:00Z", "t_collector_c": 61.2}, ...]}` or
    `{"columns": {"time": [...], "t_collector_c": [...]}}`. Rows may be late, out of order or sent
    twice. They are on disk when the answer comes; only rows of days that were rolled up or removed
    for their age are left out, which the answer says, and sending them again changes nothing. Where
    more gateways come at once than can be served, the answer is 429 and says in Retry-After when to
    come again; whose body dawdles while others wait gets 408.
    """
    gate: Gate[Batch] = request.app.state.gate
    places: Places = request.app.state.places
    told = request.headers.get("content-length", "")
    size = int(told) if told.isdigit() else here.settings.max_push_bytes
    key_hash = await _gateway_key(request, here, slug)
    with places.taken(slug, size) as place:
        body = await places.read(place, request.body())
        batch = Batch(slug=slug, key_hash=key_hash, body=body)
        try:
            return await gate.store(batch)
        except (SignedOutError, NotFoundError):
            request.app.state.known_keys.forget(slug, key_hash)
            raise


async def _gateway_key(request: Request, here: Context, slug: str) -> str:
    """Give the hash of a key that opens the site, or did a moment ago."""
    known: KnownKeys = request.app.state.known_keys
    key_hash = shown_key(request)
    if key_hash is None or (slug, key_hash) not in known:
        places: Places = request.app.state.places
        # Whoever has shown nothing yet counts for no site and asks for no memory: a few who come
        # without a key would else keep out the gateways of a site, or all.
        with places.taken(_UNKNOWN, 0):
            await run_in_threadpool(_gateway_site_id, here, slug)
        assert key_hash is not None  # without one that was refused
        known.add(slug, key_hash)
    return key_hash


def _gateway_site_id(here: Context, slug: str) -> int:
    """Give the number of the site that a gateway's key opens."""
    with here.database.reading() as db:
        caller = here.caller(db, may="log")
        if not caller.is_gateway:
            raise SignedOutError(
                "A gateway needs its site's key: send “Authorization: Bearer KEY” with a key made "
                "on the site's page."
            )
        return here.site_of(db, caller, slug).id
