"""No draw: nobody uses hot water.

In the data: for three whole days and more no sensor of a warm store falls as cold water makes it
fall. Not a fault, and private: an empty house is nobody else's business, so no mail and no page
that others see may speak of it (`dashboards.private`). Looks alike and is not it: a store so large
or so cold that a draw does not show.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted
from analysis.faults._cautions import LOCAL_CODES, SCALD
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
from analysis.record import Floats
from analysis.results import Evidence
from analysis.sources import TAPPING, Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="No hot water drawn",
    customer="No hot water seems to have been used in these days, as when everybody is away.",
    technician=(
        "No sensor of the store fell as it does when cold water comes in. Heat that nobody draws "
        "keeps the store full and the collectors idle; days like these say nothing against the "
        "plant. This is about the household's life: keep it to yourself."
    ),
    likely_causes=(
        "Nobody at home",
        "Hot water taken from somewhere else",
        "Store so large that a draw hardly shows",
    ),
    check_next=("From here: nothing is wrong; after a long absence heat the store through once",),
    cautions=(SCALD, LOCAL_CODES),
)

_SENSORS = ("store_bottom", "store_middle", "store_top")


@dataclass(frozen=True, slots=True, kw_only=True)
class NoDraw:
    """Nothing drawn from the store.

    Attributes
    ----------
    fall_k, fall_bins : a draw makes a store sensor fall this much within so many bins; standing
        loss alone is under 0.5 K an hour in ordinary stores (engineering judgement)
    warm_c : a store must be this warm for cold water to show
    least_days : fewer whole days are not reported: a weekend is nobody's business either
    known_frac : less of a day in the log, and the draw may have been in the hole
    """

    fall_k: float = 1.0
    fall_bins: int = 6
    warm_c: float = 32.0
    least_days: int = 3
    known_frac: float = 0.9
    kind: str = "no_draw"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (TAPPING,)

    def observe(self, case: Case) -> Observation:
        """Count the falls of each day that only cold water explains."""
        read = [case.binned(name) for name in _SENSORS if name in case.channels]
        if not read:
            return Observation()
        falls = sum((self._falls(values) for values in read), np.zeros(len(case.days)))
        hottest = case.loop.t_store_hottest_c
        known = counted(np.isfinite(hottest)) * BIN_S >= self.known_frac * case.days.length_s
        warm = counted(hottest >= self.warm_c) * BIN_S >= self.known_frac * case.days.length_s
        # A fall seen counts however little of the day is known.
        tells = (known & warm) | (falls > 0.0)
        return Observation(columns={"draw_falls": np.where(tells, falls, np.nan)})

    def _falls(self, values: Floats) -> Floats:
        with np.errstate(invalid="ignore"):
            falling = values[:, : -self.fall_bins] - values[:, self.fall_bins :] >= self.fall_k
        return counted(falling).astype(np.float64)

    def conclude(self, history: History) -> Conclusion:
        """Give each stretch of days without a draw; the first draw ends it."""
        falls = history.table.column("draw_falls")
        if not np.isfinite(falls).any():
            return NotJudged(why="no day with a warm store in the log")
        found: list[Found] = []
        run: list[int] = []
        for day, count in enumerate(falls.tolist()):
            if count == 0.0:
                run.append(day)
            elif count > 0.0:
                found += self._found(history, run, lasts=False)
                run = []
        found += self._found(history, run, lasts=True)
        return Judged(findings=tuple(found))

    def _found(self, history: History, run: list[int], *, lasts: bool) -> list[Found]:
        if len(run) < self.least_days:
            return []
        edges = history.table.days.edge_s
        start_s, end_s = int(edges[run[0]]), min(int(edges[run[-1] + 1]), history.end_s)
        return [
            Found(
                start_s=start_s,
                end_s=None if lasts else end_s,
                urgency=urgency_of(self.kind, certainty=0.8, normal=True),
                certainty=0.8,
                summary=f"No draw of hot water seen on {len(run)} days",
                evidence=(
                    Evidence(
                        what="days without a draw",
                        start_s=start_s,
                        end_s=end_s,
                        value=float(len(run)),
                        unit="days",
                    ),
                ),
            )
        ]
