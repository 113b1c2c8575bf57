"""What stands beside a site's pictures: figures with their names and what they rest on."""

from dataclasses import dataclass

from analysis.condition.words import tubes_words
from analysis.results import Bounded, Report, Savings
from analysis.site import Site
from dashboards.format import (
    bound_of,
    bounded,
    known,
    money,
    number,
    plural,
    quantity,
    sentence,
    share,
)
from dashboards.missing_heat import untold_days
from dashboards.texts import design_basis, heat_basis, offset_words, weather_basis

_LEAST_COVERAGE_FOR_PROMISE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A figure with its name and, where needed, a line on what it means."""

    label: str
    value: str
    note: str = ""


def _expected_note(report: Report) -> str:
    untold = untold_days(report)
    but = f" {plural(untold, 'day')} that cannot tell it left out." if untold else ""
    return f"In this weather, against the store temperatures that occurred.{but}"


def facts_of(report: Report) -> tuple[Fact, ...]:
    """Give what delivered heat is held against, and how much was measured."""
    totals = report.totals
    expected = bound_of(totals.expected_kwh, totals.expected_low_kwh, totals.expected_high_kwh)
    promise = quantity(totals.design_kwh, "kWh", unknown="not known")
    pro_rata = any(month.design_pro_rata for month in report.months)
    return (
        Fact(
            label="A healthy collector would have given",
            value=bounded(expected, unknown="not known, because the sun was not measured"),
            note=_expected_note(report) if expected else "",
        ),
        Fact(
            label="Promised" if report.basis.design == "given" else "Design yield",
            value=promise,
            note="From the climate, not from this year's weather."
            + (
                " Of a month measured less than nine tenths, only that share is counted."
                if pro_rata or totals.coverage < _LEAST_COVERAGE_FOR_PROMISE
                else ""
            ),
        ),
        Fact(
            label="Measured",
            value=f"{share(totals.coverage)} of the time",
            note="What was not measured is not counted: neither as zero nor as heat.",
        ),
        Fact(label="Pump", value=quantity(totals.pump_kwh, "kWh of electricity")),
    )


def savings_of(report: Report) -> tuple[Fact, ...]:
    """Give what the sun saved; nothing where the site file names no backup."""
    saved = report.savings
    if saved is None:
        return ()
    fuel = bound_of(saved.fuel_kwh, saved.fuel_low_kwh, saved.fuel_high_kwh)
    carbon = bound_of(saved.co2_kg, saved.co2_low_kg, saved.co2_high_kg)
    net = money(saved.money_net, saved.currency)
    if known(saved.money_net_low) and known(saved.money_net_high):
        low = money(saved.money_net_low, saved.currency)
        net += f", likely between {low} and {money(saved.money_net_high, saved.currency)}"
    return (
        Fact(
            label="Useful heat",
            value=f"{number(saved.useful_kwh)} kWh",
            note="Delivered heat less what store and pipes lost because of it.",
        ),
        Fact(label="Fuel not burnt", value=bounded(fuel), note=_efficiency_words(saved)),
        Fact(label="Money, after the pump", value=net),
        Fact(
            label="CO₂, after the pump",
            value=bounded(carbon, "kg", unknown="not known"),
            note=f"By {saved.co2_source}." if saved.co2_source else "",
        ),
    )


def _efficiency_words(saved: Savings) -> str:
    low, high = saved.efficiency_low, saved.efficiency_high
    if low is None or high is None:
        return ""
    return f"For a backup that turns {share(low)} to {share(high)} of its fuel into hot water."


def condition_of(report: Report, site: Site) -> tuple[Fact, ...]:
    """Give the state of the collector; nothing where it was not asked."""
    state = report.condition
    if state is None:
        return ()
    parts: tuple[tuple[str, Bounded | None, str], ...] = (
        ("Peak efficiency η₀", state.eta0, ""),
        ("Heat loss a₁", state.a1_w_m2k, "W/(m²·K)"),
    )
    return (
        Fact(label="Tubes working", value=tubes_at_work(report, site), note=" ".join(state.says)),
        *(
            Fact(
                label=label,
                value=bounded(value, unit, unknown="cannot be told yet").replace(" ,", ","),
            )
            for label, value, unit in parts
        ),
    )


def tubes_at_work(report: Report, site: Site) -> str:
    """Say how many tubes work, where that can be told: "17 of 20 (15 to 19)"."""
    state = report.condition
    if state is None or state.tubes_working is None or not site.tubes:
        return "cannot be told yet"
    return tubes_words(state.tubes_working, site.tubes)


def basis_of(report: Report) -> tuple[Fact, ...]:
    """Give what heat, weather, promise and bounds rest on."""
    basis = report.basis
    return (
        Fact(label="Delivered heat", value=heat_basis(basis.heat)),
        *(Fact(label="Pipe sensors", value=sentence(offset_words(item))) for item in basis.offsets),
        Fact(label="Weather", value=weather_basis(basis.weather)),
        Fact(label="Promise", value=design_basis(basis.design)),
        Fact(
            label="Bounds",
            value="“Likely” means 95 times in 100. Sensor class, flow, fluid and sampling are in "
            "it; errors that stay the same all year are added, never averaged away.",
        ),
    )


def rows_read(report: Report) -> str:
    """Say how many rows were read and what became of them."""
    rows = report.rows
    return (
        f"{plural(rows.read, 'row')} read, {rows.kept:,} used, {rows.duplicate:,} doubled, "
        f"{rows.rejected:,} set aside"
    )


def describe(site: Site) -> str:
    """Say in one line what stands on the roof."""
    words = {"heat_pipe": "heat pipe", "direct_flow": "direct-flow", "flat_plate": "flat plate"}
    kinds = " and ".join(dict.fromkeys(words[array.collector] for array in site.arrays))
    tubes = f"{plural(site.tubes, f'{kinds} tube')}" if site.tubes else f"{kinds} collectors"
    return (
        f"{tubes}, {number(site.area_m2, decimals=1)} m², store of {number(site.store.volume_l)} l"
    )
