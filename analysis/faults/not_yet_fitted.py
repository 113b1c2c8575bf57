"""Not yet fitted: the loop is filled and logged, but the tubes are not in yet.

Manifolds are filled and commissioned before the tubes go in, because condensers heat up as soon as
they see the sun (common practice, no source). In the data: a collector that stays near the air on
sunny days. Looks alike and is not it: a collector sensor hanging in the air after the tubes were
in; that begins in the middle of a record, this at its beginning.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.case import Case
from analysis.days import local_midnight_s
from analysis.faults._cautions import GLASS, HEIGHT, HOT_PARTS, LOCAL_CODES
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
from analysis.sources import Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Tubes not in yet",
    customer="The collector's tubes were not in place in this time, so no heat was to be expected.",
    technician=(
        "From the beginning of the record the collector stayed near the outdoor air in full sun: "
        "the manifold is there, the tubes are not. Nothing is counted as lost in this time."
    ),
    likely_causes=("Filled and commissioned before the tubes go in, as is usual",),
    check_next=(
        "From here: is the date on which the tubes went in recorded in the site file?",
        "Fit the tubes towards evening or covered, only into a filled and tested loop",
    ),
    cautions=(HOT_PARTS, GLASS, HEIGHT, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotYetFitted:
    """A cold collector from the first day on.

    Attributes
    ----------
    cold_excess_k : a manifold without tubes stays within this over the air (judgement)
    warm_excess_k, warm_c : tubes are in when the collector passes either
    sunny_kwh_m2 : what counts as a sunny day
    least_sunny, least_days : days needed, with irradiance and without
    high_sine : without irradiance only days count on which the sun stood this high (24 degrees): in
        a northern winter a sound collector stays cold for weeks (engineering judgement)
    """

    cold_excess_k: float = 15.0
    warm_excess_k: float = 25.0
    warm_c: float = 55.0
    sunny_kwh_m2: float = 3.0
    least_sunny: int = 2
    least_days: int = 12
    high_sine: float = 0.4
    kind: str = "not_yet_fitted"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (Source("Common practice, no source"),)

    def observe(self, case: Case) -> Observation:
        """See how far the collector rose over the air."""
        excess = case.loop.t_roof_c - case.loop.t_ambient_c
        lit = case.sky.sun_sine > 0.1
        highest = np.full(len(case.days), np.nan)
        known = np.isfinite(excess) & lit
        some = known.any(axis=1)
        highest[some] = np.where(known, excess, -np.inf).max(axis=1)[some]
        noon_sine = case.sky.sun_sine.max(axis=1)
        return Observation(columns={"roof_excess_k": highest, "noon_sine": noon_sine})

    def conclude(self, history: History) -> Conclusion:
        """Judge the days from the first on until the collector first got warm."""
        table = history.table
        excess = table.column("roof_excess_k")
        peak = table.column("peak_collector_c")
        if not np.isfinite(peak).any():
            return NotJudged(why="no collector temperature in the log")
        warm = (excess >= self.warm_excess_k) | (peak >= self.warm_c)
        cold = (excess <= self.cold_excess_k) & (peak < self.warm_c)
        until = int(np.argmax(warm)) if warm.any() else len(warm)
        if until == 0:
            return Judged(findings=())
        sun = table.column("irradiation_kwh_m2")[:until]
        sunny = np.isfinite(sun) & (sun >= self.sunny_kwh_m2)
        known = np.isfinite(excess[:until])
        if np.isfinite(sun).any():
            enough = int((sunny & cold[:until]).sum()) >= self.least_sunny
            against = bool((sunny & known & ~cold[:until]).any())
        else:
            high = table.column("noon_sine")[:until] >= self.high_sine
            enough = int((known & high & cold[:until]).sum()) >= self.least_days
            against = False
        stated = self._stated_s(history)
        later = stated is not None and stated > history.start_s
        if against or not (enough or later):
            why = "too few sunny days before the collector first got warm"
            return Judged(findings=()) if warm.any() else NotJudged(why=why)
        return Judged(findings=(self._found(history, warm, until),))

    def _stated_s(self, history: History) -> int | None:
        papers = history.site.commissioned
        fitted: date | None = papers.tubes_fitted if papers is not None else None
        if fitted is None:
            return None
        return local_midnight_s(fitted, history.site.place.timezone)

    def _found(self, history: History, warm: np.ndarray, until: int) -> Found:
        table = history.table
        open_end = not warm.any()
        end_s = history.end_s if open_end else int(table.days.edge_s[until])
        stated = self._stated_s(history)
        against_papers = stated is not None and stated <= history.start_s
        certainty = 0.75 if against_papers else 0.9
        words = f"The collector stayed cold for the first {until} days: no tubes in yet"
        return Found(
            start_s=history.start_s,
            end_s=None if open_end else end_s,
            urgency=urgency_of(self.kind, certainty=certainty, normal=not against_papers),
            certainty=certainty,
            summary=words + (", although the papers say they were" if against_papers else ""),
            evidence=(
                Evidence(
                    what="highest collector temperature over outdoor air",
                    start_s=history.start_s,
                    end_s=end_s,
                    value=float(np.nanmax(table.column("roof_excess_k")[:until])),
                    unit="K",
                ),
            ),
        )
