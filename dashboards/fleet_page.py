"""The fleet's page: who needs somebody, who is worth an eye, who runs as it should."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from markupsafe import Markup

from analysis.results import Finding, Report, Urgency
from dashboards.figures.week_strip import week_strip
from dashboards.format import (
    URGENCY_WORDS,
    ago,
    bound_of,
    bounded,
    plural,
    sentence,
    share,
    span,
)
from dashboards.links import finding_key, finding_path, site_path
from dashboards.losses import not_counted, open_findings, rank, recent_loss, total
from dashboards.private import shareable
from dashboards.texts import Texts, title_of

State = Literal["ready", "working", "empty", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetSite:
    """A site as the service knows it.

    Attributes
    ----------
    report : without what was set aside
    note : what it waits for, or why nothing came of it
    aside : how many findings were set aside
    life : finding key to what people did about it, in words
    invented : whether it is there to try things on; it counts nowhere
    """

    slug: str
    name: str
    report: Report | None
    last_data_s: int | None
    state: State
    note: str | None = None
    aside: int = 0
    life: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetRow:
    """One line of the fleet, in words."""

    name: str
    href: str
    mark: Urgency | Literal["calm", "none"]
    urgency: str
    title: str
    sentence: str
    since: str
    finding_href: str | None
    more: str | None
    lost: str | None
    not_counted: str
    lost_recent: str | None
    delivered: str
    delivered_in: str
    strip: Markup
    last_data: str
    coverage: str
    note: str | None
    life: str | None
    aside: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetPage:
    """The whole page."""

    headline: str
    lost: str | None
    lost_in_part: bool
    asking: tuple[FleetRow, ...]
    watching: tuple[FleetRow, ...]
    calm: tuple[FleetRow, ...]
    working: tuple[FleetRow, ...]
    invented: tuple[FleetRow, ...]
    may_arrange: bool
    webhook_paused: bool

    @property
    def empty(self) -> bool:
        """Whether there is no site but an invented one."""
        return not (self.asking or self.watching or self.calm or self.working)


def fleet_page(
    sites: Iterable[FleetSite],
    *,
    texts: Texts,
    now_s: float,
    may_arrange: bool = True,
    webhook_paused: bool = False,
) -> FleetPage:
    """Rank the sites by urgency, then by heat lost so far.

    Parameters
    ----------
    sites : all sites of a firm
    texts : the catalogue's words
    now_s : the present moment, UTC epoch seconds
    may_arrange : whether the reader may add and remove sites
    webhook_paused : whether a program that is told of findings takes nothing, for who may mend it
    """
    # A list of many homes hangs on an office's wall.
    everything = tuple(
        replace(site, report=None if site.report is None else shareable(site.report))
        for site in sites
    )
    own = [site for site in everything if not site.invented]
    ready = [site for site in own if site.report is not None]
    ranked = sorted(ready, key=_site_rank)
    rows = {site.slug: _row(site, texts, now_s) for site in everything}
    asking = [s for s in ranked if _mark(s) in ("act", "visit")]
    watching = [s for s in ranked if _mark(s) == "watch"]
    calm = [s for s in ranked if _mark(s) not in ("act", "visit", "watch")]
    losses = [f.lost for site in asking if site.report for f in open_findings(site.report)]
    lost = total(losses)
    return FleetPage(
        headline=_headline(len(asking), len(ready)),
        lost=bounded(lost) if lost else None,
        lost_in_part=None in losses,
        asking=tuple(rows[site.slug] for site in asking),
        watching=tuple(rows[site.slug] for site in watching),
        calm=tuple(rows[site.slug] for site in calm),
        working=tuple(rows[site.slug] for site in own if site.report is None),
        invented=tuple(rows[site.slug] for site in everything if site.invented),
        may_arrange=may_arrange,
        webhook_paused=webhook_paused,
    )


def _headline(asking: int, ready: int) -> str:
    if ready == 0:
        return "No roof has been looked at yet"
    if asking == 0:
        return "No roof needs anybody" if ready > 1 else "The roof needs nobody"
    return f"{asking} of {plural(ready, 'roof')} {'needs' if asking == 1 else 'need'} somebody"


def _first(site: FleetSite) -> Finding | None:
    lasting = open_findings(site.report) if site.report else ()
    return lasting[0] if lasting else None


def _mark(site: FleetSite) -> Urgency | Literal["calm", "none"]:
    if site.report is None:
        return "none"
    first = _first(site)
    return first.urgency if first else "calm"


def _site_rank(site: FleetSite) -> tuple[int, float, str]:
    first = _first(site)
    if site.report is None or first is None:
        return 9, 0.0, site.name
    lost = total(f.lost for f in open_findings(site.report) if f.urgency in ("act", "visit"))
    return rank(first)[0], -(lost.value if lost else 0.0), site.name


def _row(site: FleetSite, texts: Texts, now_s: float) -> FleetRow:
    report, first = site.report, _first(site)
    mark = _mark(site)
    also = len(open_findings(report)) - 1 if report else 0
    recent = recent_loss(report, first) if report and first else None
    return FleetRow(
        name=site.name,
        href=site_path(site.slug),
        mark=mark,
        urgency=URGENCY_WORDS[first.urgency] if first else _state_words(site),
        title=title_of(first.kind, texts) if first else "",
        sentence=sentence(first.summary if first else _calm_words(site, texts)),
        since=span(first.start_s, first.end_s, report.timezone) if report and first else "",
        finding_href=finding_path(site.slug, first) if first else None,
        more=f"and {plural(also, 'other finding')}" if also > 0 else None,
        lost=bounded(first.lost) if first and first.lost else None,
        not_counted=not_counted(first) if first else "",
        lost_recent=bounded(recent) if recent and recent.value >= 0.5 else None,
        delivered=bounded(
            bound_of(
                report.totals.delivered_kwh,
                report.totals.delivered_low_kwh,
                report.totals.delivered_high_kwh,
            )
        )
        if report
        else "",
        delivered_in=span(report.start_s, report.end_s, report.timezone) if report else "",
        strip=week_strip(report) if report else Markup(""),
        last_data=f"last data {ago(site.last_data_s, now_s=now_s)}"
        if site.last_data_s
        else "no data yet",
        coverage=share(report.totals.coverage) if report else "",
        note=site.note,
        life=site.life.get(finding_key(first)) if first else None,
        aside=f"{plural(site.aside, 'finding')} set aside" if site.aside else None,
    )


def _state_words(site: FleetSite) -> str:
    if site.report is not None:
        return "Nothing open"
    return {
        "working": "Being read",
        "empty": "Waiting for a log",
        "refused": "Log refused",
        "ready": "Not analysed yet",
    }[site.state]


def _calm_words(site: FleetSite, texts: Texts) -> str:
    report = site.report
    if report is None:
        return site.note or {
            "working": "Its logs are being read and looked at. This page follows by itself.",
            "empty": "Hand in its log, and its heat and faults appear here.",
            "refused": "The last log could not be used.",
            "ready": "It will be looked at in a moment.",
        }[site.state]  # fmt: skip
    unjudged = sum(verdict.outcome == "cannot_judge" for verdict in report.verdicts)
    looked = sum(verdict.outcome != "cannot_judge" for verdict in report.verdicts)
    if looked == 0:
        return "Nothing could be judged from its log."
    said = _lately_over(report, texts)
    if unjudged:
        said += f" {plural(unjudged, 'question')} could not be judged."
    return said


def _lately_over(report: Report, texts: Texts) -> str:
    """Say what ended last of what had asked for somebody."""
    over = [f for f in report.findings if f.end_s is not None and f.urgency in ("act", "visit")]
    if not over:
        return "No fault was found that asks for somebody."
    last = max(over, key=lambda finding: finding.end_s or 0)
    name = title_of(last.kind, texts)
    return f"Over: {name}, {span(last.start_s, last.end_s, report.timezone)}."
