"""Degraded tubes: the collector gives less than it used to, in the same sun at the same temperature.

Tubes lose their vacuum, break or go missing; the array ages or gets dirty. Sensors of a domestic
plant cannot tell this from their own errors on any one day, so the plant is compared with its own
sound months: what the test report predicts is fitted to them, and a later drop shows. Looks alike
and is not it: standstill and switching (only steady bins count), a flow or irradiance sensor that
drifts, which the checks ask for first.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.condition import (
    Baseline,
    SteadyDays,
    fit_baseline,
    steady_columns,
    steady_days,
    tubes_lost,
)
from analysis.faults._cautions import GLASS, HEIGHT, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.results import Bounded, Evidence
from analysis.sources import ISO_9806, Source

TEXT = FaultText(
    title="Collector weaker than it was",
    customer=(
        "In the same sun your collector now gives less than it did when it was sound. Some tubes "
        "may have lost their vacuum, or the glass is dirty."
    ),
    technician=(
        "Steady hours were compared with the plant's own sound months through the collector "
        "equation. The drop fits tubes without vacuum, broken or missing tubes, lost contact of "
        "heat pipes, or dirt. Which tube it is cannot be seen in the data."
    ),
    likely_causes=(
        "Tubes that lost their vacuum (the getter mirror at the end turns white)",
        "Broken, missing or slipped tubes; poor contact in the manifold",
        "Dirt, leaves, lime or new shade on the array",
        "Ageing of the whole array",
        "Not the collector: flow or irradiance sensor drifting, mixture changed",
    ),
    check_next=(
        "From here: were sensors, flow or mixture changed about then? Record the change if so",
        "From the ground with binoculars: broken or missing tubes, dirt, new shade, white tube ends",
        "On site: compare the flow reading with the flow setter, and wipe the irradiance sensor",
        "In the evening or with tubes covered: feel which tubes' glass was warmer than the rest "
        "after a sunny hour, only from a safe stand",
        "A tube can be changed without draining where the heat pipe plugs in dry; record number "
        "and date",
    ),
    cautions=(HOT_PARTS, GLASS, HEIGHT, STEAM, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DegradedTubes:
    """Output below the plant's own baseline.

    Attributes
    ----------
    sound_days : logged days that a baseline needs
    steady_days : of them with enough steady hours
    window : steady days with sun that are judged together
    sunny_kwh_m2 : what counts as a sunny day
    least_drop : smaller drops are not reported: one dead tube in twenty is 2 %, below what
        domestic sensors resolve; three are 5 %
    drift : what seasons and instruments may do to the baseline, standard uncertainty
    sigmas : how far beyond chance a drop must lie
    visit_drop : from here a visit pays
    recovered : a window this close to the baseline ends it
    """

    sound_days: int = 90
    steady_days: int = 20
    window: int = 8
    sunny_kwh_m2: float = 3.0
    least_drop: float = 0.045
    drift: float = 0.009
    sigmas: float = 3.5
    visit_drop: float = 0.06
    recovered: float = 0.02
    kind: str = "degraded_tubes"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        ISO_9806,
        Source("Tube arithmetic: 1, 3 of 20 tubes without vacuum cost 2 %, 5 % at 40 K (invented)"),
    )

    def observe(self, case: Case) -> Observation:
        """Gather the steady hours of each day."""
        return Observation(columns=steady_columns(case))

    def conclude(self, history: History) -> Conclusion:
        """Follow the days and compare each window with the baseline before it."""
        table = history.table
        if not np.isfinite(table.column("irradiation_kwh_m2")).any():
            return NotJudged(why="the sun on the collector is unknown")
        if not np.isfinite(table.column("heat_kwh")).any():
            return NotJudged(why="no heat can be worked out from the log")
        days = steady_days(table, sunny_kwh_m2=self.sunny_kwh_m2)
        findings: list[Found] = []
        judged = False
        start = 0
        while True:
            drop = self._first_drop(history, days, start)
            if drop is None:
                break
            judged = True
            baseline, onset, seen = drop
            if onset < 0:
                break
            end = self._recovery(days, baseline, seen)
            findings.append(self._found(history, days, baseline, onset, end))
            if end is None:
                break
            start = end
        if not judged:
            return NotJudged(
                why=f"needs {self.sound_days} sound days with {self.steady_days} steady sunny "
                f"ones before it, there are {len(days.place)} steady days in all"
            )
        return Judged(findings=tuple(findings))

    def _first_drop(
        self, history: History, days: SteadyDays, start: int
    ) -> tuple[Baseline, int, int] | None:
        """Give baseline, onset and the day it was seen; onset -1: judged and clear; None: cannot."""
        logged = np.cumsum(np.isfinite(history.table.column("heat_kwh")))
        first = days.place[start] if start < len(days.place) else 0
        judged: Baseline | None = None
        for last in range(start + self.steady_days + self.window, len(days.place) + 1):
            split = last - self.window
            sound = logged[days.place[split - 1]] - (logged[first - 1] if first else 0)
            if sound < self.sound_days and start == 0:
                continue
            baseline = fit_baseline(days, start, split, site=history.site)
            judged = baseline
            drop, u_drop = baseline.drop(days, split, last)
            limit = max(self.least_drop, self.sigmas * float(np.hypot(u_drop, self.drift)))
            if drop > limit:
                onset = self._onset(days, baseline, split, last)
                return baseline, onset, last
        return None if judged is None else (judged, -1, len(days.place))

    def _onset(self, days: SteadyDays, baseline: Baseline, split: int, last: int) -> int:
        """Give the split after which the drop is largest against its scatter."""
        residual = baseline.residual_frac(days)
        best, onset = 0.0, split
        for place in range(max(split - self.window, 0), last - 2):
            part = residual[place:last]
            gain = -float(part.mean()) * np.sqrt(len(part))
            if gain > best:
                best, onset = gain, place
        return onset

    def _recovery(self, days: SteadyDays, baseline: Baseline, seen: int) -> int | None:
        """Give the first steady day from which the output is back at the baseline."""
        for last in range(seen + 4, len(days.place) + 1):
            drop, _ = baseline.drop(days, last - 4, last)
            if drop < self.recovered:
                return last - 4
        return None

    def _found(
        self,
        history: History,
        days: SteadyDays,
        baseline: Baseline,
        onset: int,
        end: int | None,
    ) -> Found:
        table = history.table
        last = len(days.place) if end is None else end
        drop, u_drop = baseline.drop(days, onset, last)
        u_all = float(np.hypot(u_drop, self.drift))
        start_s = int(table.days.edge_s[days.place[onset]])
        end_s = None if end is None else int(table.days.edge_s[days.place[end]])
        until_s = history.end_s if end_s is None else end_s
        span = slice(days.place[onset], None if end is None else days.place[end])
        heat = float(np.nansum(table.column("heat_kwh")[span]))
        lost = max(heat * drop / (1.0 - drop), 0.0)
        reach = 1.96 * u_all / max(drop, 1e-6)
        gone = tubes_lost(days, baseline, onset, last, site=history.site)
        evidence = [
            Evidence(
                what="output below the plant's own sound months",
                start_s=start_s,
                end_s=until_s,
                value=100.0 * drop,
                unit="%",
            ),
            Evidence(
                what="95 % reach of that figure",
                start_s=start_s,
                end_s=until_s,
                value=196.0 * u_all,
                unit="%",
            ),
        ]
        words = f"Collector gives {100.0 * drop:.0f} % less than in its sound months"
        if gone is not None:
            few, many = gone
            words += f"; as if {few:.0f} tubes were missing or {many:.0f} without vacuum"
        return Found(
            start_s=start_s,
            end_s=end_s,
            urgency="visit" if drop >= self.visit_drop else "watch",
            certainty=min(0.99, 0.5 + 0.1 * drop / max(u_all, 1e-6)),
            summary=words,
            evidence=tuple(evidence),
            tubes_lost=gone,
            lost=Bounded(
                value=lost, low=max(lost * (1.0 - reach), 0.0), high=lost * (1.0 + reach)
            ),
        )
