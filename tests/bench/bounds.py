"""Do the 95 % bounds of delivered heat hold the truth in 95 of 100 cases?

python -m tests.bench.bounds [plants] [draws for each] [step in s]

Sensor errors are drawn from the stated classes again and again over a few simulated truths; a
random day and the year of each draw are compared with the truth.
"""

import sys

import numpy as np

from analysis.assess import observe
from analysis.energy import delivered
from analysis.sitefile import parse_site
from fixtures.scenario import Scenario, flat_roof, home, school, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import simulate
from tests.plants import record_of

PLANTS: tuple[Scenario, ...] = (
    home(),
    home(tubes=16, temperature_class="A"),
    home(tubes=24, least_speed=1.0),
    home(tubes=30, flow_percent=3.0),
    school(),
    flat_roof(),
    home(temperature_class=0.5, flow_percent=2.0),
    home(tubes=20, temperature_class="AA"),
)


def held(scenario: Scenario, *, seed: int, draws: int, step_s: int, days: int = 365):
    """Give for each draw whether the bounds of a random day and of the year held the truth."""
    run = simulate(scenario, seed=seed, start="2025-01-01", days=days)
    site = parse_site(site_toml(scenario))
    truth = {str(day): kwh for day, kwh in run.daily_truth(site.place.timezone).items()}
    rng = np.random.default_rng(seed)
    results = []
    for draw in range(draws):
        log = read_sensors(run, seed=seed * 1000 + draw, sensors="site", step_s=step_s)
        record = record_of(log)
        table = observe(site=site, record=record, channels=frozenset(record.columns), catalogue=())
        true = np.array([truth.get(day, 0.0) for day in table.days.dates])
        day = int(rng.choice(np.flatnonzero(true > 0.1)))
        results.append(
            (
                _inside(table, np.array([day]), true[day]),
                _inside(table, np.arange(len(true)), true.sum()),
            )
        )
    return results


def _inside(table, days, true: float) -> bool:
    found = delivered(table, days)
    return found.low <= true <= found.high


def main() -> None:
    """Print the shares."""
    given = [int(text) for text in sys.argv[1:]]
    plants, draws, step_s = [*given, *(8, 40, 60)[len(given) :]]
    every = []
    for number in range(plants):
        scenario = PLANTS[number % len(PLANTS)]
        got = held(scenario, seed=number + 1, draws=draws, step_s=step_s)
        every += got
        share = np.mean(got, axis=0) * 100.0
        print(f"plant {number}: {draws} draws, day {share[0]:.1f} %, year {share[1]:.1f} %")
    share = np.mean(every, axis=0) * 100.0
    print(f"{len(every)} draws at {step_s} s: day {share[0]:.1f} %, year {share[1]:.1f} % held")


if __name__ == "__main__":
    main()
