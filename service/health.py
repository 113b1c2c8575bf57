"""Whether the service is well: its database answers and a worker shows signs of life."""

from datetime import datetime, timedelta

from fastapi import APIRouter
from fastapi.responses import JSONResponse

from service.context import Here
from service.jobs import queries

router = APIRouter(include_in_schema=False)


@router.get("/health")
def health(here: Here) -> JSONResponse:
    """Say how the service is; 503 where logs would wait without being read."""
    now = here.now()
    silence = timedelta(seconds=here.settings.worker_lease_s)
    with here.database.reading() as db:
        last = queries.last_beat(db)
    started: datetime = here.request.app.state.started_at
    if last is not None and abs(now - last) <= silence:
        worker = "alive"
    else:
        worker = "starting" if abs(now - started) <= silence else "silent"
    return JSONResponse(
        {
            "status": "ok" if worker != "silent" else "no worker",
            "worker": worker,
            "last_beat": last.isoformat() if last is not None else None,
        },
        status_code=503 if worker == "silent" else 200,
    )
