"""What is said about where the sun's figures come from."""

import numpy as np

from analysis.day_figures import usual_sun
from analysis.days import DayTable
from analysis.quantiles import median_of
from analysis.site import Site, Sun
from analysis.sky import PLANE, SOURCES_OF_SUN
from analysis.sun_drift import LEAST_CLEAR_H

# What haze and height explain of a clear day's share of a usual clear sky (our judgement).
_LEAST_SHARE, _MOST_SHARE = 0.80, 1.15
_FEWEST_CLEAR_DAYS = 10
# A sensor's offset at night: more has another cause than the cold sky (engineering judgement).
_MOST_NIGHT_W_M2, _LEAST_NIGHT_W_M2 = 5.0, -10.0
_OVER_DAYS_FRAC = 0.05

_WORDS = ("the sensor in the plane", "the horizontal sensor", "the weather data")


def sun_basis(table: DayTable, site: Site) -> tuple[str | None, tuple[str, ...]]:
    """Give the source of sun that most days have, and notes on it.

    Parameters
    ----------
    table : every observed day
    site : facts of the last day

    Returns
    -------
    tuple
        Name of the source or None, and sentences without their full stop.
    """
    usual = usual_sun(table)
    if usual is None:
        return None, ("No irradiance in the log and no weather given: no expected heat",)
    notes = []
    number = table.column("sky_source")
    for other in range(len(SOURCES_OF_SUN)):
        days = int((number == other).sum())
        if other != usual and days:
            notes.append(
                f"On {days} day{'s' if days > 1 else ''} the sun comes from {_WORDS[other]}, "
                f"because {_WORDS[usual]} said too little then"
                if other > usual
                else f"On {days} day{'s' if days > 1 else ''} the sun comes from {_WORDS[other]}, "
                f"which is trusted more than {_WORDS[usual]}"
            )
    if bool((number[np.isfinite(number)] != PLANE).any()) and site.sun != Sun():
        notes.append(
            "The sun on the collectors is worked out from the level with the sky model "
            f"{site.sun.model}, as the site file says"
        )
    return SOURCES_OF_SUN[usual], tuple(notes)


def sensor_notes(table: DayTable) -> tuple[str, ...]:
    """Say where the sun sensor reads what no sky gives; it is not corrected for that."""
    notes = []
    clear = np.nan_to_num(table.column("sensor_clear_h")) >= LEAST_CLEAR_H
    share = table.column("sensor_clear_ratio")[clear]
    if len(share) >= _FEWEST_CLEAR_DAYS:
        usual = median_of(share)
        if not _LEAST_SHARE <= usual <= _MOST_SHARE:
            notes.append(
                f"On {len(share)} clear days the sun sensor reads {100.0 * usual:.0f} % of what a "
                "clear sky gives; haze explains 80 to 115 %. Check its scale in the logger, its "
                "plane and its glass: irradiation and expected heat are off by as much"
            )
    nights = table.column("sensor_night_w_m2")
    night = median_of(nights[np.isfinite(nights)])
    if night < _LEAST_NIGHT_W_M2 or night > _MOST_NIGHT_W_M2:
        notes.append(
            f"The sun sensor reads {night:+.0f} W/m2 at night: its zero is off by that, by day as "
            "well"
        )
    over = table.column("sensor_over_h")
    days, known = int((over > 0.0).sum()), int(np.isfinite(over).sum())
    if days >= _FEWEST_CLEAR_DAYS and days >= _OVER_DAYS_FRAC * known:
        notes.append(
            f"On {days} of {known} days the sun sensor reads more than the cleanest air lets "
            "through for a quarter of an hour and longer: check its scale and its plane"
        )
    return tuple(notes)
