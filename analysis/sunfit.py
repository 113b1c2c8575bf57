"""Does the sun of a log fit the place? A gross check before anything is stored.

Irradiance cannot come while the sun is below the horizon, and a collector is not hot in the middle
of the night. A log in which much of it happens in the dark belongs to another site, or its clock
runs in another zone. Small clock errors are a matter of findings, not of refusal.
"""

from dataclasses import dataclass

import numpy as np

from analysis.record import Bools, Floats, Ints, Record
from analysis.site import Site
from analysis.sun import sun_vectors
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

# Shares of the weight that may fall into the dark (engineering judgement): next to nothing for a
# pyranometer; a store's warmth and slow cooling leave a collector warm for hours.
_DARK_SINE = -0.05
_MOST_DARK = {"irradiance": 0.05, "collector": 0.40}
_FITS_DARK = {"irradiance": 0.03, "collector": 0.20}
# Days of another length: no shift fits, though the log clearly has days and nights.
_NIGHT_SEEN = 0.7
_OTHER_LENGTH = 0.50
_FEWEST_DAYS = 3
_MOST_ROWS = 6000
_SHIFT_S = 900
# No sky keeps irradiance the same to the last digit for so long (judgement).
_STUCK_S = 2.0 * SECONDS_PER_HOUR
# Less than this is left to the findings about the clock.
_LEAST_SHIFT_S = 9000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Warmth:
    """When the sun made itself felt: weights at instants."""

    kind: str
    time_s: Ints
    weight: Floats


def check_sun(*, site: Site, record: Record) -> str | None:
    """Say in one sentence that the log's sun does not fit the place, or None.

    Parameters
    ----------
    site : the place
    record : the rows

    Returns
    -------
    None where it fits, or where the log says too little
    """
    warmth = _irradiance(record) or _collector(record)
    if warmth is None:
        return None
    dark = _dark_share(site, warmth, 0)
    if dark <= _MOST_DARK[warmth.kind]:
        return None
    shifts = np.arange(-52, 53) * _SHIFT_S
    shares = np.array([_dark_share(site, warmth, int(shift)) for shift in shifts])
    good = shifts[shares <= shares.min() + 0.01]
    # Half a day off fits both ways round: the side with more of the fitting shifts stands.
    ahead, behind = good[good < 0], good[good >= 0]
    best = int(np.median(ahead if len(ahead) > len(behind) else behind))
    fits = shares.min() <= _FITS_DARK[warmth.kind]
    if fits and abs(best) < _LEAST_SHIFT_S:
        return None
    other_length = shares.max() > _NIGHT_SEEN and shares.min() < _OTHER_LENGTH
    if not fits and (warmth.kind != "irradiance" or not other_length):
        return None
    where = f"{site.place.name} ({site.place.latitude_deg:.2f}, {site.place.longitude_deg:.2f})"
    hours = abs(best) / SECONDS_PER_HOUR
    # Later stamps for the same sun: it comes behind the sun of the place.
    way = "behind" if best < 0 else "ahead of"
    what = (
        f"the sun in this log is about {hours:.0f} hours {way} the sun at {where}"
        if fits
        else f"the sun in this log shines at hours when it is night at {where}"
    )
    offset = f" or, roughly, clock_offset_min = {-best / 60.0:.0f}" if fits else ""
    return (
        f"{what}: this may be the log of another site, or the logger's clock runs in another "
        f"zone; check latitude and longitude in the site file, or set timezone{offset} in its "
        "[log] table"
    )


def _irradiance(record: Record) -> _Warmth | None:
    for name in ("irradiance_plane", "irradiance_horizontal"):
        values = record.get(name)
        if values is not None:
            bright = (values > 50.0) & ~_stuck(record, values)
            return _warmth("irradiance", record, np.where(bright, 1.0, 0.0))
    return None


def _stuck(record: Record, values: Floats) -> Bools:
    """Tell rows of a value repeated for hours: a stuck sensor's sun says nothing of the place."""
    begins = np.concatenate(([True], values[1:] != values[:-1]))
    number = np.cumsum(begins) - 1
    length_s = np.bincount(number, weights=record.step_s)
    return np.asarray(length_s[number] >= _STUCK_S)


def _collector(record: Record) -> _Warmth | None:
    roof = record.get("collector")
    if roof is None:
        return None
    day = _utc_day(record.start_s)
    numbers, place = np.unique(day, return_inverse=True)
    known = np.isfinite(roof)
    low = np.full(len(numbers), np.inf)
    high = np.full(len(numbers), -np.inf)
    np.minimum.at(low, place[known], roof[known])
    np.maximum.at(high, place[known], roof[known])
    # Only days on which the roof clearly got hot, and only their hottest hours; a day without a
    # reading has neither.
    swing = np.where(high >= low, high - low, 0.0)
    lively = swing > 30.0
    hot = roof > (low + 0.7 * swing)[place]
    return _warmth("collector", record, np.where(lively[place] & hot & known, 1.0, 0.0))


def _warmth(kind: str, record: Record, weight: Floats) -> _Warmth | None:
    rows = np.flatnonzero(weight > 0.0)
    if np.count_nonzero(np.diff(_utc_day(record.start_s[rows]))) + 1 < _FEWEST_DAYS:
        return None
    rows = rows[:: max(rows.size // _MOST_ROWS, 1)]
    return _Warmth(kind=kind, time_s=record.start_s[rows], weight=weight[rows])


def _utc_day(time_s: Ints) -> Ints:
    return time_s // int(SECONDS_PER_DAY)


def _dark_share(site: Site, warmth: _Warmth, shift_s: int) -> float:
    sun = sun_vectors(
        time_s=warmth.time_s + shift_s,
        latitude_deg=site.place.latitude_deg,
        longitude_deg=site.place.longitude_deg,
        elevation_m=site.place.elevation_m,
    )
    return float(warmth.weight[sun.up < _DARK_SINE].sum() / warmth.weight.sum())
