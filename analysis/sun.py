"""Where the sun stands, and at which angles it meets a plane of tubes.

Directions are unit vectors (east, north, up) towards the apparent sun, refraction included: angles
would wrap and lose precision, vectors do not. Azimuths run clockwise from north.

The sun's place among the stars moves by a degree a day. The long series of the SPA for it are
therefore summed every six hours and interpolated (error below 0.0001 degrees); the turn of the
earth, parallax and refraction are exact for every stamp. That is why there is no grid to choose.
"""

import importlib.util
import sys
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.angles import cosine_and_sine
from analysis.site import Horizon
from analysis.sources import KOPP_LEAN, SPA, SPENCER, THEUNISSEN_BECKMAN
from analysis.units import SECONDS_PER_DAY

SOURCES = (SPA, SPENCER, KOPP_LEAN, THEUNISSEN_BECKMAN)

SOLAR_CONSTANT_W_M2 = 1361.0

_NODE_S = 21_600
_BLOCK_NODES = 512  # worked out and kept together, a third of a year
_EARTH_RADIUS_OVER_SUN_DISTANCE = 4.2635e-5  # 8.794 arc seconds
_DELTA_T_S = 67.0  # terrestrial time less UT, as pvlib assumes; a second moves the sun by 1e-5 deg
_AIR_C = 12.0  # for refraction, as pvlib assumes
_LOWEST_REFRACTED_DEG = -0.83337  # upper rim of the sun under mean refraction, as in the SPA

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SunVectors:
    """Directions to the sun, one for each stamp; `up` is the cosine of the zenith angle [-]."""

    east: NDArray[np.float64]
    north: NDArray[np.float64]
    up: NDArray[np.float64]

    def at(self, where: Any) -> "SunVectors":
        """Pick some of them, by an index as numpy takes it."""
        return SunVectors(east=self.east[where], north=self.north[where], up=self.up[where])

    def shaped(self, *shape: int) -> "SunVectors":
        """Give the same in another shape."""
        return SunVectors(
            east=self.east.reshape(shape),
            north=self.north.reshape(shape),
            up=self.up.reshape(shape),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """Right-angled axes of an absorber as (east, north, up).

    `longitudinal` runs along the tubes, `transversal` across them, `normal` faces the sky.
    """

    normal: Vector
    longitudinal: Vector
    transversal: Vector


@lru_cache(maxsize=1)
def _spa() -> ModuleType:
    """Load pvlib's SPA series without the package around it.

    `pvlib/spa.py` needs numpy alone; `import pvlib` pulls in pandas and scipy and costs up to a
    second, more than a whole report should take. Where pvlib is loaded already, it is used.
    """
    if "pvlib" in sys.modules:
        return importlib.import_module("pvlib.spa")
    package = importlib.util.find_spec("pvlib")
    if package is None or not package.submodule_search_locations:
        raise ModuleNotFoundError("pvlib is not installed")
    path = Path(package.submodule_search_locations[0]) / "spa.py"
    spec = importlib.util.spec_from_file_location("analysis._pvlib_spa", path)
    if spec is None or spec.loader is None:
        return importlib.import_module("pvlib.spa")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def sun_vectors(
    *, time_s: NDArray[np.int64], latitude_deg: float, longitude_deg: float, elevation_m: float
) -> SunVectors:
    """Give the direction to the sun at each stamp.

    Parameters
    ----------
    time_s : ndarray of int64, shape (n,)
        Stamps, seconds since 1970-01-01 UTC [s]; regular or not, years of gaps cost nothing. For
        the mean over a step pass the middle of the step.
    latitude_deg : float
        North positive [°].
    longitude_deg : float
        East positive [°].
    elevation_m : float
        Height above sea level, for the air pressure that bends the light [m].

    Returns
    -------
    SunVectors
        Unit vectors, shape (n,) each; within 0.001 degrees of the SPA.

    References
    ----------
    Reda & Andreas, NREL/TP-560-34302: series, sidereal time, refraction.
    """
    time_s = np.asarray(time_s, dtype=np.int64)
    if time_s.size == 0:
        empty = np.zeros(0)
        return SunVectors(east=empty, north=empty, up=empty)
    offset_deg, declination_deg = _slow_place(time_s)
    turned_deg = _mean_sidereal_deg(time_s) + longitude_deg + offset_deg
    to_south, to_west = cosine_and_sine(np.radians(_within(turned_deg, 360.0)))
    across, pole = cosine_and_sine(np.radians(declination_deg))
    latitude = np.radians(latitude_deg)
    along = across * to_south
    east = -across * to_west
    north = pole * np.cos(latitude) - along * np.sin(latitude)
    up = pole * np.sin(latitude) + along * np.cos(latitude)
    # The observer stands one earth radius nearer to the sun's overhead line than the centre does.
    length = 1.0 - up * _EARTH_RADIUS_OVER_SUN_DISTANCE
    up = (up - _EARTH_RADIUS_OVER_SUN_DISTANCE) / length
    return _refracted(east / length, north / length, up, elevation_m)


def _within(values: NDArray[np.float64], period: float) -> NDArray[np.float64]:
    """Give what `numpy.mod` gives of many values to the last digits, ten times as fast."""
    return values - period * np.floor(values / period)


def _slow_place(time_s: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give what the hour angle needs besides mean sidereal time, and the declination [°]."""
    node = time_s // _NODE_S
    first = np.append(0, np.flatnonzero(node[1:] != node[:-1]) + 1)
    before = node[first]
    # Every stamp has its own two neighbours among the nodes, so holes are never bridged.
    blocks = np.unique(np.concatenate((before, before + 1)) // _BLOCK_NODES)
    parts = zip(*map(_nodes, blocks.tolist()), strict=True)
    nodes_s, offset, declination = (np.concatenate(part) for part in parts)
    place = np.searchsorted(nodes_s, before * _NODE_S)
    count = np.diff(first, append=time_s.size)
    share = (time_s - node * _NODE_S) / _NODE_S

    def between(values: NDArray[np.float64]) -> NDArray[np.float64]:
        low, high = values[place], values[place + 1]
        return np.asarray(np.repeat(low, count) + share * np.repeat(high - low, count))

    return between(np.unwrap(offset, period=360.0)), between(declination)


@lru_cache(maxsize=64)
def _nodes(
    block: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Give stamps, and what `_slow_place` gives, of a block of nodes; the same for every place."""
    first = block * _BLOCK_NODES
    nodes_s = (np.arange(first, first + _BLOCK_NODES) * _NODE_S).astype(np.float64)
    sidereal, ascension, declination = _spa().solar_position_numpy(
        nodes_s, 0.0, 0.0, 0.0, 1013.25, _AIR_C, _DELTA_T_S, 0.5667, 1, sst=True
    )
    found = nodes_s, sidereal - _mean_sidereal_deg(nodes_s) - ascension, declination
    for values in found:
        values.setflags(write=False)
    return found


def _mean_sidereal_deg(
    time_s: NDArray[np.int64] | NDArray[np.float64],
) -> NDArray[np.float64]:
    """Give Greenwich mean sidereal time (SPA eq. 28)."""
    days = np.asarray(time_s / SECONDS_PER_DAY - 10957.5, dtype=np.float64)  # since noon 1 Jan 2000
    centuries = days / 36525.0
    drift = centuries * centuries * (0.000387933 - centuries / 38_710_000.0)
    return np.asarray(280.46061837 + 360.98564736629 * days + drift)


def _refracted(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    up: NDArray[np.float64],
    elevation_m: float,
) -> SunVectors:
    """Lift the sun by the air's refraction (SPA eq. 42) wherever some of it can be seen."""
    seen = np.flatnonzero(up > np.sin(np.radians(_LOWEST_REFRACTED_DEG)))
    height = up[seen]
    level = np.sqrt(1.0 - height * height)
    degrees = np.degrees(np.arcsin(height))
    pressure_share = (1.0 - 2.25577e-5 * elevation_m) ** 5.25588 * 1013.25 / 1010.0
    air = pressure_share * 283.0 / (273.0 + _AIR_C) * 1.02 / 60.0
    lift = np.radians(air / np.tan(np.radians(degrees + 10.3 / (degrees + 5.11))))
    # lift stays below 0.01: the series to second order is exact to 1e-6 degrees.
    cosine = 1.0 - 0.5 * lift * lift
    up[seen] = height * cosine + level * lift
    nearer = cosine - height * lift / np.maximum(level, 1e-12)
    east[seen] *= nearer
    north[seen] *= nearer
    return SunVectors(east=east, north=north, up=up)


def zenith_deg(sun: SunVectors) -> NDArray[np.float64]:
    """Give the apparent zenith angle.

    Parameters
    ----------
    sun : SunVectors

    Returns
    -------
    ndarray
        Angle from straight up [°], 0 to 180.
    """
    return np.degrees(np.arctan2(np.hypot(sun.east, sun.north), sun.up))


def azimuth_deg(sun: SunVectors) -> NDArray[np.float64]:
    """Give the azimuth of the sun.

    Parameters
    ----------
    sun : SunVectors

    Returns
    -------
    ndarray
        Clockwise from north [°], 0 to 360.
    """
    return np.mod(np.degrees(np.arctan2(sun.east, sun.north)), 360.0)


def absorber_axes(
    *,
    tilt_deg: float,
    azimuth_deg: float,
    tubes_run: Literal["up", "across"] = "up",
    absorber_turn_deg: float = 0.0,
    latitude_deg: float = 0.0,
) -> Axes:
    """Give the axes of the absorbers of an array.

    Direct-flow tubes can be laid on a flat roof or a wall and each flat absorber turned about its
    tube's axis. Then the absorber has its own normal, to which efficiency and modifiers refer; the
    tube axis stays where it is. For tubes across the slope turning is the same as tilting.

    Parameters
    ----------
    tilt_deg : float
        Tilt of the plane of tubes from horizontal [°].
    azimuth_deg : float
        Its azimuth, clockwise from north [°].
    tubes_run : {"up", "across"}
        Up the slope or across it.
    absorber_turn_deg : float
        Turn of the absorber about the tube axis [°], positive towards the equator.
    latitude_deg : float
        Its sign says where the equator lies [°]; 0 counts as north.

    Returns
    -------
    Axes
        Unit vectors. Without a turn `transversal` points west on a plane that faces south.

    Notes
    -----
    Tubes that run up a plane facing exactly to or from the equator have no side nearer to it:
    there a positive turn is towards the west. Shade of one turned absorber on its neighbour is
    left out.
    """
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    normal = np.array(
        [np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)]
    )
    up_slope = np.array(
        [-np.cos(tilt) * np.sin(azimuth), -np.cos(tilt) * np.cos(azimuth), np.sin(tilt)]
    )
    cross_slope = np.array([np.cos(azimuth), -np.sin(azimuth), 0.0])
    along, across = (up_slope, cross_slope) if tubes_run == "up" else (cross_slope, up_slope)
    if absorber_turn_deg != 0.0:
        normal, across = _turned(normal, across, absorber_turn_deg, latitude_deg)
    return Axes(normal=_vector(normal), longitudinal=_vector(along), transversal=_vector(across))


def _turned(
    normal: NDArray[np.float64],
    across: NDArray[np.float64],
    turn_deg: float,
    latitude_deg: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turn normal and cross direction about the tube axis, normal towards the equator."""
    to_equator = -across[1] if latitude_deg >= 0.0 else across[1]
    nearer = across if to_equator > 0.0 else -across
    if abs(to_equator) < 1e-6:
        nearer = across if across[0] < 0.0 else -across
    turn = np.radians(turn_deg)
    return (
        normal * np.cos(turn) + nearer * np.sin(turn),
        nearer * np.cos(turn) - normal * np.sin(turn),
    )


def _vector(values: NDArray[np.float64]) -> Vector:
    return float(values[0]), float(values[1]), float(values[2])


def absorber_plane(
    *,
    tilt_deg: float,
    azimuth_deg: float,
    tubes_run: Literal["up", "across"],
    absorber_turn_deg: float,
    latitude_deg: float,
) -> tuple[float, float]:
    """Give tilt and azimuth of the plane in which turned absorbers lie.

    Irradiance that falls on the absorbers is that of this plane; a pyranometer mounted with the
    array still measures in the plane of the tubes.

    Parameters
    ----------
    tilt_deg, azimuth_deg : float
        The plane of the tubes [°].
    tubes_run : {"up", "across"}
    absorber_turn_deg : float
        Turn about the tube axis [°], positive towards the equator.
    latitude_deg : float
        Its sign says where the equator lies [°].

    Returns
    -------
    tuple of float
        Tilt and azimuth of the absorbers [°]; those of the plane where nothing is turned.
    """
    if absorber_turn_deg == 0.0:
        return tilt_deg, azimuth_deg
    east, north, up = absorber_axes(
        tilt_deg=tilt_deg,
        azimuth_deg=azimuth_deg,
        tubes_run=tubes_run,
        absorber_turn_deg=absorber_turn_deg,
        latitude_deg=latitude_deg,
    ).normal
    tilt = float(np.degrees(np.arctan2(np.hypot(east, north), up)))
    return tilt, float(np.mod(np.degrees(np.arctan2(east, north)), 360.0))


def _along(sun: SunVectors, axis: Vector) -> NDArray[np.float64]:
    return sun.east * axis[0] + sun.north * axis[1] + sun.up * axis[2]


def incidence(*, sun: SunVectors, tilt_deg: float, azimuth_deg: float) -> NDArray[np.float64]:
    """Give the cosine of the angle between the sun and the normal of a plane.

    Parameters
    ----------
    sun : SunVectors
    tilt_deg : float
        From horizontal [°].
    azimuth_deg : float
        Clockwise from north [°].

    Returns
    -------
    ndarray
        Cosine of the angle of incidence [-]; negative where the sun is behind the plane.
    """
    return _along(sun, absorber_axes(tilt_deg=tilt_deg, azimuth_deg=azimuth_deg).normal)


def tube_angles(
    *,
    sun: SunVectors,
    tilt_deg: float,
    azimuth_deg: float,
    tubes_run: Literal["up", "across"],
    absorber_turn_deg: float = 0.0,
    latitude_deg: float = 0.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the angles of incidence projected along and across the tubes.

    Parameters
    ----------
    sun : SunVectors
    tilt_deg, azimuth_deg : float
        The plane of the tubes [°].
    tubes_run : {"up", "across"}
        Up the slope or across it.
    absorber_turn_deg : float
        Turn of the absorber about the tube axis [°], positive towards the equator; the angles then
        refer to the turned absorber.
    latitude_deg : float
        Its sign says where the equator lies [°]; needed only with a turn.

    Returns
    -------
    tuple of ndarray
        Longitudinal and transversal angle [°], -180 to 180; beyond 90 the sun is behind.

    Notes
    -----
    theta_L = atan2(s.l, s.n), theta_T = atan2(s.t, s.n); tan^2 theta = tan^2 theta_L +
    tan^2 theta_T.

    References
    ----------
    Theunissen & Beckman (1985); ISO 9806:2017.
    """
    axes = absorber_axes(
        tilt_deg=tilt_deg,
        azimuth_deg=azimuth_deg,
        tubes_run=tubes_run,
        absorber_turn_deg=absorber_turn_deg,
        latitude_deg=latitude_deg,
    )
    facing = _along(sun, axes.normal)
    longitudinal = np.arctan2(_along(sun, axes.longitudinal), facing)
    transversal = np.arctan2(_along(sun, axes.transversal), facing)
    return np.degrees(longitudinal), np.degrees(transversal)


def extraterrestrial_w_m2(time_s: ArrayLike) -> NDArray[np.float64]:
    """Give the irradiance outside the atmosphere on a plane that faces the sun.

    Parameters
    ----------
    time_s : array_like
        Seconds since 1970-01-01 UTC [s].

    Returns
    -------
    ndarray
        Solar constant times the eccentricity correction [W/m2], 1315 to 1408.

    References
    ----------
    Spencer (1971); Kopp & Lean (2011), 1361 W/m2.
    """
    days = np.asarray(time_s, dtype=np.float64) / SECONDS_PER_DAY
    # Day of the year in the 365.2425-day mean; leap years shift the day by less than one, which
    # moves the result by less than 0.1 %.
    angle = 2.0 * np.pi * _within(days, 365.2425) / 365.2425
    cosine, sine = cosine_and_sine(angle)
    factor = (
        1.00011
        + 0.034221 * cosine
        + 0.00128 * sine
        + 0.000719 * (cosine * cosine - sine * sine)
        + 0.000077 * 2.0 * sine * cosine
    )
    return np.asarray(SOLAR_CONSTANT_W_M2 * factor)


def horizon_blocks(sun: SunVectors, horizon: Horizon | None) -> NDArray[np.bool_]:
    """Say when what stands around the array hides the sun.

    Parameters
    ----------
    sun : SunVectors
    horizon : Horizon or None
        Its line, linear between the points and 0 outside them; None is a free horizon.

    Returns
    -------
    ndarray of bool
        True where the sun is lower than the line, below the free horizon too.
    """
    blocked = sun.up < 0.0
    if horizon is None or not horizon.azimuth_deg:
        return blocked
    highest = float(np.sin(np.radians(max(horizon.elevation_deg))))
    low = np.flatnonzero(~blocked & (sun.up < highest))
    picked = SunVectors(east=sun.east[low], north=sun.north[low], up=sun.up[low])
    line = np.interp(
        azimuth_deg(picked), horizon.azimuth_deg, horizon.elevation_deg, left=0.0, right=0.0
    )
    blocked[low] = zenith_deg(picked) > 90.0 - line
    return blocked
