"""The design methods against hourly simulation of the same systems: `python -m tests.bench.design`.

Files of typical years (TMY3 layout or PVGIS) may follow; without them the one that comes with pvlib
is used for the independent library.
"""

import sys
from pathlib import Path

from fixtures.scenario import Scenario, flat_roof, home, school
from fixtures.simulate import simulate
from fixtures.weather import CONTINENTAL, SOUTHERN
from tests.build_design import (
    GREENSBORO,
    HEATERS,
    Years,
    against_library,
    against_own_simulation,
    planes_by_mean_day,
    planes_hour_by_hour,
)

_PLANES = ((38.0, 180.0), (38.0, 90.0), (60.0, 200.0), (30.0, 0.0), (90.0, 180.0))
_PLATE = (1.0, 1.0, 1.0, 0.99, 0.97, 0.94, 0.87, 0.7, 0.35, 0.0)
_INLAND = {"latitude_deg": 48.1, "longitude_deg": 11.6, "timezone": "Europe/Berlin",
           "climate": CONTINENTAL, "elevation_m": 500.0}  # fmt: skip
_SOUTH = {"latitude_deg": 37.1, "longitude_deg": 14.5, "timezone": "Europe/Rome",
          "climate": SOUTHERN}  # fmt: skip

# The seed of a plant is its place in the list, from 1.
PLANTS: dict[str, Scenario] = {
    "18 tubes, Britain": home(),
    "10 tubes, Britain": home(tubes=10),
    "30 tubes, Britain": home(tubes=30),
    "30 tubes, little drawn": home(tubes=30, litres_per_day=80.0),
    "18 tubes to the east": home(azimuth_deg=100.0),
    "18 tubes, inland": home(**_INLAND),
    "18 tubes, south": home(**_SOUTH),
    "12 tubes, south": home(tubes=12, **_SOUTH),
    "school": school(),
    "turned tubes, flat roof": flat_roof(),
    "flat plate": home(
        collector="flat_plate", tubes=None, area_m2=4.0, eta0_hem=0.76, a1_w_m2k=3.6,
        a2_w_m2k2=0.014, iam_diffuse=0.9, stagnation_c=190.0, heat_pipe_start_c=None,
        heat_pipe_limit_c=None, iam_transversal=_PLATE, iam_longitudinal=_PLATE, volume_l=250.0,
        litres_per_day=150.0, flow_l_min=3.0, coil_w_k=400.0,
    ),
}  # fmt: skip


def main(paths: list[Path]) -> None:
    """Print each system's year and how far the methods are from it."""
    _head("the project's own simulation, one minute, its own weather of 2025")
    for seed, (name, scenario) in enumerate(PLANTS.items(), 1):
        _row(against_own_simulation(name, simulate(scenario, seed=seed)))
    _head("an independent library, one hour, typical years")
    for path in paths or [GREENSBORO]:
        for heater in HEATERS:
            _row(against_library(heater, path))
    print("\nirradiation on planes through a mean day over that hour by hour: year, months")
    for path in paths or [GREENSBORO]:
        for tilt_deg, azimuth_deg in _PLANES:
            hourly = planes_hour_by_hour(path, tilt_deg, azimuth_deg)
            found = planes_by_mean_day(path, tilt_deg, azimuth_deg)
            months = found / hourly
            print(
                f"{path.name:<36}tilt {tilt_deg:2.0f} facing {azimuth_deg:3.0f}: "
                f"{found.sum() / hourly.sum():.3f}, {months.min():.2f} to {months.max():.2f}"
            )


def _head(words: str) -> None:
    print(f"\nagainst {words}: heat into the store in a year [kWh], and how far off")


def _row(years: Years) -> None:
    methods = "  ".join(
        f"{method} {kwh:.0f} ({years.off_frac(method):+.1%})"
        for method, kwh in years.by_method_kwh.items()
    )
    print(f"{years.name:<52}{years.simulated_kwh:7.0f}   {methods}", flush=True)


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
