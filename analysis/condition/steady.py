"""Steady hours: what the collector gave in them, and what it had to give it from.

Within a steady stretch the collector's output is heat into the store plus what pipes lost and loop
and collectors took up. Each day's stretches are summed in two classes, by how far the fluid is
above the air: gain counts alike in both, loss counts more in the warm one, and so the two can be
told apart later.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.case import Case
from analysis.day_figures import usual_sun
from analysis.days import DayTable
from analysis.loop_state import lossy_c
from analysis.record import Bools, Floats, known_or_zero
from analysis.runs import long_runs
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

CLASSES = ("cool", "warm")
# Mean fluid over air that parts the classes: about the middle of what a home's loop does in sun
# (engineering judgement).
_WARM_K = 30.0

_BRIGHT_FRAC = 0.25
# A class counts on a day from so many hours on: shorter ones are warming and cooling (judgement).
_LEAST_STEADY_H = 0.5
_LEAST_STRETCH_BINS = 8
# A store this near its limit counts as filled: it cuts the run and sends the collector to
# stagnation [K] (engineering judgement).
_FILLED_K = 1.5
# What the steady hours are worked out from.
_READ = frozenset(
    {
        "collector",
        "loop_hot",
        "loop_cold",
        "flow",
        "ambient",
        "irradiance_plane",
        "irradiance_horizontal",
    }
)
_PARTS = (
    "h",
    "out_kwh",
    "heat_kwh",
    "gain_kwh",
    "loss_kwh",
    "kh",
    "kwh_k",
    "level_kwh",
    "pump_h",
    "pump2_h",
)

# What is summed from the pipe sensors, and the column that says what a kelvin between them makes.
SPREAD_RATES = {
    f"steady_{name}_{part}": f"steady_{name}_kwh_k"
    for name in CLASSES
    for part in ("out_kwh", "heat_kwh")
}


def steady_columns(case: Case) -> dict[str, Floats]:
    """Give the sums over each day's steady bins by class; arrays of shape (days,).

    Each name is `steady_<class>_<part>`: `h` hours; `out_kwh` collector output, `heat_kwh`
    what of it the meter saw; `gain_kwh`, `loss_kwh` as the test report predicts; `kh` tubes over
    air, times hours; `kwh_k` heat that
    one kelvin more spread would have been (flow times heat capacity); `level_kwh` the same times
    the loop's temperature [°C]; `pump_h`, `pump2_h` the pump command as a share, and its square,
    times hours. `steady_filled` is 1 where the store came up to its limit.
    """
    steady = np.nonzero(_steady(case))
    loop, expected, model = case.loop, case.expected, case.model
    excess = model.over_air_k(lossy_c(loop, model)[steady], loop.t_ambient_c[steady])
    # The command is of use beside a flow reading only.
    pump = (
        case.bins["pump"][steady] / 100.0
        if {"flow", "pump"} <= case.bins.keys()
        else np.zeros(excess.shape)
    )
    limit_c = case.site.store.limit_c - _FILLED_K
    filled = (loop.t_store_bottom_c >= limit_c).any(axis=1)
    columns: dict[str, Floats] = {"steady_filled": np.where(filled, 1.0, 0.0)}
    heat_w, per_k_w_k = loop.heat_w[steady], loop.per_k_w_k[steady]
    rates = {
        "h": np.ones(excess.shape),
        "out_kwh": heat_w + expected.pipe_w[steady] + expected.stored_w[steady],
        "heat_kwh": heat_w,
        "gain_kwh": expected.gain_w[steady],
        "loss_kwh": expected.loss_w[steady],
        "kh": excess,
        "kwh_k": per_k_w_k,
        "level_kwh": per_k_w_k * loop.t_mean_c[steady],
        "pump_h": pump,
        "pump2_h": pump**2,
    }
    seconds, days = loop.known_s[steady], len(case.days)
    of_class = steady[0] + days * (excess > _WARM_K)
    for part in _PARTS:
        total: Floats = np.bincount(
            of_class, weights=known_or_zero(rates[part]) * seconds, minlength=2 * days
        ).astype(np.float64)
        held = kwh_from_j(total) if "kwh" in part else total / SECONDS_PER_HOUR
        for name, values in zip(CLASSES, np.split(held, 2), strict=True):
            columns[f"steady_{name}_{part}"] = values
    return columns


def _steady(case: Case) -> Bools:
    """Tell bins of stretches in which the loop ran through, in good sun on the whole.

    Whole stretches, dull bins between clouds included: bright bins alone would leave out what the
    collectors give back of the heat that they took up in them.
    """
    moving = case.loop.moving_frac > 0.9
    through = moving.copy()
    through[:, 1:] &= moving[:, :-1]
    through[:, :-1] &= moving[:, 1:]
    known = np.isfinite(case.loop.heat_w) & np.isfinite(case.expected.power_w)
    through &= known & case.expected.carried
    through = long_runs(through, _LEAST_STRETCH_BINS)
    # Number the stretches: a new one begins where the bin before it is outside.
    begins = through.copy()
    begins[:, 1:] &= ~through[:, :-1]
    number = np.cumsum(begins.ravel())[through.ravel()]
    gain = np.bincount(number, weights=case.sky.gain_w[through]) / np.maximum(
        np.bincount(number), 1
    )
    steady = np.zeros(through.shape, dtype=np.bool_)
    steady[through] = gain[number] > _BRIGHT_FRAC * case.model.brightest_w
    return steady


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyDays:
    """Sums over a day's steady hours, all of shape (m,).

    `place` are rows in the table of days; `filled` is 1 where the store came up to its limit.
    """

    place: NDArray[np.int64]
    hours: Floats
    out_kwh: Floats
    heat_kwh: Floats
    gain_kwh: Floats
    loss_kwh: Floats
    excess_kh: Floats
    spread_kwh_k: Floats
    level_kwh: Floats
    pump_h: Floats
    pump2_h: Floats
    filled: Floats

    def picked(self, chosen: NDArray[np.int64] | Bools) -> "SteadyDays":
        """Give some of them."""
        return SteadyDays(**{name: getattr(self, name)[chosen] for name in SteadyDays.__slots__})


def steady_days(table: DayTable, *, sunny_kwh_m2: float) -> SteadyDays:
    """Pick the sunny days with enough steady hours on which loop and sensors were in order."""
    sums = _sums(table).sum(axis=1)
    sunny = table.column("irradiation_kwh_m2") >= sunny_kwh_m2
    place = np.flatnonzero((sums[0] >= _LEAST_STEADY_H) & sunny & _in_order(table))
    return _days(table, place, lambda number: sums[number][place])


def steady_rows(table: DayTable) -> SteadyDays:
    """Give a row for each day and class with enough steady hours, in order of days."""
    sums = _sums(table).transpose(0, 2, 1)
    chosen = (sums[0] >= _LEAST_STEADY_H) & (sums[3] > 0.0) & _in_order(table)[:, None]
    place = np.nonzero(chosen)[0]
    return _days(table, place, lambda number: sums[number][chosen])


def _sums(table: DayTable) -> Floats:
    """Give what `steady_columns` summed, unknown as nothing; shape (parts, classes, days)."""
    names = [f"steady_{name}_{part}" for part in _PARTS for name in CLASSES]
    sums = known_or_zero(np.array([table.column(name) for name in names]))
    return sums.reshape(len(_PARTS), len(CLASSES), -1)


def _days(table: DayTable, place: NDArray[np.int64], part: Callable[[int], Floats]) -> SteadyDays:
    names = SteadyDays.__slots__[1:-1]
    filled = known_or_zero(table.column("steady_filled")[place])
    sums = {name: part(number) for number, name in enumerate(names)}
    return SteadyDays(place=place, **sums, filled=filled)


def _in_order(table: DayTable) -> Bools:
    doubtful = {item.date for item in table.of_kind("lost_circulation")}
    doubtful |= {item.date for item in table.of_kind("sensor_fault") if item.channel in _READ}
    fine = ~table.days.among(doubtful)
    # Each source of sun is off in its own way: one alone can be followed over time.
    usual = usual_sun(table)
    if usual is not None:
        fine &= table.column("sky_source") == usual
    return fine
