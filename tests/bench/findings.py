"""What the nine kinds find and what they leave alone, on invented plants.

python -m tests.bench.findings [healthy plants] [fault seeds]

Prints false calls for someone's time on healthy site-years, with and without irradiance and with
the four channels that poor sites have, then, for each injected fault, kind found, days of sun until
it starts, and end.
"""

import sys
from datetime import datetime

import numpy as np

from analysis.results import Finding, iso
from fixtures.scenario import Fault, Scenario, flat_roof, home, school
from tests.plants import POOR, Examined, examine

MAKERS = (
    lambda: home(),
    lambda: home(tubes=16),
    lambda: home(tubes=24),
    lambda: home(tubes=30),
    lambda: home(least_speed=1.0),
    lambda: home(tubes=20, volume_l=150.0, litres_per_day=60.0),
    lambda: school(),
    lambda: flat_roof(),
    lambda: home(collector="direct_flow", heat_pipe_start_c=None, heat_pipe_limit_c=None),
    lambda: home(away=(("2025-07-20", "2025-08-10"),)),
)
SETS = {"all": {}, "no sun": {"without": ("irradiance_plane",)}, "poor": {"channels": POOR}}

FAULTS = (
    ("lost_circulation", None, "pump_dead", "2025-05-03", "2025-05-20", {}),
    ("lost_circulation", None, "pump_never_commanded", "2025-04-08", "2025-04-25", {}),
    ("lost_circulation", None, "airlock", "2025-07-10", "2025-07-25", {}),
    ("reverse_circulation", None, "reverse_circulation", "2025-03-10", "2025-04-20", {}),
    (
        "sensor_fault",
        "collector",
        "sensor_open",
        "2025-08-10",
        "2025-08-20",
        {"channel": "collector", "value": 999.9},
    ),
    (
        "sensor_fault",
        "store_bottom",
        "sensor_stuck",
        "2025-06-05T12:00",
        "2025-06-20",
        {"channel": "store_bottom"},
    ),
    ("degraded_tubes", None, "tubes_without_vacuum", "2025-06-10", None, {"tubes": 5}),
)


def main() -> None:
    """Print both tables."""
    healthy = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    seeds = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    for words, options in SETS.items():
        called = []
        for number in range(healthy):
            plant = examine(MAKERS[number % len(MAKERS)](), seed=number + 1, **options)
            called += [
                (number, item.kind, item.urgency, item.channel, item.summary)
                for item in plant.report.findings
                if item.urgency in ("act", "visit")
            ]
        print(f"healthy, {words}: {len(called)} calls in {healthy} site-years {called}")
    for row in FAULTS:
        for words, options in SETS.items():
            for seed in range(1, seeds + 1):
                print(words, seed, *_judged(row, seed, options), sep=" | ")


def _judged(row, seed: int, options) -> tuple[object, ...]:
    kind, channel, fault, start, end, extra = row
    scenario: Scenario = home(tubes=20, faults=(Fault(kind=fault, start=start, end=end, **extra),))
    plant = examine(scenario, seed=seed, **options)
    hits = [
        item
        for item in plant.report.findings
        if item.kind == kind and (channel is None or item.channel == channel)
    ]
    others = [
        (item.kind, item.channel, iso(item.start_s)[:10], item.urgency)
        for item in plant.report.findings
        if item not in hits and item.urgency in ("act", "visit")
    ]
    if not hits:
        verdict = next(item for item in plant.report.verdicts if item.kind == kind)
        return fault, "missed", verdict.outcome, verdict.why, others
    first = hits[0]
    return (
        fault,
        f"{len(hits)} found",
        f"from {iso(first.start_s)}",
        f"{_sunny_until(plant, start, first)} sunny days late",
        f"to {iso(hits[-1].end_s) if hits[-1].end_s else 'lasting'} (true {end})",
        first.urgency,
        f"lost {first.lost.value:.0f}" if first.lost else "lost unknown",
        others,
    )


def _sunny_until(plant: Examined, start: str, finding: Finding) -> int:
    """Count sunny days between the true start and the finding's."""
    since = datetime.fromisoformat(start).timestamp()
    sun = plant.table.column("irradiation_kwh_m2")
    edges = plant.table.days.edge_s
    between = (edges[1:] > since) & (edges[1:] <= finding.start_s)
    return int((np.nan_to_num(sun) >= 3.0)[between].sum())


if __name__ == "__main__":
    main()
