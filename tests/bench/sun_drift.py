"""How often a drift of the sun sensor is proven where there is one and where there is none.

python -m tests.bench.sun_drift

Clear days are invented, their air is not quite: the yearly course of the Linke turbidity is the
published climatology that comes with pvlib, at five places. Around it the air wanders for weeks
and for half years, days scatter, and veils of cloud that the shape does not show dim one in five.
The fit assumes two exponentials for that wandering; here months and years jump beside a faster one.
"""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pvlib

from analysis.cloudless import clear_sky
from analysis.days import DayTable, local_days
from analysis.sitefile import parse_site
from analysis.sun_drift import Drift, drifts, without_drift
from analysis.transposition import air_mass
from fixtures.scenario import home, site_toml

PLACES = ((52.4, -1.5), (48.0, 11.0), (59.3, 18.1), (41.4, 2.2), (37.1, 14.6))
FIRST = date(2020, 3, 1)


def _wander(rng: np.random.Generator, size: int, *, days: float, u: float) -> np.ndarray:
    """Give a first-order random process [-]."""
    keep = np.exp(-1.0 / days)
    steps = rng.normal(0.0, u * np.sqrt(1.0 - keep**2), size)
    value, path = rng.normal(0.0, u), np.empty(size)
    for day in range(size):
        value = keep * value + steps[day]
        path[day] = value
    return path


def clear_days(
    seed: int, *, years: float, per_year: float, clear_frac: float = 0.22
) -> tuple[DayTable, int]:
    """Give a table of days with what the clear ones show; and how many are clear."""
    rng = np.random.default_rng(seed)
    latitude_deg, longitude_deg = PLACES[seed % len(PLACES)]
    size = round(years * 365.25)
    days = [FIRST + timedelta(days=number) for number in range(size)]
    index = pd.DatetimeIndex(days, tz="UTC")
    linke = pvlib.clearsky.lookup_linke_turbidity(index, latitude_deg, longitude_deg).to_numpy()
    month, year = np.arange(size) // 30, np.arange(size) // 365
    linke = linke * np.exp(
        _wander(rng, size, days=10.0, u=0.18)
        + rng.normal(0.0, 0.10, month[-1] + 1)[month]
        + rng.normal(0.0, 0.05, year[-1] + 1)[year]
    )
    declination = np.radians(23.45 * np.sin(2 * np.pi * (284 + index.day_of_year.to_numpy()) / 365))
    height = np.cos(np.radians(latitude_deg) - declination)
    told = height > 0.3
    height = np.maximum(height, 0.3)
    scene = {"cos_zenith": height, "extraterrestrial_w_m2": 1361.0, "elevation_m": 100.0}
    usual = clear_sky(**scene).ghi
    now = clear_sky(**scene, linke=np.maximum(linke, 1.2)).ghi
    share = now / usual * np.exp(rng.normal(0.0, 0.008, size))
    share *= np.exp(-np.where(rng.random(size) < 0.2, rng.exponential(0.05, size), 0.0))
    share *= rng.normal(1.0, 0.03) * np.exp(per_year * np.arange(size) / 365.25)
    # Winter has fewer clear hours.
    clear = told & (rng.random(size) < clear_frac * np.clip(height * 1.4, 0.2, 1.3))
    table = DayTable(
        days=local_days(first=days[0], last=days[-1], timezone="UTC"),
        columns={
            "sky_source": np.zeros(size),
            "sensor_clear_h": np.where(clear, 3.0, 0.0),
            "sensor_clear_ratio": np.where(clear, share, np.nan),
            "sensor_clear_mass": air_mass(height),
            "irradiation_kwh_m2": np.full(size, 4.0) * np.exp(per_year * np.arange(size) / 365.25),
        },
        happenings=(),
    )
    return table, int(clear.sum())


def found_in(seed: int, *, years: float, per_year: float) -> tuple[Drift | None, float]:
    """Give what is found, and the year's-end error of the corrected irradiation [-]."""
    table, _ = clear_days(seed, years=years, per_year=per_year)
    drift = drifts(table, parse_site(site_toml(home())))
    fixed = without_drift(table, drift).column("irradiation_kwh_m2")
    return (drift[0] if drift else None), float(fixed[-30:].mean() / 4.0 - 1.0)


def main() -> None:
    """Print the table."""
    print("years | drift %/a | draws | proven | bounds hold | mean %/a | u %/a | last month before")
    for years in (1.5, 2.0, 3.0, 5.0):
        for per_year in (0.0, -0.01, -0.02, -0.04):
            seen = [found_in(seed, years=years, per_year=per_year) for seed in range(100)]
            kept = [(one, left) for one, left in seen if one is not None]
            slope = np.array([one.per_year for one, _ in kept])
            u = np.array([one.u_per_year for one, _ in kept])
            proven = np.array([one.proven for one, _ in kept])
            left = np.array([left for _, left in kept])
            inside = np.abs(slope - per_year) < 1.96 * u
            print(
                f"{years:5.1f} | {100 * per_year:5.1f} | {len(kept):4d} | {proven.mean():6.1%} | "
                f"{inside.mean():6.1%} | {100 * slope.mean():6.2f} | {100 * u.mean():5.2f} | "
                f"{np.expm1(per_year * (years - 0.04)):+.1%}, after "
                f"{np.abs(left[proven]).mean() if proven.any() else np.nan:.1%} off where proven"
            )


if __name__ == "__main__":
    main()
