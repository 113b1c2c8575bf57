"""The simulator's own sun and weather against another algorithm and the regions' yearly sums."""

import numpy as np
import pandas as pd
import pytest

from fixtures.fluid import density_kg_m3, enthalpy_j_kg, fluid, freezing_c
from fixtures.optics import incidence_modifier, light_on
from fixtures.scenario import flat_roof, home
from fixtures.sun import angles, azimuth_deg, elevation_deg, facing, sun_at
from fixtures.weather import ALPINE, ATLANTIC, BRITISH, CONTINENTAL, SOUTHERN, Climate, weather_for

YEAR_S = np.arange(1_735_689_600, 1_735_689_600 + 365 * 86400, 60, dtype=np.int64)


@pytest.mark.parametrize("place", [(52.4, -1.5), (37.1, 14.5), (-33.9, 18.4)])
def test_sun_stands_where_the_spa_puts_it(place: tuple[float, float]) -> None:
    # Reda & Andreas, NREL/TP-560-34302 (2003), through pvlib; geometric, without refraction.
    from pvlib.solarposition import get_solarposition

    time_s = YEAR_S[:: 60 * 11 + 7]
    sun = sun_at(time_s=time_s, latitude_deg=place[0], longitude_deg=place[1])
    spa = get_solarposition(pd.to_datetime(time_s, unit="s", utc=True), *place)
    zenith, azimuth = np.deg2rad(spa["zenith"].to_numpy()), np.deg2rad(spa["azimuth"].to_numpy())
    cosine = (
        sun.east * np.sin(zenith) * np.sin(azimuth)
        + sun.north * np.sin(zenith) * np.cos(azimuth)
        + sun.up * np.cos(zenith)
    )
    assert np.rad2deg(np.arccos(np.clip(cosine, -1, 1))).max() < 0.05
    assert np.abs(elevation_deg(sun) - (90 - spa["zenith"].to_numpy())).max() < 0.05


def test_textbook_case_of_two_angles_on_a_slope() -> None:
    # Zenith 60°, 45° west of south, tilt 35° due south: θ 40.464°, θL 15.768°, θT 38.830°
    # (geometry of Theunissen & Beckman 1985; recomputed).
    zenith, azimuth = np.deg2rad(60), np.deg2rad(225)
    vector = np.array([np.sin(zenith) * np.sin(azimuth), np.sin(zenith) * np.cos(azimuth),
                       np.cos(zenith)])  # fmt: skip
    sun = sun_at(time_s=YEAR_S[:1], latitude_deg=0.0, longitude_deg=0.0)
    sun = sun._replace(east=vector[:1], north=vector[1:2], up=vector[2:])
    at = angles(sun, facing(tilt_deg=35.0, azimuth_deg=180.0))
    assert np.rad2deg(np.arccos(at.cos_incidence[0])) == pytest.approx(40.464, abs=1e-3)
    assert at.longitudinal_deg[0] == pytest.approx(15.768, abs=1e-3)
    assert at.transversal_deg[0] == pytest.approx(38.830, abs=1e-3)
    across = angles(sun, facing(tilt_deg=35.0, azimuth_deg=180.0, tubes_run="across"))
    assert across.longitudinal_deg[0] == pytest.approx(38.830, abs=1e-3)
    assert azimuth_deg(sun)[0] == pytest.approx(225.0)


@pytest.mark.parametrize(("latitude", "azimuth"), [(50.0, 180.0), (-35.0, 0.0)])
def test_turned_absorber_looks_to_the_equator(latitude: float, azimuth: float) -> None:
    turned = facing(
        tilt_deg=5.0, azimuth_deg=azimuth, tubes_run="across", turn_deg=25.0,
        latitude_deg=latitude,
    )  # fmt: skip
    assert turned.tilt_deg == pytest.approx(30.0)
    steeper = facing(tilt_deg=30.0, azimuth_deg=azimuth)
    assert turned.normal == pytest.approx(steeper.normal)
    east_facing = facing(tilt_deg=5.0, azimuth_deg=90.0, turn_deg=20.0, latitude_deg=50.0)
    assert east_facing.normal[1] < 0


@pytest.mark.parametrize(
    ("climate", "place", "ghi", "diffuse"),
    [
        # SAP 2012 tables U1, U3: Britain 951 to 1220 on a slope, some 950 to 1050 on the level.
        (BRITISH, (52.4, -1.5), (900, 1100), (0.44, 0.62)),
        (CONTINENTAL, (48.3, 9.9), (1050, 1300), (0.38, 0.58)),
        # Usual sums of the western Highlands and of inner alpine valleys (common practice).
        (ATLANTIC, (57.2, -6.1), (780, 960), (0.50, 0.70)),
        (ALPINE, (46.8, 9.8), (1250, 1500), (0.33, 0.50)),
        # PVGIS typical year of southern Sicily: 1785 kWh/m2, 34 % diffuse.
        (SOUTHERN, (37.1, 14.5), (1650, 1900), (0.27, 0.40)),
    ],
)
def test_year_of_weather_is_like_its_region(
    climate: Climate,
    place: tuple[float, float],
    ghi: tuple[float, float],
    diffuse: tuple[float, float],
) -> None:
    sun = sun_at(time_s=YEAR_S, latitude_deg=place[0], longitude_deg=place[1])
    weather = weather_for(
        climate, sun=sun, time_s=YEAR_S, longitude_deg=place[1], southern=False,
        rng=np.random.default_rng(1),
    )  # fmt: skip
    total = weather.global_w_m2.sum() / 60_000
    assert ghi[0] < total < ghi[1]
    assert diffuse[0] < weather.diffuse_w_m2.sum() / weather.global_w_m2.sum() < diffuse[1]
    assert np.all(weather.global_w_m2[sun.up < 0] == 0)
    assert weather.beam_normal_w_m2.min() >= 0
    assert np.all(weather.beam_normal_w_m2 < sun.extraterrestrial_w_m2)
    air = weather.ambient_c
    assert air.mean() == pytest.approx(climate.mean_c, abs=1.5)
    assert air[(YEAR_S // 3600) % 24 == 3].mean() < air[(YEAR_S // 3600) % 24 == 14].mean() - 2


def test_modifier_follows_the_site_files_table() -> None:
    scenario = flat_roof()
    sun = sun_at(time_s=YEAR_S[: 3 * 1440], latitude_deg=48.3, longitude_deg=9.9)
    absorber = facing(tilt_deg=5.0, azimuth_deg=180.0, tubes_run="across", turn_deg=25.0)
    k = incidence_modifier(scenario, sun, absorber)
    assert k.max() <= max(scenario.iam_transversal) * max(scenario.iam_longitudinal)
    assert np.all(k[angles(sun, absorber).cos_incidence <= 0] == 0)


def test_horizon_takes_the_beam() -> None:
    walled = home(horizon_azimuth_deg=(0.0, 360.0), horizon_elevation_deg=(80.0, 80.0))
    sun = sun_at(time_s=YEAR_S[:1440], latitude_deg=52.4, longitude_deg=-1.5)
    weather = weather_for(
        SOUTHERN, sun=sun, time_s=YEAR_S[:1440], longitude_deg=-1.5, southern=False,
        rng=np.random.default_rng(1),
    )  # fmt: skip
    none = np.zeros(1440)
    light = light_on(walled, sun=sun, weather=weather, blocked=none, sensor_blocked=none)
    assert light.beam_w_m2.max() == 0
    assert light.plane_w_m2.max() > 0


@pytest.mark.parametrize(
    ("name", "frac", "t_c", "rho", "cp"),
    [
        # IAPWS-95 at 3 bar; Melinder by mass (reference values 4.1, 4.2).
        ("water", 0.0, 20.0, 998.298, 4183.4),
        ("water", 0.0, 80.0, 971.879, 4196.3),
        ("propylene_glycol", 0.4, 20.0, 1032.3, 3707.0),
        ("propylene_glycol", 0.4, 80.0, 991.6, 3896.0),
        ("propylene_glycol", 0.3, 60.0, 1001.2, 3962.0),
    ],
)
def test_fitted_fluid_keeps_to_the_table(
    name: str, frac: float, t_c: float, rho: float, cp: float
) -> None:
    liquid = fluid(name=name, concentration_frac=frac)
    assert density_kg_m3(of=liquid, t_c=np.array(t_c)) == pytest.approx(rho, rel=1e-3)
    slope = np.diff(enthalpy_j_kg(of=liquid, t_c=np.array([t_c - 0.5, t_c + 0.5])))
    assert slope[0] == pytest.approx(cp, rel=2e-3)


def test_fluid_outside_the_table_is_refused() -> None:
    with pytest.raises(ValueError, match="knows no fluid"):
        fluid(name="brine", concentration_frac=0.1)
    with pytest.raises(ValueError, match="outside"):
        fluid(name="propylene_glycol", concentration_frac=0.7)
    assert freezing_c(name="propylene_glycol", concentration_frac=0.4) == pytest.approx(-20.6)
