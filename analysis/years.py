"""What each calendar year of the log gave and saved, and what a healthy plant would have saved."""

from dataclasses import replace

import numpy as np

from analysis.days import DayTable, part_of
from analysis.energy import delivered, expected
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
    names = [day[:4] for day in table.days.dates]
    figures = replace(table, happenings=())
    return tuple(
        _year(part_of(figures, first=first, last=last), site) for first, last in _spans(names)
    )


def _spans(names: list[str]) -> list[tuple[int, int]]:
    starts = [n for n, name in enumerate(names) if n == 0 or names[n - 1] != name]
    return list(zip(starts, [*starts[1:], len(names)], strict=True))


def _year(table: DayTable, site: Site) -> YearFigures:
    every = np.arange(len(table.days))
    heat, healthy = delivered(table, every), expected(table, every, site)
    saved = savings_of(table, site)
    sun = table.column("irradiation_kwh_m2")
    known_s = float(np.nansum(table.column("known_s")))
    return YearFigures(
        year=int(table.days.dates[0][:4]),
        first=table.days.dates[0],
        last=table.days.dates[-1],
        coverage=min(known_s / float(table.days.length_s.sum()), 1.0),
        delivered=heat,
        healthy=healthy,
        irradiation_kwh_m2=float(np.nansum(sun)) if np.isfinite(sun).any() else None,
        savings=saved,
        healthy_money_net=_healthy_money(saved, heat, healthy),
    )


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
