"""What each calendar year of the log gave and saved, and what a healthy plant would have saved."""

import numpy as np

from analysis.day_sums import sums_over
from analysis.days import DayTable, calendar_spans
from analysis.energy import delivered_each, expected_each, padded
from analysis.figures import known_sums
from analysis.results import Bounded, Savings, YearFigures
from analysis.savings import savings_of
from analysis.site import Site


def year_figures(table: DayTable, site: Site) -> tuple[YearFigures, ...]:
    """Give the figures of every calendar year that the table touches, the oldest first.

    Parameters
    ----------
    table : every observed day
    site : the site as its file states it; changes and tariffs hold for their own days
    """
    years = calendar_spans(table.days.dates, len("2025"))
    each = padded([np.arange(first, after) for _, first, after in years])
    heats, healthies = delivered_each(table, each), expected_each(table, each, site)
    suns = known_sums(table.column("irradiation_kwh_m2"), each)
    known = sums_over(each, [table.column("known_s"), table.days.length_s]).T.tolist()
    found = []
    for place, ((year, first, after), sun, (known_s, length_s)) in enumerate(
        zip(years, suns, known, strict=True)
    ):
        heat, healthy = heats.one(place), healthies.one(place)
        saved = savings_of(table, site, first=first, last=after)
        found.append(
            YearFigures(
                year=int(year),
                first=table.days.dates[first],
                last=table.days.dates[after - 1],
                coverage=min(known_s / length_s, 1.0),
                delivered=heat,
                healthy=healthy,
                irradiation_kwh_m2=sun,
                savings=saved,
                healthy_money_net=_healthy_money(saved, heat, healthy),
            )
        )
    return tuple(found)


def _healthy_money(
    saved: Savings | None, heat: Bounded | None, healthy: Bounded | None
) -> float | None:
    """Give what a healthy plant would have saved; None where one of its parts is not known."""
    if saved is None or saved.money is None or saved.money_net is None:
        return None
    if heat is None or healthy is None or saved.useful_kwh <= 0.0:
        return None
    more_kwh = max(healthy.value - heat.value, 0.0)
    return saved.money_net + more_kwh * saved.money / saved.useful_kwh
