"""What the sun offered the collectors, on the bins of local days.

From the best source that each day has: a sensor in the collector plane, a horizontal one, weather
data; else unknown. Below the horizon the sun offers nothing, whatever a sensor's offset says.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.collector import gain_w_m2, incidence_modifier
from analysis.grid import BIN_S, Grid
from analysis.irradiance import from_horizontal, split_plane
from analysis.record import Bools, Floats, Ints
from analysis.site import Array, Site
from analysis.sky_parts import parts_of, with_ring
from analysis.sun import (
    SunVectors,
    absorber_axes,
    absorber_plane,
    extraterrestrial_w_m2,
    horizon_blocks,
    incidence,
    sun_vectors,
    tube_angles,
)
from analysis.transposition import Plane, transpose
from analysis.weather import Weather

# Sine of the solar elevation below which no measurable irradiance is left (2 degrees under the
# horizon; engineering judgement, as for the sensor's offset at night).
DARK_SINE = -0.035

SOURCES_OF_SUN = ("irradiance_plane", "irradiance_horizontal", "weather_file")
"""In order of trust; their place here is their number."""
PLANE, LEVEL, WEATHER = range(3)
NO_SOURCE = -1

# A source that tells this share of a day's logged daylight is not left for a poorer one.
_WHOLE_DAY = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sky:
    """Sun and irradiance on the bins; arrays of shape (days, bins).

    Attributes
    ----------
    source : shape (days,), the number of each day's source in `SOURCES_OF_SUN`, -1 for none
    sun_sine : sine of the solar elevation at the middle of the bin [-]
    g_plane_w_m2 : hemispherical irradiance in the first array's plane [W/m2], NaN unknown
    gain_w : optical gain of all arrays together [W], NaN unknown
    cos_incidence : cosine of the incidence angle on the first array [-]
    """

    source: Ints
    sun_sine: Floats
    g_plane_w_m2: Floats
    gain_w: Floats
    cos_incidence: Floats


def sun_on(grid: Grid, site: Site) -> SunVectors:
    """Give the direction to the sun at the middle of each bin; shape (days, bins)."""
    place = site.place
    sun = sun_vectors(
        time_s=grid.start_s.ravel() + BIN_S // 2,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    return sun.shaped(*grid.shape)


def sky_of(
    *,
    site: Site,
    grid: Grid,
    sun: SunVectors,
    g_plane_w_m2: Floats | None,
    g_horizontal_w_m2: Floats | None,
    weather: Weather | None,
) -> Sky:
    """Work out sun and gain on every bin.

    Parameters
    ----------
    site : facts of the place and the arrays
    grid : the bins
    sun : where the sun stands on them, see `sun_on`
    g_plane_w_m2, g_horizontal_w_m2 : bin means of shape (days, bins), or None where not logged
    weather : hourly weather of the same period, or None

    Notes
    -----
    A day takes the most trusted source that tells (nearly) all its logged daylight; where none
    does, the one that tells most.
    """
    middle = grid.start_s.ravel() + BIN_S // 2
    sun = sun.shaped(-1)
    first = site.arrays[0]
    facing = incidence(sun=sun, tilt_deg=first.tilt_deg, azimuth_deg=first.azimuth_deg)
    readings = (g_plane_w_m2, g_horizontal_w_m2, _known_hours(weather, middle, grid))
    source = _source(readings, grid, sun.up > 0.0)
    gain, plane = np.full(middle.shape, np.nan), np.full(middle.shape, np.nan)
    of_bin = np.repeat(source, grid.shape[1])
    for number in np.unique(source[source != NO_SOURCE]).tolist():
        here = np.flatnonzero((sun.up > DARK_SINE) & (of_bin == number))
        light = _Light(
            site=site,
            sun=sun.at(here),
            time_s=middle[here],
            outside_w_m2=extraterrestrial_w_m2(middle[here]),
            source=number,
            reading=_daylight(readings[number], here),
            weather=weather,
        )
        plane[here], gain[here] = light.plane_and_gain()
    dark = (sun.up <= DARK_SINE) & (of_bin != NO_SOURCE)
    plane[dark], gain[dark] = 0.0, 0.0
    return Sky(
        source=source,
        sun_sine=sun.up.reshape(grid.shape),
        g_plane_w_m2=plane.reshape(grid.shape),
        gain_w=gain.reshape(grid.shape),
        cos_incidence=facing.reshape(grid.shape),
    )


def _known_hours(weather: Weather | None, middle: Ints, grid: Grid) -> Floats | None:
    return None if weather is None else weather.irradiance_at(middle)[0].reshape(grid.shape)


def _source(readings: tuple[Floats | None, ...], grid: Grid, up: Bools) -> Ints:
    """Give the number of each day's source, -1 where no source tells anything of it."""
    logged = grid.length_s > 0.0
    counted = logged & up.reshape(grid.shape)
    # A day that was logged in the dark alone is judged by that.
    counted = np.where(np.any(counted, axis=1, keepdims=True), counted, logged)
    told = np.zeros((len(readings), grid.shape[0]))
    for number, reading in enumerate(readings):
        if reading is not None:
            told[number] = (np.isfinite(reading) & counted).sum(axis=1)
    whole = told >= _WHOLE_DAY * np.maximum(counted.sum(axis=1), 1)
    chosen = np.where(whole.any(axis=0), whole.argmax(axis=0), told.argmax(axis=0))
    return np.where(told.max(axis=0) > 0.0, chosen, NO_SOURCE)


def _daylight(reading: Floats | None, here: Ints) -> Floats:
    """Give the source's bins while the sun is up, a small negative offset taken as nothing."""
    assert reading is not None
    return np.asarray(np.maximum(reading.ravel()[here], 0.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Light:
    """Irradiance on planes from one source, while the sun is up."""

    site: Site
    sun: SunVectors
    time_s: Ints
    outside_w_m2: Floats
    source: int
    reading: Floats
    weather: Weather | None

    def plane_and_gain(self) -> tuple[Floats, Floats]:
        """Give irradiance in the first array's plane and the gain of all arrays [W/m2, W]."""
        total = np.zeros(self.time_s.shape)
        # Arrays mostly lie alike, and their absorbers in their plane.
        on = cache(self._on)
        for array in self.site.arrays:
            plane = absorber_plane(
                tilt_deg=array.tilt_deg,
                azimuth_deg=array.azimuth_deg,
                tubes_run=array.tubes_run,
                absorber_turn_deg=array.absorber_turn_deg,
                latitude_deg=self.site.place.latitude_deg,
            )
            total = total + array.area_m2 * self._gain(array, on(*plane))
        first = self.site.arrays[0]
        if self.source == PLANE:
            return self.reading, total
        return on(first.tilt_deg, first.azimuth_deg).total_w_m2, total

    def _gain(self, array: Array, plane: Plane) -> Floats:
        along, across = tube_angles(
            sun=self.sun,
            tilt_deg=array.tilt_deg,
            azimuth_deg=array.azimuth_deg,
            tubes_run=array.tubes_run,
            absorber_turn_deg=array.absorber_turn_deg,
            latitude_deg=self.site.place.latitude_deg,
        )
        modifier = incidence_modifier(
            array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
        )
        return gain_w_m2(
            array=array,
            beam_w_m2=plane.beam_w_m2,
            diffuse_w_m2=plane.diffuse_w_m2,
            modifier=modifier,
        )

    def _on(self, tilt_deg: float, azimuth_deg: float) -> Plane:
        """Give the light on a plane, the ring around the sun with the beam."""
        cosine = incidence(sun=self.sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
        if self.source == PLANE:
            return self._moved(tilt_deg, azimuth_deg, cosine)
        blocked = horizon_blocks(sun=self.sun, horizon=self.site.horizon)
        if self.source == LEVEL:
            plane = from_horizontal(
                g_horizontal_w_m2=self.reading,
                cos_incidence=cosine,
                cos_zenith=self.sun.up,
                extraterrestrial_w_m2=self.outside_w_m2,
                tilt_deg=tilt_deg,
                model=self.site.sun.model,
            )
        else:
            assert self.weather is not None
            ghi, dni, dhi = self.weather.irradiance_at(self.time_s)
            plane = transpose(
                ghi=ghi,
                dhi=dhi,
                dni=dni,
                cos_incidence=cosine,
                cos_zenith=self.sun.up,
                extraterrestrial_w_m2=self.outside_w_m2,
                tilt_deg=tilt_deg,
                model=self.site.sun.model,
            )
        plane = Plane(
            beam_w_m2=np.where(blocked, 0.0, plane.beam_w_m2), diffuse_w_m2=plane.diffuse_w_m2
        )
        parts = parts_of(
            plane,
            cos_incidence=cosine,
            cos_zenith=self.sun.up,
            outside_w_m2=self.outside_w_m2,
            tilt_deg=tilt_deg,
        )
        return with_ring(plane, parts, cos_incidence=cosine)

    def _moved(self, tilt_deg: float, azimuth_deg: float, cosine: Floats) -> Plane:
        """Take the sensor's plane apart and put it together on another plane.

        The sensor lies in the plane of the first array; only arrays that face elsewhere, or turned
        absorbers, differ from it.
        """
        first = self.site.arrays[0]
        same = _same_plane((tilt_deg, azimuth_deg), (first.tilt_deg, first.azimuth_deg))
        sensor_cosine = cosine
        if not same:
            sensor_cosine = incidence(
                sun=self.sun, tilt_deg=first.tilt_deg, azimuth_deg=first.azimuth_deg
            )
        seen = split_plane(
            g_plane_w_m2=self.reading,
            cos_incidence=sensor_cosine,
            cos_zenith=self.sun.up,
            extraterrestrial_w_m2=self.outside_w_m2,
            tilt_deg=first.tilt_deg,
        )
        parts = parts_of(
            seen,
            cos_incidence=sensor_cosine,
            cos_zenith=self.sun.up,
            outside_w_m2=self.outside_w_m2,
            tilt_deg=first.tilt_deg,
        )
        if same:
            return with_ring(seen, parts, cos_incidence=cosine)
        return parts.on(cos_incidence=cosine, tilt_deg=tilt_deg)


def _same_plane(one_deg: tuple[float, float], other_deg: tuple[float, float]) -> bool:
    """Tell whether two planes of this tilt and azimuth lie alike."""
    one, other = (
        np.array(absorber_axes(tilt_deg=tilt, azimuth_deg=way).normal)
        for tilt, way in (one_deg, other_deg)
    )
    return bool(np.allclose(one, other, rtol=0.0, atol=1e-9))
