"""Pages that only look: fleet, site, one day, printable report, the chart program."""

import gzip
import json
from datetime import date, timedelta
from functools import lru_cache
from importlib import resources
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from analysis.record import Record
from analysis.results import DayFigure, Report
from dashboards.figures.checked_hours import check_json
from dashboards.figures.day_curves import day_curves
from dashboards.figures.heat_by_period import heat_by_period
from dashboards.fleet_page import fleet_page
from dashboards.format import bound_of, bounded, day
from dashboards.periods import SIZES, Size
from dashboards.report_page import render_report
from dashboards.site_page import MARK_WORDS, site_view
from dashboards.texts import titles
from service.context import Here
from service.errors import NotFoundError
from service.pages import loading, uploads, visits
from service.pages.answers import page, texts
from service.retention.queries import rolled_of
from service.retention.words import rolled_words
from service.webhooks import queries as webhook_queries

router = APIRouter(include_in_schema=False)

_YEAR_S = 31_536_000
_NO_FIGURE = '{"data":[],"layout":{"height":160}}'


@router.get("/")
def fleet(here: Here) -> Response:
    """Show all sites, those that lose most and most urgently first."""
    with here.database.reading() as db:
        caller = here.person(db, may="see")
        sites = loading.fleet_sites(db, firm_id=caller.firm_id, today=here.now().date())
        paused = caller.may("govern") and webhook_queries.any_paused(db, firm_id=caller.firm_id)
    built = fleet_page(
        sites,
        texts=texts(),
        now_s=here.now().timestamp(),
        may_arrange=caller.may("arrange"),
        webhook_paused=paused,
    )
    return page("fleet.html", page=built)


@router.get("/sites/{slug}")
def site(
    here: Here,
    slug: str,
    day: Annotated[str | None, Query()] = None,
    until: Annotated[date | None, Query()] = None,
    message: Annotated[str | None, Query()] = None,
) -> Response:
    """Show one site; `until` is the last day of the year that the strip shows."""
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        report = loaded.report
        when = _day_to_show(report, day)
        files = uploads.uploads_of(db, loaded.row)
        keys = loading.keys_in_use(db, loaded.row)
        made = visits.visits_of(db, loaded.row)
        rolled = rolled_of(db, loaded.row.id)
    words = texts()
    context: dict[str, Any] = {
        "site": loaded.head,
        "uploads": files,
        "visits": made,
        "keys": keys,
        "rolled": rolled_words(rolled),
        "message": _MESSAGES.get(message or ""),
        "view": None,
        "mark_words": MARK_WORDS,
        "sizes": SIZES,
        "day": None,
    }
    if report is not None:
        until = _within(report, until) if until and report.days else None
        context["view"] = site_view(
            report, site=loaded.facts, slug=slug, texts=words, links=True, until=until
        )
        context["day"] = _day(report, when) if when else None
    return page("site.html", **context)


_MESSAGES = {
    "added": "The installation is added. Now hand in its log.",
    "kept": "The new facts are kept. Every day is being looked at again.",
    "same": "Nothing changed: these were the facts already.",
    "sent": "The files are safely kept and being read.",
    "accepted": "The map is saved with the site, and the files that waited are being read with it.",
    "undone": "Its rows are taken out, and what it had replaced counts again.",
    "discarded": "The file is forgotten; nothing of it was stored.",
    "none": "No file was chosen.",
    "restored": "It is back, with all its logs.",
}


def _within(report: Report, when: date) -> date:
    """Give the day of the report that is nearest to a day."""
    first, last = (date.fromisoformat(report.days[place].date) for place in (0, -1))
    return min(max(when, first), last)


def _day_to_show(report: Report | None, asked: str | None) -> date | None:
    """Give the day that was asked for, else the one with the most sun of the last thirty."""
    if report is None or not report.days:
        return None
    if asked:
        try:
            when = date.fromisoformat(asked)
        except ValueError:
            raise NotFoundError(f"“{asked}” is not a day; write it like 2025-06-01.") from None
        return _within(report, when)
    late = [item for item in report.days[-30:] if item.coverage > 0.5] or [report.days[-1]]
    best = max(late, key=lambda item: item.irradiation_kwh_m2 or item.delivered_kwh or 0.0)
    return date.fromisoformat(best.date)


def _day(report: Report, when: date) -> dict[str, str]:
    return {
        "date": when.isoformat(),
        "before": (when - timedelta(days=1)).isoformat(),
        "after": (when + timedelta(days=1)).isoformat(),
        "first": report.days[0].date,
        "last": report.days[-1].date,
        "says": _day_says(report, when),
    }


def _day_figure(report: Report, record: Record | None) -> str:
    if record is None:
        return _NO_FIGURE
    return day_curves(record, timezone=report.timezone).to_json()


def _day_says(report: Report, when: date) -> str:
    name = day(when, weekday=True)
    figure: DayFigure | None = next(
        (item for item in report.days if item.date == when.isoformat()), None
    )
    if figure is None or figure.delivered_kwh is None:
        return f"{name}: not measured."
    delivered = bound_of(figure.delivered_kwh, figure.delivered_low_kwh, figure.delivered_high_kwh)
    expected = bound_of(figure.expected_kwh, figure.expected_low_kwh, figure.expected_high_kwh)
    said = f"{name}: delivered {bounded(delivered)}"
    return f"{said}; expected {bounded(expected)}." if expected else f"{said}."


@router.get("/sites/{slug}/day/{when}")
def one_day(here: Here, slug: str, when: str) -> Response:
    """Give the figure of one day, for the page's script."""
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        report = loaded.report
        asked = _day_to_show(report, when)
        record = loading.record_of_day(db, loaded.row, asked) if asked else None
    if report is None or asked is None:
        raise NotFoundError("There is no report of this site yet.")
    body = (
        f'{{"says":{json.dumps(_day_says(report, asked))},"figure":{_day_figure(report, record)}}}'
    )
    return Response(body, media_type="application/json", headers={"Cache-Control": "no-store"})


@router.get("/sites/{slug}/heat/{size}")
def heat(here: Here, slug: str, size: Size) -> Response:
    """Give the figure of heat by day, week, month or year, for the page's script."""
    with here.database.reading() as db:
        report = loading.load(db, here, slug).report
    if report is None:
        raise NotFoundError("There is no report of this site yet.")
    body = heat_by_period(report, size, titles=titles(texts())).to_json()
    return Response(body, media_type="application/json", headers={"Cache-Control": "no-store"})


@router.get("/sites/{slug}/check")
def field_check(here: Here, slug: str) -> Response:
    """Give the figure of the field check, for the page's script."""
    with here.database.reading() as db:
        report = loading.load(db, here, slug).report
    body = (check_json(report) if report is not None else "") or _NO_FIGURE
    return Response(body, media_type="application/json", headers={"Cache-Control": "no-store"})


@router.get("/sites/{slug}/report.html")
def printable(here: Here, slug: str) -> Response:
    """Give the self-contained report."""
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        rolled = rolled_words(rolled_of(db, loaded.row.id))
    if loaded.report is None:
        raise NotFoundError("There is no report of this site yet.")
    return HTMLResponse(
        render_report(loaded.report, loaded.facts, texts=texts(), inline=False, rolled=rolled),
        headers={"Cache-Control": "no-store"},
    )


@router.get("/static/plotly.min.js")
def chart_program(request: Request) -> Response:
    """Give the chart program out of the installed package; no other host is asked."""
    plain, packed = _chart_program()
    headers = {"Cache-Control": f"public, max-age={_YEAR_S // 12}", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        headers["Content-Encoding"] = "gzip"
        return Response(packed, media_type="text/javascript", headers=headers)
    return Response(plain, media_type="text/javascript", headers=headers)


@lru_cache(maxsize=1)
def _chart_program() -> tuple[bytes, bytes]:
    plain = (resources.files("plotly") / "package_data" / "plotly.min.js").read_bytes()
    return plain, gzip.compress(plain, 6)
