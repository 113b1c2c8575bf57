"""Where the missing heat went: the rows of the ledger in words, for text and pages."""

from dataclasses import dataclass

from analysis.ledger_result import OUTSIDE_THE_GAP, Entry, Ledger
from analysis.results import Report
from dashboards.format import bounded, plural, quantity, span
from dashboards.links import finding_path
from dashboards.texts import Texts, title_of

# So many findings have a line each; the smaller ones share one.
_MOST_LINES = 6
# Under this, a line says nothing [kWh].
_LEAST_KWH = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLine:
    """One row: what, when, how much; `part` is its share of the widest row, for a bar.

    `sort` is `gap`, `finding`, `untaken`, `rest` or `apart`.
    """

    label: str
    when: str
    value: str
    part: float
    sort: str
    href: str | None = None


def missing_heat(report: Report, *, texts: Texts, slug: str | None) -> tuple[HeatLine, ...]:
    """Give the rows of the ledger, empty where the report has none.

    Parameters
    ----------
    report : the analysis
    texts : the catalogue's words
    slug : the site's name in addresses; None where findings stand on the same page
    """
    ledger = report.ledger
    if ledger is None:
        return ()
    widest = _widest(ledger)
    lines = [
        HeatLine(
            label="Expected less delivered",
            when=f"over {plural(ledger.days, 'day')}",
            value=bounded(ledger.gap),
            part=max(ledger.gap.value, 0.0) / widest,
            sort="gap",
        ),
        *_findings(ledger.entries, report, texts, slug, widest, "finding"),
        *_untaken(ledger, widest),
        HeatLine(
            label="Nothing found explains" if ledger.rest.value >= 0.0 else "More than expected",
            when="days above expectation set off",
            value=bounded(ledger.rest),
            part=abs(ledger.rest.value) / widest,
            sort="rest",
        ),
        *_findings(ledger.apart, report, texts, slug, widest, "apart"),
    ]
    return tuple(lines)


def missing_heat_says(report: Report) -> str:
    """Say in a sentence what the rows come to, empty where the report has no ledger."""
    ledger = report.ledger
    if ledger is None:
        return ""
    untold = untold_days(report)
    beside = (
        f" Of {plural(untold, 'further day')} nobody can say what a healthy collector would have "
        "given."
        if untold
        else ""
    )
    if ledger.gap.low <= 0.0 <= ledger.gap.high and not ledger.entries:
        return f"Nothing is missing beyond what the figures are known to.{beside}"
    return (
        "Findings, what the store would not have taken and what nothing explains add up to the "
        "heat that is missing; no finding is "
        "charged more than its days lack here, though its own figure may be larger, as far as the "
        f"missing heat is uncertain.{beside}"
    )


def untold_days(report: Report) -> int:
    """Count days whose heat is known and held against nothing: expected heat knows nothing of them.

    Sensors that cannot be trusted leave them so, and a loop may stand meanwhile.
    """
    return sum(day.delivered_kwh is not None and day.expected_kwh is None for day in report.days)


def _untaken(ledger: Ledger, widest: float) -> list[HeatLine]:
    """Give the row of heat that is missing and no loss, where there is any."""
    if ledger.untaken_kwh < _LEAST_KWH:
        return []
    return [
        HeatLine(
            label="No loss: the store would not have taken it",
            when="with the findings put right it would have been warmer",
            value=quantity(ledger.untaken_kwh, "kWh"),
            part=ledger.untaken_kwh / widest,
            sort="untaken",
        )
    ]


def _widest(ledger: Ledger) -> float:
    parts = (ledger.gap, ledger.rest, *(item.lost for item in (*ledger.entries, *ledger.apart)))
    return max((abs(item.value) for item in parts), default=0.0) or 1.0


def _findings(
    entries: tuple[Entry, ...],
    report: Report,
    texts: Texts,
    slug: str | None,
    widest: float,
    sort: str,
) -> list[HeatLine]:
    large = [item for item in entries if item.lost.value >= _LEAST_KWH]
    told = set(sorted(large, key=lambda item: -item.lost.value)[:_MOST_LINES])
    lines = [_line(item, report, texts, slug, widest, sort) for item in large if item in told]
    others = [item for item in large if item not in told]
    if others:
        kwh = sum(item.lost.value for item in others)
        lines.append(
            HeatLine(
                label=plural(len(others), "smaller finding"),
                when="",
                value=quantity(kwh, "kWh"),
                part=kwh / widest,
                sort=sort,
            )
        )
    return lines


def _line(
    item: Entry, report: Report, texts: Texts, slug: str | None, widest: float, sort: str
) -> HeatLine:
    found = next(
        (
            one
            for one in report.findings
            if (one.kind, one.start_s, one.channel) == (item.kind, item.start_s, item.channel)
        ),
        None,
    )
    when = span(item.start_s, found.end_s if found else None, report.timezone)
    if sort == "apart":
        when += f"; {OUTSIDE_THE_GAP.get(item.kind, 'days that cannot be compared')}"
    href = None
    if found is not None:
        path = finding_path(slug or "", found)
        href = path if slug else f"#{path.rsplit('/', 1)[1]}"
    return HeatLine(
        label=title_of(item.kind, texts),
        when=when,
        value=bounded(item.lost),
        part=item.lost.value / widest,
        sort=sort,
        href=href,
    )
