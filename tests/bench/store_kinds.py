"""What the kinds about store, taps and fluid find, and what they leave alone, on invented plants.

python -m tests.bench.store_kinds [seeds]

Healthy years of plants that tempt these kinds: high limits, no valve on record, no backup, a backup
at 60 °C, long times away, large stores; then each injected fault with all channels, without the
sun, and with the four channels of poor sites.
"""

import sys
from dataclasses import replace

from analysis.results import iso
from analysis.sitefile import parse_site
from fixtures.scenario import Fault, home, school, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import simulate
from tests.build import FULL_LOG
from tests.plants import POOR, examined, record_of

KINDS = (
    "store_overheat", "scald_risk", "hygiene_temperature", "charge_limit_low", "backup_overlap",
    "fluid_stress", "no_draw",
)  # fmt: skip
EVERYTHING = (*FULL_LOG, "backup", "hot_tap")
SETS = {"everything": EVERYTHING, "no sun": tuple(set(EVERYTHING) - {"irradiance_plane"}),
        "poor": POOR}  # fmt: skip
AWAY = (("2025-07-05", "2025-08-16"),)
TEMPTING = {
    "limit 80 °C": {"limit_c": 80.0, "litres_per_day": 60.0},
    "limit 80 °C, no valve on record": {"limit_c": 80.0, "litres_per_day": 60.0, "valve": False},
    "no valve on record": {"valve": False},
    "backup at 60 °C": {"backup_setpoint_c": 60.0},
    "backup at 60 °C, no valve on record": {"backup_setpoint_c": 60.0, "valve": False},
    "no backup": {"backup_w": 0.0},
    "weak heater": {"backup_w": 2000.0},
    "six weeks away": {"away": AWAY, "limit_c": 75.0},
    "400 l for few": {"volume_l": 400.0, "litres_per_day": 60.0},
    "flat plate pump at one speed": {"least_speed": 1.0, "start_difference_k": 10.0},
    "school": {"school": True},
}
FAULTS = {
    "store_overheat": ("limit_raised", {"tubes": 30, "volume_l": 200.0, "litres_per_day": 60.0}),
    "scald_risk": ("mixing_valve_stuck", {}),
    "hygiene_temperature": ("backup_dead", {"backup_setpoint_c": 62.0}),
    "charge_limit_low": ("limit_lowered", {}),
    "backup_overlap": ("backup_overlap", {"backup_w": 2000.0}),
    "no_draw": ("holiday_full_store", {}),
}
START, END = "2025-06-05", "2025-07-05"


def main() -> None:
    """Print both tables."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    calls = years = 0
    for name, given in TEMPTING.items():
        for seed in range(1, seeds + 1):
            for words, report in _reports(given, seed, days=365, start="2025-01-01"):
                asked = [f for f in report.findings if f.urgency in ("act", "visit")]
                calls, years = calls + len(asked), years + 1
                seen = [
                    f"{f.kind} {f.urgency} {f.summary}"
                    for f in report.findings
                    if f.kind in KINDS or f in asked
                ]
                print(name, words, seed, f"{len(asked)} calls", seen, sep=" | ", flush=True)
    print(f"healthy: {calls} calls for somebody's time in {years} site-years")
    for kind, (fault, given) in FAULTS.items():
        wrong = {**given, "faults": (Fault(kind=fault, start=START, end=END),)}
        for seed in range(1, seeds + 1):
            for words, report in _reports(wrong, seed, days=122, start="2025-05-01"):
                print(kind, words, seed, _judged(report, kind), sep=" | ", flush=True)


def _reports(given, seed, *, days, start):
    valve = given.get("valve", True)
    make = school if given.get("school") else home
    own = {key: value for key, value in given.items() if key not in ("valve", "school")}
    scenario = make(**own)
    run = simulate(scenario, seed=seed, start=start, days=days)
    site = parse_site(site_toml(scenario))
    if not valve:
        site = replace(site, store=replace(site.store, mixing_valve_c=None))
    for words, channels in SETS.items():
        log = read_sensors(run, seed=seed + 1000, sensors="site", step_s=300, channels=channels)
        yield words, examined(run, site, record_of(log)).report


def _judged(report, kind) -> str:
    found = [f for f in (*report.findings, *report.explained) if f.kind == kind]
    others = [(f.kind, f.urgency) for f in report.findings
              if f.kind != kind and f.urgency in ("act", "visit")]  # fmt: skip
    if not found:
        verdict = next(item for item in report.verdicts if item.kind == kind)
        return f"missed: {verdict.outcome} {verdict.why} {others}"
    said = "; ".join(
        f"{iso(f.start_s)[:10]} to {iso(f.end_s)[:10] if f.end_s else 'lasting'} {f.urgency}"
        f"{f' lost {f.lost.value:.0f}' if f.lost else ''}"
        for f in found
    )
    return f"{said} (true {START} to {END}) {others}"


if __name__ == "__main__":
    main()
