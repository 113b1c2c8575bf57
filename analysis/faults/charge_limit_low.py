"""Charge limit low: the controller stops charging well below the store's limit while the sun is in.

In the data: on several days the pump, which had been running, stops in the sun; the collector goes
on climbing, and each time the store is about as warm, well below the limit on record. Looks alike
and is not it: a pump that fails (the store is then as warm as it happens to be); a timer (then it
stops at the same hour); a controller that locks a hot collector.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.energy import delivered, expected
from analysis.expected import MOVING_FRAC
from analysis.faults._cautions import HOT_PARTS, LOCAL_CODES, NO_COLD_FILL, SCALD
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._reopening import lasting, without_strays
from analysis.grid import BIN_S
from analysis.record import Bools
from analysis.results import Bounded, Evidence
from analysis.runs import bin_runs, day_peak
from analysis.sources import VDI_2169, Source
from analysis.units import SECONDS_PER_HOUR
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Charging stops too early",
    customer=(
        "Your solar pump stops while the sun still shines and the store could take more heat. A "
        "setting of the controller seems to be too low."
    ),
    technician=(
        "On several days the pump stopped in the sun at about the same store temperature, well "
        "below the limit on record, and the collector climbed on. The controller's store limit is "
        "lower than the papers say, or the sensor it watches reads too high."
    ),
    likely_causes=(
        "Store limit in the controller lower than on record",
        "Controller watches a store sensor that reads too high or sits too high",
        "A second limit at work: of the hot store, of the collector, of a holiday function",
    ),
    check_next=(
        "From here: was the limit lowered on purpose, against lime or scalding? Then record it in "
        "the site file, with its date",
        "Compare the store temperature at the stop with the limit on record",
        "On site: read the store limit in the controller's menu, and which sensor it acts on",
        "With the collector cold: raise it to what store and mixing valve allow, after checking "
        "that the valve works",
        "Compare the controller's store sensor with a thermometer in the same place",
    ),
    cautions=(SCALD, HOT_PARTS, NO_COLD_FILL, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeLimitLow:
    """The pump stops in the sun below the limit.

    Attributes
    ----------
    below_k : a stop nearer to the limit on record is taken for it (sensor, place, hysteresis)
    beyond_start_k : collector over store beyond the start difference, so that the loop should run
    locked_k : a collector nearer to its cut-out may be locked
    stop_bins : the pump ran within so many bins before
    standing_s : it must stand so long
    same_k : stops belong together when the store was as warm within this much of their median
    apart_h : stops at the same hour are a timer's
    least_days, within_days : fewer days are not reported (all engineering judgement)
    proof_days : days on which the store was charged up to near its limit end it
    """

    below_k: float = 8.0
    beyond_start_k: float = 7.0
    locked_k: float = 15.0
    stop_bins: int = 6
    standing_s: float = 2700.0
    same_k: float = 2.5
    apart_h: float = 0.75
    least_days: int = 4
    within_days: int = 30
    proof_days: int = 2
    kind: str = "charge_limit_low"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (VDI_2169.at("checks of the controller: practice, from memory"),)

    def observe(self, case: Case) -> Observation:
        """See stops in the sun, and how warm the store was charged."""
        bottom = case.loop.t_store_bottom_c
        # Where a sensor of the heat is lost, the command tells that the pump ran.
        unknown = case.loop.known_s <= 0.0
        moving = (case.loop.moving_frac > MOVING_FRAC) | (unknown & case.loop.commanded)
        charged_c = day_peak(np.where(moving, bottom, np.nan))
        limit_c = case.site.store.limit_c
        # Locked later, because nothing cools it, does not excuse how it began.
        free = case.loop.t_roof_c < case.site.controller.collector_cutout_c - self.locked_k
        found: list[Happening] = []
        for run in bin_runs(self._standing(case, moving), least_s=self.standing_s, bridge_s=600.0):
            # The sun's first warmth before the pump starts is no stop.
            before = slice(max(run.first - self.stop_bins, 0), run.first)
            stop_c = bottom[run.day, before][moving[run.day, before]]
            if not np.isfinite(stop_c).any() or not free[run.day, run.first]:
                continue
            if found and found[-1].date == case.days.dates[run.day]:
                continue
            start_s, end_s = case.span_s(run.day, run.first, run.last)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[run.day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "stop_c": float(np.nanmax(stop_c)),
                        "clock_h": run.first * BIN_S / SECONDS_PER_HOUR,
                        "limit_c": limit_c,
                    },
                )
            )
        high = np.where(np.isfinite(charged_c), charged_c >= limit_c - self.below_k, np.nan)
        return Observation(columns={"charged_high": high}, happenings=tuple(found))

    def _standing(self, case: Case, moving: Bools) -> Bools:
        """Tell bins in which the loop rests although collector and store ask for it."""
        control = case.site.controller
        roof, bottom = case.loop.t_roof_c, case.loop.t_store_bottom_c
        asked = roof - bottom > control.start_difference_k + self.beyond_start_k
        cool = bottom < case.site.store.limit_c - self.below_k
        rests = ~moving & ~case.loop.commanded & (case.loop.known_s > 0.0)
        return np.asarray(asked & cool & rests & ~case.full_or_locked)

    def conclude(self, history: History) -> Conclusion:
        """Join stops at one store temperature; a store charged higher ends it."""
        table = history.table
        for name, words in (("seen_collector", "collector"), ("seen_store_bottom", "store bottom")):
            if name not in table.columns:
                return NotJudged(why=f"no {words} temperature in the log")
        if not np.isfinite(table.column("charged_high")).any():
            return NotJudged(why="the loop was never seen running")
        groups = lasting(
            table.of_kind(self.kind),
            table=table,
            good=table.column("charged_high") > 0.5,
            quiet_days=self.proof_days,
        )
        found = (self._found(history, items, over) for items, over in groups)
        return Judged(findings=tuple(item for item in found if item is not None))

    def _alike(self, items: list[Happening]) -> tuple[Happening, ...]:
        """Keep stops at about one store temperature; none where they have none in common."""
        level_c = float(np.median([item.values["stop_c"] for item in items]))
        alike = [item for item in items if abs(item.values["stop_c"] - level_c) <= self.same_k]
        clock = [item.values["clock_h"] for item in alike]
        if len(alike) < 0.7 * len(items) or max(clock) - min(clock) < self.apart_h:
            return ()
        return without_strays(alike, least=self.least_days, within_days=self.within_days)

    def _found(self, history: History, items: list[Happening], over: bool) -> Found | None:
        alike = self._alike(items)
        if not alike:
            return None
        start_s, end_s = alike[0].start_s, alike[-1].end_s
        level_c = float(np.median([item.values["stop_c"] for item in alike]))
        lost = _lost(history, {item.date for item in alike})
        longest = max(alike, key=lambda item: item.end_s - item.start_s)
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=0.85,
                lost_week=per_week(lost, start_s=start_s, end_s=end_s),
            ),
            certainty=0.85,
            summary=f"On {len(alike)} days the pump stopped in the sun with the store's bottom at "
            f"about {level_c:.0f} °C; the limit on record is {alike[-1].values['limit_c']:.0f} °C",
            evidence=(
                Evidence(
                    what="store bottom at the stop",
                    start_s=longest.start_s,
                    end_s=longest.end_s,
                    value=level_c,
                    unit="°C",
                ),
                Evidence(
                    what="limit on record",
                    start_s=start_s,
                    end_s=end_s,
                    value=alike[-1].values["limit_c"],
                    unit="°C",
                ),
                Evidence(
                    what="days with such a stop",
                    start_s=start_s,
                    end_s=end_s,
                    value=float(len(alike)),
                    unit="days",
                ),
            ),
            lost=lost,
        )


def _lost(history: History, dates: set[str]) -> Bounded | None:
    """Give expected less delivered heat on these days, None where neither is known on any.

    Days that lack a figure are taken for the others' like; only those others lost it for sure.
    """
    table = history.table
    known = np.isfinite(table.column("expected_kwh")) & np.isfinite(table.column("heat_kwh"))
    days = np.array(
        [n for n, day in enumerate(table.days.dates) if day in dates and known[n]], dtype=np.int64
    )
    if days.size == 0:
        return None
    wanted, got = expected(table, days, history.site), delivered(table, days)
    if wanted is None or got is None:
        return None
    gap = max(wanted.value - got.value, 0.0)
    reach = float(np.hypot(wanted.high - wanted.value, got.high - got.value))
    all_days = len(dates) / days.size
    return Bounded(value=all_days * gap, low=max(gap - reach, 0.0), high=all_days * (gap + reach))
