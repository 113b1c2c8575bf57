"""A finding's page: what it is, what it cost, what to do, and the cautions before anything else."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from markupsafe import Markup

from analysis.results import Finding, Report
from dashboards.figures.year_strip import year_strip
from dashboards.format import (
    OVER,
    URGENCY_WORDS,
    duration,
    local_date,
    moment,
    money_bounded,
    quantity,
    sentence,
    share,
    span,
)
from dashboards.links import finding_key, finding_path
from dashboards.losses import lost_words, worth
from dashboards.site_facts import Fact
from dashboards.texts import Texts, title_of, titles

# Where the catalogue should ever be silent, the page still is not.
_ALWAYS = (
    "Work on roofs, pressurised loops and mains electricity belongs to people trained and "
    "licensed for it where local codes say so. In sunshine a collector can hold steam: cover it "
    "and let it cool first.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingView:
    """A finding in words and pictures."""

    key: str
    title: str
    mark: str
    urgency: str
    when: str
    open: bool
    lasted: str
    certainty: str
    lost: str
    worth: str | None
    summary: str
    customer: str
    technician: str
    evidence: tuple[Fact, ...]
    likely_causes: tuple[str, ...]
    check_next: tuple[str, ...]
    cautions: tuple[str, ...]
    explains: tuple[Fact, ...]
    explained_by: str | None
    strip: Markup
    expected_known: bool


def finding_view(finding: Finding, report: Report, *, slug: str, texts: Texts) -> FindingView:
    """Put a finding into words.

    Parameters
    ----------
    finding : one of the report's findings, explained ones too
    report : the whole analysis, for what else it explains
    slug : the site's name in addresses
    texts : the catalogue's words
    """
    text = texts.get(finding.kind)
    still = finding.end_s is None
    cost = worth(report, finding.lost)
    currency = report.savings.currency if report.savings else None
    return FindingView(
        key=finding_key(finding),
        title=title_of(finding.kind, texts),
        mark=finding.urgency if still else "calm",
        urgency=URGENCY_WORDS[finding.urgency] if still else OVER,
        when=span(finding.start_s, finding.end_s, report.timezone),
        open=still,
        lasted=duration(_until_s(finding, report) - finding.start_s),
        certainty=share(finding.certainty),
        lost=lost_words(finding),
        worth=money_bounded(cost, currency) if cost else None,
        summary=sentence(finding.summary),
        customer=text.customer if text else "",
        technician=text.technician if text else "",
        evidence=_evidence(finding, report.timezone),
        likely_causes=finding.likely_causes,
        check_next=tuple(sentence(item) for item in finding.check_next),
        cautions=tuple(sentence(item) for item in finding.cautions or _ALWAYS),
        explains=_explains(finding, report, slug, texts),
        explained_by=title_of(finding.suppressed_by, texts) if finding.suppressed_by else None,
        strip=_strip(finding, report, texts),
        expected_known=any(item.expected_kwh is not None for item in report.days),
    )


def _until_s(finding: Finding, report: Report) -> int:
    """Give the end, or how far it is known to last: a silence outlasts the report's data."""
    if finding.end_s is not None:
        return finding.end_s
    return max((report.end_s, *(item.end_s for item in finding.evidence)))


def _evidence(finding: Finding, timezone: str) -> tuple[Fact, ...]:
    return tuple(
        Fact(
            # Evidence names channels by their keys.
            label=(item.what[:1].upper() + item.what[1:]).replace("_", " "),
            value=quantity(item.value, item.unit),
            note=_when(item.start_s, item.end_s, timezone),
        )
        for item in finding.evidence
    )


def _when(start_s: int, end_s: int, timezone: str) -> str:
    if end_s - start_s >= 20 * 3600:
        return span(start_s, end_s, timezone)
    start, end = moment(start_s, timezone), moment(end_s, timezone)
    return start if start == end else f"{start} to {end.rsplit(', ', 1)[1]}"


def explained_by(finding: Finding, report: Report) -> tuple[Finding, ...]:
    """Give the findings that another one accounts for."""
    return tuple(
        other
        for other in report.explained
        if other.suppressed_by == finding.kind and _overlap(finding, other)
    )


def explains_words(finding: Finding, report: Report, texts: Texts) -> str:
    """Name what a finding accounts for besides: `too little flow, pump running at night`."""
    names = {title_of(other.kind, texts) for other in explained_by(finding, report)}
    return ", ".join(sorted(name[:1].lower() + name[1:] for name in names))


def _explains(finding: Finding, report: Report, slug: str, texts: Texts) -> tuple[Fact, ...]:
    return tuple(
        Fact(
            label=title_of(other.kind, texts),
            value=sentence(other.summary),
            note=finding_path(slug, other) if slug else "",
        )
        for other in explained_by(finding, report)
    )


def _overlap(one: Finding, other: Finding) -> bool:
    return (one.end_s is None or other.start_s < one.end_s) and (
        other.end_s is None or one.start_s < other.end_s
    )


def _strip(finding: Finding, report: Report, texts: Texts) -> Markup:
    """Draw the year around the finding, with this one bracket."""
    if not report.days:
        return Markup("")
    last = date.fromisoformat(report.days[-1].date)
    begin = local_date(finding.start_s, report.timezone)
    late = last - begin < timedelta(days=330)
    end = None if late else min(begin + timedelta(days=120), last)
    only = replace(report, findings=(finding,))
    return year_strip(only, titles=titles(texts), end=end)
