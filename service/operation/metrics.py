"""Figures for a monitor, in the text form of Prometheus: requests, and what waits or is late."""

import secrets
import shutil
from collections.abc import Iterator
from datetime import datetime

from fastapi import APIRouter, Request, Response
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.registry import Collector

from service.context import Here
from service.errors import NotFoundError
from service.operation import queries
from service.settings import Settings

router = APIRouter(include_in_schema=False)
_STEPS_S = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)


class Metrics:
    """What one application counts about its requests."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._requests = Counter(
            "suntally_requests",
            "Requests by route pattern and status.",
            ["method", "route", "status"],
            registry=self.registry,
        )
        self._took = Histogram(
            "suntally_request_seconds",
            "How long requests took.",
            ["method", "route"],
            buckets=_STEPS_S,
            registry=self.registry,
        )

    def note(self, *, method: str, route: str, status: int, took_s: float) -> None:
        """Count a request."""
        self._requests.labels(method, route, str(status)).inc()
        self._took.labels(method, route).observe(took_s)


@router.get("/metrics")
def metrics(here: Here) -> Response:
    """Give all figures to whoever shows the token, or, without one, to this machine only."""
    if not _may_read(here.request, here.settings):
        raise NotFoundError("There is nothing at this address.")
    now = here.now()
    with here.database.reading() as db:
        state = queries.state_of(db)
    free = shutil.disk_usage(here.settings.data_dir).free
    once = CollectorRegistry()
    once.register(_Figures(list(_gauges(state, free_bytes=free, now=now))))
    counted: Metrics = here.request.app.state.metrics
    body = generate_latest(counted.registry) + generate_latest(once)
    return Response(body, media_type=CONTENT_TYPE_LATEST)


def _may_read(request: Request, settings: Settings) -> bool:
    if settings.metrics_token is None:
        return not settings.reachable
    given = request.headers.get("authorization", "").encode()
    wanted = f"Bearer {settings.metrics_token.get_secret_value()}".encode()
    return secrets.compare_digest(given, wanted)


class _Figures(Collector):
    """Figures that were looked up already."""

    def __init__(self, families: list[GaugeMetricFamily]) -> None:
        self._families = families

    def collect(self) -> list[GaugeMetricFamily]:
        """Give them."""
        return self._families


def _gauges(state: queries.State, *, free_bytes: int, now: datetime) -> Iterator[GaugeMetricFamily]:
    def one(name: str, words: str, value: float) -> GaugeMetricFamily:
        return GaugeMetricFamily(f"suntally_{name}", words, value=value)

    def each(name: str, words: str, label: str, values: dict[str, int]) -> GaugeMetricFamily:
        family = GaugeMetricFamily(f"suntally_{name}", words, labels=[label])
        for key, value in sorted(values.items()):
            family.add_metric([key], value)
        return family

    yield one("sites", "Sites that are watched.", state.sites)
    yield each("uploads", "Logs handed in, by state.", "state", state.uploads)
    yield each("mails", "Mails, by state.", "state", state.mails)
    yield one("days_waiting", "Days that wait to be analysed.", state.days_waiting)
    yield one("disk_free_bytes", "Room left where the data is.", free_bytes)
    if state.oldest_waiting is not None:
        waited_s = max(0.0, (now - state.oldest_waiting).total_seconds())
        yield one("oldest_waiting_upload_seconds", "Age of the oldest unread log.", waited_s)
    if state.last_beat is not None:
        silent_s = (now - state.last_beat).total_seconds()
        yield one("worker_silence_seconds", "Since a worker's last sign of life.", silent_s)
