"""Builders for the tests of the analysis: sites, records, days, plants; every argument optional.

All data made here are invented. Plants come from the simulator of `fixtures`, which has its own
physics; what is laid by hand (`a_record`, `a_clear_day`) is for tests of one rule at a time.
"""

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.assess import assess, observe
from analysis.days import DayTable, local_days
from analysis.faults import CATALOGUE, Conclusion, Fault
from analysis.faults._protocol import History
from analysis.record import Record, record_from_stamps
from analysis.results import Finding, Report, RowCount
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures.scenario import flat_roof, home, school, site_toml
from fixtures.sensors import observe as log_of
from fixtures.simulate import Run, simulate

Floats = NDArray[np.float64]

PLANTS = {"home": home, "school": school, "flat_roof": flat_roof}
FULL_LOG = (
    "collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "ambient",
    "irradiance_plane", "flow", "pump", "pressure",
)  # fmt: skip
NO_SUN_LOG = ("collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "flow", "pump")
PUMP_LOG = ("collector", "store_bottom", "store_top", "pump")


def at(text: str) -> int:
    """Give UTC epoch seconds of an ISO instant that is UTC unless it says otherwise."""
    instant = datetime.fromisoformat(text)
    return int((instant if instant.tzinfo else instant.replace(tzinfo=UTC)).timestamp())


def a_site(**parts: Mapping[str, Any] | None) -> Site:
    """Give the site of an ordinary home; a part given as a mapping replaces those facts.

    `a_site(loop={"fluid": "water", "concentration_frac": 0.0})`; None leaves a part out.
    """
    site = parse_site(site_toml(home()))
    changed: dict[str, Any] = {}
    for name, facts in parts.items():
        changed[name] = None if facts is None else replace(getattr(site, name), **facts)
    return replace(site, **changed)


def a_record(
    *,
    start: str = "2025-06-10T00:00",
    rows: int = 288,
    step_s: int = 300,
    stamp_s: Sequence[int] | None = None,
    stamp: Any = "start",
    **columns: float | Sequence[float] | Floats,
) -> Record:
    """Give a record whose channels are constants or sequences."""
    stamps = np.arange(rows, dtype=np.int64) * step_s + at(start)
    if stamp_s is not None:
        stamps = np.array(stamp_s, dtype=np.int64)
    filled = {
        name: np.broadcast_to(np.asarray(values, dtype=np.float64), stamps.shape).copy()
        for name, values in columns.items()
    }
    return record_from_stamps(stamp_s=stamps, columns=filled, stamp=stamp)


def a_clear_day(*, start: str = "2025-06-10T00:00", step_s: int = 300, **given: Any) -> Record:
    """Give a day on which the loop carries heat from 8 to 16 h UTC; columns can be replaced."""
    rows = 86400 // step_s
    hour = np.arange(rows) * step_s / 3600.0
    sun = np.clip(np.sin((hour - 5.0) / 14.0 * np.pi), 0.0, None)
    on = (hour >= 8.0) & (hour < 16.0)
    store = 30.0 + 20.0 * np.clip((hour - 8.0) / 8.0, 0.0, 1.0)
    columns: dict[str, Any] = {
        "collector": np.where(on, store + 12.0, 15.0 + 20.0 * sun),
        "loop_hot": np.where(on, store + 10.0, 25.0),
        "loop_cold": np.where(on, store + 2.0, 25.0),
        "store_bottom": store,
        "store_top": store + 8.0,
        "ambient": 14.0 + 6.0 * sun,
        "irradiance_plane": 900.0 * sun,
        "flow": np.where(on, 1.6, 0.0),
        "pump": np.where(on, 100.0, 0.0),
    }
    chosen = {name: values for name, values in (columns | given).items() if values is not None}
    return a_record(start=start, rows=rows, step_s=step_s, **chosen)


def a_table(
    *,
    first: str = "2025-06-01",
    count: int | None = None,
    timezone: str = "Europe/London",
    happenings: Sequence[Any] = (),
    **columns: float | Sequence[float] | Floats,
) -> DayTable:
    """Give a table of days whose columns are constants or sequences."""
    lengths = [len(values) for values in columns.values() if np.ndim(values)]
    size = count if count is not None else (lengths[0] if lengths else 1)
    begin = date.fromisoformat(first)
    days = local_days(
        first=begin, last=date.fromordinal(begin.toordinal() + size - 1), timezone=timezone
    )
    full = {
        name: np.broadcast_to(np.asarray(values, dtype=np.float64), (size,)).copy()
        for name, values in columns.items()
    }
    return DayTable(days=days, columns=full, happenings=tuple(happenings))


def a_history(table: DayTable, *, site: Site | None = None, until: str | None = None) -> History:
    """Give the history that a fault concludes from: the whole table."""
    edges = table.days.edge_s
    end = int(edges[-1])
    return History(
        site=site or a_site(),
        table=table,
        start_s=int(edges[0]),
        end_s=end,
        until_s=at(until) if until else end,
    )


# So many plants are kept for tests that ask again.
_PLANTS = 32


@dataclass(frozen=True, kw_only=True, eq=False)
class Plant:
    """A logged plant: the site file's facts, the rows, and how to come by the run behind them.

    Asking again for the same plant, or for its table of days, costs nothing (`a_plant`, `table`).
    """

    site: Site
    record: Record
    channels: frozenset[str]
    simulated: Callable[[], Run] | None = None

    @property
    def run(self) -> Run:
        """The run with its truth: not held here, since it is twenty times the size of the rows."""
        assert self.simulated is not None, "nothing was simulated"
        return self.simulated()

    @property
    def end_s(self) -> int:
        return int(self.record.start_s[-1] + self.record.step_s[-1])

    def table(self, *, catalogue: tuple[Fault, ...] = CATALOGUE) -> DayTable:
        return _table_of(self, catalogue)

    def report(self, *, table: DayTable | None = None, until_s: int | None = None) -> Report:
        return a_report_of(
            site=self.site,
            table=table if table is not None else self.table(),
            record=self.record,
            channels=self.channels,
            until_s=until_s,
        )

    def conclusion(self, kind: str, *, table: DayTable | None = None) -> Conclusion:
        """Let one kind look and judge alone, with nothing explained by others."""
        fault = fault_of(kind)
        table = self.table(catalogue=(fault,)) if table is None else table
        history = a_history(table, site=self.site)
        return fault.conclude(
            replace(
                history,
                start_s=int(self.record.start_s[0]),
                end_s=self.end_s,
                until_s=self.end_s,
            )
        )


@lru_cache(maxsize=_PLANTS)
def _table_of(plant: Plant, catalogue: tuple[Fault, ...]) -> DayTable:
    table = observe(
        site=plant.site, record=plant.record, channels=plant.channels, catalogue=catalogue
    )
    for values in table.columns.values():
        values.setflags(write=False)  # tests share it
    return table


def fault_of(kind: str) -> Fault:
    """Give the member of the catalogue of this kind."""
    return next(fault for fault in CATALOGUE if fault.kind == kind)


def a_report_of(
    *,
    site: Site,
    table: DayTable,
    record: Record,
    channels: frozenset[str],
    until_s: int | None = None,
) -> Report:
    """Assess a table that a record gave."""
    end_s = int(record.start_s[-1] + record.step_s[-1])
    rows = len(record)
    return assess(
        site=site,
        table=table,
        start_s=int(record.start_s[0]),
        end_s=end_s,
        until_s=end_s if until_s is None else until_s,
        channels=channels,
        rows=RowCount(read=rows, kept=rows, duplicate=0, rejected=0),
        rejected=(),
    )


# A simulated day holds half a megabyte.
_DAYS_KEPT = 400
_RUNS: OrderedDict[tuple[Any, ...], Run] = OrderedDict()
_KEPT: OrderedDict[str, Plant] = OrderedDict()


def a_run(scenario: str, *, seed: int, start: str, days: int, changes: tuple[Any, ...]) -> Run:
    """Give a simulated span; the same one soon again costs nothing."""
    key = (scenario, seed, start, days, changes)
    run = _RUNS.pop(key, None)
    if run is None:
        run = simulate(PLANTS[scenario](**dict(changes)), seed=seed, start=start, days=days)
    _RUNS[key] = run
    while len(_RUNS) > 1 and sum(days for _, _, _, days, _ in _RUNS) > _DAYS_KEPT:
        _RUNS.popitem(last=False)
    return run


def a_plant(**given: Any) -> Plant:
    """Give a plant of `new_plant`, the same one for the same words as long as it is kept."""
    key = repr(sorted(given.items()))
    plant = _KEPT.pop(key, None) or new_plant(**given)
    _KEPT[key] = plant
    if len(_KEPT) > _PLANTS:
        _KEPT.popitem(last=False)
    return plant


def new_plant(
    *,
    plant: str = "home",
    start: str = "2025-05-01",
    days: int = 30,
    seed: int = 3,
    step_s: int = 600,
    sensors: Any = "site",
    channels: Sequence[str] = FULL_LOG,
    site: Mapping[str, Mapping[str, Any] | None] | None = None,
    log: Mapping[str, Any] | None = None,
    **changes: Any,
) -> Plant:
    """Simulate and log a plant; `changes` are fields of the scenario, faults among them.

    `site` replaces facts of the site file against the truth, `log` are options of the logger.
    """
    simulated = partial(
        a_run, plant, seed=seed, start=start, days=days, changes=tuple(sorted(changes.items()))
    )
    run = simulated()
    logged = log_of(
        run, seed=seed + 100, sensors=sensors, step_s=step_s, channels=channels, **(log or {})
    )
    facts = parse_site(site_toml(run.scenario))
    for name, values in (site or {}).items():
        new = None if values is None else replace(getattr(facts, name), **values)
        facts = replace(facts, **{name: new})
    record = record_from_stamps(
        stamp_s=logged.stamp_s.astype(np.int64),
        columns={
            name: np.ascontiguousarray(values, dtype=np.float64)
            for name, values in logged.columns.items()
        },
        stamp="end",
    )
    return Plant(simulated=simulated, site=facts, record=record, channels=frozenset(logged.columns))


def without(record: Record, *names: str) -> Record:
    """Give the record as if these channels had never been logged."""
    return Record(
        start_s=record.start_s,
        step_s=record.step_s,
        columns={name: col for name, col in record.columns.items() if name not in names},
        masked={name: flags for name, flags in record.masked.items() if name not in names},
    )


def with_values(record: Record, **columns: Floats) -> Record:
    """Give the record with some channels replaced."""
    return Record(
        start_s=record.start_s,
        step_s=record.step_s,
        columns={**record.columns, **columns},
        masked=dict(record.masked),
    )


def rows_where(record: Record, kept: NDArray[np.bool_]) -> Record:
    """Give only some rows of a record."""
    return Record(
        start_s=record.start_s[kept].copy(),
        step_s=record.step_s[kept].copy(),
        columns={name: values[kept].copy() for name, values in record.columns.items()},
        masked={name: flags[kept].copy() for name, flags in record.masked.items()},
    )


def of_kind(report: Report, kind: str) -> tuple[Finding, ...]:
    """Give the findings of one kind, those that another explains included."""
    return tuple(item for item in (*report.findings, *report.explained) if item.kind == kind)


def asking(report: Report) -> list[tuple[str, str, str]]:
    """Give what asks for someone's time, as short tuples that read well in a failure."""
    return [
        (item.kind, item.urgency, item.summary)
        for item in report.findings
        if item.urgency in ("act", "visit")
    ]
