"""The report as one HTML page that needs nothing else: style, letters, script and charts inside."""

import base64
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from markupsafe import Markup

from analysis.record import Record
from analysis.results import Finding, Report
from analysis.site import Site
from dashboards.figures.checked_hours import check_json
from dashboards.figures.course import course
from dashboards.figures.decisive import decisive_hours
from dashboards.figures.evidence import evidence
from dashboards.figures.heat_by_period import heat_by_period
from dashboards.finding_page import FindingView, finding_view
from dashboards.format import moment
from dashboards.losses import rank
from dashboards.periods import SIZES
from dashboards.private import shareable
from dashboards.render import STATIC, render, static_text
from dashboards.site_page import MARK_WORDS, site_view
from dashboards.texts import Texts, titles

_MOST_PICTURES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chapter:
    """A finding with its picture, where there are rows; `again` says its kind came before."""

    view: FindingView
    figure: str | None
    hours: str
    course: str | None
    course_says: str
    again: bool


def render_report(
    report: Report,
    site: Site,
    *,
    texts: Texts | None = None,
    record: Record | None = None,
    inline: bool = True,
    rolled: str | None = None,
) -> str:
    """Write the report as HTML.

    Parameters
    ----------
    report, site : the analysis and the facts it rests on
    texts : the catalogue's words; without them kinds go by their plain names
    record : the rows, for the pictures of findings; without them there are none
    inline : whether style, letters, script and chart program stand in the page itself; else the
        service's own static files are used
    rolled : from when on the rows behind it are not there as they came any more
    """
    # Made to be handed on.
    report = shareable(report)
    words: Texts = texts or {}
    view = site_view(report, site=site, slug="", texts=words, links=False)
    names = titles(words)
    heat = ",".join(f'"{s}":{heat_by_period(report, s, titles=names).to_json()}' for s in SIZES)
    ordered = sorted(report.findings, key=lambda finding: (rank(finding), finding.start_s))
    kinds = [finding.kind for finding in ordered]
    return render(
        "report.html",
        view=view,
        rolled=rolled,
        mark_words=MARK_WORDS,
        sizes=SIZES,
        heat="{" + heat + "}",
        check=check_json(report),
        chapters=[
            _chapter(
                finding,
                report,
                site,
                words,
                record if place < _MOST_PICTURES else None,
                again=finding.kind in kinds[:place],
            )
            for place, finding in enumerate(ordered)
        ],
        inline=inline,
        style=_style() if inline else "",
        charts=_charts() if inline else "",
        script=_script() if inline else "",
    )


def _chapter(
    finding: Finding,
    report: Report,
    site: Site,
    texts: Texts,
    record: Record | None,
    *,
    again: bool,
) -> _Chapter:
    zone = report.timezone
    start_s, end_s = decisive_hours(finding, report.days, timezone=zone, end_s=report.end_s)
    part = _rows_of(record, start_s, end_s)
    weeks = course(finding, report, titles=titles(texts))
    return _Chapter(
        view=finding_view(finding, report, slug="", texts=texts),
        figure=evidence(finding, part, site=site, hours=(start_s, end_s)).to_json()
        if part is not None
        else None,
        hours=f"{moment(start_s, zone)} to {moment(end_s, zone)}",
        course=weeks.figure.to_json() if weeks else None,
        course_says=weeks.says if weeks else "",
        again=again,
    )


def _rows_of(record: Record | None, start_s: int, end_s: int) -> Record | None:
    if record is None:
        return None
    first, last = np.searchsorted(record.start_s, [start_s, end_s])
    return record.part(int(first), int(last)) if last > first else None


@lru_cache(maxsize=1)
def _style() -> Markup:
    """Give the style sheet with its letters inside."""
    text = static_text("suntally.css")
    for name in ("text-latin.woff2", "text-latin-ext.woff2"):
        data = base64.b64encode((STATIC / name).read_bytes()).decode()
        text = text.replace(f'url("{name}")', f'url("data:font/woff2;base64,{data}")')
    return Markup(text)  # noqa: S704 - our own file


@lru_cache(maxsize=1)
def _charts() -> Markup:
    """Give the chart program as the installed package holds it."""
    program = (files("plotly") / "package_data" / "plotly.min.js").read_text(encoding="utf-8")
    return Markup(program.replace("</script", "<\\/script"))  # noqa: S704 - the package's own file


@lru_cache(maxsize=1)
def _script() -> Markup:
    return Markup(static_text("suntally.js"))  # noqa: S704 - our own file
