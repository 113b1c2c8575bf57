"""Without a sun sensor: is a halved yield found within a season, and a dull summer left alone?

python -m tests.bench.clear_days [seeds] [first seed]

Half the invented plants stand in a far duller climate than any usual one. Each healthy year and
each halved one is logged with and without flow and pipe sensors.
"""

import sys
from datetime import datetime

import numpy as np

from analysis.clear_days import falls_of, level_of
from fixtures.scenario import Fault, Scenario, flat_roof, home, school
from fixtures.weather import DULL
from tests.plants import POOR, Examined, examine

WITH_FLOW = (
    "collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "ambient", "flow", "pump",
)  # fmt: skip
SETS = {"flow": WITH_FLOW, "four channels": POOR}
MAKERS = (
    home,
    lambda **given: home(climate=DULL, **given),
    lambda **given: home(least_speed=1.0, **given),
    lambda **given: home(climate=DULL, tubes=24, **given),
    flat_roof,
    lambda **given: school(climate=DULL, **given),
)
SEASON_DAYS = 90


def examined(scenario: Scenario, seed: int, channels: tuple[str, ...], **given) -> Examined:
    """Simulate, log without the sun, and analyse."""
    return examine(scenario, seed=seed, channels=channels, **given)


def called(plant: Examined) -> list[tuple[str, str]]:
    """Give shortfalls, and any other call for someone's time."""
    return [
        (item.kind, item.urgency)
        for item in plant.report.findings
        if item.kind == "yield_shortfall" or item.urgency in ("act", "visit")
    ]


def seen_after(plant: Examined, day: str) -> float:
    """Give the days from the start of the fault until a shortfall that lasts is known, or NaN.

    Known on the day on which enough clear days had been seen.
    """
    level = level_of(plant.table)
    start = datetime.fromisoformat(day).timestamp()
    for count in range(1, len(level.place) + 1):
        part = type(level)(
            place=level.place[:count], ratio=level.ratio[:count], reach_frac=level.reach_frac
        )
        falls = falls_of(part)
        known_s = plant.table.days.edge_s[level.place[count - 1] + 1]
        if falls and not falls[-1].over and known_s > start:
            return float((known_s - start) / 86_400.0)
    return float("nan")


def main() -> None:
    """Print both tables."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for words, channels in SETS.items():
        false, late = [], []
        for seed in range(first, first + seeds):
            for number, make in enumerate(MAKERS):
                false += [
                    (number, seed, *item) for item in called(examined(make(), seed, channels))
                ]
                day = f"2025-{4 + (seed + number) % 6:02}-10"
                fault = Fault(kind="soiling", start=day, value=0.5)
                late.append(seen_after(examined(make(faults=(fault,)), seed, channels), day))
        years = seeds * len(MAKERS)
        found = np.array(late)
        within = int((found <= SEASON_DAYS).sum())
        print(f"{words}: {len(false)} false in {years} healthy years {false}")
        print(
            f"{words}: {within} of {years} halved yields known within {SEASON_DAYS} days, median "
            f"{np.nanmedian(found):.0f}, never {int(np.isnan(found).sum())}"
        )


if __name__ == "__main__":
    main()
