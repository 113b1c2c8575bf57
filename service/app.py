"""The application: routes, error answers, guards; no work at import."""

import json
import logging
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from http import HTTPStatus
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from sqlalchemy.exc import DataError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

import dashboards
from service.accounts import api as people
from service.accounts import endpoints as accounts
from service.accounts.actions import ensure_firm
from service.accounts.attempts import Attempts
from service.accounts.held_tries import HeldTries
from service.accounts.sign_ins import noting_held
from service.afterwards import Afterwards
from service.assessments import endpoints as assessments
from service.care import endpoints as care
from service.clock import Clock
from service.db.engine import Database
from service.errors import NO_ROOM, ServiceError, SignedOutError
from service.exports import endpoints as exports
from service.guards import Guard
from service.ingest import endpoints as ingest
from service.ingest import map_endpoints, push_endpoints, version_endpoints
from service.ingest.batches import Batch, store_batches
from service.ingest.files import RawStore
from service.ingest.gate import Gate, KnownKeys
from service.ingest.places import Places
from service.ingest.schemas import Pushed
from service.mail import endpoints as mail
from service.openapi import describe
from service.operation import health, metrics
from service.operation.logs import ID_HEADER, Requests, id_of, route_of
from service.pages import endpoints as pages
from service.policy import headers as policy_headers
from service.settings import Settings
from service.sites import endpoints as sites
from service.visits import endpoints as visits
from service.weather import endpoints as weather
from service.webhooks import endpoints as webhooks

LOG = logging.getLogger("suntally.web")


def create_app(settings: Settings, database: Database, clock: Clock) -> FastAPI:
    """Build the application over a database whose tables are up to date."""

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        with database.session() as db:
            ensure_firm(db, now=clock.now())
        async with noting_held(database, app.state.held_tries):
            yield
        database.close()

    app = FastAPI(title="Suntally", lifespan=lifespan, docs_url=None, redoc_url=None)
    app.state.settings = settings
    app.state.database = database
    app.state.clock = clock
    app.state.places = Places(settings.max_pushes)
    app.state.gate = _gate(settings, database, clock)
    app.state.known_keys = KnownKeys()
    app.state.raw = RawStore(settings.data_dir)
    app.state.attempts = Attempts()
    app.state.held_tries = HeldTries()
    app.state.started_at = clock.now()
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.state.metrics = metrics.Metrics()
    app.add_middleware(Afterwards)
    app.add_middleware(Guard, settings=settings)
    app.add_middleware(Requests, metrics=app.state.metrics)
    app.add_exception_handler(ServiceError, _service_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(DataError, _not_storable)
    app.add_exception_handler(OperationalError, _no_storage)
    app.add_exception_handler(PoolTimeoutError, _no_storage)
    app.add_exception_handler(OSError, _no_storage)
    app.add_exception_handler(Exception, _unexpected)
    for router in (
        push_endpoints.router,  # routes are tried in turn, and most requests are batches
        health.router,
        metrics.router,
        accounts.router,
        people.router,
        sites.router,
        version_endpoints.router,  # its `summary` stands before the number of an upload
        map_endpoints.router,
        ingest.router,
        assessments.router,
        exports.router,
        care.router,
        weather.router,
        webhooks.router,
        visits.router,
        mail.router,
        pages.router,
    ):
        app.include_router(router)
    describe(app)
    static = Path(dashboards.__file__).parent / "static"
    app.mount("/static", StaticFiles(directory=static), name="static")
    return app


def _gate(settings: Settings, database: Database, clock: Clock) -> Gate[Batch]:
    def write(db: Session, batches: Sequence[Batch]) -> Sequence[Pushed | ServiceError]:
        return store_batches(db, batches, now=clock.now(), settle_s=settings.push_settle_s)

    return Gate(database, write=write)


async def _service_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, ServiceError)
    if _is_browser(request):
        return await run_in_threadpool(_refused, request, error)
    return _refused(request, error)  # at once: a refusal is not to cost what storing does


def _refused(request: Request, error: ServiceError) -> Response:
    if isinstance(error, SignedOutError) and _is_browser(request) and request.method == "GET":
        return RedirectResponse(f"/sign-in?next={quote(request.url.path)}", status_code=303)
    return _problem(
        request, status=error.status, title=error.title, detail=error.detail, extra=error.extra
    )


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    title = HTTPStatus(error.status_code).phrase
    detail = error.detail if error.detail != title else _PLAIN.get(error.status_code, title)
    answer = _problem(request, status=error.status_code, title=title, detail=detail)
    for name, value in (error.headers or {}).items():
        answer.headers[name] = value
    return answer


_PLAIN = {
    404: "There is nothing at this address.",
    405: "This address does not take this kind of request.",
}


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return _problem(
        request,
        status=422,
        title="Cannot be used",
        detail=f"{place}: {first['msg']}.",
        extra={"field": place},
    )


def _not_storable(request: Request, error: Exception) -> Response:
    """Answer for a sign or a number that the database has no room for, such as a NUL."""
    LOG.info("not storable at %s: %s", route_of(request.scope), error)
    return _problem(
        request,
        status=422,
        title="Cannot be used",
        detail="Something in this request holds a sign or a number that cannot be stored; nothing "
        "was changed.",
    )


# What to say of a storage that does not take anything: a word of the error, status, title, detail.
_STORAGE = (
    (
        ("full", "no space", "quota"),
        507,
        "No room left",
        "The disk that holds the data is full. Nothing of this request was stored; what was there "
        "is safe. Make room, then send it again.",
    ),
    (
        ("readonly", "read-only", "read only", "permission denied"),
        507,
        "Data cannot be written",
        "The data folder or the database can only be read. Nothing of this request was stored; "
        "give the service leave to write, then send it again.",
    ),
    (
        ("locked", "busy", "timeout", "connection", "shutting down", "starting up"),
        503,
        "Busy",
        "The database does not answer at the moment. Nothing of this request was stored; send it "
        "again in a minute.",
    ),
)


def _no_storage(request: Request, error: Exception) -> Response:
    """Answer in plain words where disk or database is at its end; nothing was stored in part."""
    said = str(getattr(error, "orig", None) or error).lower()
    number = error.errno if isinstance(error, OSError) else None
    if number in NO_ROOM:
        said = "full"
    for words, status, title, detail in _STORAGE:
        if any(word in said for word in words):
            LOG.error("%s at %s: %s", title, route_of(request.scope), said)
            return _problem(request, status=status, title=title, detail=detail)
    return _unexpected(request, error)


def _unexpected(request: Request, error: Exception) -> Response:
    LOG.error("unexpected error at %s", route_of(request.scope), exc_info=error)
    answer = _problem(
        request,
        status=500,
        title="Something went wrong",
        detail="The service met an error of its own; its log says more. Nothing was stored in "
        "part. Try again, and tell the operator if it happens again.",
    )
    # This answer is given outside the guard and the log, which add these to all others.
    if (number := id_of(request.scope)) is not None:
        answer.headers[ID_HEADER] = number
    for name, value in policy_headers(https=request.app.state.settings.secure_cookies):
        answer.headers[name.decode()] = value.decode()
    return answer


def _problem(
    request: Request,
    *,
    status: int,
    title: str,
    detail: str,
    extra: dict[str, object] | None = None,
) -> Response:
    """Answer with a page for browsers, else with problem details (RFC 9457)."""
    if _is_browser(request):
        return pages.error_page(request, status=status, title=title, detail=detail)
    content = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    extra = extra or {}
    headers = {"WWW-Authenticate": "Bearer"} if status == 401 else {}
    if "retry_after_s" in extra:
        headers["Retry-After"] = str(extra["retry_after_s"])
    return _ProblemResponse(
        {**extra, **content},
        status_code=status,
        media_type="application/problem+json",
        headers=headers,
    )


class _ProblemResponse(JSONResponse):
    """Problem details in ASCII: they quote what was sent, half a surrogate pair included."""

    def render(self, content: object) -> bytes:
        """Give the body."""
        return json.dumps(content).encode("ascii")


def _is_browser(request: Request) -> bool:
    return not request.url.path.startswith("/api/") and "text/html" in request.headers.get(
        "accept", ""
    )
