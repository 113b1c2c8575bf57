"""A site's last year in one line of the fleet: each week one stroke, delivered over expected."""

from datetime import date, timedelta

from markupsafe import Markup

from analysis.results import Report
from dashboards.periods import Period, periods

WEEKS = 52
_PITCH, _STROKE, _HEIGHT = 4.0, 3.0, 30.0


def week_strip(report: Report) -> Markup:
    """Draw the last 52 weeks; weeks without any measurement are a dot on the base line."""
    weeks = periods(report, "week")
    if not weeks:
        return Markup("")
    last = weeks[-1].start
    shown = [week for week in weeks if last - week.start < timedelta(weeks=WEEKS)]
    known = any(week.expected_kwh is not None for week in shown)
    goals = [week.expected_kwh if known else week.design_kwh for week in shown]
    top = max((max(w.delivered_kwh or 0, g or 0) for w, g in zip(shown, goals, strict=True)))
    scale = (_HEIGHT - 2) / (top or 1.0)
    goal, caps, arrived, gaps = list[str](), list[str](), list[str](), list[str]()
    for week, aim in zip(shown, goals, strict=True):
        x = _x(week, last)
        if week.delivered_kwh is None:
            gaps.append(f"M{x:.0f} {_HEIGHT - 2:.0f}h{_STROKE:.0f}")
            continue
        reach = (aim or 0.0) * scale
        goal.append(_bar(x, reach))
        caps.append(f"M{x:.0f} {_HEIGHT - reach:.1f}h{_STROKE:.0f}" if reach > 0.1 else "")
        arrived.append(_bar(x, week.delivered_kwh * scale))
    width = WEEKS * _PITCH
    return Markup(  # noqa: S704 - numbers, and texts that were escaped
        f'<svg class="weeks" viewBox="0 0 {width:.0f} {_HEIGHT:.0f}" aria-hidden="true" '
        f'preserveAspectRatio="none"><path class="goal" d="{"".join(goal)}"/>'
        f'<path class="arrived" d="{"".join(arrived)}"/><path class="cap" d="{"".join(caps)}"/>'
        f'<path class="none" d="{"".join(gaps)}"/>'
        f'<path class="base" d="M0 {_HEIGHT - 0.5}H{width:.0f}"/></svg>'
    )


def _x(week: Period, last: date) -> float:
    return (WEEKS - 1 - (last - week.start).days // 7) * _PITCH


def _bar(x: float, high: float) -> str:
    return f"M{x:.0f} {_HEIGHT:.0f}v-{high:.1f}h{_STROKE:.0f}v{high:.1f}z" if high > 0.1 else ""
