"""Heat between two readings that somebody took off a heat meter, beside what the log measured.

Such a span counts as what it is: one figure without days, with the limits of the meter and of a
reading by eye. It is never added to the days of the log, which may have measured the same heat.
"""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import numpy as np

from analysis.days import local_midnight_s
from analysis.hand_span import HandSpan
from analysis.heat import REGISTER_FRAC
from analysis.results import DayFigure
from analysis.site import Site
from analysis.uncertainty import COVERAGE_95, RECTANGLE

# A register shows whole units, and a reading by eye is taken for right to one of them either way
# (engineering judgement): limits of a rectangle for each of the two readings.
READ_BY_EYE_KWH = 1.0


def hand_spans(site: Site, days: Sequence[DayFigure]) -> tuple[HandSpan, ...]:
    """Give the heat between each two readings that follow one another.

    Parameters
    ----------
    site : Site
        Its readings and zone.
    days : sequence of DayFigure
        What the log measured.

    Returns
    -------
    tuple of HandSpan
        In order of time; two readings at one instant give none.

    References
    ----------
    Directive 2014/32/EU (MID), Annex VI, as in `analysis.heat.REGISTER_FRAC`.
    """
    spans = []
    for one, other in pairwise(site.readings):
        start_s, end_s = int(one.at.timestamp()), int(other.at.timestamp())
        if end_s <= start_s:
            continue
        logged, covered_s = _logged(days, start_s, end_s, site.place.timezone)
        value, low, high = _heat(other.heat_register_kwh - one.heat_register_kwh)
        spans.append(
            HandSpan(
                start_s=start_s,
                end_s=end_s,
                delivered_kwh=value,
                delivered_low_kwh=low,
                delivered_high_kwh=high,
                logged_kwh=logged,
                logged_frac=covered_s / (end_s - start_s),
                who=other.who,
            )
        )
    return tuple(spans)


def _heat(kwh: float) -> tuple[float, float, float] | tuple[None, None, None]:
    if kwh < 0.0:
        return (
            None,
            None,
            None,
        )  # another meter, or a slip of the pen: nobody can tell what was delivered
    by_eye_kwh = np.sqrt(2.0) * READ_BY_EYE_KWH / RECTANGLE
    reach = COVERAGE_95 * float(np.hypot(kwh * REGISTER_FRAC, by_eye_kwh))
    return kwh, max(kwh - reach, 0.0), kwh + reach


def _logged(
    days: Sequence[DayFigure], start_s: int, end_s: int, timezone: str
) -> tuple[float | None, float]:
    """Sum the whole days within a span, and the time that their samples cover [s]."""
    found, covered_s = [], 0.0
    for day in days:
        when = date.fromisoformat(day.date)
        first = local_midnight_s(when, timezone)
        if day.delivered_kwh is None or first < start_s:
            continue
        last = local_midnight_s(date.fromordinal(when.toordinal() + 1), timezone)
        if last > end_s:
            continue
        found.append(day.delivered_kwh)
        covered_s += day.coverage * (last - first)
    return (sum(found) if found else None), covered_s
