"""What is said about where the sun's figures come from."""

import numpy as np

from analysis.day_figures import usual_sun
from analysis.days import DayTable
from analysis.site import Site, Sun
from analysis.sky import PLANE, SOURCES_OF_SUN

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
