"""Fuel, money and CO2: a worked example, prices by date, and what stays unknown."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.day_figures import HEAT_PARTS
from analysis.savings import CO2_KG_PER_KWH, savings_of
from analysis.site import Tariff
from tests.build import a_site, a_table
from tests.reference._ref import Ref

SAP = "SAP 10.2 Table 12 (text of 14-03-2025): factors and unit prices; example recomputed apart"


def year(*, heat=1000.0, pump=40.0, excess_kh=0.0, u_kwh=0.0, **given):
    """Give a year of even days that sum to so many kilowatt-hours."""
    parts = {f"heat_{name}_u_kwh": 0.0 for name in HEAT_PARTS} | {"heat_method_u_kwh": u_kwh / 365}
    columns = {
        "heat_kwh": heat / 365,
        "heat_random_kwh2": 0.0,
        "pump_kwh": pump / 365,
        "store_excess_kh": excess_kh / 365,
        **parts,
        **given,
    }
    return a_table(first="2025-01-01", count=365, **columns)


def gas_site(**given):
    backup = {
        "fuel": "mains_gas",
        "efficiency": 0.85,
        "price_per_kwh": 0.0364,
        "electricity_price_per_kwh": 0.1649,
        "tariffs": (),
        **given,
    }
    return a_site(backup=backup)


def test_co2_that_gas_saves():
    found = savings_of(year(), gas_site())
    Ref(expected=241.6, atol=0.1, source=SAP).check(found.co2_kg)
    Ref(expected=1176.5, atol=0.1, source=SAP).check(found.fuel_kwh)


def test_money_that_gas_saves():
    Ref(expected=36.23, atol=0.01, source=SAP).check(savings_of(year(), gas_site()).money_net)


def test_co2_and_money_that_an_old_boiler_saves():
    found = savings_of(year(), gas_site(efficiency=0.74))
    Ref(expected=278.3, atol=0.1, source=SAP).check(found.co2_kg)
    Ref(expected=42.59, atol=0.01, source=SAP).check(found.money_net)


def test_money_and_co2_that_an_immersion_heater_saves():
    site = gas_site(fuel="electricity", efficiency=1.0, price_per_kwh=0.1649)
    found = savings_of(year(), site)
    Ref(expected=158.30, atol=0.01, source=SAP).check(found.money_net)
    Ref(expected=130.6, atol=0.1, source=SAP).check(found.co2_kg)


def test_the_electricity_of_the_pump_costs_what_the_fuel_costs_where_that_is_electricity():
    site = gas_site(
        fuel="electricity", efficiency=1.0, price_per_kwh=0.20, electricity_price_per_kwh=None
    )
    found = savings_of(year(), site)
    assert found.pump_cost == pytest.approx(8.0)
    assert found.money_net == pytest.approx(192.0)


def test_prices_are_those_of_the_day():
    tariff = Tariff(start=date(2025, 7, 1), price_per_kwh=0.10, electricity_price_per_kwh=None)
    found = savings_of(year(), gas_site(tariffs=(tariff,)))
    before = (date(2025, 7, 1) - date(2025, 1, 1)).days
    fuel = 1000.0 / 0.85 / 365
    assert found.money == pytest.approx(fuel * (before * 0.0364 + (365 - before) * 0.10))
    # A price that a tariff does not name stays as before.
    assert found.pump_cost == pytest.approx(40.0 * 0.1649)


def test_tariffs_count_in_order_of_their_dates_however_they_are_written():
    late = Tariff(start=date(2025, 10, 1), price_per_kwh=0.2, electricity_price_per_kwh=0.3)
    early = Tariff(start=date(2025, 4, 1), price_per_kwh=0.1, electricity_price_per_kwh=0.2)
    one, other = (savings_of(year(), gas_site(tariffs=order)) for order in
                  ((late, early), (early, late)))  # fmt: skip
    assert one == other


def test_a_tariff_of_last_year_holds_now():
    old = Tariff(start=date(2024, 4, 1), price_per_kwh=0.06, electricity_price_per_kwh=None)
    found = savings_of(year(), gas_site(tariffs=(old,)))
    assert found.money == pytest.approx(1000.0 / 0.85 * 0.06)


def test_unknown_prices_leave_money_unknown_and_the_rest_told():
    found = savings_of(year(), gas_site(price_per_kwh=None))
    assert found.money is None
    assert found.money_net is None
    assert found.money_net_low is None
    assert found.fuel_kwh > 0.0
    without_power_price = savings_of(year(), gas_site(electricity_price_per_kwh=None))
    assert without_power_price.money is not None
    assert without_power_price.pump_cost is None
    assert without_power_price.money_net is None


def test_a_fuel_without_a_published_factor_has_no_co2():
    assert CO2_KG_PER_KWH["other"] is None
    assert savings_of(year(), gas_site(fuel="other", co2_kg_per_kwh=None)).co2_kg is None
    told = savings_of(year(), gas_site(fuel="other", co2_kg_per_kwh=0.3))
    assert told.co2_kg == pytest.approx(1000.0 / 0.85 * 0.3 - 40.0 * 0.136)


def test_the_site_file_goes_before_published_factors():
    found = savings_of(year(), gas_site(co2_kg_per_kwh=0.5, electricity_co2_kg_per_kwh=0.0))
    assert found.co2_kg == pytest.approx(1000.0 / 0.85 * 0.5)


def test_nothing_is_said_without_backup_or_heat():
    assert savings_of(year(), replace(a_site(), backup=None)) is None
    assert savings_of(year(heat_kwh=np.nan), gas_site()) is None


def test_a_store_kept_warmer_by_the_sun_loses_part_of_the_heat():
    site = a_site(backup={"fuel": "mains_gas", "efficiency": 1.0}, store={"heat_loss_w_k": 2.0})
    found = savings_of(year(excess_kh=50_000.0), site)
    assert found.useful_kwh == pytest.approx(1000.0 - 100.0)
    assert found.fuel_kwh == pytest.approx(900.0)


def test_an_unknown_store_loss_is_taken_from_the_label():
    """Regulation (EU) 812/2013, class C limit: 16.66 + 8.33 V^0.4 W at 45 K."""
    site = a_site(backup={"efficiency": 1.0}, store={"heat_loss_w_k": None, "volume_l": 200.0})
    found = savings_of(year(excess_kh=10_000.0), site)
    assert found.useful_kwh == pytest.approx(1000.0 - 10.0 * (16.66 + 8.33 * 200.0**0.4) / 45.0)


def test_useful_heat_is_never_below_nothing():
    found = savings_of(year(heat=10.0, excess_kh=50_000.0), gas_site())
    assert found.useful_kwh == 0.0
    assert found.fuel_low_kwh == 0.0


def test_bounds_hold_the_value_and_grow_with_those_of_the_heat():
    narrow, wide = (savings_of(year(u_kwh=u), gas_site()) for u in (0.0, 60.0))
    for found in (narrow, wide):
        assert found.fuel_low_kwh < found.fuel_kwh < found.fuel_high_kwh
        assert found.money_net_low < found.money_net < found.money_net_high
        assert found.co2_low_kg < found.co2_kg < found.co2_high_kg
    assert wide.fuel_high_kwh > narrow.fuel_high_kwh
    # 60 kWh of heat and 4 % of the efficiency, combined: JCGM 100:2008 eq. 10.
    u = np.hypot(60.0 / 0.85, 0.04 * 1000.0 / 0.85)
    assert wide.fuel_high_kwh - wide.fuel_kwh == pytest.approx(1.96 * u, rel=1e-6)


def test_days_of_unknown_heat_bring_no_extra_loss():
    heat = np.full(365, 1000.0 / 365)
    heat[:100] = np.nan
    some = savings_of(year(excess_kh=36_500.0, heat_kwh=heat), gas_site())
    whole = savings_of(year(excess_kh=36_500.0), gas_site())
    assert some.useful_kwh == pytest.approx(whole.useful_kwh * 265 / 365)
