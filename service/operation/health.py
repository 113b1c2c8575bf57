"""Whether the service is well: its database answers, a worker lives, and there is room."""

import logging
import shutil
from datetime import datetime, timedelta

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError

from service.context import Context, Here
from service.jobs import queries

LOG = logging.getLogger("suntally.web")

router = APIRouter(include_in_schema=False)
MIB = 1024 * 1024


@router.get("/health/live")
def live() -> JSONResponse:
    """Say that the web process answers at all; nothing else is asked."""
    return JSONResponse({"status": "ok"})


@router.get("/health/ready")
@router.get("/health")
def ready(here: Here) -> JSONResponse:
    """Say how the service is; 503 where logs would not be taken, or wait without being read."""
    try:
        with here.database.reading() as db:
            last = queries.last_beat(db)
    except SQLAlchemyError as error:
        LOG.error("the database does not answer: %s", str(error).splitlines()[0])
        return JSONResponse({"status": "no database", "database": "away"}, status_code=503)
    worker = _worker(here, last)
    room = disk_has_room(here)
    status = "no worker" if worker == "silent" else "ok" if room else "disk nearly full"
    return JSONResponse(
        {
            "status": status,
            "database": "ok",
            "worker": worker,
            "disk": "ok" if room else "low",
            "last_beat": last.isoformat() if last is not None else None,
        },
        status_code=200 if status == "ok" else 503,
    )


def _worker(here: Context, last: datetime | None) -> str:
    now = here.now()
    silence = timedelta(seconds=here.settings.worker_lease_s)
    # A sign of life from the future was given by a wrong clock.
    if last is not None and abs(now - last) <= silence:
        return "alive"
    started: datetime = here.request.app.state.started_at
    return "starting" if abs(now - started) <= silence else "silent"


def disk_has_room(here: Context) -> bool:
    """Tell whether there is as much room as the operator wants to be left."""
    free = shutil.disk_usage(here.settings.data_dir).free
    return free >= here.settings.min_free_mib * MIB
