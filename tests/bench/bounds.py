"""Do the 95 % bounds of delivered heat hold the truth in 95 of 100 cases?

python -m tests.bench.bounds [plants] [draws for each] [step in s]

Sensor errors are drawn from the stated classes again and again over a few simulated truths; a
random day and the year of each draw are compared with the truth: once from the plain sums, once
with the offset of the pipe sensors learnt, as the report does.
"""

import sys

import numpy as np

from analysis.assess import observe
from analysis.energy import delivered
from analysis.offsets import corrected, learn_offsets
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
    """Tell for each draw whether day and year held the truth, plain, then with what was learnt."""
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
        learnt = corrected(table, learn_offsets(table, site), site)
        results.append(
            [
                _inside(one, days, true[days].sum())
                for one in (table, learnt)
                for days in (np.array([day]), np.arange(len(true)))
            ]
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
        print(f"plant {number}: {draws} draws, {_words(got)}")
    print(f"{len(every)} draws at {step_s} s: {_words(every)}")


def _words(results) -> str:
    plain_day, plain_year, day, year = np.mean(results, axis=0) * 100.0
    return (
        f"held as summed: day {plain_day:.1f} %, year {plain_year:.1f} %; "
        f"offset learnt: day {day:.1f} %, year {year:.1f} %"
    )


if __name__ == "__main__":
    main()
