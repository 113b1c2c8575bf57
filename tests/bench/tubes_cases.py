"""Cases of lost tubes on invented plants: what was lost, when, and what logs it."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fixtures.scenario import Fault, Scenario, flat_roof, home
from fixtures.weather import CONTINENTAL, SOUTHERN

TUBES = 20
LAST_DAY = date(2025, 9, 30)
LATEST = date(2025, 8, 15)
SOUND_DAYS = 90

_DIRECT = {"collector": "direct_flow", "heat_pipe_start_c": None, "heat_pipe_limit_c": None}
_INLAND = {
    "climate": CONTINENTAL, "latitude_deg": 48.3, "longitude_deg": 11.2,
    "timezone": "Europe/Berlin", "elevation_m": 480.0,
}  # fmt: skip
_SOUTH = {
    "climate": SOUTHERN, "latitude_deg": 38.1, "longitude_deg": -4.2,
    "timezone": "Europe/Madrid", "elevation_m": 350.0,
}  # fmt: skip
PLANTS = (
    (home, {}),
    (home, {"volume_l": 300.0, "litres_per_day": 200.0}),
    (home, {"least_speed": 1.0}),
    (home, {"tilt_deg": 55.0, "azimuth_deg": 215.0, "volume_l": 250.0}),
    (home, {**_DIRECT}),
    (home, {**_DIRECT, "volume_l": 300.0, "litres_per_day": 180.0, "limit_c": 75.0}),
    (flat_roof, {"area_m2": 2.13, "flow_l_min": 1.8, "coil_w_k": 300.0, "volume_l": 200.0}),
    (home, {**_INLAND}),
    (home, {**_INLAND, **_DIRECT, "volume_l": 300.0, "litres_per_day": 160.0}),
    (home, {**_SOUTH, "volume_l": 200.0, "litres_per_day": 160.0}),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One plant, what it lost and how it is logged.

    `kind` is a fault of the simulator, or "none"; `lost` tubes, or the share by which the flow
    reads low.
    """

    number: int
    plant: int
    kind: str
    lost: float
    start: date
    changed: date
    step_s: int
    seed: int

    @property
    def scenario(self) -> Scenario:
        """The plant with its fault."""
        make, facts = PLANTS[self.plant]
        faults: tuple[Fault, ...] = ()
        if self.kind == "flow_reads_low":
            faults = (Fault(kind=self.kind, start=str(self.changed), value=1.0 - self.lost),)
        elif self.kind != "none" and self.lost:
            faults = (Fault(kind=self.kind, start=str(self.changed), tubes=int(self.lost)),)
        return make(**{"tubes": TUBES, "flow_percent": 3.0, **facts, "faults": faults})

    @property
    def days(self) -> int:
        """How many days the log has."""
        return (LAST_DAY - self.start).days + 1


def cases(count: int, *, seed: int, kinds: tuple[str, ...] = ()) -> list[Case]:
    """Draw cases: 0 to 8 of 20 tubes lost on a random day after at least 90 sound ones."""
    rng = np.random.default_rng([seed, 411])
    drawn = []
    for number in range(count):
        start = date(2024, 3, 1) + timedelta(days=int(rng.integers(0, 330)))
        earliest = start + timedelta(days=SOUND_DAYS)
        changed = earliest + timedelta(days=int(rng.integers(1, (LATEST - earliest).days)))
        lost = float(rng.integers(0, 9))
        offered = kinds or ("tubes_missing", "tubes_without_vacuum")
        kind = str(rng.choice(offered))
        if kind == "flow_reads_low":
            lost = float(rng.uniform(0.08, 0.35))
        drawn.append(
            Case(
                number=number,
                plant=int(rng.integers(0, len(PLANTS))),
                kind=kind if lost else "none",
                lost=lost,
                start=start,
                changed=changed,
                step_s=(60, 300)[number % 2],
                seed=1000 * seed + number,
            )
        )
    return drawn
