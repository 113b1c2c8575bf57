"""How steady findings are when a history is lived through day by day.

python -m tests.bench.lives [seeds]

For each plant with faults it prints every name that was gone on some evening after it had been
told, or that another name took over; then how many of all names that were.
"""

import sys

from fixtures.faults import Fault
from tests.build import FULL_LOG, PUMP_LOG, a_plant
from tests.replay import evenings, lives

STORY = (
    Fault(kind="pump_dead", start="2025-05-08", end="2025-05-14"),
    Fault(kind="night_running", start="2025-05-20", end="2025-05-27"),
    Fault(kind="sensor_stuck", start="2025-06-02T12:00", end="2025-06-09", channel="loop_hot"),
    Fault(kind="reverse_circulation", start="2025-06-12", end="2025-06-24"),
    Fault(kind="low_flow", start="2025-06-28", end="2025-07-08"),
    Fault(kind="airlock", start="2025-07-10", end="2025-07-20"),
    Fault(kind="tubes_missing", start="2025-07-24", tubes=9),
)
PLANTS = {
    "healthy": {},
    "all faults": {"faults": STORY},
    "no tubes at first": {
        "faults": (Fault(kind="not_yet_fitted", start="2025-05-01", end="2025-05-20"),)
    },
    "lowered limit": {"faults": (Fault(kind="limit_lowered", start="2025-06-01"),)},
}
SETS = {"all": FULL_LOG, "poor": PUMP_LOG}


def main() -> None:
    """Print what was not steady, and the sums."""
    names = gone = unsteady = 0
    for seed in range(1, (int(sys.argv[1]) if len(sys.argv) > 1 else 1) + 1):
        for words, given in PLANTS.items():
            for logged, channels in SETS.items():
                plant = a_plant(days=110, seed=seed, channels=channels, **given)
                told = lives(list(evenings(plant, first=8)))
                names += len(told)
                for life in told:
                    lost = not life.stays and not life.explained
                    gone += life.gone
                    unsteady += life.gone > 0 or lost
                    if life.gone or lost:
                        print(seed, words, logged, life, sep=" | ", flush=True)
    print(f"{names} names, {unsteady} not steady, gone {gone} times")


if __name__ == "__main__":
    main()
