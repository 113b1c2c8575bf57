"""Findings as brackets beneath the days they cost, in lanes that never overlap."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from markupsafe import escape

from analysis.ledger_result import OUTSIDE_THE_GAP
from analysis.results import Finding
from dashboards.figures.strip_frame import Row
from dashboards.format import URGENCY_RANK, kind_words, local_date, number

LANE = 27.0
MOST_LANES = 6
_LETTER = 6.3  # widest likely width of a letter at the label's size


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A finding as the strip shows it; `last` is the last local day it touches.

    `missing` says that what it costs is missing from what its days delivered.
    """

    first: date
    last: date
    lasting: bool
    label: str
    href: str | None
    quiet: bool
    costs: bool
    missing: bool


def spans(
    findings: Iterable[Finding],
    *,
    timezone: str,
    until: date,
    titles: Mapping[str, str],
    hrefs: Mapping[int, str],
) -> tuple[Span, ...]:
    """Give the findings in the order of their urgency and cost; `hrefs` by place in `findings`."""
    numbered = sorted(
        enumerate(findings),
        key=lambda item: (
            URGENCY_RANK[item[1].urgency],
            -_lost_kwh(item[1]),
            item[1].start_s,
        ),
    )
    return tuple(
        _span(finding, timezone, until, titles, hrefs.get(place)) for place, finding in numbered
    )


def _lost_kwh(finding: Finding) -> float:
    return finding.lost.value if finding.lost else 0.0


def _span(
    finding: Finding, timezone: str, until: date, titles: Mapping[str, str], href: str | None
) -> Span:
    title = titles.get(finding.kind) or kind_words(finding.kind)
    lost = f" · {number(finding.lost.value)} kWh" if finding.lost else ""
    last = until if finding.end_s is None else local_date(finding.end_s - 1, timezone)
    first = local_date(finding.start_s, timezone)
    costs = finding.lost is not None and finding.lost.value > 0.0
    return Span(
        first=first,
        last=max(first, last),
        lasting=finding.end_s is None,
        label=f"{title}{lost}",
        href=href,
        quiet=finding.urgency == "record",
        costs=costs,
        missing=costs and finding.kind not in OUTSIDE_THE_GAP,
    )


def draw(items: Iterable[Span], row: Row, *, top: float) -> tuple[str, float]:
    """Draw the brackets that touch a row.

    Parameters
    ----------
    items : spans, most urgent first
    row : the row of days above
    top : y of the first lane

    Returns
    -------
    svg : str
    height : what the lanes need
    """
    ends: list[list[tuple[float, float]]] = []
    drawn, said = list[str](), set[str]()
    for item in items:
        if item.last < row.first or item.first > row.last:
            continue
        left = row.x(max(item.first, row.first))
        right = row.x(min(item.last, row.last)) + row.pitch
        right = max(right, left + 4.0)
        # What comes again and again without a cost is named once in a row.
        label = item.label if row.holds(item.first) and item.label not in said else ""
        said |= {label} if not item.costs else set()
        label_width = len(label) * _LETTER
        label_x = min(left, max(0.0, row.width - label_width))
        extent = (min(left, label_x) - 4.0, max(right, label_x + label_width) + 8.0)
        lane = _lane(ends, extent)
        if lane is None:
            continue
        drawn.append(_bracket(item, row, (left, right), (label, label_x), top + lane * LANE))
    return "".join(drawn), len(ends) * LANE


def _lane(ends: list[list[tuple[float, float]]], extent: tuple[float, float]) -> int | None:
    for number_, taken in enumerate(ends):
        if all(extent[1] <= low or extent[0] >= high for low, high in taken):
            taken.append(extent)
            return number_
    if len(ends) >= MOST_LANES:
        return None
    ends.append([extent])
    return len(ends) - 1


def _bracket(
    item: Span, row: Row, ends: tuple[float, float], label: tuple[str, float], y: float
) -> str:
    left, right = ends
    opens, closes = row.holds(item.first), row.holds(item.last) and not item.lasting
    path = f"M{left:.1f} {y:.1f}v6" if opens else f"M{left:.1f} {y + 6:.1f}"
    path += f"H{right:.1f}" + ("v-6" if closes else "")
    if item.lasting and row.holds(item.last):
        path += "m-4 -4l4 4l-4 4"
    words = f'<text x="{label[1]:.1f}" y="{y + 20:.1f}">{escape(label[0])}</text>'
    kind = "bracket quiet" if item.quiet else "bracket"
    body = f'<g class="{kind}"><path d="{path}"/>{words if label[0] else ""}</g>'
    if item.href is None:
        return body
    return f'<a href="{escape(item.href)}" tabindex="-1">{body}</a>'
