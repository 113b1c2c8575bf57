"""Pump never stops: commanded day and night, for whole days.

Looks alike and is not it: frost protection through a cold day; long summer runs, which end at dusk.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case, pump_on
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD
from analysis.faults._given_off import about, given_off_kwh
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._reopening import lasting
from analysis.faults._useless_running import no_frost, useless
from analysis.results import Evidence
from analysis.sources import Source
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Pump never stops",
    customer="The solar pump runs day and night; at night it carries heat from the store away.",
    technician=(
        "The pump was commanded through whole local days, in the dark as well, with no frost near. "
        "The controller's switching has no effect, or it sees a difference that is not there."
    ),
    likely_causes=(
        "Controller or its output left in manual operation",
        "Relay stuck, or pump wired to the mains past the controller",
        "Collector sensor reads too high, or store sensor too low, at the controller",
    ),
    check_next=(
        "From here: does the pump's curve stay on through the night while the collector is cold?",
        "In the controller's menu: is the output set to manual or always on?",
        "On site: does the pump stop when the controller's output shows off?",
        "A stuck relay or wrong wiring is work for whoever is licensed for it",
    ),
    cautions=(ELECTRICITY, HOT_PARTS, SCALD, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpNeverStops:
    """Pump on through whole days.

    Attributes
    ----------
    known_h : hours of a day that must be known
    on_share : share of them with the pump on (a restart or a hole is forgiven)
    useless_h : hours of it in which the collector was no warmer than the store, frost excluded
    quiet_days : so many days on which the pump rested end it
    sure_days : from so many days on it is sure
    """

    known_h: float = 20.0
    on_share: float = 0.98
    useless_h: float = 3.0
    quiet_days: int = 2
    sure_days: int = 2
    kind: str = "pump_never_stops"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (Source("Common practice, no source; limits are judgement"),)

    def observe(self, case: Case) -> Observation:
        """See whole days of pumping."""
        known_h, on_h = case.hours(np.isfinite(case.binned("pump"))), case.hours(pump_on(case))
        idle = useless(case) & no_frost(case)
        idle_h = case.hours(idle)
        off_kwh = given_off_kwh(case, idle)
        whole = known_h >= self.known_h
        share = np.where(whole, on_h / np.maximum(known_h, 1.0), np.nan)
        ran = (share >= self.on_share) & (idle_h >= self.useless_h)
        found = []
        for day in np.flatnonzero(ran).tolist():
            seen = np.flatnonzero(pump_on(case)[day])
            start_s, end_s = case.span_s(day, int(seen[0]), int(seen[-1]) + 1)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "hours": float(on_h[day]),
                        "idle_h": float(idle_h[day]),
                        "off_kwh": float(off_kwh[day]),
                        "pump_kwh": float(idle_h[day]) * case.site.loop.pump_w / 1000.0,
                    },
                )
            )
        return Observation(columns={"pump_on_share": share}, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join days; some on which the pump rested end a finding."""
        table = history.table
        for name in ("pump", "collector", "store_bottom"):
            if f"seen_{name}" not in table.columns:
                return NotJudged(why=f"no {name.replace('_', ' ')} in the log to judge the pump by")
        share = table.column("pump_on_share")
        if not np.isfinite(share).any():
            return NotJudged(why="no day with the pump known for 20 hours")
        groups = lasting(
            table.of_kind(self.kind), table=table, good=share < 0.9, quiet_days=self.quiet_days
        )
        return Judged(findings=tuple(self._found(history, items, over) for items, over in groups))

    def _found(self, history: History, items: list[Happening], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        days = len(items)
        idle_h = sum(item.values["idle_h"] for item in items)
        certainty = 0.95 if days >= self.sure_days else 0.7
        lost = about(history, sum(item.values["off_kwh"] for item in items))
        power_kwh = sum(item.values["pump_kwh"] for item in items)
        week = per_week(lost, start_s=start_s, end_s=end_s, pump_kwh=power_kwh)
        times = "a whole day" if days == 1 else f"{days} whole days"
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(self.kind, certainty=certainty, lost_week=week),
            certainty=certainty,
            summary=f"Pump on for {times} without a stop, {idle_h:.0f} h of it for nothing",
            evidence=(
                Evidence(
                    what="whole days with the pump on",
                    start_s=start_s,
                    end_s=end_s,
                    value=float(days),
                    unit="days",
                ),
                Evidence(
                    what="of it with a collector no warmer than the store",
                    start_s=start_s,
                    end_s=end_s,
                    value=idle_h,
                    unit="h",
                ),
                Evidence(
                    what="electricity of the pump in those hours",
                    start_s=start_s,
                    end_s=end_s,
                    value=power_kwh,
                    unit="kWh",
                ),
            ),
            lost=lost,
        )
