"""What the kinds about pump and flow say of healthy plants.

python -m tests.bench.pump_kinds [plants]

Prints each finding of these kinds on healthy site-years, with all channels, without the sun, and
with the four channels of poor sites; none may ask for somebody's time.
"""

import sys

from fixtures.simulate import simulate
from tests.bench.findings import MAKERS, SETS
from tests.plants import examine

KINDS = ("night_running", "pump_never_stops", "low_flow", "high_flow")


def main() -> None:
    """Print the findings, and how many of them ask for time."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    asked = said = 0
    for number in range(count):
        scenario = MAKERS[number % len(MAKERS)]()
        run = simulate(scenario, seed=number + 1, start="2025-01-01", days=365)
        for words, options in SETS.items():
            plant = examine(scenario, seed=number + 1, run=run, **options)
            every = (*plant.report.findings, *plant.report.explained)
            for item in (found for found in every if found.kind in KINDS):
                said += 1
                asked += item.urgency in ("act", "visit")
                print(number, words, item.kind, item.urgency, item.summary, sep=" | ")
    print(f"{count * len(SETS)} healthy site-years: {said} findings, {asked} ask for time")


if __name__ == "__main__":
    main()
