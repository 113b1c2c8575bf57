"""Frozen facts of an installation, as the site file states them.

The file itself is read by `analysis.sitefile`; here are only the shapes. Every field name carries
its unit. Optional facts are None (unknown), never zero.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

CollectorKind = Literal["heat_pipe", "direct_flow", "flat_plate"]
SkyModel = Literal["isotropic", "hay_davies", "reindl", "perez"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the installation stands and what its local day is."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Array:
    """One collector array, as the test report and the installer describe it.

    `eta0_hem` refers to hemispherical irradiance, `eta0_beam` to beam; at least one is given.
    Coefficients refer to `area_m2`.
    """

    collector: CollectorKind
    tubes: int | None
    tubes_run: Literal["up", "across"]
    absorber_turn_deg: float
    tilt_deg: float
    azimuth_deg: float
    area_m2: float
    area_basis: Literal["gross", "aperture", "absorber"]
    eta0_hem: float | None
    eta0_beam: float | None
    a1_w_m2k: float
    a2_w_m2k2: float
    heat_capacity_kj_m2k: float
    iam_diffuse: float
    stagnation_c: float | None
    heat_pipe_start_c: float | None
    heat_pipe_limit_c: float | None
    iam_angles_deg: tuple[float, ...]
    iam_transversal: tuple[float, ...]
    iam_longitudinal: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """The collector loop between roof and store."""

    fluid: Literal["water", "propylene_glycol", "ethylene_glycol"]
    concentration_frac: float
    flow_l_min: float
    pump_w: float
    kind: Literal["filled", "drain_back"]
    pressure_bar: float | None
    height_m: float | None
    safety_valve_bar: float | None
    vessel_l: float | None
    vessel_precharge_bar: float | None
    pipe_length_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """The store that the loop charges."""

    volume_l: float
    limit_c: float
    heat_loss_w_k: float | None
    mixing_valve_c: float | None
    solar_volume_l: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """Settings of the differential controller."""

    start_difference_k: float = 8.0
    stop_difference_k: float = 4.0
    collector_cutout_c: float = 130.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """What stands between array and sky; linear between points, 0 outside them."""

    azimuth_deg: tuple[float, ...]
    elevation_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sun:
    """How irradiance on the level becomes irradiance on the collectors."""

    model: SkyModel = "hay_davies"


@dataclass(frozen=True, slots=True, kw_only=True)
class HotWater:
    """The demand that the design assumed: litres, or heads; at least one is given."""

    litres_per_day: float | None = None
    occupants: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """Accuracy of what is fitted."""

    temperature_class: Literal["AA", "A", "B"] | float = "B"
    strapped_on: bool = True
    flow_percent: float = 5.0
    flow_in: Literal["cold", "hot"] = "cold"
    irradiance_percent: float = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """Prices from a date on; a price not named here stays as before."""

    start: date
    price_per_kwh: float | None
    electricity_price_per_kwh: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What heats the water when the sun does not."""

    fuel: Literal[
        "mains_gas", "lpg", "heating_oil", "electricity", "heat_pump", "wood_pellets", "other"
    ]
    setpoint_c: float | None
    hours: tuple[tuple[float, float], ...] | None
    efficiency: float
    price_per_kwh: float | None
    currency: str | None
    co2_kg_per_kwh: float | None
    electricity_price_per_kwh: float | None
    electricity_co2_kg_per_kwh: float | None
    efficiency_low: float | None = None
    efficiency_high: float | None = None
    tariffs: tuple[Tariff, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What was promised for each calendar month [kWh]."""

    monthly_kwh: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """The place's typical year: twelve means or sums, January first.

    Irradiation is that of the whole month on the level, global and diffuse; `source` says where
    the numbers come from.
    """

    source: str
    horizontal_kwh_m2: tuple[float, ...]
    diffuse_kwh_m2: tuple[float, ...] | None
    air_c: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Commissioned:
    """Dates of the latest fill, of the tubes, and of the latest test that the fluid passed.

    `by` is who put the plant into service, `registration` under which number they do such work,
    `serials` what is printed on the collectors.
    """

    filled: date | None
    tubes_fitted: date | None
    fluid_tested: date | None = None
    by: str | None = None
    registration: str | None = None
    serials: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WarrantyTerm:
    """One thing that must be kept, as the papers say; `kind` says which numbers it has.

    The kinds are in `analysis.warranty.terms`. `text` is the papers' own wording. `kept`, `noted`
    and `by` are what a person found about it, when, and who that was: it counts where the data do
    not tell.
    """

    kind: str
    text: str | None = None
    years: float | None = None
    within_days: int | None = None
    most_days: int | None = None
    most_hours: float | None = None
    limit_c: float | None = None
    low_bar: float | None = None
    high_bar: float | None = None
    low_concentration_frac: float | None = None
    high_concentration_frac: float | None = None
    after: Literal["filled", "start"] | None = None
    kept: bool | None = None
    noted: date | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Warranty:
    """Terms as the papers say: `conditions` in words alone, `terms` with what they ask for."""

    start: date
    years: float
    conditions: tuple[str, ...]
    terms: tuple[WarrantyTerm, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part that was put in or exchanged, with the number printed on it."""

    date: date
    what: str
    serial: str | None = None
    why: str | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheckTerms:
    """Factors of the field check that were agreed in writing; None: worked out from the facts."""

    pipes_factor: float | None
    uncertainty_factor: float | None
    other_factor: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a visit changed: from local midnight of `date` on, `key` has `value`."""

    date: date
    key: str
    value: object
    why: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandReading:
    """What somebody read off a heat meter during a visit [kWh]."""

    at: datetime
    heat_register_kwh: float
    who: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnMeaning:
    """What a log column holds.

    `despite` lists what files surely showed of the column instead, such as `loop_hot in F`, where
    somebody saw that and kept the entry.
    """

    channel: str
    unit: str | None
    despite: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LogMap:
    """How to read this site's logs; None means: found from the data.

    `columns` maps header text, or a 1-based column number written as digits, to its meaning.
    `time_origin` is the instant that a time column in s, min, h or d counts from. In a `long` table
    each row is one reading of one sensor, in a `wide` one it holds all. With `dates` on lines the
    date stands on a line of its own above the rows of its day, which hold the time alone. Where
    `cells` are changes a value holds until the next one is written.
    `clock_offset_min` is by how much the logger's clock is ahead [min], negative where it is
    behind; `clock_drift_min_per_month` what it gains a month of 30.44 days from `clock_from` on
    [min]. Both hold for stamps from `clock_from` up to `clock_until` (excluded), days of the clock.
    """

    timezone: str | None = None
    values: Literal["sample", "mean"] | None = None
    stamp: Literal["end", "start"] | None = None
    columns: tuple[tuple[str, ColumnMeaning], ...] = ()
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    time_format: str | None = None
    date_order: Literal["day_first", "month_first", "year_first"] | None = None
    time_origin: datetime | None = None
    table: Literal["wide", "long"] | None = None
    dates: Literal["rows", "lines"] | None = None
    cells: Literal["all", "changes"] | None = None
    clock_offset_min: float | None = None
    clock_drift_min_per_month: float | None = None
    clock_from: date | None = None
    clock_until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Everything the site file states, as valid on one day (see `site_on`)."""

    place: Place
    arrays: tuple[Array, ...]
    loop: Loop
    store: Store
    controller: Controller
    controller_given: bool
    horizon: Horizon | None
    hot_water: HotWater | None
    sensors: Sensors
    backup: Backup | None
    climate: Climate | None
    design: Design | None
    commissioned: Commissioned | None
    warranty: Warranty | None
    field_check: FieldCheckTerms | None
    changes: tuple[Change, ...]
    log: LogMap
    sun: Sun = Sun()
    readings: tuple[HandReading, ...] = ()
    parts: tuple[Part, ...] = ()

    @property
    def litres_per_day(self) -> float | None:
        """The hot water of a day, as far as the file states it in litres [l]."""
        return None if self.hot_water is None else self.hot_water.litres_per_day

    @property
    def area_m2(self) -> float:
        """The reference area of all arrays together [m2]."""
        return sum(array.area_m2 for array in self.arrays)

    @property
    def tubes(self) -> int | None:
        """The tubes of all arrays together, None where there are none [-]."""
        counts = [array.tubes for array in self.arrays if array.tubes is not None]
        return sum(counts) if counts else None
