"""The weekly digest: what changed for this reader, then what still stands, ranked.

Sites are ranked by urgency and by the heat they lost in the week. Pure: what is known comes in as
reports, as the times when findings were first seen, and as what the reader was told before.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.results import Bounded, Finding, Report, Verdict
from dashboards.digest_changes import Told, status_of
from dashboards.digest_picture import course_png, heat_by_weeks
from dashboards.digest_shapes import Balance, DigestMail, DigestSite, Picture, ShortLine, SiteBlock
from dashboards.format import URGENCY_RANK, URGENCY_WORDS, bounded, number, plural
from dashboards.links import finding_key, site_path
from dashboards.losses import loss_within, total
from dashboards.mails import (
    STATUS_WORDS,
    FindingLines,
    Mail,
    MailPart,
    Status,
    finding_lines,
    render_mail,
)
from dashboards.private import PRIVATE_KINDS
from dashboards.texts import Texts, title_of
from dashboards.weeks import Days

# A busy reader takes in this much; the pages have the rest.
_PER_SITE = 3
_MOST_CHANGED = 25
_MOST_STANDING = 25
_MOST_SHORT = 15
_MOST_REASONS = 3
_MOST_NAMED = 4
# A digest goes out at six on Monday: what is seen until then is still of this week.
_MORNING_S = 6 * 3600
_PICTURE = "heat-by-weeks"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """One finding in the week; `waits`: people put it right and the next logs have the word."""

    finding: Finding
    status: Status
    lost_week: Bounded | None
    waits: bool

    @property
    def asks(self) -> bool:
        """Whether it asks for somebody's time."""
        return self.finding.urgency in ("act", "visit") and not self.waits

    @property
    def is_news(self) -> bool:
        """Whether it is not as it was."""
        return self.status != "open"


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
        return tuple(seen for seen in self.open if seen.asks)

    @property
    def news(self) -> tuple[_Seen, ...]:
        """What asks for somebody's time and is not as it was; all of it in a first digest."""
        first = self.site.before is None
        return tuple(seen for seen in self.asking if first or seen.is_news)

    @property
    def standing(self) -> tuple[_Seen, ...]:
        """What asks for somebody's time, as before."""
        return tuple(seen for seen in self.asking if seen not in self.news)

    @property
    def watching(self) -> tuple[_Seen, ...]:
        """What is worth an eye."""
        return tuple(seen for seen in self.open if seen.finding.urgency == "watch" or seen.waits)

    @property
    def gone(self) -> tuple[Told, ...]:
        """What stood in the last digest and is not found any more."""
        return self.site.before.gone if self.site.before else ()


def digest_mail(page: DigestMail) -> Mail:
    """Write the digest: its texts, and the picture that goes with them."""
    parts: tuple[MailPart, ...] = ()
    if page.picture is not None:
        png = course_png(page.picture.weeks)
        parts = (
            MailPart(name=f"{_PICTURE}.png", media_type="image/png", content=png, cid=_PICTURE),
        )
    return render_mail("digest", page, parts=parts, stop_url=page.stop_href)


def digest_page(
    sites: Sequence[DigestSite],
    *,
    days: Days,
    timezone: str,
    base_url: str,
    texts: Texts,
    stop_url: str | None = None,
) -> DigestMail:
    """Build what the templates show.

    Parameters
    ----------
    sites : the sites that the reader hears of
    days : the days it is about
    timezone : the reader's zone, in which they begin and end
    base_url : address of the service, without a slash at its end
    texts : the catalogue's words
    stop_url : where the reader stops this mail
    """
    looks = [
        _look(site, site.report, days=days, timezone=timezone)
        for site in sites
        if site.report is not None
    ]
    asking = sorted((look for look in looks if look.asking), key=_look_rank)
    watching = sorted((x for x in looks if x.watching), key=_look_rank)
    changed = [look for look in asking if look.news]
    standing = [look for look in asking if look.standing]
    words = _Words(base_url=base_url, texts=texts)
    asks = [one for look in asking for one in look.asking]
    right = [words.right(look) for look in looks if look.right or look.gone]
    unjudged = words.unjudged(sites)
    lost = total(one.lost_week for one in asks)
    headline = _headline(len(asking), len(sites))
    news = _News.of(looks)
    return DigestMail(
        subject=f"{headline} ({news.words}), {days.words}",
        days=days.words,
        headline=headline,
        since="Since your last digest" if any(x.before for x in sites) else "In these seven days",
        tally=news.words,
        quiet=news.nothing,
        lost=_lost_words(lost, [one.lost_week for one in asks]),
        changed=tuple(words.block(look, days) for look in changed[:_MOST_CHANGED]),
        changed_more=_more(len(changed) - _MOST_CHANGED, "further site"),
        put_right=tuple(right[:_MOST_SHORT]),
        picture=_picture([look.report for look in looks], days),
        standing=tuple(words.standing(look) for look in standing[:_MOST_STANDING]),
        standing_more=_more(len(standing) - _MOST_STANDING, "further site"),
        watching=tuple(words.short(look, look.watching) for look in watching[:_MOST_SHORT]),
        unjudged=tuple(unjudged[:_MOST_SHORT]),
        unjudged_more=_more(len(unjudged) - _MOST_SHORT, "further site"),
        calm=tuple(sorted(x.site.name for x in looks if not x.open and _judged_at_all(x.report))),
        fleet_href=f"{base_url}/",
        settings_href=f"{base_url}/settings",
        stop_href=stop_url,
    )


def _look(site: DigestSite, report: Report, *, days: Days, timezone: str) -> _Look:
    start_s, end_s = days.span_s(timezone)
    open_: list[_Seen] = []
    right: list[_Seen] = []
    for finding in report.findings:
        if finding.kind in PRIVATE_KINDS or finding.urgency == "record":
            continue
        status = _status(finding, site, start_s=start_s, end_s=end_s)
        if status is None:
            continue
        lost = loss_within(report, finding, first=days.first, last=days.last)
        waits = site.states.get(finding_key(finding)) == "put_right"
        seen = _Seen(finding=finding, status=status, lost_week=lost, waits=waits)
        (right if status == "right" else open_).append(seen)
    return _Look(
        site=site,
        report=report,
        open=tuple(sorted(open_, key=_rank)),
        right=tuple(sorted(right, key=_rank)),
    )


def _status(finding: Finding, site: DigestSite, *, start_s: int, end_s: int) -> Status | None:
    """Say what a finding is to the reader: by what they were told, or in a first digest by days."""
    key = finding_key(finding)
    if site.before is None:
        return _status_by_days(finding, site.first_seen.get(key), start_s=start_s, end_s=end_s)
    return status_of(
        finding, site.states.get(key, "new"), site.before.told.get(key), since_s=start_s
    )


def _status_by_days(
    finding: Finding, first_seen_s: float | None, *, start_s: int, end_s: int
) -> Status | None:
    """Say what a finding was in a week, None where it was nothing.

    New is what was first seen between the Monday morning of the digest before and that of this
    one. Of weeks before a site was watched at all, its own start decides.
    """
    if finding.start_s >= end_s:
        return None
    if finding.end_s is not None and finding.end_s < end_s:
        return "right" if finding.end_s >= start_s else None
    seen_s = finding.start_s if first_seen_s is None else first_seen_s
    if seen_s >= end_s + _MORNING_S:
        return "new" if finding.start_s >= start_s else "open"
    return "new" if seen_s >= start_s + _MORNING_S or finding.start_s >= start_s else "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class _News:
    """How much changed, in words."""

    words: str
    nothing: bool

    @classmethod
    def of(cls, looks: Sequence[_Look]) -> "_News":
        every = [one.status for look in looks for one in (*look.open, *look.right)]
        gone = sum(len(look.gone) for look in looks)
        counts = (
            ("new", every.count("new")),
            ("more urgent", every.count("worse")),
            ("came back", every.count("back")),
            ("put right", every.count("right")),
            ("not found any more", gone),
        )
        told = [f"{count} {what}" for what, count in counts if count]
        first = all(look.site.before is None for look in looks)
        still = every.count("open") if first else 0
        words = [*told, *([f"{still} still open"] if still else [])]
        return cls(words=", ".join(words) or "nothing changed", nothing=not told and not first)


def _picture(reports: Sequence[Report], days: Days) -> Picture | None:
    weeks = heat_by_weeks(reports, last=days.last)
    if len(weeks) < 2:
        return None
    told = "; ".join(f"{one.words}: {one.heat}" for one in weeks)
    return Picture(cid=_PICTURE, alt=f"Heat that came, week by week. {told}.", weeks=weeks)


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

    def block(self, look: _Look, days: Days) -> SiteBlock:
        """Write the block of a site at which something changed."""
        shown = look.news[:_PER_SITE]
        return SiteBlock(
            name=look.site.name,
            href=self.base_url + site_path(look.site.slug),
            balance=_balance(look.report, days),
            findings=tuple(self.lines(look, seen) for seen in shown),
            more=_more(len(look.news) - len(shown), "other finding"),
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
        """Write one line of a site, what changed with the word for it."""
        return self._line(
            look,
            [self._named(look, one) + _aside(one) for one in seen[:_PER_SITE]],
            more=len(seen) - _PER_SITE,
        )

    def standing(self, look: _Look) -> ShortLine:
        """Write one line of a site at which something still stands."""
        shown = look.standing[:_PER_SITE]
        lost = total(one.lost_week for one in shown)
        cost = f"; {bounded(lost)} lost in the week" if lost and lost.value >= 0.5 else ""
        words = [f"{URGENCY_WORDS[one.finding.urgency]}: {self._named(look, one)}" for one in shown]
        words[-1] += cost
        return self._line(look, words, more=len(look.standing) - len(shown))

    def right(self, look: _Look) -> ShortLine:
        """Write one line of what is over at a site, and who says so."""
        words = []
        for one in look.right:
            state = look.site.states.get(finding_key(one.finding))
            says = "put right, and the data confirm it" if state == "confirmed" else "over"
            words.append(f"{self._named(look, one)} ({says})")
        words += [
            f"{title_of(one.kind, self.texts)} (newer logs do not show it any more)"
            for one in look.gone
        ]
        return self._line(look, words[:_PER_SITE], more=len(words) - _PER_SITE)

    def _named(self, look: _Look, one: _Seen) -> str:
        line = self.lines(look, one)
        return f"{line.title}, {line.when[:1].lower()}{line.when[1:]}"

    def _line(self, look: _Look, words: Sequence[str], *, more: int) -> ShortLine:
        rest = _more(more, "other finding")
        return ShortLine(
            name=look.site.name,
            href=self.base_url + site_path(look.site.slug),
            words="; ".join([*words, *([rest] if rest else [])]) + ".",
        )

    def unjudged(self, sites: Sequence[DigestSite]) -> list[ShortLine]:
        """Write which sites could not be judged and why, those without any judgement first.

        Sites of one reason share a line: a whole fleet without a pressure sensor is one sentence.
        """
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
        alike: dict[str, list[ShortLine]] = {}
        for *_, line in sorted(lines, key=lambda item: item[:3]):
            alike.setdefault(line.words, []).append(line)
        return [self._together(group) for group in alike.values()]

    def _together(self, lines: Sequence[ShortLine]) -> ShortLine:
        if len(lines) == 1:
            return lines[0]
        named = ", ".join(line.name for line in lines[:_MOST_NAMED])
        more = _more(len(lines) - _MOST_NAMED, "other roof")
        return ShortLine(
            name=f"{named} {more}" if more else named,
            href=f"{self.base_url}/",
            words=lines[0].words,
        )

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


def _aside(seen: _Seen) -> str:
    """Say in brackets what changed, or that the next logs are waited for."""
    if seen.waits:
        return " (put right, waiting for the next logs)"
    return f" ({STATUS_WORDS[seen.status].lower()})" if seen.is_news else ""


def _balance(report: Report, days: Days) -> Balance | None:
    """Set the week's delivered heat against what was expected of the same hours."""
    inside = [
        day
        for day in report.days
        if days.first.isoformat() <= day.date <= days.last.isoformat()
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
