"""Silence: the log has a hole, or stopped.

Nothing is known about the time in a hole: it lowers the coverage and is never filled. Looks alike
and is not it: a memory card that was read out and put back, where the next card goes on.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, LOCAL_CODES
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    Observation,
)
from analysis.results import Evidence
from analysis.sources import Source
from analysis.units import SECONDS_PER_HOUR
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="No data",
    customer="For some time nothing was recorded; the system may well have worked.",
    technician=(
        "No rows arrived in this time. Figures cover only what was logged. If it goes on, find out "
        "whether the logger, its power or its connection failed, or whether the whole controller "
        "is off."
    ),
    likely_causes=(
        "Logger or gateway without power or connection",
        "Memory card full, worn out or not put back",
        "Controller switched off or failed",
        "Files of this time not uploaded yet",
    ),
    check_next=(
        "From here: are there files of this time that were not uploaded?",
        "By phone: is the controller's display on, and does the gateway show a connection?",
        "On site: power, card, connection; then the controller's clock",
    ),
    cautions=(ELECTRICITY, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """Holes in the log.

    Attributes
    ----------
    least_h : shorter holes only lower the coverage (judgement)
    short_h : up to this a closed hole is only put on record
    worry_h : a log that has been silent this long up to now asks for a visit
    """

    least_h: float = 12.0
    short_h: float = 48.0
    worry_h: float = 120.0
    kind: str = "silence"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (Source("Common practice, no source"),)

    def observe(self, case: Case) -> Observation:
        """See holes within days."""
        record = case.record
        least_s = self.least_h * SECONDS_PER_HOUR
        # Hardly any two rows lie so far apart.
        holes = np.flatnonzero(np.diff(record.start_s) >= least_s)
        ends_s = record.start_s[holes] + record.step_s[holes].astype(np.int64)
        day = case.day[holes + 1]
        within = (record.start_s[holes + 1] - ends_s >= least_s) & (day >= 0)
        within &= day == case.day[holes]
        holes, ends_s = holes[within], ends_s[within]
        return Observation(
            happenings=tuple(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[int(case.day[row])],
                    start_s=end_s,
                    end_s=int(record.start_s[row + 1]),
                    values={},
                )
                for row, end_s in zip(holes.tolist(), ends_s.tolist(), strict=True)
            )
        )

    def conclude(self, history: History) -> Conclusion:
        """Join holes within days with those between days, and the one up to now."""
        table = history.table
        holes = [(item.start_s, item.end_s) for item in table.of_kind(self.kind)]
        first, last = table.column("first_s"), table.column("last_s")
        told = np.isfinite(first)
        ends_s, begins_s = last[told][:-1], first[told][1:]
        long = begins_s - ends_s >= self.least_h * SECONDS_PER_HOUR
        holes += zip(map(int, ends_s[long]), map(int, begins_s[long]), strict=True)
        found = [self._found(start, end, open_end=False) for start, end in sorted(holes)]
        quiet_s = history.until_s - history.end_s
        if quiet_s >= self.worry_h * SECONDS_PER_HOUR:
            found.append(self._found(history.end_s, history.until_s, open_end=True))
        return Judged(findings=tuple(found))

    def _found(self, start_s: int, end_s: int, *, open_end: bool) -> Found:
        hours = (end_s - start_s) / SECONDS_PER_HOUR
        long = f"{hours / 24.0:.0f} days" if hours >= 48.0 else f"{hours:.0f} hours"
        short = not open_end and hours <= self.short_h
        return Found(
            start_s=start_s,
            end_s=None if open_end else end_s,
            urgency=urgency_of(self.kind, certainty=1.0, normal=short),
            certainty=1.0,
            summary=f"No data for {'the last ' if open_end else ''}{long}",
            evidence=(
                Evidence(
                    what="time without a row", start_s=start_s, end_s=end_s, value=hours, unit="h"
                ),
            ),
        )
