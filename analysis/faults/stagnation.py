"""Stagnation: sun on the collectors and nothing takes the heat away.

With a full store it is how the system is built and healthy plants show it in high summer. With a
cool store it is a symptom: whatever keeps the heat on the roof is reported as its own kind.
Looks alike and is not it: a collector sensor that reads far too high (sensor fault).
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES, NO_COLD_FILL, SCALD, STEAM
from analysis.faults._episodes import days_between, spells
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.results import Evidence
from analysis.runs import bin_runs
from analysis.site import Site
from analysis.sources import Source
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Collector standing hot (stagnation)",
    customer=(
        "The store was full, so the collector stood in the sun without passing heat on. That is "
        "normal on fine summer days."
    ),
    technician=(
        "The collector passed the temperature at which a running loop would have cooled it, with "
        "no heat moving. With a full store this is by design; each time ages the antifreeze a "
        "little, so the count is kept. With a cool store look for what stops the circulation."
    ),
    likely_causes=(
        "Store full and little hot water drawn (holiday, high summer)",
        "Collector area large for the demand",
        "Store limit of the controller set low",
    ),
    check_next=(
        "From here: was the store at its limit when it began? Then nothing is wrong",
        "Ask whether anybody was at home and used hot water in those days",
        "Check the store limit in the controller's menu",
        "At the next visit test the antifreeze (pH, freezing point, smell and colour)",
    ),
    cautions=(SCALD, HOT_PARTS, STEAM, NO_COLD_FILL, HEIGHT, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stagnation:
    """Collector hot, nothing moving.

    Attributes
    ----------
    hot_c : no running loop keeps the collector there; the controllers' usual cut-out lies at 120
        to 130 °C (common practice, no source)
    least_s : shorter is not reported (common practice, no source)
    many_per_year : days; above this the sizing deserves a look (engineering judgement)
    """

    hot_c: float = 120.0
    least_s: float = 1200.0
    many_per_year: float = 25.0
    kind: str = "stagnation"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Stagnation counts and phases: quoted from memory of IEA SHC Task 26"),
    )

    def observe(self, case: Case) -> Observation:
        """See loop standing hot, day by day."""
        roof = case.loop.t_roof_c
        standing = (roof >= self._hot_c(case.site)) & ~case.expected.carried
        full = case.full_or_locked
        found = []
        for run in bin_runs(standing, least_s=self.least_s, bridge_s=1800.0):
            start_s, end_s = case.span_s(run.day, run.first, run.last)
            store = case.loop.t_store_hottest_c[run.day, run.bins]
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[run.day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "peak_c": float(np.nanmax(roof[run.day, run.bins])),
                        "store_c": float(np.nanmax(store)) if np.isfinite(store).any() else np.nan,
                        "full": float(full[run.day, run.bins].mean() > 0.5),
                        "store_known": float(np.isfinite(store).any()),
                    },
                )
            )
        return Observation(happenings=tuple(found))

    def _hot_c(self, site: Site) -> float:
        """Give the threshold: tubes that limit themselves never get the manifold much hotter."""
        limits = [array.heat_pipe_limit_c for array in site.arrays if array.heat_pipe_limit_c]
        return min([self.hot_c, *(max(95.0, limit - 8.0) for limit in limits)])

    def conclude(self, history: History) -> Conclusion:
        """Give one finding per spell of days."""
        # The peak that a logger noted for a whole day does not tell whether anything moved.
        if not any(name.startswith("seen_collector") for name in history.table.columns):
            return NotJudged(why="no collector temperature in the log")
        spell_list = spells(
            history.table.of_kind(self.kind),
            broken=lambda one, other: (
                days_between(one.date, other.date) > 14
                or one.values["full"] != other.values["full"]
            ),
        )
        years = max((history.end_s - history.start_s) / (365.25 * SECONDS_PER_DAY), 0.25)
        days = {item.date for items in spell_list for item in items if item.values["full"] > 0.5}
        often = len(days) / years > self.many_per_year
        return Judged(findings=tuple(self._found(items, often) for items in spell_list))

    def _found(self, items: list[Happening], often: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        peak = max(item.values["peak_c"] for item in items)
        hours = sum(item.end_s - item.start_s for item in items) / SECONDS_PER_HOUR
        full = items[0].values["full"] > 0.5
        store_known = items[0].values["store_known"] > 0.5
        certainty = 0.95 if store_known else 0.8
        times = {1: "once", 2: "twice"}.get(len(items), f"{len(items)} times")
        if full:
            over = "over the year often enough to look at the sizing"
            meaning = over if often else "normal in fine weather"
            summary = f"Stood hot {times} with a full store, up to {peak:.0f} °C; {meaning}"
        elif store_known:
            summary = f"Stood hot {times}, up to {peak:.0f} °C, although the store was not full"
        else:
            summary = f"Stood hot {times}, up to {peak:.0f} °C; no store sensor tells why"
        store = [item.values["store_c"] for item in items if np.isfinite(item.values["store_c"])]
        evidence = [
            Evidence(
                what="highest collector temperature",
                start_s=start_s,
                end_s=end_s,
                value=peak,
                unit="°C",
            ),
            Evidence(what="time standing hot", start_s=start_s, end_s=end_s, value=hours, unit="h"),
        ]
        if store:
            evidence.append(
                Evidence(
                    what="hottest store sensor meanwhile",
                    start_s=start_s,
                    end_s=end_s,
                    value=max(store),
                    unit="°C",
                )
            )
        return Found(
            start_s=start_s,
            end_s=end_s,
            urgency=urgency_of(self.kind, certainty=certainty, normal=full),
            certainty=certainty,
            summary=summary,
            evidence=tuple(evidence),
        )
