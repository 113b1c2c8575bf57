"""The weekly digest: which roofs need somebody, what is new, what was put right.

Sites are ranked by urgency and by the heat they lost in the week. Pure: what is known comes in as
reports and as the times when findings were first seen.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.results import Bounded, Finding, Report, Verdict
from dashboards.format import URGENCY_RANK, bounded, number, plural
from dashboards.links import finding_key, site_path
from dashboards.losses import loss_within, total
from dashboards.mails import (
    FindingLines,
    Mail,
    Status,
    finding_lines,
    render_mail,
)
from dashboards.private import PRIVATE_KINDS
from dashboards.texts import Texts, title_of
from dashboards.weeks import Week

# A busy reader takes in this much; the pages have the rest.
_PER_SITE = 3
_MOST_SITES = 25
_MOST_SHORT = 15
_MOST_REASONS = 3
# A digest goes out at six on Monday: what is seen until then is still of this week.
_MORNING_S = 6 * 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class DigestSite:
    """A site as the service knows it.

    Attributes
    ----------
    report : its latest report, None where there is none
    why_not : why there is none, or why it could not be renewed, in plain words
    first_seen : finding key to when it was first seen, UTC epoch seconds
    """

    slug: str
    name: str
    report: Report | None
    why_not: str | None = None
    first_seen: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """The week's heat as a bar: the share of the expected that came, and both in words."""

    share_percent: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteBlock:
    """One site that needs somebody."""

    name: str
    href: str
    lost_week: str | None
    balance: Balance | None
    findings: tuple[FindingLines, ...]
    more: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortLine:
    """One site, one line."""

    name: str
    href: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DigestMail:
    """The whole digest."""

    subject: str
    week: str
    headline: str
    lost: str | None
    tally: str
    asking: tuple[SiteBlock, ...]
    asking_more: str | None
    watching: tuple[ShortLine, ...]
    put_right: tuple[ShortLine, ...]
    unjudged: tuple[ShortLine, ...]
    unjudged_more: str | None
    calm: tuple[str, ...]
    fleet_href: str
    settings_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """One finding in the week."""

    finding: Finding
    status: Status
    lost_week: Bounded | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """What the week showed at one site."""

    site: DigestSite
    report: Report
    open: tuple[_Seen, ...]
    right: tuple[_Seen, ...]

    @property
    def asking(self) -> tuple[_Seen, ...]:
        """What asks for somebody's time."""
        return tuple(seen for seen in self.open if seen.finding.urgency in ("act", "visit"))

    @property
    def watching(self) -> tuple[_Seen, ...]:
        """What is worth an eye."""
        return tuple(seen for seen in self.open if seen.finding.urgency == "watch")


def digest_mail(
    sites: Sequence[DigestSite], *, week: Week, timezone: str, base_url: str, texts: Texts
) -> Mail:
    """Write the digest of a week.

    Parameters
    ----------
    sites : all sites of the firm
    week : the week it is about
    timezone : the reader's zone, in which the week begins and ends
    base_url : address of the service, without a slash at its end
    texts : the catalogue's words
    """
    return render_mail(
        "digest",
        digest_page(sites, week=week, timezone=timezone, base_url=base_url, texts=texts),
    )


def digest_page(
    sites: Sequence[DigestSite], *, week: Week, timezone: str, base_url: str, texts: Texts
) -> DigestMail:
    """Build what the templates show."""
    looks = [
        _look(site, site.report, week=week, timezone=timezone)
        for site in sites
        if site.report is not None
    ]
    asking = sorted((look for look in looks if look.asking), key=_look_rank)
    watching = sorted((x for x in looks if x.watching and not x.asking), key=_look_rank)
    words = _Words(base_url=base_url, texts=texts)
    seen = [one for look in asking for one in look.asking]
    unjudged = words.unjudged(sites)
    calm = [x.site.name for x in looks if not x.open and _judged_at_all(x.report)]
    right = [(look, one) for look in looks for one in look.right]
    lost = total(one.lost_week for one in seen)
    headline = _headline(len(asking), len(sites))
    return DigestMail(
        subject=f"{headline}, {week.words}",
        week=week.words,
        headline=headline,
        lost=_lost_words(lost, [one.lost_week for one in seen]),
        tally=_tally(seen, len(right)),
        asking=tuple(words.block(look, week) for look in asking[:_MOST_SITES]),
        asking_more=_more(len(asking) - _MOST_SITES, "further site"),
        watching=tuple(words.short(look, look.watching) for look in watching[:_MOST_SHORT]),
        put_right=tuple(words.short(look, (one,)) for look, one in right[:_MOST_SHORT]),
        unjudged=tuple(unjudged[:_MOST_SHORT]),
        unjudged_more=_more(len(unjudged) - _MOST_SHORT, "further site"),
        calm=tuple(sorted(calm)),
        fleet_href=f"{base_url}/",
        settings_href=f"{base_url}/settings",
    )


def _look(site: DigestSite, report: Report, *, week: Week, timezone: str) -> _Look:
    start_s, end_s = week.span_s(timezone)
    open_: list[_Seen] = []
    right: list[_Seen] = []
    for finding in report.findings:
        if finding.kind in PRIVATE_KINDS or finding.urgency == "record":
            continue
        status = _status(finding, site.first_seen, start_s=start_s, end_s=end_s)
        if status is None:
            continue
        lost = loss_within(report, finding, first=week.monday, last=week.sunday)
        seen = _Seen(finding=finding, status=status, lost_week=lost)
        (right if status == "right" else open_).append(seen)
    return _Look(
        site=site,
        report=report,
        open=tuple(sorted(open_, key=_rank)),
        right=tuple(sorted(right, key=_rank)),
    )


def _status(
    finding: Finding, first_seen: Mapping[str, float], *, start_s: int, end_s: int
) -> Status | None:
    """Say what a finding was in a week, None where it was nothing.

    New is what was first seen between the Monday morning of the digest before and that of this
    one. Of weeks before a site was watched at all, its own start decides.
    """
    if finding.start_s >= end_s:
        return None
    if finding.end_s is not None and finding.end_s < end_s:
        return "right" if finding.end_s >= start_s else None
    seen_s = first_seen.get(finding_key(finding), finding.start_s)
    if seen_s >= end_s + _MORNING_S:
        return "new" if finding.start_s >= start_s else "open"
    return "new" if seen_s >= start_s + _MORNING_S or finding.start_s >= start_s else "open"


def _rank(seen: _Seen) -> tuple[int, float, float]:
    """Sort by urgency, then by heat lost in the week, then by heat lost at all."""
    lost = seen.finding.lost
    return (
        URGENCY_RANK[seen.finding.urgency],
        -(seen.lost_week.value if seen.lost_week else 0.0),
        -(lost.value if lost else 0.0),
    )


def _look_rank(look: _Look) -> tuple[int, float, float, str]:
    first = _rank(look.open[0])
    week = total(seen.lost_week for seen in look.open)
    return first[0], -(week.value if week else 0.0), first[2], look.site.name


def _headline(asking: int, sites: int) -> str:
    if sites == 0:
        return "No site is registered yet"
    if asking == 0:
        return "No roof needs anybody"
    return f"{asking} of {plural(sites, 'roof')} {'needs' if asking == 1 else 'need'} somebody"


def _tally(seen: Sequence[_Seen], right: int) -> str:
    new = sum(one.status == "new" for one in seen)
    return f"{new} new, {len(seen) - new} still open, {right} put right"


def _lost_words(lost: Bounded | None, parts: Sequence[Bounded | None]) -> str | None:
    if lost is None or lost.value < 0.5:
        return None
    rest = ", not counting what cannot be told" if None in parts else ""
    return bounded(lost) + rest


def _more(count: int, what: str) -> str | None:
    return f"and {plural(count, what)}" if count > 0 else None


def _judged_at_all(report: Report) -> bool:
    return any(verdict.outcome != "cannot_judge" for verdict in report.verdicts)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """Turns what was seen into lines."""

    base_url: str
    texts: Texts

    def block(self, look: _Look, week: Week) -> SiteBlock:
        """Write the block of a site that needs somebody."""
        lost = total(seen.lost_week for seen in look.asking)
        return SiteBlock(
            name=look.site.name,
            href=self.base_url + site_path(look.site.slug),
            lost_week=bounded(lost) if lost and lost.value >= 0.5 else None,
            balance=_balance(look.report, week),
            findings=tuple(self.lines(look, seen) for seen in look.asking[:_PER_SITE]),
            more=_more(len(look.open) - len(look.asking[:_PER_SITE]), "other finding"),
        )

    def lines(self, look: _Look, seen: _Seen) -> FindingLines:
        """Write one finding."""
        week = seen.lost_week
        return finding_lines(
            seen.finding,
            report=look.report,
            slug=look.site.slug,
            base_url=self.base_url,
            texts=self.texts,
            status=seen.status,
            lost_week=bounded(week) if week and week.value >= 0.5 else None,
        )

    def short(self, look: _Look, seen: Sequence[_Seen]) -> ShortLine:
        """Write one line of a site."""
        lines = [self.lines(look, one) for one in seen[:_PER_SITE]]
        words = "; ".join(f"{line.title}, {line.when[:1].lower()}{line.when[1:]}" for line in lines)
        return ShortLine(name=look.site.name, href=lines[0].href, words=f"{words}.")

    def unjudged(self, sites: Sequence[DigestSite]) -> list[ShortLine]:
        """Write which sites could not be judged and why, those without any judgement first."""
        lines = []
        for site in sites:
            open_questions = [
                verdict
                for verdict in (site.report.verdicts if site.report else ())
                if verdict.outcome == "cannot_judge" and verdict.kind not in PRIVATE_KINDS
            ]
            if site.report is not None and not open_questions and site.why_not is None:
                continue
            words = site.why_not or self._reasons(open_questions)
            line = ShortLine(
                name=site.name,
                href=self.base_url + site_path(site.slug),
                words=f"{(words or 'no log has been handed in yet').rstrip('.')}.",
            )
            judged = site.report is not None and _judged_at_all(site.report)
            lines.append((judged, -len(open_questions), site.name, line))
        return [line for *_, line in sorted(lines, key=lambda item: item[:3])]

    def _reasons(self, verdicts: Sequence[Verdict]) -> str:
        """Put the kinds of one reason together: `no flow was logged (low flow, airlock)`."""
        kinds: dict[str, list[str]] = {}
        for verdict in verdicts:
            why = verdict.why.strip().rstrip(".") or "the log does not tell"
            kinds.setdefault(why, []).append(title_of(verdict.kind, self.texts).lower())
        ranked = sorted(kinds.items(), key=lambda item: -len(item[1]))
        parts = [f"{why} ({', '.join(names)})" for why, names in ranked[:_MOST_REASONS]]
        more = _more(len(ranked) - _MOST_REASONS, "further reason")
        return "; ".join([*parts, *([more] if more else [])])


def _balance(report: Report, week: Week) -> Balance | None:
    """Set the week's delivered heat against what was expected of the same hours."""
    inside = [
        day
        for day in report.days
        if week.monday.isoformat() <= day.date <= week.sunday.isoformat()
        and day.delivered_kwh is not None
        and day.expected_kwh is not None
    ]
    delivered = sum(day.delivered_kwh or 0.0 for day in inside)
    expected = sum(day.expected_kwh or 0.0 for day in inside)
    if expected < 0.5:
        return None
    share = round(100.0 * delivered / expected)
    decimals = 0 if expected >= 10 else 1
    return Balance(
        share_percent=min(100, max(0, share)),
        words=f"{number(delivered, decimals=decimals)} kWh came, "
        f"{number(expected, decimals=decimals)} kWh were expected ({number(share)} %)",
    )
