"""What the sun offered the collectors, on the bins of local days.

From the best source that each day has: a sensor in the collector plane, a horizontal one, weather
data; else unknown. Below the horizon the sun offers nothing, whatever a sensor's offset says.
"""

from dataclasses import dataclass
from functools import cache, cached_property

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


@dataclass(frozen=True, kw_only=True, eq=False)
class Daylight:
    """Where the sun stands, and what hangs on that alone: worked out once for all irradiance.

    Attributes
    ----------
    site : facts of the place and the arrays
    grid : the bins
    sun : the direction to the sun at the middle of each bin; shape (days, bins)
    """

    site: Site
    grid: Grid
    sun: SunVectors

    @cached_property
    def cos_incidence_on_first(self) -> Floats:
        """Cosine of the incidence angle on the first array, shape (days, bins) [-]."""
        first = self.site.arrays[0]
        return incidence(sun=self.sun, tilt_deg=first.tilt_deg, azimuth_deg=first.azimuth_deg)

    @cached_property
    def bins(self) -> Ints:
        """The flat bins that are not dark; shape (n,), as of all that follows."""
        return np.flatnonzero(self.sun.up.ravel() > DARK_SINE)

    @cached_property
    def time_s(self) -> Ints:
        """The middle of each bin, UTC epoch seconds."""
        return self.grid.start_s.ravel()[self.bins] + BIN_S // 2

    @cached_property
    def toward(self) -> SunVectors:
        """The direction to the sun."""
        return self.sun.shaped(-1).at(self.bins)

    @cached_property
    def outside_w_m2(self) -> Floats:
        """Irradiance outside the atmosphere, facing the sun."""
        return extraterrestrial_w_m2(self.time_s)

    @cached_property
    def blocked(self) -> Bools:
        """Whether what stands around the arrays hides the sun."""
        return horizon_blocks(sun=self.toward, horizon=self.site.horizon)

    @cached_property
    def modifiers(self) -> tuple[Floats, ...]:
        """Each array's incidence angle modifier for beam [-]."""
        return tuple(map(self._modifier, self.site.arrays))

    def cos_incidence(self, tilt_deg: float, azimuth_deg: float) -> Floats:
        """Give the cosine of the incidence angle on a plane [-]."""
        plane = (tilt_deg, azimuth_deg)
        if plane not in self._cosines:
            self._cosines[plane] = incidence(
                sun=self.toward, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg
            )
        return self._cosines[plane]

    @cached_property
    def _cosines(self) -> dict[tuple[float, float], Floats]:
        return {}

    def _modifier(self, array: Array) -> Floats:
        along, across = tube_angles(
            sun=self.toward,
            tilt_deg=array.tilt_deg,
            azimuth_deg=array.azimuth_deg,
            tubes_run=array.tubes_run,
            absorber_turn_deg=array.absorber_turn_deg,
            latitude_deg=self.site.place.latitude_deg,
        )
        return incidence_modifier(
            array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
        )


def daylight_on(grid: Grid, site: Site) -> Daylight:
    """Give where the sun stands at the middle of each bin."""
    place = site.place
    sun = sun_vectors(
        time_s=grid.start_s.ravel() + BIN_S // 2,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    return Daylight(site=site, grid=grid, sun=sun.shaped(*grid.shape))


def sky_of(
    daylight: Daylight,
    *,
    g_plane_w_m2: Floats | None,
    g_horizontal_w_m2: Floats | None,
    weather: Weather | None,
) -> Sky:
    """Work out sun and gain on every bin.

    Parameters
    ----------
    daylight : where the sun stands on the bins
    g_plane_w_m2, g_horizontal_w_m2 : bin means of shape (days, bins), or None where not logged
    weather : hourly weather of the same period, or None

    Notes
    -----
    A day takes the most trusted source that tells (nearly) all its logged daylight; where none
    does, the one that tells most.
    """
    grid, sun = daylight.grid, daylight.sun
    readings = (g_plane_w_m2, g_horizontal_w_m2, _known_hours(weather, grid))
    source = _source(readings, grid, sun.up > 0.0)
    # In the dark nothing comes, where anything is known.
    plane = np.repeat(np.where(source == NO_SOURCE, np.nan, 0.0), grid.shape[1])
    gain = plane.copy()
    of_bin = source[daylight.bins // grid.shape[1]]
    for number in np.unique(source[source != NO_SOURCE]).tolist():
        picked = np.flatnonzero(of_bin == number)
        here = daylight.bins[picked]
        light = _Light(
            daylight=daylight,
            # Mostly all days have one source: nothing needs to be copied.
            picked=slice(None) if here.size == of_bin.size else picked,
            source=number,
            reading=_daylight(readings[number], here),
            weather=weather,
        )
        plane[here], gain[here] = light.plane_and_gain()
    return Sky(
        source=source,
        sun_sine=sun.up,
        g_plane_w_m2=plane.reshape(grid.shape),
        gain_w=gain.reshape(grid.shape),
        cos_incidence=daylight.cos_incidence_on_first,
    )


def _known_hours(weather: Weather | None, grid: Grid) -> Floats | None:
    return None if weather is None else weather.irradiance_at(grid.start_s + BIN_S // 2)[0]


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
    """Irradiance on planes from one source, in some bins of daylight."""

    daylight: Daylight
    picked: Ints | slice
    source: int
    reading: Floats
    weather: Weather | None

    @property
    def _up(self) -> Floats:
        return self.daylight.toward.up[self.picked]

    @property
    def _outside_w_m2(self) -> Floats:
        return self.daylight.outside_w_m2[self.picked]

    def _cosine(self, tilt_deg: float, azimuth_deg: float) -> Floats:
        return self.daylight.cos_incidence(tilt_deg, azimuth_deg)[self.picked]

    def plane_and_gain(self) -> tuple[Floats, Floats]:
        """Give irradiance in the first array's plane and the gain of all arrays [W/m2, W]."""
        site = self.daylight.site
        total = np.zeros(self.reading.shape)
        # Arrays mostly lie alike, and their absorbers in their plane.
        on = cache(self._on)
        for array, modifier in zip(site.arrays, self.daylight.modifiers, strict=True):
            plane = on(
                *absorber_plane(
                    tilt_deg=array.tilt_deg,
                    azimuth_deg=array.azimuth_deg,
                    tubes_run=array.tubes_run,
                    absorber_turn_deg=array.absorber_turn_deg,
                    latitude_deg=site.place.latitude_deg,
                )
            )
            gained_w_m2 = gain_w_m2(
                array=array,
                beam_w_m2=plane.beam_w_m2,
                diffuse_w_m2=plane.diffuse_w_m2,
                modifier=modifier[self.picked],
            )
            total = total + array.area_m2 * gained_w_m2
        first = site.arrays[0]
        if self.source == PLANE:
            return self.reading, total
        return on(first.tilt_deg, first.azimuth_deg).total_w_m2, total

    def _on(self, tilt_deg: float, azimuth_deg: float) -> Plane:
        """Give the light on a plane, the ring around the sun with the beam."""
        if self.source == PLANE:
            return self._moved(tilt_deg, azimuth_deg)
        cosine = self._cosine(tilt_deg, azimuth_deg)
        if self.source == LEVEL:
            plane = from_horizontal(
                g_horizontal_w_m2=self.reading,
                cos_incidence=cosine,
                cos_zenith=self._up,
                extraterrestrial_w_m2=self._outside_w_m2,
                tilt_deg=tilt_deg,
                model=self.daylight.site.sun.model,
            )
        else:
            assert self.weather is not None
            ghi, dni, dhi = self.weather.irradiance_at(self.daylight.time_s[self.picked])
            plane = transpose(
                ghi=ghi,
                dhi=dhi,
                dni=dni,
                cos_incidence=cosine,
                cos_zenith=self._up,
                extraterrestrial_w_m2=self._outside_w_m2,
                tilt_deg=tilt_deg,
                model=self.daylight.site.sun.model,
            )
        blocked = self.daylight.blocked[self.picked]
        plane = Plane(
            beam_w_m2=np.where(blocked, 0.0, plane.beam_w_m2), diffuse_w_m2=plane.diffuse_w_m2
        )
        parts = parts_of(
            plane,
            cos_incidence=cosine,
            cos_zenith=self._up,
            outside_w_m2=self._outside_w_m2,
            tilt_deg=tilt_deg,
        )
        return with_ring(plane, parts, cos_incidence=cosine)

    def _moved(self, tilt_deg: float, azimuth_deg: float) -> Plane:
        """Take the sensor's plane apart and put it together on another plane.

        The sensor lies in the plane of the first array; only arrays that face elsewhere, or turned
        absorbers, differ from it.
        """
        first = self.daylight.site.arrays[0]
        sensor_cosine = self._cosine(first.tilt_deg, first.azimuth_deg)
        seen = split_plane(
            g_plane_w_m2=self.reading,
            cos_incidence=sensor_cosine,
            cos_zenith=self._up,
            extraterrestrial_w_m2=self._outside_w_m2,
            tilt_deg=first.tilt_deg,
        )
        parts = parts_of(
            seen,
            cos_incidence=sensor_cosine,
            cos_zenith=self._up,
            outside_w_m2=self._outside_w_m2,
            tilt_deg=first.tilt_deg,
        )
        cosine = self._cosine(tilt_deg, azimuth_deg)
        if _same_plane((tilt_deg, azimuth_deg), (first.tilt_deg, first.azimuth_deg)):
            return with_ring(seen, parts, cos_incidence=cosine)
        return parts.on(cos_incidence=cosine, tilt_deg=tilt_deg)


def _same_plane(one_deg: tuple[float, float], other_deg: tuple[float, float]) -> bool:
    """Tell whether two planes of this tilt and azimuth lie alike."""
    one, other = (
        np.array(absorber_axes(tilt_deg=tilt, azimuth_deg=way).normal)
        for tilt, way in (one_deg, other_deg)
    )
    return bool(np.allclose(one, other, rtol=0.0, atol=1e-9))
