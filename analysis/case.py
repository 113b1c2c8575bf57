"""Everything the faults look at in one go: computed once, shared by all, read-only.

A case holds whole local days under one set of site facts. Rows keep their own steps; the bins of
`analysis.grid` hold means of five minutes.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from analysis.day_sums import summed
from analysis.days import LocalDays, days_of_span
from analysis.dead_logger import dead_rows, without_dead
from analysis.expected import Expected, expected_heat, full_store
from analysis.grid import BIN_S, Grid, grid_of
from analysis.heat import PUMP_ON_PERCENT, TRICKLE_FRAC, HeatFlow, column, heat_flow
from analysis.held import held
from analysis.irradiance import clear_sky_horizontal_w_m2
from analysis.loop_model import LoopModel, loop_model
from analysis.loop_state import Loop
from analysis.record import Bools, Floats, Ints, Record, known_or_zero
from analysis.runs import day_ends, latched
from analysis.site import Site
from analysis.sky import Daylight, Sky, daylight_on, sky_of
from analysis.sun import SunVectors
from analysis.units import SECONDS_PER_HOUR
from analysis.weather import Weather

# A bin's mean command above this says that the controller asked for flow (judgement).
COMMANDED_PERCENT = 20.0
# The lock opens somewhat below the cut-out (common practice, no source).
_RELEASE_K = 20.0

_GRID_CHANNELS = (
    "collector",
    "loop_hot",
    "loop_cold",
    "store_bottom",
    "store_middle",
    "store_top",
    "ambient",
    "flow",
    "pump",
    "backup",
    "pressure",
    "wind",
    "irradiance_plane",
    "irradiance_horizontal",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """Whole local days of one site.

    Attributes
    ----------
    site : facts valid on these days
    channels : channels ever seen at the site
    record : the rows
    days : the local days the rows touch
    day : shape (n,), the day of each row; it never falls
    grid : where rows fall on the bins
    bins : channel to bin means of shape (days, bins), NaN unknown; only logged channels
    heat : heat into the store, row by row
    model : lumped numbers of the site
    daylight : where the sun stands on the bins
    sky, loop, expected : sun, loop and the healthy figure on the bins
    """

    site: Site
    channels: frozenset[str]
    record: Record
    days: LocalDays
    day: Ints
    grid: Grid
    bins: Mapping[str, Floats]
    heat: HeatFlow
    model: LoopModel
    daylight: Daylight
    sky: Sky
    loop: Loop
    expected: Expected

    @cached_property
    def read(self) -> Mapping[str, Bools]:
        """In which rows each channel was read; shape (n,)."""
        return {name: np.isfinite(values) for name, values in self.record.columns.items()}

    @property
    def sun(self) -> SunVectors:
        """The direction to the sun on the bins."""
        return self.daylight.sun

    @cached_property
    def clear(self) -> Sky:
        """What a clear sky would have offered on the bins."""
        return sky_of(
            self.daylight,
            g_plane_w_m2=None,
            g_horizontal_w_m2=clear_sky_horizontal_w_m2(self.sky.sun_sine),
            weather=None,
        )

    @cached_property
    def full_or_locked(self) -> Bools:
        """Tell bins in which the controller is right not to pump.

        The store is at its limit, or was earlier that day and the collector, hot since, has not
        come back below its release temperature.
        """
        return self.locked_by(self.expected.store_full)

    @cached_property
    def bottom_full_or_locked(self) -> Bools:
        """Tell the same for a controller that watches the store's bottom and no other sensor."""
        bottom = replace(self.loop, t_store_held_c=self.loop.t_store_bottom_c)
        return self.locked_by(full_store(bottom, self.site))

    def locked_by(self, full: Bools) -> Bools:
        """Tell bins in which the store is full, or the collector is still hot since."""
        roof = self.loop.t_roof_c
        hot = roof > self.site.controller.collector_cutout_c - _RELEASE_K
        return latched(full, full | hot | np.isnan(roof))

    def binned(self, name: str) -> Floats:
        """Give a channel's bin means, all NaN where it was never logged."""
        found = self.bins.get(name)
        return found if found is not None else np.full(self.grid.shape, np.nan)

    def per_day(self, weight: Floats) -> Floats:
        """Sum a value of each row over its day; shape (days,)."""
        return self._over_days(np.add, weight, np.zeros(len(self.days)))

    def per_day_of(self, rows: Ints, weight: Floats) -> Floats:
        """Sum a value of each of some rows, which rise, over their days; shape (days,)."""
        edge = np.searchsorted(rows, self.row_edge)
        return _joined(np.add, weight, edge, np.zeros(len(self.days)))

    def seconds(self, flags: Bools) -> Floats:
        """Give how long a condition on rows held on each day; shape (days,) [s]."""
        # Most channels are known throughout.
        return self._logged_s if flags.all() else self.per_day(flags * self.record.step_s)

    @cached_property
    def _logged_s(self) -> Floats:
        return self.per_day(self.record.step_s)

    def least(self, values: Floats, flags: Bools) -> Floats:
        """Give the least of a value over the flagged rows of each day, NaN where none is."""
        return self._over_days(np.fmin, np.where(flags, values, np.nan), self._unknown())

    def greatest(self, values: Floats) -> Floats:
        """Give the greatest known value of each day, NaN where none is known."""
        return self._over_days(np.fmax, values, self._unknown())

    def _unknown(self) -> Floats:
        return np.full(len(self.days), np.nan)

    def _over_days(self, join: np.ufunc, values: Floats, nothing: Floats) -> Floats:
        return _joined(join, values, self.row_edge, nothing)

    @cached_property
    def row_edge(self) -> Ints:
        """The first row of each day and the one after the last's; shape (days + 1,)."""
        return np.searchsorted(self.day, np.arange(len(self.days) + 1))

    def hours(self, flags: Bools) -> Floats:
        """Give how long a condition on bins held in each day, known time only [h]."""
        return summed(self.loop.known_s, flags) / SECONDS_PER_HOUR

    def span_s(self, day: int, first: int, last: int) -> tuple[int, int]:
        """Give start and end of bins `first` to `last` (excluded) of a day."""
        start = self._midnight_s[day]
        return start + first * BIN_S, start + last * BIN_S

    @cached_property
    def _midnight_s(self) -> list[int]:
        midnights: list[int] = self.days.edge_s.tolist()
        return midnights

    def spans_s(self, flags: Bools) -> tuple[Floats, Floats]:
        """Give from when to when bins are flagged on each day; shapes (days,), NaN never [s]."""
        from_s, until_s = self._unknown(), self._unknown()
        days, first, last = day_ends(flags)
        from_s[days] = self.days.edge_s[days] + first * BIN_S
        until_s[days] = self.days.edge_s[days] + last * BIN_S
        return from_s, until_s


def _joined(join: np.ufunc, values: Floats, edge: Ints, nothing: Floats) -> Floats:
    """Join the values between edges; where there are none it stays as `nothing` says."""
    joined = nothing
    some = np.flatnonzero(edge[1:] > edge[:-1])
    if some.size:
        joined[some] = join.reduceat(values[: edge[-1]], edge[some], dtype=np.float64)
    return joined


def case_of(
    *, site: Site, record: Record, channels: frozenset[str], weather: Weather | None = None
) -> Case:
    """Work out everything that the faults share.

    Parameters
    ----------
    site : facts valid for the whole record
    record : rows of whole local days
    channels : channels ever seen at the site
    weather : hourly weather of the same period, or None
    """
    end_s = int(record.start_s[-1] + record.step_s[-1])
    days = days_of_span(start_s=int(record.start_s[0]), end_s=end_s, timezone=site.place.timezone)
    grid = grid_of(record, days)
    bins = {name: grid.mean(record.columns[name]) for name in _GRID_CHANNELS if record.has(name)}
    model = loop_model(site)
    daylight = daylight_on(grid, site)
    dead = dead_rows(
        record, channels=channels, bin_s=grid.start_s.ravel(), sun_sine=daylight.sun.up.ravel()
    )
    heat = without_dead(heat_flow(site=site, record=record, channels=channels), dead)
    sky = sky_of(
        daylight,
        g_plane_w_m2=_irradiance(bins, grid, channels, "irradiance_plane"),
        g_horizontal_w_m2=_irradiance(bins, grid, channels, "irradiance_horizontal"),
        weather=weather,
    )
    loop = _loop(record, grid, heat, bins, model, sky, weather, "ambient" in channels)
    return Case(
        site=site,
        channels=channels,
        record=record,
        days=days,
        day=grid.day,
        grid=grid,
        bins=MappingProxyType(bins),
        heat=heat,
        model=model,
        daylight=daylight,
        sky=sky,
        loop=loop,
        expected=expected_heat(site=site, model=model, sky=sky, loop=loop),
    )


def _irradiance(
    bins: Mapping[str, Floats], grid: Grid, channels: frozenset[str], name: str
) -> Floats | None:
    if name not in channels:
        return None
    found = bins.get(name)
    return found if found is not None else np.full(grid.shape, np.nan)


def _loop(
    record: Record,
    grid: Grid,
    heat: HeatFlow,
    bins: Mapping[str, Floats],
    model: LoopModel,
    sky: Sky,
    weather: Weather | None,
    air_logged: bool,
) -> Loop:
    nothing = np.full(grid.shape, np.nan)
    known = np.isfinite(heat.power_w)
    if heat.basis is None:
        known = np.isfinite(column(record, "pump")) | np.isfinite(column(record, "collector"))
    known_s = grid.seconds_where(known)
    with np.errstate(invalid="ignore", divide="ignore"):
        moving_frac = np.where(
            known_s > 0.0, grid.seconds_where(heat.moving & known) / known_s, np.nan
        )
    heat_w = grid.mean(heat.power_w)
    stores = [bins.get(name, nothing) for name in ("store_bottom", "store_middle", "store_top")]
    hottest = np.fmax(np.fmax(stores[0], stores[1]), stores[2])
    roof = bins.get("collector", nothing)
    mean_c, spread_k = _pipes(record, grid, bins, heat, heat_w, model)
    return Loop(
        heat_w=heat_w,
        per_k_w_k=grid.mean(heat.per_k_w_k),
        known_s=known_s,
        moving_frac=known_or_zero(moving_frac),
        trickle=_trickle(bins, model, heat, heat_w),
        commanded=np.asarray(bins.get("pump", nothing) > COMMANDED_PERCENT),
        t_mean_c=mean_c,
        spread_k=spread_k,
        t_roof_c=roof,
        t_ambient_c=bins.get("ambient", nothing)
        if air_logged
        else _air_c(roof, sky, weather, grid),
        t_store_bottom_c=stores[0],
        t_store_hottest_c=hottest,
        # A full store that is lost sight of is still full: a gap must not make a standstill wrong.
        t_store_held_c=np.fmax(np.fmax(held(stores[0]), held(stores[1])), held(stores[2])),
    )


def _trickle(bins: Mapping[str, Floats], model: LoopModel, heat: HeatFlow, heat_w: Floats) -> Bools:
    """Tell bins in which a commanded pump moved next to nothing past the meter.

    A meter that tells its heat alone moves in steps: over an hour it is held against what the
    commissioned flow would bring down from so hot a roof.
    """
    nothing = np.full(heat_w.shape, np.nan)
    pump, flow = bins.get("pump", nothing), bins.get("flow", nothing)
    commanded = pump > COMMANDED_PERCENT
    if "flow" in bins or not heat.measured:
        return np.asarray(commanded & (flow < TRICKLE_FRAC * model.flow_l_min * pump / 100.0))
    over_k = bins.get("collector", nothing) - bins.get("store_bottom", nothing)
    due_w = model.flow_w_k * pump / 100.0 * over_k
    known = commanded & np.isfinite(due_w) & np.isfinite(heat_w)
    came, due = (_hourly(np.where(known, power_w, 0.0)) for power_w in (heat_w, due_w))
    return np.asarray(known & (over_k > model.stranded_k) & (came < TRICKLE_FRAC * due))


def _hourly(values: Floats) -> Floats:
    """Give the sum over each bin and half an hour on both sides of it, within the day."""
    half = round(SECONDS_PER_HOUR / BIN_S / 2.0)
    padded = np.pad(values, ((0, 0), (half, half)))
    return np.asarray(
        np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=1).sum(-1)
    )


def _pipes(
    record: Record,
    grid: Grid,
    bins: Mapping[str, Floats],
    heat: HeatFlow,
    heat_w: Floats,
    model: LoopModel,
) -> tuple[Floats, Floats]:
    """Give the mean loop temperature [°C], and hot over cold pipe while fluid moves [K].

    Of both pipes, else worked back: the mean from roof or store, the spread from the heat.
    """
    if record.has("loop_hot", "loop_cold"):
        hot, cold = record.columns["loop_hot"], record.columns["loop_cold"]
        # Fluid moves for a small part of the time.
        moving = grid.where(heat.moving)
        hot_then, cold_then = hot[moving.row], cold[moving.row]
        flowing = moving.mean_of((hot_then + cold_then) / 2.0)
        if np.array_equal(np.isnan(hot), np.isnan(cold)):
            # Mostly both are read at once: then the mean of both is that of their means.
            both = (bins["loop_hot"] + bins["loop_cold"]) / 2.0
        else:
            both = grid.mean((hot + cold) / 2.0)
        mean = np.where(np.isfinite(flowing), flowing, both)
        return mean, moving.mean_of(hot_then - cold_then)
    nothing = np.full(grid.shape, np.nan)
    from_roof = bins.get("collector", nothing) - heat_w / (2.0 * model.flow_w_k)
    from_store = bins.get("store_bottom", nothing) + heat_w / model.hand_over_w_k
    mean = np.where(np.isfinite(from_roof), from_roof, from_store)
    return mean, heat_w / model.flow_w_k


def _air_c(roof: Floats, sky: Sky, weather: Weather | None, grid: Grid) -> Floats:
    """Give the outdoor temperature where no sensor does: of the weather, else of the cold roof.

    A collector at rest comes down to the air before sunrise; over the day the air is taken to rise
    by up to 7 K with the sun (common practice, no source).
    """
    coldest = np.full(roof.shape[0], np.nan)
    some = np.isfinite(roof).any(axis=1)
    coldest[some] = np.nanmin(roof[some], axis=1)
    # Lagging the sun by two hours.
    lag = 24
    height = np.clip(np.roll(sky.sun_sine, lag, axis=1), 0.0, None)
    air = coldest[:, None] + 7.0 * height
    if weather is None:
        return air
    told = weather.ambient_at(grid.start_s + BIN_S // 2)
    return np.where(np.isfinite(told), told, air)


def pump_on(case: Case) -> Bools:
    """Tell bins in which the pump was commanded for most of the time."""
    return case.binned("pump") >= max(PUMP_ON_PERCENT, 50.0)
