"""How well the sun tells the logger's clock, and what the kind about it finds and leaves alone.

python -m tests.bench.clock [plants] [first seed]

Invented years in five climates, planes to all sides, hills, holidays, logging steps of 1 to 15
minutes, samples and means; each with all channels, without the sun sensor, and with the four
channels of poor sites. Prints errors and coverage by stretches of a fortnight, then recall for
each thing a clock can do, and what is said of healthy clocks.
"""

import sys
from collections import defaultdict
from dataclasses import replace

import numpy as np

from analysis.assess import observe
from analysis.clock_check.course import clock_days, course_of, stretches
from analysis.clock_check.proposal import corrections, keys_of, zone_of_clock
from analysis.faults import Judged
from analysis.faults.clock_wrong import ClockWrong
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures.places import CLIMATES, PLANTS
from fixtures.scenario import Fault, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import Run, simulate
from tests.build import FULL_LOG, a_history
from tests.plants import POOR, record_of

KIND = ClockWrong()
SETS = {"all": FULL_LOG, "no sun": tuple(set(FULL_LOG) - {"irradiance_plane"}), "poor": POOR}
AZIMUTHS = (180.0, 90.0, 215.0, 270.0, 150.0)
STEPS = ((300, "sample"), (60, "sample"), (600, "mean"), (900, "sample"), (300, "mean"))
HILLS = {
    "horizon_azimuth_deg": (60.0, 90.0, 120.0, 150.0, 240.0, 270.0, 300.0),
    "horizon_elevation_deg": (10.0, 18.0, 10.0, 2.0, 0.0, 8.0, 0.0),
}
LIVES = ({}, {"away": (("2025-07-01", "2025-07-22"),)}, HILLS)
# What is done to the clock, and whether the course of it is told: words that the summary holds.
WRONG = {
    "30 min ahead, all year": (Fault(kind="clock_offset", start="2025-01-01", value=30.0), ""),
    "30 min behind, April to June": (
        Fault(kind="clock_offset", start="2025-04-01", end="2025-07-01", value=-30.0), ""
    ),
    "60 min ahead from March": (Fault(kind="clock_offset", start="2025-03-05", value=60.0), ""),
    "no summer time": (
        Fault(kind="clock_without_summer_time", start="2025-01-01"), "timezone"
    ),
    "gains 6 min a month": (Fault(kind="clock_drift", start="2025-01-01", value=6.0), "gains"),
    "loses 10 min from May": (Fault(kind="clock_drift", start="2025-05-01", value=-10.0), "loses"),
}  # fmt: skip


def _table(run: Run, site: Site, channels: tuple[str, ...], number: int):
    step_s, values = STEPS[number % len(STEPS)]
    log = read_sensors(
        run, seed=number, sensors="site", step_s=step_s, values=values, channels=channels
    )
    names = frozenset(channels)
    return observe(site=site, record=record_of(log), channels=names, catalogue=(KIND,))


def _plants(count: int, first: int):
    for number in range(first, first + count):
        climate, facts = list(CLIMATES.items())[number % len(CLIMATES)]
        name, maker = list(PLANTS.items())[number % len(PLANTS)]
        azimuth = AZIMUTHS[(number // 2) % len(AZIMUTHS)]
        life = LIVES[number % len(LIVES)]
        scenario = maker(**{**facts, **life, "azimuth_deg": azimuth})
        yield number, f"{climate}, {name}, {azimuth:.0f}°", scenario


def main() -> None:
    """Print coverage, recall and what is said of healthy clocks."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    seen = defaultdict(list)
    found = defaultdict(list)
    told = defaultdict(list)
    for number, words, scenario in _plants(count, first):
        run = simulate(scenario, seed=number, start="2025-01-01", days=365)
        site = parse_site(site_toml(scenario))
        for name, channels in SETS.items():
            table = _table(run, site, channels, number)
            days = clock_days(table, site)
            judged = KIND.conclude(a_history(table, site=site))
            assert isinstance(judged, Judged)
            found[name, "healthy"].append(bool(judged.findings))
            if judged.findings:
                print("false", number, words, name, judged.findings[0].summary, sep=" | ")
            if days is not None:
                seen[name] += [(one.offset_s / 60.0, one.u_s / 60.0) for one in stretches(days)]
            for what, (fault, says) in WRONG.items():
                bad = replace(run, scenario=replace(scenario, faults=(fault,)))
                table = _table(bad, site, channels, number)
                judged = KIND.conclude(a_history(table, site=site))
                assert isinstance(judged, Judged)
                found[name, what].append(bool(judged.findings))
                summary = judged.findings[-1].summary if judged.findings else ""
                told[name, what].append(says in summary and bool(summary))
                days = clock_days(table, site)
                course = course_of(days)
                if not judged.findings:
                    shown = [(round(p.offset_s / 60), round(p.u_s / 60)) for p in course.pieces]
                    print("missed", number, words, name, what, shown, sep=" | ")
                elif says not in summary:
                    zone = zone_of_clock(days, site, course)
                    keys = [keys_of(one) for one in corrections(course, zone, site)]
                    print("told otherwise", number, words, name, what, summary, keys, sep=" | ")
        sys.stdout.flush()
    for name in SETS:
        off, u = np.array(seen[name]).T
        print(
            f"{name}: {len(off)} fortnights, |error| median {np.median(np.abs(off)):.1f}, "
            f"95 % within {np.quantile(np.abs(off), 0.95):.1f} min; uncertainty median "
            f"{np.median(u):.1f}; 95 % interval held {np.mean(np.abs(off) < 1.96 * u):.1%}"
        )
        for what in ("healthy", *WRONG):
            hits = found[name, what]
            course = told[name, what]
            said = f", course told {sum(course)}" if course else ""
            print(f"  {what}: found {sum(hits)} of {len(hits)}{said}")


if __name__ == "__main__":
    main()
