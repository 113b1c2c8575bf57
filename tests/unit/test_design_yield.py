"""The design yield from site facts: who takes precedence, what it rests on, what is unknown."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.design import appendix_u
from analysis.design.climate import climate_of, mains_c, region_of
from analysis.design.demand import demand_of
from analysis.design.promise import (
    METHOD,
    basis_of,
    computed_of,
    design_yield,
    modifier_50,
    promised_kwh,
)
from analysis.figures import promises_of
from analysis.site import Climate, Design, Horizon, HotWater, Place
from analysis.sitefile import parse_site
from analysis.sitefile_write import site_to_toml
from tests.build import a_site

# Invented: a sunny place.
SUNNY = Climate(
    source="an invented sunny place",
    horizontal_kwh_m2=(70, 85, 130, 165, 200, 220, 230, 205, 155, 115, 75, 60),
    diffuse_kwh_m2=None,
    air_c=(10, 10, 12, 15, 18, 23, 26, 26, 23, 19, 15, 11),
)


def british(**parts):
    return replace(a_site(**parts), design=None)


def nowhere(**parts):
    return replace(british(**parts), place=replace(a_site().place, timezone="UTC"))


def test_given_promise_takes_precedence_and_the_method_stands_beside_it():
    site = a_site()
    found = design_yield(site)
    assert (found.method, basis_of(site)) == ("given", "given")
    assert found.monthly_kwh == site.design.monthly_kwh == promises_of(site)
    assert [item.method for item in found.beside] == [METHOD, "f-chart", "SAP 2012 Appendix H"]
    own = promised_kwh(british())
    assert found.beside[0].yearly_kwh == pytest.approx(sum(own))


def test_without_a_promise_british_months_come_from_the_method():
    site = british()
    found = design_yield(site)
    assert (found.method, basis_of(site)) == (METHOD, METHOD)
    assert found.yearly_kwh == pytest.approx(sum(found.monthly_kwh))
    assert "region Midlands" in found.climate
    assert "coarse" in found.climate
    assert all(kwh >= 0.0 for kwh in found.monthly_kwh)
    assert found.monthly_kwh[5] > 4 * found.monthly_kwh[11]
    assert [item.method for item in found.beside] == ["f-chart", "SAP 2012 Appendix H"]
    assert "extrapolation" in found.beside[0].why


def test_without_promise_and_climate_there_is_none():
    site = nowhere()
    assert (design_yield(site), basis_of(site), promised_kwh(site)) == (None, None, None)
    assert promises_of(site) == (None,) * 12


def test_given_promise_needs_no_climate():
    found = design_yield(replace(nowhere(), design=Design(monthly_kwh=(80.0,) * 12)))
    assert (found.method, found.climate, found.demand, found.beside) == ("given", None, None, ())


def test_climate_of_the_site_file_is_taken_anywhere_and_before_the_table():
    for site in (nowhere(), british()):
        found = design_yield(replace(site, climate=SUNNY))
        assert found.climate == "an invented sunny place"
        assert found.yearly_kwh > 1.3 * design_yield(british()).yearly_kwh
        assert [item.method for item in found.beside] == ["f-chart"]


def test_stated_diffuse_counts():
    horizontal = np.array(SUNNY.horizontal_kwh_m2)
    dull, bright = (
        replace(SUNNY, diffuse_kwh_m2=tuple((share * horizontal).tolist())) for share in (0.7, 0.25)
    )
    sun = [
        computed_of(replace(nowhere(), climate=one)).first_plane_kwh_m2 for one in (dull, bright)
    ]
    assert sum(sun[1]) > 1.03 * sum(sun[0])


@pytest.mark.parametrize(
    ("latitude", "longitude", "timezone", "name"),
    [
        (51.5, -0.1, "Europe/London", "Thames"),
        (50.4, -4.1, "Europe/London", "South West England"),
        (60.2, -1.2, "Europe/London", "Shetland"),
        (54.6, -5.9, "Europe/London", "Northern Ireland"),
        (57.5, -4.2, "Europe/London", "Highland"),
        (52.5, 13.4, "Europe/London", None),
        (48.9, 2.3, "Europe/Paris", None),
    ],
)
def test_nearest_region_within_reach(latitude, longitude, timezone, name):
    place = Place(name="x", latitude_deg=latitude, longitude_deg=longitude, elevation_m=50.0,
                  timezone=timezone)  # fmt: skip
    found = region_of(place)
    assert (None if found is None else found[0].name) == name


@pytest.mark.parametrize(
    ("latitude", "name"), [(51.9, "Severn"), (53.3, "Wales"), (54.3, "Northern Ireland")]
)
def test_republic_of_ireland_takes_a_western_row_and_says_so(latitude, name):
    place = Place(name="x", latitude_deg=latitude, longitude_deg=-8.4, elevation_m=50.0,
                  timezone="Europe/Dublin")  # fmt: skip
    region, words = region_of(place)
    assert region.name == name
    assert "no row for the Republic of Ireland" in words


def test_demand_by_litres_by_heads_or_by_the_store():
    climate = climate_of(british())
    stated = demand_of(british(), climate)
    heads = demand_of(replace(british(), hot_water=HotWater(occupants=3.0)), climate)
    unknown = demand_of(replace(british(), hot_water=None), climate)
    assert (stated.basis, stated.litres_per_day) == ("litres", 120.0)
    # SAP 2012: 25 l a head and 36.
    assert (heads.basis, heads.litres_per_day) == ("occupants", 111.0)
    # Compliance guide: 105 l of solar volume over 0.8.
    assert (unknown.basis, unknown.litres_per_day) == ("store", pytest.approx(131.25))
    assert "assumed" in design_yield(replace(british(), hot_water=None)).demand
    assert "3 people" in design_yield(replace(british(), hot_water=HotWater(occupants=3.0))).demand


def test_stated_solar_volume_is_no_assumption():
    plain, stated = british(), british(store={"solar_volume_l": 150.0})
    assert any("half of the store" in words for words in design_yield(plain).assumed)
    assert not any("half of the store" in words for words in design_yield(stated).assumed)
    assert sum(promised_kwh(stated)) > sum(promised_kwh(plain))


def test_more_sun_more_water_more_tubes_give_more():
    def year(site):
        return sum(promised_kwh(site))

    usual = british()
    larger = replace(usual, arrays=(replace(usual.arrays[0], area_m2=3.0),))
    lossy = replace(usual, arrays=(replace(usual.arrays[0], a1_w_m2k=3.0),))
    east = replace(usual, arrays=(replace(usual.arrays[0], azimuth_deg=90.0),))
    thirsty = replace(usual, hot_water=HotWater(litres_per_day=240.0))
    assert year(lossy) < year(usual) < year(larger)
    assert year(east) < year(usual) < year(thirsty)


def test_two_arrays_share_the_load():
    usual = british()
    first = usual.arrays[0]
    halves = tuple(replace(first, area_m2=first.area_m2 / 2) for _ in range(2))
    east, west = (replace(half, azimuth_deg=azimuth) for half, azimuth in zip(
        halves, (90.0, 270.0), strict=True))  # fmt: skip
    whole = np.array(promised_kwh(usual))
    np.testing.assert_allclose(promised_kwh(replace(usual, arrays=halves)), whole, rtol=1e-9)
    assert sum(promised_kwh(replace(usual, arrays=(east, west)))) < whole.sum()


def test_horizon_takes_sun():
    wall = Horizon(azimuth_deg=(90.0, 270.0), elevation_deg=(25.0, 25.0))
    free, walled = (computed_of(replace(british(), horizon=horizon)) for horizon in (None, wall))
    assert walled.first_plane_kwh_m2[11] < 0.6 * free.first_plane_kwh_m2[11]
    assert walled.first_plane_kwh_m2[5] > 0.9 * free.first_plane_kwh_m2[5]


def test_turned_absorbers_count_with_their_own_plane():
    turned = replace(british().arrays[0], collector="direct_flow", tubes_run="across",
                     tilt_deg=5.0, azimuth_deg=180.0, absorber_turn_deg=25.0)  # fmt: skip
    flat = replace(turned, absorber_turn_deg=0.0)
    years = [sum(promised_kwh(replace(british(), arrays=(array,)))) for array in (turned, flat)]
    assert years[0] > 1.05 * years[1]


def test_modifier_of_a_flat_plate_is_that_of_its_table():
    array = replace(british().arrays[0], iam_transversal=(1.0,) * 6 + (0.9, 0.8, 0.4, 0.0),
                    iam_longitudinal=(1.0,) * 10)  # fmt: skip
    assert modifier_50(array) == pytest.approx(1.0, abs=1e-9)
    # Between the values along (0.92) and across (1.20) the tubes.
    assert 0.92 < modifier_50(british().arrays[0]) < 1.20


def test_mains_follow_the_air_late_and_less():
    cold = mains_c(SUNNY.air_c)
    air = np.array(SUNNY.air_c)
    assert cold.argmax() in (7, 8)
    assert 0.3 * np.ptp(air) < np.ptp(cold) < np.ptp(air)
    south = mains_c(np.roll(air, 6))
    assert south.argmax() in (1, 2)


def test_site_file_holds_climate_heads_and_solar_volume():
    site = replace(
        nowhere(store={"solar_volume_l": 90.0}),
        climate=replace(SUNNY, diffuse_kwh_m2=(30.0,) * 12),
        hot_water=HotWater(occupants=4.0),
    )
    assert parse_site(site_to_toml(site)) == site


def test_table_of_the_appendix_is_the_one_of_the_region():
    found = computed_of(british())
    table = appendix_u.plane_w_m2(region=found.climate.region, tilt_deg=38.0, azimuth_deg=170.0)
    np.testing.assert_allclose(
        found.first_plane_kwh_m2, table * np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
        * 24 / 1000.0, rtol=1e-9,
    )  # fmt: skip


@pytest.mark.parametrize("latitude", [-78.0, -20.0, 0.0, 78.0, 89.99])
def test_every_latitude_has_finite_months(latitude):
    sun = (0.0, 5, 60, 110, 160, 170, 150, 100, 50, 15, 1, 0)
    months = sun if latitude > 0 else (*sun[6:], *sun[:6])
    climate = replace(SUNNY, horizontal_kwh_m2=months)
    site = replace(nowhere(place={"latitude_deg": latitude}), climate=climate)
    site = replace(site, place=replace(site.place, timezone="UTC", latitude_deg=latitude))
    promised = np.array(promised_kwh(site))
    assert np.isfinite(promised).all()
    assert (promised >= 0.0).all()
    assert promised.sum() > 0.0
