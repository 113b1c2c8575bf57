"""Expected heat against what healthy plants truly delivered, in five climates.

python -m tests.bench.expected climates [seeds]    perfect sensors, every climate and plant
python -m tests.bench.expected bounds [draws]      class errors drawn over a few truths
python -m tests.bench.expected other               the compact plant of `tests.other_plant`
python -m tests.bench.expected standing [seeds]    lost heat of a loop that stands, against its twin

The truth is the heat that the healthy plant truly delivered, without any sensor. Everything is
invented; no figure here comes from a real site.
"""

import sys
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from analysis.assess import observe
from analysis.energy import expected
from analysis.sitefile import parse_site
from fixtures.places import CLIMATES, PLANTS
from fixtures.scenario import Fault, Scenario, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import Run, simulate
from tests.other_plant import Other, heat_kwh, log_of
from tests.plants import record_of

SUNNY_KWH_M2 = 3.0
DAY_LIMIT, YEAR_LIMIT = 0.08, 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Days:
    """Days side by side: expected and true heat [kWh], sun in the plane [kWh/m2]."""

    wanted: np.ndarray
    true: np.ndarray
    sun: np.ndarray

    def sunny_error(self) -> np.ndarray:
        """Give the relative error of every sunny day whose figure is known."""
        sunny = np.isfinite(self.wanted) & (self.sun >= SUNNY_KWH_M2) & (self.true > 0.1)
        return self.wanted[sunny] / self.true[sunny] - 1.0

    def figures(self) -> str:
        """Give ratio of the whole, share of sunny days within the limit, 95th percentile, worst."""
        known = np.isfinite(self.wanted)
        ratio = self.wanted[known].sum() / self.true[known].sum()
        error = self.sunny_error()
        worst = error[np.argmax(np.abs(error))]
        return (
            f"{ratio:.3f} | {error.size} sunny | {100 * np.mean(np.abs(error) <= DAY_LIMIT):.1f} %"
            f" within | 95th {100 * np.quantile(np.abs(error), 0.95):.1f} % | "
            f"mean {100 * error.mean():+.1f} % | worst {100 * worst:+.1f} %"
        )


def true_kwh(run: Run, timezone: str, dates) -> np.ndarray:
    """Give the heat that the plant truly delivered on each day [kWh]."""
    truth = {str(day): kwh for day, kwh in run.daily_truth(timezone).items()}
    return np.array([truth.get(day, 0.0) for day in dates])


def observed(scenario: Scenario, run: Run, *, seed: int, sensors: str, step_s: int):
    """Give the table of days and the site."""
    site = parse_site(site_toml(scenario))
    record = record_of(read_sensors(run, seed=seed, sensors=sensors, step_s=step_s))
    return observe(site=site, record=record, channels=frozenset(record.columns), catalogue=()), site


def compared(scenario: Scenario, run: Run, *, step_s: int = 60) -> Days:
    """Compare a year with perfect sensors."""
    table, site = observed(scenario, run, seed=1, sensors="perfect", step_s=step_s)
    return Days(
        wanted=table.column("expected_kwh"),
        true=true_kwh(run, site.place.timezone, table.days.dates),
        sun=np.nan_to_num(table.column("irradiation_kwh_m2")),
    )


def climates(seeds: int = 1) -> None:
    """Print every climate and plant."""
    for place, facts in CLIMATES.items():
        for name, maker in PLANTS.items():
            for seed in range(1, seeds + 1):
                scenario = maker(**facts)
                run = simulate(scenario, seed=seed)
                print(
                    f"{place} | {name} | {seed} | {compared(scenario, run).figures()}", flush=True
                )


def bounds(draws: int = 20) -> None:
    """Print how often the 95 % bounds hold the truth: a random day and the year of each draw.

    The insulation of the pipes, which no site file states, is drawn once for each truth.
    """
    every, insulation = [], np.random.default_rng(5)
    for number, (place, facts) in enumerate(CLIMATES.items()):
        for kind, name in list(enumerate(PLANTS))[number % 2 :: 2]:
            scenario = PLANTS[name](**facts)
            drawn = scenario.hose_w_mk * max(1.0 + 0.2 * insulation.standard_normal(), 0.4)
            scenario = replace(scenario, hose_w_mk=drawn)
            run = simulate(scenario, seed=100 + number)
            got = held(scenario, run, draws=draws, seed=100 + 10 * number + kind)
            share = 100.0 * np.mean(got, axis=0)
            print(f"{place} | {name} | day {share[0]:.0f} % | year {share[1]:.0f} %", flush=True)
            every += got
    share = 100.0 * np.mean(every, axis=0)
    print(f"{len(every)} draws: day {share[0]:.1f} %, year {share[1]:.1f} % held")


def held(scenario: Scenario, run: Run, *, draws: int, seed: int, step_s: int = 300):
    """Give for each draw whether the bounds of a random day and of the year held the truth."""
    random, results = np.random.default_rng(seed), []
    for draw in range(draws):
        table, site = observed(
            scenario, run, seed=1000 * seed + draw, sensors="site", step_s=step_s
        )
        true = true_kwh(run, site.place.timezone, table.days.dates)
        day = int(random.choice(np.flatnonzero(true > 0.1)))
        spans = (np.array([day]), np.arange(len(true)))
        results.append(
            tuple(
                (found := expected(table, days, site)).low <= true[days].sum() <= found.high
                for days in spans
            )
        )
    return results


OTHERS = {
    "as it is": {},
    "much store, much use": {"volume": 300.0, "litres_per_day": 200.0},
    "fills daily": {"volume": 160.0, "litres_per_day": 50.0},
    "fills daily, wide release": {"litres_per_day": 50.0, "hysteresis_k": 9.0},
    "limit on top": {"limit_on_top": True, "limit": 60.0, "hysteresis_k": 9.0, "volume": 400.0},
    "heavy tubes, broken sky": {
        "capacity_kj": 30.0,
        "clear": 0.35,
        "volume": 250.0,
        "litres_per_day": 200.0,
        "area": 2.2,
        "seed": 2,
    },
    "little flow": {"flow": 1.2, "volume": 300.0, "litres_per_day": 200.0},
    "long outdoor pipes": {
        "pipe_m": 60.0,
        "outdoors": True,
        "volume": 300.0,
        "litres_per_day": 200.0,
    },
}


def other() -> None:
    """Print the compact plant's figures: its day is UTC, its log means of ten minutes."""
    for name, facts in OTHERS.items():
        plant = Other(days=150, start="2025-04-01", **facts)
        record = log_of(plant)
        table = observe(
            site=plant.site, record=record, channels=frozenset(record.columns), catalogue=()
        )
        days = Days(
            wanted=table.column("expected_kwh"),
            true=heat_kwh(plant),
            sun=np.nan_to_num(table.column("irradiation_kwh_m2")),
        )
        print(f"other plant, {name} | {days.figures()}", flush=True)


STANDING = (
    ("pump_dead", "2025-05-03", "2025-05-24"),
    ("pump_dead", "2025-07-05T11:00", "2025-07-26"),
    ("pump_dead", "2025-03-01", "2025-03-22"),
    ("pump_never_commanded", "2025-04-08", "2025-04-29"),
    ("airlock", "2025-08-10", "2025-08-31"),
)


def standing(seeds: int = 1) -> None:
    """Print heat lost by a standing loop against what its healthy twin delivered more."""
    every = []
    for place, facts in CLIMATES.items():
        for name, maker in PLANTS.items():
            for seed in range(1, seeds + 1):
                for kind, start, end in STANDING:
                    got = lost(maker(**facts), seed, Fault(kind=kind, start=start, end=end))
                    every.append(got)
                    print(f"{place} | {name} | {seed} | {kind} {start} | {got}", flush=True)
    near = np.mean([item.near for item in every])
    ratios = np.array([item.said / item.true for item in every])
    inside = np.mean([item.low <= item.true <= item.high for item in every])
    print(
        f"{len(every)} cases: {100 * near:.1f} % within 20 %, {100 * inside:.1f} % within bounds, "
        f"mean ratio {ratios.mean():.3f}, spread {ratios.std():.3f}"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Heat lost over a span [kWh]: as said, its bounds, and in truth."""

    said: float
    low: float
    high: float
    true: float

    @property
    def near(self) -> bool:
        """Whether the figure is within a fifth of the truth."""
        return abs(self.said / self.true - 1.0) <= 0.2

    def __str__(self) -> str:
        return (
            f"said {self.said:.1f} ({self.low:.1f} to {self.high:.1f}), true {self.true:.1f} kWh, "
            f"ratio {self.said / self.true:.2f}"
        )


def lost(twin: Scenario, seed: int, fault: Fault) -> Lost:
    """Compare expected less delivered with the twin's delivered less delivered.

    Both live through the same weather and draws from three weeks before the fault on.
    """
    start, end = fault.start[:10], fault.end
    first = date.fromisoformat(start) - timedelta(days=21)
    span = {"start": str(first), "days": (date.fromisoformat(end) - first).days + 2}
    ill = replace(twin, faults=(fault,))
    sound, run = simulate(twin, seed=seed, **span), simulate(ill, seed=seed, **span)
    table, site = observed(ill, run, seed=1, sensors="perfect", step_s=300)
    dates = table.days.dates
    days = np.array([number for number, day in enumerate(dates) if start <= day < end])
    zone = site.place.timezone
    brought = true_kwh(run, zone, dates)[days].sum()
    found = expected(table, days, site)
    return Lost(
        said=found.value - brought,
        low=found.low - brought,
        high=found.high - brought,
        true=true_kwh(sound, zone, dates)[days].sum() - brought,
    )


def main() -> None:
    """Print what is asked for."""
    what, *numbers = sys.argv[1:] or ["climates"]
    {"climates": climates, "bounds": bounds, "other": other, "standing": standing}[what](
        *(int(text) for text in numbers)
    )


if __name__ == "__main__":
    main()
