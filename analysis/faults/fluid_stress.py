"""Fluid stress: the hours at temperatures that age the antifreeze.

In the data: hours with the collector above 120, 150 and 170 °C, added up since the loop was last
filled or its fluid passed a test. Looks alike and is not it: a loop of water; a drain-back loop,
whose collector is empty when it stands hot. A loop that boils pushes most of its antifreeze out of
the collector, so the hours are an upper bound of what the fluid itself went through.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted
from analysis.days import Happening, local_midnight_s
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.grid import BIN_S
from analysis.results import Evidence
from analysis.runs import day_span
from analysis.sources import GLYCOL_AGEING, Source
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Antifreeze aged by heat",
    customer=(
        "The fluid in your solar loop has spent many hours very hot. That ages it; have it tested "
        "at the next visit."
    ),
    technician=(
        "Hours of the collector above 120, 150 and 170 °C have added up since the loop was filled. "
        "Antifreeze loses its corrosion protection by and by above about 120 °C, quickly above "
        "160 to 170 °C; it turns acid and dark. What counts is the test, not the hours."
    ),
    likely_causes=(
        "Collector standing hot often: large for the demand, or long times away",
        "Circulation lost for days in the sun",
        "Store limit low, so that the loop stops early",
    ),
    check_next=(
        "From here: when was the fluid last changed, or tested and found good? Record it in the "
        "site file (filled, fluid_tested): hours count from there",
        "At the next visit test a sample from the cold loop: pH, freezing point, colour and smell",
        "Below the limits on the maker's sheet (pH under 7 as a rule) change it, at cold fluid and "
        "by the maker's procedure",
        "Look for what makes the collector stand hot: limit, demand, circulation",
    ),
    cautions=(STEAM, HOT_PARTS, HEIGHT, LOCAL_CODES),
)

_SENSORS = ("collector", "collector_2", "collector_3", "loop_hot")
LEVELS_C = (120, 150, 170)
# Less is said as nought.
_WORTH_SAYING_H = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidStress:
    """Hours at temperatures that age the fluid.

    Attributes
    ----------
    record_h : hours above 120 °C within a year that are put on record
    watch_h : hours within a year above 120, 150 and 170 °C from which on a test is due; a healthy
        collector stands hot for about 0 to 10 days a year (all engineering judgement)
    year_days : the stretch that is added up
    """

    record_h: float = 20.0
    watch_h: tuple[float, float, float] = (150.0, 40.0, 10.0)
    year_days: int = 365
    kind: str = "fluid_stress"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (GLYCOL_AGEING,)

    def observe(self, case: Case) -> Observation:
        """Count each day's hours above the levels."""
        loop = case.site.loop
        if loop.kind == "drain_back" or loop.concentration_frac <= 0.0 or loop.fluid == "water":
            return Observation()
        read = [
            case.bins[name] if name in case.bins else case.grid.mean(case.record.columns[name])
            for name in _SENSORS
            if case.record.has(name)
        ]
        if not read:
            return Observation()
        hottest = np.fmax.reduce(read)
        hours = {
            f"hot_{level}_h": counted(hottest >= level) * BIN_S / SECONDS_PER_HOUR
            for level in LEVELS_C
        }
        nothing = ~np.isfinite(hottest).any(axis=1)
        found = []
        for day, (first, last) in day_span(hottest >= LEVELS_C[0]).items():
            start_s, end_s = case.span_s(day, first, last)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={name: float(values[day]) for name, values in hours.items()},
                )
            )
        return Observation(
            columns={name: np.where(nothing, np.nan, values) for name, values in hours.items()},
            happenings=tuple(found),
        )

    def conclude(self, history: History) -> Conclusion:
        """Add up since the last fill or test; the worst twelve months decide."""
        table, loop = history.table, history.site.loop
        if loop.fluid == "water" or loop.concentration_frac <= 0.0:
            return NotJudged(why="the loop holds water, which heat does not age")
        if loop.kind == "drain_back":
            return NotJudged(why="a drain-back loop leaves its collector empty when it stands hot")
        if not np.isfinite(table.column("hot_120_h")).any():
            return NotJudged(why="no temperature of the collector in the log")
        since_s = max([history.start_s, *_fresh_s(history)])
        items = table.of_kind(self.kind)
        found = (
            self._found(history, [item for item in items if item.start_s < since_s], over=True),
            self._found(history, [item for item in items if item.start_s >= since_s], over=False),
        )
        return Judged(findings=tuple(item for item in found if item is not None))

    def _found(self, history: History, items: list[Happening], *, over: bool) -> Found | None:
        worst = np.array(self._worst_year_h(items))
        due = bool((worst >= np.array(self.watch_h)).any())
        if worst[0] < self.record_h:
            return None
        start_s, end_s = items[0].start_s, items[-1].end_s
        # Heat that passed is history; fluid that should be tested stays so until it is renewed.
        lasts = due and not over
        certainty = 0.8 if due else 0.9
        total = [sum(item.values[f"hot_{level}_h"] for item in items) for level in LEVELS_C]
        spans = ", ".join(
            f"above {level} °C for {hot_h:.0f} h"
            for level, hot_h in zip(LEVELS_C, total, strict=True)
            if hot_h >= _WORTH_SAYING_H
        )
        meaning = "have the fluid tested" if due else "usual where the store fills in summer"
        return Found(
            start_s=start_s,
            end_s=None if lasts else end_s,
            urgency=urgency_of(self.kind, certainty=certainty, level="present", normal=not due),
            certainty=certainty,
            summary=f"Collector {spans}; {meaning}",
            evidence=tuple(
                Evidence(
                    what=f"time above {level} °C",
                    start_s=start_s,
                    end_s=end_s,
                    value=hours,
                    unit="h",
                )
                for level, hours in zip(LEVELS_C, total, strict=True)
            ),
        )

    def _worst_year_h(self, items: list[Happening]) -> tuple[float, float, float]:
        """Give the most hours above each level that any stretch of a year holds."""
        worst = [0.0, 0.0, 0.0]
        for place, level in enumerate(LEVELS_C):
            first, total = 0, 0.0
            for item in items:
                total += item.values[f"hot_{level}_h"]
                while item.end_s - items[first].start_s > self.year_days * SECONDS_PER_DAY:
                    total -= items[first].values[f"hot_{level}_h"]
                    first += 1
                worst[place] = max(worst[place], total)
        return worst[0], worst[1], worst[2]


def _fresh_s(history: History) -> list[int]:
    """Give the local midnights of days on which fluid went in or passed a test, as on record.

    A dated change of the fluid or its strength counts: it cannot be had without new fluid.
    """
    site = history.site
    days: list[date | None] = [
        change.date for change in site.changes if change.key in ("loop.fluid", "loop.concentration")
    ]
    if site.commissioned is not None:
        days += [site.commissioned.filled, site.commissioned.fluid_tested]
    midnights = [local_midnight_s(day, site.place.timezone) for day in days if day is not None]
    return [instant for instant in midnights if instant <= history.until_s]
