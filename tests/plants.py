"""From an invented plant to its report and its truth: what benches and acceptance tests share."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.assess import assess, observe
from analysis.days import DayTable
from analysis.record import Record, record_from_stamps
from analysis.results import Report, RowCount
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures.scenario import Scenario, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import Run, simulate

POOR = ("collector", "store_bottom", "store_top", "pump")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Examined:
    """One plant, simulated, logged and analysed."""

    run: Run
    site: Site
    table: DayTable
    report: Report

    @property
    def true_kwh(self) -> dict[str, float]:
        """Heat truly delivered on each local day [kWh]."""
        days = self.run.daily_truth(self.site.place.timezone)
        return {str(day): float(kwh) for day, kwh in days.items()}


def record_of(log) -> Record:
    """Turn a simulated log into a record."""
    return record_from_stamps(
        stamp_s=log.stamp_s.astype(np.int64),
        columns={
            name: np.ascontiguousarray(values, dtype=np.float64)
            for name, values in log.columns.items()
        },
        stamp="end",
    )


def examine(
    scenario: Scenario,
    *,
    seed: int,
    step_s: int = 300,
    sensors: str = "site",
    start: str = "2025-01-01",
    days: int = 365,
    without: tuple[str, ...] = (),
    channels: tuple[str, ...] | None = None,
    run: Run | None = None,
    log_seed: int | None = None,
    **logging,
) -> Examined:
    """Simulate, log and analyse a plant."""
    run = run or simulate(scenario, seed=seed, start=start, days=days)
    site = parse_site(site_toml(scenario))
    log = read_sensors(
        run,
        seed=seed + 1000 if log_seed is None else log_seed,
        sensors=sensors,
        step_s=step_s,
        channels=channels,
        **logging,
    )
    columns = {name: values for name, values in log.columns.items() if name not in without}
    return examined(run, site, record_of(replace(log, columns=columns)))


def examined(run: Run, site: Site, record: Record) -> Examined:
    """Analyse a record of a run."""
    channels = frozenset(record.columns)
    table = observe(site=site, record=record, channels=channels)
    end_s = int(record.start_s[-1] + record.step_s[-1])
    rows = len(record)
    report = assess(
        site=site,
        table=table,
        start_s=int(record.start_s[0]),
        end_s=end_s,
        until_s=end_s,
        channels=channels,
        rows=RowCount(read=rows, kept=rows, duplicate=0, rejected=0),
        rejected=(),
    )
    return Examined(run=run, site=site, table=table, report=report)
