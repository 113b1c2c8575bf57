"""The year as one strip of days: delivered over expected, findings bracketed over what they cost.

Each day is one stroke. The pale stroke reaches to what a healthy collector would have given that
day, the amber one to what arrived; where a finding explains the difference, the difference is
plum. A day that was not measured is hatched, never empty. The strip folds into one, two or four
rows, so that a day stays visible on a phone.
"""

from collections.abc import Mapping
from datetime import date

from markupsafe import Markup

from analysis.results import DayFigure, Report
from dashboards.figures import brackets
from dashboards.figures.strip_frame import ROWS_OF_WIDTH, Row, first_day, frame

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_STROKE = 0.74  # share of a day's width that is drawn
_LEAST_COVERAGE = 0.05
_HEAD = 8.0
_AXIS = 22.0
_LETTER = 7.0


def year_strip(
    report: Report,
    *,
    titles: Mapping[str, str],
    hrefs: Mapping[int, str] | None = None,
    end: date | None = None,
    folds: tuple[int, ...] = (1, 2, 4),
) -> Markup:
    """Draw the strip of the year that ends with `end`, once per way of folding.

    Parameters
    ----------
    report : with at least one day
    titles : kind to its name in plain words
    hrefs : place in `report.findings` to the address of its page
    end : last day; default: the report's, or for a young log the end of its first year
    folds : numbers of rows to draw; the style sheet shows the one that fits
    """
    if not report.days:
        return Markup("")
    first, last = (date.fromisoformat(report.days[place].date) for place in (0, -1))
    begin = first_day(first=first, last=last, until=end)
    (whole,) = frame(first=begin, folds=1)
    shown = (begin.isoformat(), whole.last.isoformat())
    days = {
        date.fromisoformat(day.date): day for day in report.days if shown[0] <= day.date <= shown[1]
    }
    known = any(day.expected_kwh is not None for day in report.days)
    items = brackets.spans(
        report.findings,
        timezone=report.timezone,
        until=last,
        titles=titles,
        hrefs=hrefs or {},
    )
    costly = set[date]()
    if known:  # against a promise for the climate nothing can be called missing on one day
        costly = {d for d in days if any(i.missing and i.first <= d <= i.last for i in items)}
    return Markup("").join(
        _folded(days, items, frame(first=begin, folds=rows), costly, known) for rows in folds
    )


def goal_kwh(day: DayFigure, *, expected_known: bool) -> float | None:
    """Give what the day is held against: expected heat, or the promise where no sun was known."""
    return day.expected_kwh if expected_known else day.design_kwh


def _folded(
    days: Mapping[date, DayFigure],
    items: tuple[brackets.Span, ...],
    rows: tuple[Row, ...],
    costly: set[date],
    known: bool,
) -> Markup:
    top_kwh = max(
        (max(day.delivered_kwh or 0.0, goal_kwh(day, expected_known=known) or 0.0)
         for day in days.values()),
        default=0.0,
    ) or 1.0  # fmt: skip
    body, y = list[str](), _HEAD
    places = []
    for row in rows:
        base = y + row.height
        body.append(_strokes(days, row, base, row.height / top_kwh, costly, known))
        body.append(_axis(row, base, row is rows[0]))
        places.append(f"{row.first}:{row.days}:{y:.0f}:{base + _AXIS:.0f}")
        lanes, height = brackets.draw(items, row, top=base + _AXIS + 4.0)
        body.append(lanes)
        y = base + _AXIS + height + (14.0 if row is not rows[-1] else 8.0)
    folds, width = len(rows), ROWS_OF_WIDTH[len(rows)]
    return Markup(  # noqa: S704 - numbers, and texts that were escaped
        f'<svg class="strip strip-{folds}" viewBox="0 0 {width:.0f} {y:.0f}" aria-hidden="true" '
        f'data-strip="{folds}" data-pitch="{rows[0].pitch:.4f}" data-rows="{" ".join(places)}">'
        f"{''.join(body)}</svg>"
    )


def _strokes(
    days: Mapping[date, DayFigure],
    row: Row,
    base: float,
    per_kwh: float,
    costly: set[date],
    known: bool,
) -> str:
    goal: list[str] = []
    caps, lost, delivered, gaps = list[str](), list[str](), list[str](), list[str]()
    wide = row.pitch * _STROKE
    for when, day in days.items():
        if not row.holds(when):
            continue
        x = row.x(when) + (row.pitch - wide) / 2
        if day.delivered_kwh is None or day.coverage < _LEAST_COVERAGE:
            gaps.append(_bar(row.x(when), base, row.pitch, row.height * 0.5))
            continue
        reach = max(day.delivered_kwh, 0.0) * per_kwh
        aim = (goal_kwh(day, expected_known=known) or 0.0) * per_kwh
        (lost if when in costly and aim > reach else goal).append(_bar(x, base, wide, aim))
        if aim > 0:
            caps.append(f"M{x:.1f} {base - aim:.1f}h{wide:.1f}")
        delivered.append(_bar(x, base, wide, reach))
    outline = "goal" if known else "goal promised"
    return (
        f'<path class="gap" fill="url(#hatch)" d="{"".join(gaps)}"/>'
        f'<path class="{outline}" d="{"".join(goal)}"/>'
        f'<path class="lost" d="{"".join(lost)}"/><path class="arrived" d="{"".join(delivered)}"/>'
        f'<path class="cap" d="{"".join(caps)}"/>'
    )


def _bar(x: float, base: float, wide: float, high: float) -> str:
    return f"M{x:.1f} {base:.1f}v-{high:.1f}h{wide:.2f}v{high:.1f}z" if high > 0.05 else ""


def _axis(row: Row, base: float, first_row: bool) -> str:
    parts = [f'<path class="base" d="M0 {base:.1f}H{row.days * row.pitch:.1f}"/>']
    when, fresh = row.first, first_row
    while when <= row.last:
        following = date(when.year + when.month // 12, when.month % 12 + 1, 1)
        x = row.x(when)
        if when.day == 1:
            parts.append(f'<path class="tick" d="M{x:.1f} {base:.1f}v6"/>')
        name = _MONTHS[when.month - 1]
        if fresh or when.month == 1:
            name = f"{name} {when.year}"
        if min(row.x(following), row.width) - x >= _LETTER * len(name):
            fresh = False
            parts.append(f'<text class="month" x="{x + 3:.1f}" y="{base + 15:.1f}">{name}</text>')
        when = following
    return "".join(parts)
