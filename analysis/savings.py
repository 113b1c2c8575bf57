"""What the sun saved: useful heat, fuel, money and CO2, after the pump.

Useful heat is delivered heat less the extra loss of a store that the sun keeps warmer than the
backup would. Prices are those of the day. Where the site file is silent about CO2, published
factors are used.
"""

from datetime import date

import numpy as np

from analysis.days import DayTable
from analysis.energy import delivered
from analysis.record import Floats
from analysis.results import Bounded, Savings
from analysis.site import Backup, Site
from analysis.sources import Source
from analysis.uncertainty import COVERAGE_95

SAP_10_2 = Source("SAP 10.2, Table 12: fuel factors", "text of 14-03-2025; others from memory")
STORE_LABEL = Source("Regulation (EU) 812/2013, Annex II: standing loss, class C")
SOURCES = (SAP_10_2, STORE_LABEL)

# kg CO2 for each kWh of fuel energy. Mains gas and electricity read in the published table, the
# rest from memory.
CO2_KG_PER_KWH: dict[str, float | None] = {
    "mains_gas": 0.210,
    "lpg": 0.241,
    "heating_oil": 0.298,
    "electricity": 0.136,
    "heat_pump": 0.136,
    "wood_pellets": 0.053,
    "other": None,
}
# The marginal efficiency in summer is rarely the one on the label: standard uncertainty
# (common practice, no source).
EFFICIENCY_FRAC = 0.04
EXTRA_LOSS_FRAC = 0.5


def savings_of(table: DayTable, site: Site) -> Savings | None:
    """Give what was saved over the table's days; None without backup facts or heat.

    Parameters
    ----------
    table : the days
    site : facts of the last day; tariffs hold for their own days
    """
    backup = site.backup
    heat = delivered(table, np.arange(len(table.days)))
    if backup is None or heat is None:
        return None
    extra = _extra_loss_kwh(table, site)
    extra_kwh = float(np.nansum(extra))
    useful = Bounded(
        value=max(heat.value - extra_kwh, 0.0), low=heat.low - extra_kwh, high=heat.high - extra_kwh
    )
    fuel = _fuel(useful, extra_kwh, backup)
    daily = np.nan_to_num(table.column("heat_kwh")) - np.nan_to_num(extra)
    pump = np.nan_to_num(table.column("pump_kwh"))
    money, pump_cost = _money(table, backup, daily / backup.efficiency, pump)
    co2 = backup.co2_kg_per_kwh
    if co2 is None:
        co2 = CO2_KG_PER_KWH[backup.fuel]
    pump_co2 = float(pump.sum()) * _electricity_co2(backup)
    scale = _scale(fuel)
    return Savings(
        useful_kwh=useful.value,
        fuel_kwh=fuel.value,
        fuel_low_kwh=fuel.low,
        fuel_high_kwh=fuel.high,
        money=money,
        pump_cost=pump_cost,
        money_net=_less(money, pump_cost),
        money_net_low=_less(None if money is None else money * scale[0], pump_cost),
        money_net_high=_less(None if money is None else money * scale[1], pump_cost),
        currency=backup.currency,
        co2_kg=None if co2 is None else fuel.value * co2 - pump_co2,
        co2_low_kg=None if co2 is None else fuel.low * co2 - pump_co2,
        co2_high_kg=None if co2 is None else fuel.high * co2 - pump_co2,
    )


def _extra_loss_kwh(table: DayTable, site: Site) -> Floats:
    """Give each day's extra loss of a store kept warmer by the sun [kWh]."""
    loss_w_k = site.store.heat_loss_w_k
    if loss_w_k is None:
        # Regulation (EU) 812/2013: class C limit at 45 K over the room.
        loss_w_k = (16.66 + 8.33 * site.store.volume_l**0.4) / 45.0
    return table.column("store_excess_kh") * loss_w_k / 1000.0


def _fuel(useful: Bounded, extra_kwh: float, backup: Backup) -> Bounded:
    value = useful.value / backup.efficiency
    u_heat = (useful.high - useful.low) / 2.0 / COVERAGE_95
    u_useful = float(np.hypot(u_heat, EXTRA_LOSS_FRAC * extra_kwh))
    u_fuel = float(np.hypot(u_useful / backup.efficiency, EFFICIENCY_FRAC * value))
    reach = COVERAGE_95 * u_fuel
    return Bounded(value=value, low=max(value - reach, 0.0), high=value + reach)


def _scale(fuel: Bounded) -> tuple[float, float]:
    if fuel.value <= 0.0:
        return 1.0, 1.0
    return fuel.low / fuel.value, fuel.high / fuel.value


def _money(
    table: DayTable, backup: Backup, fuel_kwh: Floats, pump_kwh: Floats
) -> tuple[float | None, float | None]:
    """Give money for fuel and for the pump at the prices of each day."""
    fuel_price = _prices(table, backup, "price_per_kwh")
    pump_price = _prices(table, backup, "electricity_price_per_kwh")
    money = None if fuel_price is None else float((fuel_kwh * fuel_price).sum())
    cost = None if pump_price is None else float((pump_kwh * pump_price).sum())
    return (None if money is None else max(money, 0.0)), cost


def _prices(table: DayTable, backup: Backup, key: str) -> Floats | None:
    base: float | None = getattr(backup, key)
    if base is None and key == "electricity_price_per_kwh":
        base = backup.price_per_kwh if backup.fuel in ("electricity", "heat_pump") else None
    if base is None:
        return None
    prices = np.full(len(table.days), base)
    for tariff in sorted(backup.tariffs, key=lambda item: item.start):
        value: float | None = getattr(tariff, key)
        if value is None:
            continue
        since = np.array([date.fromisoformat(day) >= tariff.start for day in table.days.dates])
        prices[since] = value
    return prices


def _electricity_co2(backup: Backup) -> float:
    if backup.electricity_co2_kg_per_kwh is not None:
        return backup.electricity_co2_kg_per_kwh
    factor = CO2_KG_PER_KWH["electricity"]
    assert factor is not None
    return factor


def _less(value: float | None, cost: float | None) -> float | None:
    """Give money after the pump; an unknown price of electricity leaves it unknown."""
    return None if value is None or cost is None else value - cost
