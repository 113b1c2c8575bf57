"""The same system for the design methods and for two hour by hour simulations.

One simulation is the project's own (a store that backup heats above, its own weather); the other is
an independent library (solar water heating of NREL's System Advisor Model: a store that the sun
alone heats, typical years from files).
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from analysis.design.climate import mains_c
from analysis.design.demand import MONTH_FACTORS, WATER_KWH_L_K
from analysis.design.mean_day import monthly_plane
from analysis.design.promise import RATED, computed_of
from analysis.design.typical_year import parse_climate
from analysis.site import Climate, HotWater, Site
from analysis.sitefile import parse_site
from analysis.sun import extraterrestrial_w_m2, incidence, sun_vectors
from analysis.transposition import transpose
from fixtures.scenario import Scenario, site_toml
from fixtures.simulate import Run
from tests.build import a_site

# A published typical year that comes with pvlib: Greensboro, United States.
GREENSBORO = Path(pvlib.__file__).parent / "data/723170TYA.CSV"

_ANGLES = tuple(float(angle) for angle in range(0, 91, 10))
# Share of the day's water in each hour: a morning and an evening (invented).
_DRAW = np.zeros(24)
_DRAW[[7, 8, 9, 10, 11, 12, 14, 15, 16, 18, 19, 20, 21]] = (
    1.7, 0.4, 0.2, 0.1, 0.2, 0.3, 0.1, 0.1, 0.1, 0.3, 0.1, 0.7, 1.5,
)  # fmt: skip
_DRAW /= _DRAW.sum()
_ROOM_C = 18.0
_PIPE_M = 20.0
_TANK_W_M2K = 1.0
_FLOW_L_MIN = 1.0
_WHEN = pd.date_range("2015-01-01", periods=8760, freq="h")


@dataclass(frozen=True, slots=True, kw_only=True)
class Years:
    """Heat into the store in a year by the simulation and by each method [kWh]."""

    name: str
    simulated_kwh: float
    by_method_kwh: dict[str, float]

    def off_frac(self, method: str) -> float:
        """How far a method is from the simulation [-]."""
        return self.by_method_kwh[method] / self.simulated_kwh - 1.0


def by_methods(site: Site) -> dict[str, float]:
    """Give what each method says of a site [kWh], the British one wherever it stands."""
    computed = computed_of(site)
    return {name: float(rate(computed.system).sum()) for name, rate in RATED.items()}


def against_own_simulation(name: str, run: Run) -> Years:
    """Hold the methods against a simulated year: its own monthly climate, its mean draw."""
    scenario: Scenario = run.scenario
    site = replace(parse_site(site_toml(scenario)), climate=climate_of_run(run))
    drawn_kwh = run.truth["drawn_w"].sum() / 60_000.0
    cold_c = float(run.means["cold_feed"].mean())
    per_litre = WATER_KWH_L_K * (scenario.mixing_valve_c - cold_c)
    litres = drawn_kwh / per_litre / (run.start_s.size / 1440.0)
    site = replace(site, hot_water=HotWater(litres_per_day=float(litres)))
    return Years(
        name=name,
        simulated_kwh=float(run.truth["delivered_w"].sum() / 60_000.0),
        by_method_kwh=by_methods(site),
    )


def climate_of_run(run: Run) -> Climate:
    """Give the monthly climate that a simulated year had; beam and diffuse are left to the site."""
    month = run.start_s.astype("datetime64[s]").astype("datetime64[M]").astype(int) % 12
    count = np.bincount(month, minlength=12)
    sun = np.bincount(month, run.means["irradiance_horizontal"], 12) / 60_000.0
    air = np.bincount(month, run.means["ambient"], 12) / count
    return Climate(
        source="the simulated year",
        horizontal_kwh_m2=tuple(sun.tolist()),
        diffuse_kwh_m2=None,
        air_c=tuple(air.tolist()),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """A solar water heater with a store of its own; `b0` shapes the modifier of its glass."""

    name: str
    area_m2: float
    eta0: float
    a1_w_m2k: float
    a2_w_m2k2: float
    tilt_deg: float
    azimuth_deg: float
    store_l: float
    litres_per_day: float
    b0: float = 0.0
    hot_c: float = 60.0

    @property
    def store_w_k(self) -> float:
        """The loss of a store twice as high as wide [W/K]."""
        wide_m = (2.0 * self.store_l / 1000.0 / np.pi) ** (1.0 / 3.0)
        return float(_TANK_W_M2K * 2.5 * np.pi * wide_m**2)


# Invented systems of usual sizes.
HEATERS = (
    Heater(name="2 m2 of tubes", area_m2=2.0, eta0=0.72, a1_w_m2k=1.4, a2_w_m2k2=0.006,
           tilt_deg=38.0, azimuth_deg=180.0, store_l=200.0, litres_per_day=110.0),
    Heater(name="4 m2 of tubes", area_m2=4.0, eta0=0.70, a1_w_m2k=1.2, a2_w_m2k2=0.004,
           tilt_deg=30.0, azimuth_deg=150.0, store_l=300.0, litres_per_day=180.0),
    Heater(name="4 m2 flat plate", area_m2=4.0, eta0=0.76, a1_w_m2k=3.6, a2_w_m2k2=0.014,
           tilt_deg=45.0, azimuth_deg=180.0, store_l=300.0, litres_per_day=180.0, b0=0.1),
    Heater(name="5 m2 of tubes, too large", area_m2=5.0, eta0=0.72, a1_w_m2k=1.4,
           a2_w_m2k2=0.006, tilt_deg=45.0, azimuth_deg=180.0, store_l=250.0,
           litres_per_day=110.0),
)  # fmt: skip


def against_library(heater: Heater, path: Path) -> Years:
    """Hold the methods against the independent library, both from one typical year's file."""
    place, frame, minute = hours_of(path)
    site = _site(heater, place, path)
    simulated = simulated_by_library(heater, place, frame, minute, mains_c(site.climate.air_c))
    return Years(
        name=f"{heater.name}, {path.name}",
        simulated_kwh=simulated,
        by_method_kwh=by_methods(site),
    )


def hours_of(path: Path) -> tuple[dict[str, float], pd.DataFrame, int]:
    """Read a typical year in TMY3 layout or from PVGIS: place, hours, minute of the hour."""
    if path.suffix.upper() == ".CSV" and path.read_text("latin-1").startswith("Latitude"):
        frame, about = pvlib.iotools.read_pvgis_tmy(path)[:2]
        inputs = about["inputs"]
        place = {"lat": inputs["latitude"], "lon": inputs["longitude"], "tz": 0.0}
        offset_h = inputs.get("irradiance time offset", 0.0)
        return place | {"elev": inputs["elevation"]}, frame.iloc[:8760], round(offset_h * 60)
    frame, about = pvlib.iotools.read_tmy3(path)
    place = {"lat": about["latitude"], "lon": about["longitude"], "tz": about["TZ"]}
    return place | {"elev": about["altitude"]}, frame, 30


def _site(heater: Heater, place: dict[str, float], path: Path) -> Site:
    iam = tuple(
        max(0.0, 1.0 - heater.b0 * (1.0 / np.cos(np.radians(angle)) - 1.0)) if angle < 90 else 0.0
        for angle in _ANGLES
    )
    site = a_site(
        place={"latitude_deg": place["lat"], "longitude_deg": place["lon"], "timezone": "UTC"},
        store={"volume_l": heater.store_l, "solar_volume_l": heater.store_l,
               "heat_loss_w_k": heater.store_w_k, "mixing_valve_c": heater.hot_c},
        loop={"pipe_length_m": _PIPE_M, "flow_l_min": _FLOW_L_MIN},
        horizon=None,
    )  # fmt: skip
    array = replace(
        site.arrays[0], area_m2=heater.area_m2, eta0_hem=heater.eta0, a1_w_m2k=heater.a1_w_m2k,
        a2_w_m2k2=heater.a2_w_m2k2, tilt_deg=heater.tilt_deg, azimuth_deg=heater.azimuth_deg,
        iam_diffuse=1.0 - heater.b0, iam_angles_deg=_ANGLES, iam_transversal=iam,
        iam_longitudinal=iam,
    )  # fmt: skip
    climate = parse_climate(path.name, path.read_bytes(), site=site)
    water = HotWater(litres_per_day=heater.litres_per_day)
    return replace(site, arrays=(array,), climate=climate, hot_water=water)


def simulated_by_library(
    heater: Heater,
    place: dict[str, float],
    frame: pd.DataFrame,
    minute: int,
    cold_c: np.ndarray,
) -> float:
    """Give the heat that stays in the store in a year, drawn or lost again [kWh].

    The store takes no more than the temperature that is asked for, so that what is drawn is what
    is wanted; the library counts as "useful" what it then throws away, so that is not used here.
    """
    from PySAM import Swh

    month, hour = np.asarray(_WHEN.month) - 1, np.asarray(_WHEN.hour)
    model = Swh.default("SolarWaterHeatingNone")
    model.SolarResource.solar_resource_data = _resource(place, frame, minute)
    flow_kg_s = _FLOW_L_MIN / 60.0 * 1.03
    loss = heater.a1_w_m2k + 40.0 * heater.a2_w_m2k2
    # From the mean temperature of the fluid, as certified, to its inlet (Duffie & Beckman, 6.19).
    inlet = 1.0 / (1.0 + loss * heater.area_m2 / (2.0 * flow_kg_s * 3800.0))
    litres = heater.litres_per_day * np.array(MONTH_FACTORS)[month] * _DRAW[hour]
    for name, value in {
        "FRta": heater.eta0 * inlet, "FRUL": loss * inlet, "iam": heater.b0,
        "area_coll": heater.area_m2, "ncoll": 1.0, "tilt": heater.tilt_deg,
        "azimuth": heater.azimuth_deg, "test_flow": flow_kg_s, "mdot": flow_kg_s,
        "test_fluid": 1.0, "fluid": 1.0, "irrad_mode": 0.0, "sky_model": 1.0, "albedo": 0.2,
        "V_tank": heater.store_l / 1000.0, "tank_h2d_ratio": 2.0, "U_tank": _TANK_W_M2K,
        "T_room": _ROOM_C, "T_tank_max": heater.hot_c, "T_set": heater.hot_c, "hx_eff": 0.75,
        "pipe_length": _PIPE_M, "pipe_diam": 0.019, "pipe_k": 0.03, "pipe_insul": 0.019,
        "scaled_draw": litres.tolist(), "use_custom_mains": 1.0,
        "custom_mains": np.asarray(cold_c)[month].tolist(),
        "system_capacity": heater.area_m2 * heater.eta0,
    }.items():  # fmt: skip
        setattr(model.SWH, name, value)
    model.execute(0)
    # The last hour of a file in TMY3 layout may be unknown.
    kept = np.array(model.Outputs.Q_deliv) + np.array(model.Outputs.Q_loss)
    assert np.isnan(kept).sum() <= 24
    return float(np.nansum(kept))


def library_mains_c(path: Path) -> np.ndarray:
    """Give the library's own mains, mean of each month; shape (12,) [°C]."""
    from PySAM import Swh

    model = Swh.default("SolarWaterHeatingNone")
    model.SolarResource.solar_resource_data = _resource(*hours_of(path))
    model.execute(0)
    month = np.asarray(_WHEN.month) - 1
    return np.bincount(month, model.Outputs.T_mains, 12) / np.bincount(month)


def _resource(place: dict[str, float], frame: pd.DataFrame, minute: int) -> dict[str, object]:
    """Give a year's weather the way the library wants it."""
    return {
        **place,
        "year": [2015] * 8760,
        "month": np.asarray(_WHEN.month).tolist(),
        "day": np.asarray(_WHEN.day).tolist(),
        "hour": np.asarray(_WHEN.hour).tolist(),
        "minute": [minute] * 8760,
        "gh": frame["ghi"].tolist(),
        "dn": frame["dni"].tolist(),
        "df": frame["dhi"].tolist(),
        "tdry": frame["temp_air"].tolist(),
        "wspd": [2.0] * 8760,
    }


def planes_hour_by_hour(path: Path, tilt_deg: float, azimuth_deg: float) -> np.ndarray:
    """Give each month's irradiation on a plane, transposed hour by hour; shape (12,) [kWh/m2]."""
    place, frame, minute = hours_of(path)
    start = np.asarray(_WHEN.tz_localize(None)).astype("datetime64[s]").astype(np.int64)
    time_s = start + minute * 60 - round(place["tz"] * 3600)
    sun = sun_vectors(
        time_s=time_s,
        latitude_deg=place["lat"],
        longitude_deg=place["lon"],
        elevation_m=place["elev"],
    )
    plane = transpose(
        ghi=frame["ghi"].to_numpy(float),
        dhi=frame["dhi"].to_numpy(float),
        dni=frame["dni"].to_numpy(float),
        cos_incidence=incidence(sun=sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg),
        cos_zenith=sun.up,
        extraterrestrial_w_m2=extraterrestrial_w_m2(time_s),
        tilt_deg=tilt_deg,
    )
    total = np.nan_to_num(plane.beam_w_m2 + plane.diffuse_w_m2)
    return np.bincount(np.asarray(_WHEN.month) - 1, total, 12) / 1000.0


def planes_by_mean_day(path: Path, tilt_deg: float, azimuth_deg: float) -> np.ndarray:
    """Give the same through one mean day a month; shape (12,) [kWh/m2]."""
    place, _, _ = hours_of(path)
    here = {"latitude_deg": place["lat"], "longitude_deg": place["lon"]}
    climate = parse_climate(path.name, path.read_bytes(), site=a_site(place=here))
    return monthly_plane(
        horizontal_kwh_m2=climate.horizontal_kwh_m2,
        diffuse_kwh_m2=climate.diffuse_kwh_m2,
        latitude_deg=place["lat"],
        tilt_deg=tilt_deg,
        azimuth_deg=azimuth_deg,
    ).total_kwh_m2
