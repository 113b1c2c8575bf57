"""Daily and yearly heat with perfect sensors against the simulator's truth.

python -m tests.bench.accuracy

Prints for each invented plant and logging step the share of days above 1 kWh within the limit, the
95th percentile of the day's error and the year's error. A plant that switches its pump often is
hard to sample; five-minute means and samples stand side by side.
"""

import numpy as np

from fixtures.scenario import flat_roof, home, school
from fixtures.simulate import simulate
from tests.plants import examine

PLANTS = {
    "home": home(),
    "home, 24 tubes": home(tubes=24),
    "home, on/off pump": home(least_speed=1.0),
    "school": school(),
    "flat roof": flat_roof(),
}
LIMITS = {60: 0.02, 300: 0.05}


def errors(plant, *, step_s: int, values: str) -> tuple[float, float, float]:
    """Give the share of days within the limit, their 95th percentile and the year's error."""
    truth = np.array([plant.true_kwh.get(day, 0.0) for day in plant.table.days.dates])
    heat = np.nan_to_num(plant.table.column("heat_kwh"))
    day = np.abs(heat - truth)[truth > 1.0] / truth[truth > 1.0]
    year = heat.sum() / truth.sum() - 1.0
    return float((day <= LIMITS[step_s]).mean()), float(np.quantile(day, 0.95)), float(year)


def main() -> None:
    """Print the table."""
    print("plant | seed | step | values | days within | 95th percentile | year")
    for name, scenario in PLANTS.items():
        for seed in (1, 2, 3):
            run = simulate(scenario, seed=seed, start="2025-01-01", days=365)
            for step_s, values in ((60, "sample"), (300, "sample"), (300, "mean")):
                plant = examine(
                    scenario, seed=seed, run=run, sensors="perfect", step_s=step_s, values=values
                )
                within, high, year = errors(plant, step_s=step_s, values=values)
                print(
                    f"{name} | {seed} | {step_s} s | {values} | {100 * within:.1f} % | "
                    f"{100 * high:.1f} % | {100 * year:+.2f} %"
                )


if __name__ == "__main__":
    main()
