"""The site file as data: every table, every key, its sort, span, unit and default.

Spans are meant to catch slips (a percentage for a fraction, millimetres for metres), not to teach
the trade: unless a source stands beside it, a span is common practice, no source. The rules that
join several keys are in `analysis.sitefile_sense`.
"""

from dataclasses import dataclass

from analysis.site import (
    Array,
    Backup,
    Change,
    Climate,
    Commissioned,
    Controller,
    Design,
    FieldCheckTerms,
    HandReading,
    Horizon,
    HotWater,
    LogMap,
    Loop,
    Part,
    Place,
    Sensors,
    Store,
    Sun,
    Tariff,
    Warranty,
    WarrantyTerm,
)
from analysis.sitefile_rules import Rule
from analysis.warranty.terms import TERM_KINDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of the site file.

    Attributes
    ----------
    shape : the dataclass it becomes
    rules : what each key may be
    attribute : where a `Site` keeps it
    many : whether it is an array of tables
    required : whether it must stand in the file
    """

    shape: type
    rules: dict[str, Rule]
    attribute: str
    many: bool = False
    required: bool = False

    def field(self, key: str) -> str:
        """Give the attribute that holds a key."""
        return self.rules[key].field or key


def _must(**given: object) -> Rule:
    return Rule(required=True, **given)  # type: ignore[arg-type]


_IAM = {"kind": "numbers", "lowest": 0.0, "highest": 2.5}

_ARRAY: dict[str, Rule] = {
    "collector": _must(kind="choice", choices=("heat_pipe", "direct_flow", "flat_plate")),
    "tubes": Rule(kind="integer", lowest=1, highest=100_000, unit="tubes"),
    "tubes_run": Rule(kind="choice", choices=("up", "across"), default="up"),
    "absorber_turn_deg": Rule(lowest=-90, highest=90, unit="degrees", default=0.0),
    "tilt_deg": _must(lowest=0, highest=90, unit="degrees from horizontal"),
    "azimuth_deg": _must(lowest=0, highest=360, unit="degrees clockwise from north"),
    "area_m2": _must(lowest=0.05, highest=50_000, unit="m2"),
    "area_basis": _must(kind="choice", choices=("gross", "aperture", "absorber")),
    # Highest: above every certified collector (collector certificates, from memory).
    "eta0": Rule(lowest=0.1, highest=0.86, field="eta0_hem"),
    "eta0_beam": Rule(lowest=0.1, highest=0.86),
    # The span by construction is in `analysis.sitefile_sense`.
    "a1_w_m2k": _must(lowest=0.3, highest=25, unit="W/(m2 K)"),
    "a2_w_m2k2": _must(lowest=0, highest=0.05, unit="W/(m2 K2)"),
    "heat_capacity_kj_m2k": _must(lowest=0.5, highest=150, unit="kJ/(m2 K)"),
    "iam_diffuse": _must(lowest=0.2, highest=1.6),
    "stagnation_c": Rule(lowest=60, highest=400, unit="C"),
    "heat_pipe_start_c": Rule(lowest=-20, highest=90, unit="C"),
    "heat_pipe_limit_c": Rule(lowest=60, highest=350, unit="C"),
    "iam_angles_deg": _must(kind="numbers", lowest=0, highest=90, unit="degrees", rising=True),
    "iam_transversal": _must(**_IAM),
    "iam_longitudinal": _must(**_IAM),
}

_LOOP: dict[str, Rule] = {
    "fluid": _must(kind="choice", choices=("water", "propylene_glycol", "ethylene_glycol")),
    # Highest: the end of the fluid data's span.
    "concentration": _must(
        lowest=0, highest=0.6, unit="as a mass fraction", field="concentration_frac"
    ),
    "flow_l_min": _must(lowest=0.05, highest=5_000, unit="l/min"),
    "pump_w": _must(lowest=0, highest=50_000, unit="W"),
    "kind": _must(kind="choice", choices=("filled", "drain_back")),
    "pressure_bar": Rule(lowest=0, highest=25, unit="bar"),
    "height_m": Rule(lowest=0, highest=200, unit="m"),
    "safety_valve_bar": Rule(lowest=0.5, highest=30, unit="bar"),
    "vessel_l": Rule(lowest=0.5, highest=50_000, unit="l"),
    "vessel_precharge_bar": Rule(lowest=0, highest=25, unit="bar"),
    "pipe_length_m": Rule(lowest=0, highest=5_000, unit="m"),
}

_BACKUP: dict[str, Rule] = {
    "fuel": _must(
        kind="choice",
        choices=(
            "mains_gas",
            "lpg",
            "heating_oil",
            "electricity",
            "heat_pump",
            "wood_pellets",
            "other",
        ),
    ),
    "setpoint_c": Rule(lowest=20, highest=95, unit="C"),
    "hours": Rule(kind="hours", lowest=0, highest=24),
    # Above 1 only for heat pumps, see `analysis.sitefile_sense`.
    "efficiency": _must(lowest=0.1, highest=8),
    "efficiency_low": Rule(lowest=0.1, highest=8),
    "efficiency_high": Rule(lowest=0.1, highest=8),
    "price_per_kwh": Rule(lowest=0, highest=1e6),
    "currency": Rule(kind="text"),
    "co2_kg_per_kwh": Rule(lowest=0, highest=3, unit="kg/kWh"),
    "electricity_price_per_kwh": Rule(lowest=0, highest=1e6),
    "electricity_co2_kg_per_kwh": Rule(lowest=0, highest=3, unit="kg/kWh"),
}

TABLES: dict[str, Table] = {
    "site": Table(
        shape=Place,
        attribute="place",
        required=True,
        rules={
            "name": _must(kind="text"),
            "latitude": _must(lowest=-90, highest=90, unit="degrees north", field="latitude_deg"),
            "longitude": _must(
                lowest=-180, highest=180, unit="degrees east", field="longitude_deg"
            ),
            "elevation_m": _must(lowest=-430, highest=6_000, unit="m"),
            "timezone": _must(kind="zone"),
        },
    ),
    "array": Table(shape=Array, attribute="arrays", many=True, required=True, rules=_ARRAY),
    "loop": Table(shape=Loop, attribute="loop", required=True, rules=_LOOP),
    "store": Table(
        shape=Store,
        attribute="store",
        required=True,
        rules={
            "volume_l": _must(lowest=10, highest=5_000_000, unit="l"),
            "limit_c": _must(lowest=20, highest=99, unit="C"),
            "heat_loss_w_k": Rule(lowest=0, highest=2_000, unit="W/K"),
            "mixing_valve_c": Rule(lowest=30, highest=75, unit="C"),
            "solar_volume_l": Rule(lowest=5, highest=5_000_000, unit="l"),
        },
    ),
    "controller": Table(
        shape=Controller,
        attribute="controller",
        rules={
            "start_difference_k": Rule(lowest=0.5, highest=40, unit="K", default=8.0),
            "stop_difference_k": Rule(lowest=0, highest=30, unit="K", default=4.0),
            "collector_cutout_c": Rule(lowest=60, highest=300, unit="C", default=130.0),
        },
    ),
    "horizon": Table(
        shape=Horizon,
        attribute="horizon",
        rules={
            "azimuth_deg": _must(
                kind="numbers", lowest=0, highest=360, unit="degrees", rising=True
            ),
            "elevation_deg": _must(kind="numbers", lowest=0, highest=90, unit="degrees"),
        },
    ),
    "hot_water": Table(
        shape=HotWater,
        attribute="hot_water",
        rules={
            "litres_per_day": Rule(lowest=0, highest=1_000_000, unit="l/day"),
            "occupants": Rule(lowest=0.5, highest=10_000, unit="people"),
        },
    ),
    "sensors": Table(
        shape=Sensors,
        attribute="sensors",
        rules={
            "temperature_class": Rule(
                kind="class_or_number",
                choices=("AA", "A", "B"),
                lowest=0.001,
                highest=10,
                unit="K",
                default="B",
            ),
            "strapped_on": Rule(kind="flag", default=True),
            "flow_percent": Rule(lowest=0, highest=100, unit="%", default=5.0),
            "flow_in": Rule(kind="choice", choices=("cold", "hot"), default="cold"),
            "irradiance_percent": Rule(lowest=0, highest=100, unit="%", default=8.0),
        },
    ),
    "sun": Table(
        shape=Sun,
        attribute="sun",
        rules={
            "model": Rule(
                kind="choice",
                choices=("isotropic", "hay_davies", "reindl", "perez"),
                default="hay_davies",
            ),
        },
    ),
    "backup": Table(shape=Backup, attribute="backup", rules=_BACKUP),
    "climate": Table(
        shape=Climate,
        attribute="climate",
        rules={
            "source": _must(kind="text"),
            # A clear midsummer month brings about 260 kWh/m2 at most (common practice, no source).
            "horizontal_kwh_m2": _must(
                kind="numbers", lowest=0, highest=350, unit="kWh/m2, January first", length=12
            ),
            "diffuse_kwh_m2": Rule(
                kind="numbers", lowest=0, highest=200, unit="kWh/m2, January first", length=12
            ),
            "air_c": _must(
                kind="numbers", lowest=-50, highest=50, unit="C, January first", length=12
            ),
        },
    ),
    "design": Table(
        shape=Design,
        attribute="design",
        rules={
            "monthly_kwh": _must(
                kind="numbers", lowest=0, highest=1e8, unit="kWh, January first", length=12
            )
        },
    ),
    "commissioned": Table(
        shape=Commissioned,
        attribute="commissioned",
        rules={
            "filled": Rule(kind="date"),
            "tubes_fitted": Rule(kind="date"),
            "fluid_tested": Rule(kind="date"),
            "by": Rule(kind="text"),
            "registration": Rule(kind="text"),
            "serials": Rule(kind="texts", default=()),
        },
    ),
    "warranty": Table(
        shape=Warranty,
        attribute="warranty",
        rules={
            "from": _must(kind="date", field="start"),
            "years": _must(lowest=0, highest=100, unit="years"),
            "conditions": Rule(kind="texts", default=()),
        },
    ),
    "field_check": Table(
        shape=FieldCheckTerms,
        attribute="field_check",
        rules={
            "pipes_factor": Rule(lowest=0.5, highest=1),
            "uncertainty_factor": Rule(lowest=0.5, highest=1),
            "other_factor": Rule(lowest=0.5, highest=1),
        },
    ),
}

TARIFF = Table(
    shape=Tariff,
    attribute="tariffs",
    many=True,
    rules={
        "from": _must(kind="date", field="start"),
        "price_per_kwh": Rule(lowest=0, highest=1e6),
        "electricity_price_per_kwh": Rule(lowest=0, highest=1e6),
    },
)

TERM = Table(
    shape=WarrantyTerm,
    attribute="terms",
    many=True,
    rules={
        "kind": _must(kind="choice", choices=tuple(TERM_KINDS)),
        "text": Rule(kind="text"),
        "years": Rule(lowest=0.25, highest=30, unit="years"),
        "within_days": Rule(kind="integer", lowest=0, highest=3_650, unit="days"),
        "most_days": Rule(kind="integer", lowest=0, highest=366, unit="days"),
        "most_hours": Rule(lowest=0, highest=8_784, unit="h"),
        "limit_c": Rule(lowest=40, highest=400, unit="C"),
        "low_bar": Rule(lowest=0, highest=25, unit="bar"),
        "high_bar": Rule(lowest=0, highest=30, unit="bar"),
        "low_concentration": Rule(
            lowest=0, highest=0.6, unit="as a mass fraction", field="low_concentration_frac"
        ),
        "high_concentration": Rule(
            lowest=0, highest=0.6, unit="as a mass fraction", field="high_concentration_frac"
        ),
        "after": Rule(kind="choice", choices=("filled", "start")),
        "kept": Rule(kind="flag"),
        "noted": Rule(kind="date"),
        "by": Rule(kind="text"),
    },
)

PART = Table(
    shape=Part,
    attribute="parts",
    many=True,
    rules={
        "date": _must(kind="date"),
        "what": _must(kind="text"),
        "serial": Rule(kind="text"),
        "why": Rule(kind="text"),
        "by": Rule(kind="text"),
    },
)

READING = Table(
    shape=HandReading,
    attribute="readings",
    many=True,
    rules={
        "at": _must(kind="instant"),
        "heat_register_kwh": _must(lowest=0, highest=1e9, unit="kWh"),
        "who": Rule(kind="text"),
    },
)

# `value` has the rule of the key that it changes, so it is not here.
CHANGE = Table(
    shape=Change,
    attribute="changes",
    many=True,
    rules={
        "date": _must(kind="date"),
        "key": _must(kind="text"),
        "why": Rule(kind="text"),
    },
)

LOG = Table(
    shape=LogMap,
    attribute="log",
    rules={
        "timezone": Rule(kind="zone"),
        "values": Rule(kind="choice", choices=("sample", "mean")),
        "stamp": Rule(kind="choice", choices=("end", "start")),
        "delimiter": Rule(
            kind="choice",
            choices=(",", ";", "\t", "|", " ", "comma", "semicolon", "tab", "pipe", "blank"),
        ),
        "decimal": Rule(kind="choice", choices=(".", ",")),
        "time_format": Rule(kind="time_format"),
        "date_order": Rule(kind="choice", choices=("day_first", "month_first", "year_first")),
        "time_origin": Rule(kind="instant"),
        "table": Rule(kind="choice", choices=("wide", "long")),
        "dates": Rule(kind="choice", choices=("rows", "lines")),
        "cells": Rule(kind="choice", choices=("all", "changes")),
        # Beyond a day the date is wrong: for a stretch of days alone (`analysis.sitefile_log`).
        "clock_offset_min": Rule(lowest=-70e6, highest=70e6, unit="minutes"),
        "clock_drift_min_per_month": Rule(lowest=-120, highest=120, unit="minutes a month"),
        "clock_from": Rule(kind="date"),
        "clock_until": Rule(kind="date"),
    },
)

# Keys beside the rules above that hold tables of their own.
NESTED: dict[str, tuple[str, ...]] = {
    "backup": ("tariff",),
    "warranty": ("term",),
    "log": ("columns",),
}
