"""Irradiance on planes against textbook examples, pvlib and a published typical year."""

import csv
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib import atmosphere, clearsky
from pvlib import irradiance as pvlib_irradiance

from analysis import irradiance as light
from analysis import sun
from analysis.transposition import air_mass, transpose
from tests.bench import sky_models
from tests.reference._ref import Ref

BOOK = "Duffie & Beckman, Solar Engineering of Thermal Processes, example "
SHARED = Path(__file__).parents[2].parent / "shared" / "data"
# PVGIS typical years (c) European Union, JRC; stamps name the hour, the satellite passes later.
YEARS = [
    ("pvgis-tmy-sicily/tmy_37.116_14.561_2005_2020.csv", 37.116, 14.561, 306.0),
    ("pvgis-tmy-piedmont/tmy_45.000_8.000_2005_2023.csv", 45.0, 8.0, 250.0),
]
SCENE_S = 600


@pytest.fixture(scope="module")
def scattered():
    """Draw sun, plane and sky at random; invented."""
    rng = np.random.default_rng(11)
    n = 4000
    zenith = np.radians(rng.uniform(0.0, 88.9, n))
    azimuth = np.radians(rng.uniform(0.0, 360.0, n))
    dni = rng.uniform(0.0, 1000.0, n)
    dhi = rng.uniform(0.0, 400.0, n)
    return {
        "zenith_deg": np.degrees(zenith),
        "azimuth_deg": np.degrees(azimuth),
        "vectors": sun.SunVectors(
            east=np.sin(zenith) * np.sin(azimuth),
            north=np.sin(zenith) * np.cos(azimuth),
            up=np.cos(zenith),
        ),
        "ghi": dni * np.cos(zenith) + dhi,
        "dhi": dhi,
        "dni": dni,
        "outside": rng.uniform(1315.0, 1408.0, n),
    }


@pytest.fixture
def textbook_hour():
    """Give 20 February 9 to 10 h at 40 degrees north: MJ/m2 instead of W/m2, the hour's middle."""
    d, h, p = np.radians(-11.6), np.radians(-37.5), np.radians(40.0)
    up = np.cos(p) * np.cos(d) * np.cos(h) + np.sin(p) * np.sin(d)
    tilted = np.radians(40.0 - 60.0)
    facing = np.cos(tilted) * np.cos(d) * np.cos(h) + np.sin(tilted) * np.sin(d)
    return {
        "ghi": 1.04,
        "dhi": 0.796,
        "dni": 0.244 / up,
        "cos_incidence": facing,
        "tilt_deg": 60.0,
        "albedo": 0.6,
    }, up


def test_erbs_share_of_the_textbook():
    ref = Ref(expected=0.766, atol=1e-3, source=BOOK + "2.15.1, kT 0.445")
    ref.check(light.erbs_diffuse_frac(0.445))


# The same hour through pvlib's own functions, once and apart from these tests: reindl 1.2837, perez
# 1.3706 MJ/m2. The book works Perez with other inputs, so that model is held by pvlib alone.
@pytest.mark.parametrize(
    ("model", "ref"),
    [
        ("isotropic", Ref(expected=1.17, atol=0.005, source=BOOK + "2.15.1")),
        (
            "hay_davies",
            Ref(expected=1.25, atol=0.005, source=BOOK + "2.16.1 inputs, recomputed apart"),
        ),
        ("reindl", Ref(expected=1.28, atol=0.005, source=BOOK + "2.16.1 (HDKR)")),
        ("perez", Ref(expected=1.3706, atol=0.005, source="pvlib 0.16.1 on the inputs of 2.16.1")),
    ],
)
def test_sky_of_the_textbook(textbook_hour, model, ref):
    scene, up = textbook_hour
    plane = transpose(
        **scene, cos_zenith=np.asarray(up), extraterrestrial_w_m2=2.34 / up, model=model
    )
    ref.check(plane.total_w_m2)


@pytest.mark.parametrize(
    ("zenith_deg", "ref"),
    [
        (60.0, Ref(expected=1.9943, atol=1e-4, source="Kasten & Young (1989), recomputed apart")),
        (80.0, Ref(expected=5.5860, atol=1e-4, source="Kasten & Young (1989), recomputed apart")),
    ],
)
def test_air_mass(zenith_deg, ref):
    ref.check(air_mass(np.cos(np.radians(zenith_deg))))


@pytest.mark.parametrize(
    ("zenith_deg", "ref"),
    [
        (60.0, Ref(expected=487.89, atol=0.05, source="Haurwitz, constants as in pvlib")),
        (30.0, Ref(expected=888.27, atol=0.05, source="Haurwitz, constants as in pvlib")),
    ],
)
def test_clear_sky_on_the_level(zenith_deg, ref):
    ref.check(light.clear_sky_horizontal_w_m2(np.cos(np.radians(zenith_deg))))


def test_clear_sky_equals_pvlib(scattered):
    theirs = clearsky.haurwitz(pd.Series(scattered["zenith_deg"]))
    ours = light.clear_sky_horizontal_w_m2(scattered["vectors"].up)
    np.testing.assert_allclose(ours, theirs["ghi"].to_numpy(), atol=1e-9)


def test_erbs_equals_pvlib_over_its_whole_span():
    kt = np.linspace(0.0, 1.0, 501)
    zenith = np.full(kt.shape, 40.0)
    level = 1366.1 * np.cos(np.radians(40.0))
    theirs = pvlib_irradiance.erbs(kt * level, zenith, 100, min_cos_zenith=0.0)
    kt_theirs = np.asarray(theirs["kt"])
    share = np.divide(theirs["dhi"], kt * level, out=np.ones(kt.shape), where=kt > 0.0)
    np.testing.assert_allclose(light.erbs_diffuse_frac(kt_theirs)[1:], share[1:], atol=1e-12)


THEIR_NAMES = {
    "isotropic": "isotropic",
    "hay_davies": "haydavies",
    "reindl": "reindl",
    "perez": "perez",
}


@pytest.mark.parametrize("model", THEIR_NAMES)
@pytest.mark.parametrize(("tilt_deg", "azimuth_deg"), [(0, 180), (38, 170), (60, 265), (90, 20)])
def test_every_model_of_the_sky_equals_pvlib(scattered, tilt_deg, azimuth_deg, model):
    vectors = scattered["vectors"]
    plane = transpose(
        ghi=scattered["ghi"],
        dhi=scattered["dhi"],
        dni=scattered["dni"],
        cos_incidence=sun.incidence(sun=vectors, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg),
        cos_zenith=vectors.up,
        extraterrestrial_w_m2=scattered["outside"],
        tilt_deg=tilt_deg,
        model=model,
    )
    theirs = pvlib_irradiance.get_total_irradiance(
        tilt_deg,
        azimuth_deg,
        scattered["zenith_deg"],
        scattered["azimuth_deg"],
        scattered["dni"],
        scattered["ghi"],
        scattered["dhi"],
        dni_extra=scattered["outside"],
        airmass=atmosphere.get_relative_airmass(scattered["zenith_deg"]),
        albedo=0.2,
        model=THEIR_NAMES[model],
    )
    np.testing.assert_allclose(plane.beam_w_m2, theirs["poa_direct"], atol=1e-9)
    np.testing.assert_allclose(plane.diffuse_w_m2, theirs["poa_diffuse"], atol=1e-8)


@pytest.mark.parametrize("model", THEIR_NAMES)
def test_a_dark_sky_gives_nothing_and_an_unknown_one_stays_unknown(model):
    plane = transpose(
        ghi=[0.0, np.nan, 500.0],
        dhi=[0.0, np.nan, 0.0],
        dni=[0.0, np.nan, 625.0],
        cos_incidence=np.array([0.5, 0.5, 0.9]),
        cos_zenith=np.array([0.8, 0.8, 0.8]),
        extraterrestrial_w_m2=np.full(3, 1361.0),
        tilt_deg=38.0,
        model=model,
    )
    assert plane.total_w_m2[0] == 0.0
    assert np.isnan(plane.diffuse_w_m2[1])
    assert np.isfinite(plane.total_w_m2[2])


def typical_year(name, latitude_deg, longitude_deg, elevation_m):
    """Read GHI, DNI, DHI of a PVGIS year and the sun of its satellite scenes."""
    path = SHARED / name
    if not path.exists():
        pytest.skip(f"{name} is not beside this checkout")
    with path.open(encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if len(row) == 10 and row[0][:2] in ("19", "20")]
    stamps = [datetime.strptime(row[0], "%Y%m%d:%H%M").replace(tzinfo=UTC) for row in rows]
    time_s = np.array([int(stamp.timestamp()) for stamp in stamps]) + SCENE_S
    ghi, dni, dhi = (np.array([float(row[column]) for row in rows]) for column in (3, 4, 5))
    vectors = sun.sun_vectors(
        time_s=time_s,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
    )
    return time_s, vectors, ghi, dni, dhi


@pytest.mark.parametrize("year", YEARS, ids=["sicily", "piedmont"])
def test_published_beam_and_diffuse_close_with_our_sun(year):
    _, vectors, ghi, dni, dhi = typical_year(*year)
    high = vectors.up > 0.065
    gap = (ghi - dhi - dni * vectors.up)[high]
    assert len(ghi) == 8760
    # 0.8 and 1.0 W/m2 found; an hour's quarter of error in the sun would give about 10.
    assert np.sqrt(np.mean(gap**2)) < 2.0


@pytest.mark.parametrize("year", YEARS, ids=["sicily", "piedmont"])
@pytest.mark.parametrize(
    ("tilt_deg", "azimuth_deg", "most_bias", "most_rmse"),
    # Facing south 7 to 8 % found; a west roof sees clear mornings at a grazing angle: 10 to 12 %.
    [(38.0, 180.0, 0.03, 0.09), (60.0, 170.0, 0.03, 0.09), (30.0, 250.0, 0.04, 0.13)],
)
def test_beam_found_back_from_the_plane_of_a_published_year(
    year, tilt_deg, azimuth_deg, most_bias, most_rmse
):
    time_s, vectors, ghi, dni, dhi = typical_year(*year)
    sky = {
        "cos_incidence": sun.incidence(sun=vectors, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg),
        "cos_zenith": vectors.up,
        "extraterrestrial_w_m2": sun.extraterrestrial_w_m2(time_s),
        "tilt_deg": tilt_deg,
    }
    truth = transpose(ghi=ghi, dhi=dhi, dni=dni, **sky)
    found = light.split_plane(g_plane_w_m2=truth.total_w_m2, **sky)
    seen = (truth.total_w_m2 > 50.0) & (vectors.up > 0.065)
    error = (found.beam_w_m2 - truth.beam_w_m2)[seen]
    mean_beam = truth.beam_w_m2[seen].mean()
    bias, rmse = error.mean() / mean_beam, np.sqrt(np.mean(error**2)) / mean_beam
    print(f"{year[0][:16]} tilt {tilt_deg:.0f}: bias {bias:+.1%}, rmse {rmse:.1%} of mean beam")
    # What Erbs, fitted to North American hours, misses in these skies: 2 to 4 % of bias found.
    assert abs(bias) < most_bias
    assert rmse < most_rmse


@pytest.mark.parametrize("year", YEARS, ids=["sicily", "piedmont"])
def test_plane_sum_from_global_alone_is_near_that_from_all_three_parts(year):
    time_s, vectors, ghi, dni, dhi = typical_year(*year)
    sky = {
        "cos_incidence": sun.incidence(sun=vectors, tilt_deg=38.0, azimuth_deg=180.0),
        "cos_zenith": vectors.up,
        "extraterrestrial_w_m2": sun.extraterrestrial_w_m2(time_s),
        "tilt_deg": 38.0,
    }
    truth = transpose(ghi=ghi, dhi=dhi, dni=dni, **sky).total_w_m2.sum()
    found = light.from_horizontal(g_horizontal_w_m2=ghi, **sky).total_w_m2.sum()
    assert found == pytest.approx(truth, rel=0.02)  # Erbs against PVGIS's own split


@pytest.mark.parametrize(
    ("day", "most_bias", "most_rmse"),
    # 2.4 and 17 %, 13 and 33 % found: 2-minute rows of a fair day and of one with broken cloud,
    # for which an hourly split was not fitted.
    [("PVT_UI_Typ1", 0.05, 0.22), ("PVT_UI_Typ4", 0.18, 0.40)],
)
def test_beam_found_back_from_a_measured_plane(day, most_bias, most_rmse):
    found = {name: (beam, truth) for name, beam, truth in sky_models.measured_days()}
    if day not in found:
        pytest.skip("the measured days are not beside this checkout")
    beam, truth = found[day]
    error = beam - truth
    assert abs(error.mean()) < most_bias * truth.mean()
    assert np.sqrt(np.mean(error**2)) < most_rmse * truth.mean()


def test_a_wrong_split_hardly_moves_the_gain_of_tubes():
    # A published year that comes with pvlib; our beam is 2.5 % off there, the gain 0.2 %.
    year = next(one for one in sky_models.years() if one.name.startswith("GREENSBORO"))
    split = sky_models.split_misses(year, 38.0, 180.0, "hay_davies")
    ours, theirs = split["Erbs, Hay & Davies"], split["GTI-DIRINT"]
    assert abs(ours.gain) < 0.01
    # The longer way round by GTI-DIRINT (Marion 2015, through pvlib) is not nearer.
    assert abs(ours.bias) < abs(theirs.bias)
    assert ours.rmse < theirs.rmse
