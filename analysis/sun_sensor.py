"""Stage one of the sun sensor's check: its readings against a clear sky and against the night.

Hours are proven clear by their shape alone: over three quarters of an hour and more the reading
follows the clear sky's curve, whatever its level. So a sensor that reads too little still shows its
clear hours.
"""

import numpy as np

from analysis.case import Case
from analysis.cloudless import USUAL_LINKE, clear_sky
from analysis.day_sums import counted
from analysis.grid import BIN_S
from analysis.quantiles import median_of_chosen
from analysis.record import Bools, Floats
from analysis.runs import long_runs
from analysis.sky import LEVEL, NO_SOURCE, SOURCES_OF_SUN, WEATHER
from analysis.sources import INEICHEN
from analysis.transposition import air_mass, transpose
from analysis.units import SECONDS_PER_HOUR

SOURCES = (INEICHEN,)

# Where the shape of a clear sky is told best: a sun 15 degrees high, 60 degrees off at most.
_LEAST_SINE = 0.26
_LEAST_FACING = 0.5
# From one bin to the next the ratio to the clear sky moves by less; cloud moves it by more, thin
# veils included, for most of the time (engineering judgement, after Reno & Hansen's criteria).
_SMOOTH_FRAC = 0.012
_CLEAR_BINS = 9
# An even overcast is smooth as well, but far below; a sensor off by more is beyond correction.
_LEAST_RATIO = 0.5
# More than the cleanest air lets through, for a quarter of an hour (engineering judgement; beside
# bright cloud single minutes reach it).
_CLEAN_LINKE = 2.0
_OVER = 1.15
_OVER_BINS = 3
_OVER_LEAST_W_M2 = 300.0
# Six degrees below the horizon there is no light left that a sensor resolves.
_NIGHT_SINE = -0.105


def sensor_columns(case: Case) -> dict[str, Floats]:
    """Give what each day says about the sensor that its sun comes from; shape (days,).

    `sensor_clear_ratio` median of reading over clear sky in clear hours [-], `sensor_clear_h` how
    many, `sensor_clear_mass` the air mass in them [-], `sensor_night_w_m2` median reading at
    night, `sensor_over_h` hours beyond what a clear sky or the sun outside the atmosphere gives.
    Nothing where no sensor tells the sun.
    """
    source = case.sky.source
    told = (source != NO_SOURCE) & (source != WEATHER)
    if not told.any():
        return {}
    reading = np.full(case.grid.shape, np.nan)
    for number in np.unique(source[told]).tolist():
        days = source == number
        reading[days] = case.binned(SOURCES_OF_SUN[number])[days]
    ratio, over = _against_clear(case, reading, level=(source == LEVEL)[:, None])
    smooth = np.zeros(ratio.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        smooth[:, 1:] = np.abs(np.diff(ratio, axis=1)) < _SMOOTH_FRAC * ratio[:, 1:]
        smooth &= ratio > _LEAST_RATIO
    clear = long_runs(smooth, _CLEAR_BINS)
    known = told & np.isfinite(reading).any(axis=1)
    columns = {
        "sensor_clear_ratio": median_of_chosen(ratio, clear),
        "sensor_clear_h": counted(clear) * BIN_S / SECONDS_PER_HOUR,
        "sensor_clear_mass": median_of_chosen(_masses(case, clear), clear),
        "sensor_night_w_m2": median_of_chosen(reading, case.sky.sun_sine < _NIGHT_SINE),
        "sensor_over_h": counted(over) * BIN_S / SECONDS_PER_HOUR,
    }
    return {name: np.where(known, values, np.nan) for name, values in columns.items()}


def _against_clear(case: Case, reading: Floats, *, level: Bools) -> tuple[Floats, Bools]:
    """Give the ratio to the clear sky where it tells something, and bins that are beyond it."""
    daylight = case.daylight
    towards = np.where(level, case.sky.sun_sine, case.sky.cos_incidence)
    facing, read = (values.ravel()[daylight.bins] for values in (towards, reading))
    sine = daylight.toward.up
    tells = np.flatnonzero((sine > _LEAST_SINE) & (facing > _LEAST_FACING) & np.isfinite(read))
    place, read, outside = daylight.bins[tells], read[tells], daylight.outside_w_m2[tells]
    flat = level.ravel()[place // reading.shape[1]]
    seen = _clear_readings(case, sine[tells], facing[tells], outside, flat)
    ratio = np.full(reading.shape, np.nan)
    ratio.ravel()[place] = read / seen[0]
    beyond = np.zeros(reading.shape, dtype=np.bool_)
    bound = np.minimum(_OVER * seen[1], outside)
    beyond.ravel()[place] = (read > bound) & (read > _OVER_LEAST_W_M2)
    return ratio, long_runs(beyond, _OVER_BINS)


def _clear_readings(
    case: Case, sine: Floats, facing: Floats, outside: Floats, flat: Bools
) -> Floats:
    """Give what a sensor reads under ordinary and under the cleanest air; shape (2, n) [W/m2]."""
    sky = clear_sky(
        cos_zenith=sine,
        extraterrestrial_w_m2=outside,
        elevation_m=case.site.place.elevation_m,
        linke=np.array([[USUAL_LINKE], [_CLEAN_LINKE]]),
    )
    if flat.all():
        return sky.ghi
    plane = transpose(
        ghi=sky.ghi,
        dhi=sky.dhi,
        dni=sky.dni,
        cos_incidence=facing,
        cos_zenith=sine,
        extraterrestrial_w_m2=outside,
        tilt_deg=case.site.arrays[0].tilt_deg,
        model=case.site.sun.model,
    )
    return np.where(flat, sky.ghi, plane.total_w_m2)


def _masses(case: Case, chosen: Bools) -> Floats:
    """Give the mass of the air in chosen bins, NaN in others."""
    masses = np.full(chosen.shape, np.nan)
    masses[chosen] = air_mass(case.sky.sun_sine[chosen])
    return masses
