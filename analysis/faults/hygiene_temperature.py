"""Hygiene: the top of the store has not been hot enough for more than a week.

In the data: on more than seven days in a row no hour with the store's top near 60 °C. Looks alike
and is not it: a store that only warms water for a heater behind it, which brings it to 60 °C before
use; the report cannot see that heater, so without a backup on record this stays a note.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD
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
from analysis.record import Bools, Floats
from analysis.results import Evidence
from analysis.runs import day_peak, in_a_row
from analysis.season import SEASON_DAYS
from analysis.sources import HSE_HOT_WATER, WHO_LEGIONELLA, Source
from analysis.urgency import Level, urgency_of

TEXT = FaultText(
    title="Store top not hot enough for hygiene",
    customer=(
        "The top of your store has not been at 60 °C for more than a week. Please let the backup "
        "heat it through once, above all before hot water is used again after a time away."
    ),
    technician=(
        "For more than seven days the store's top spent no hour at 60 °C. Water that stands "
        "between about 20 and 45 °C lets legionella grow. That is the store's top alone: where a "
        "heater behind the store brings all water to 60 °C before use, nothing is wrong."
    ),
    likely_causes=(
        "Backup switched off over the summer, or its timer or set point too low",
        "Backup not working, or heating only a small part of the store",
        "Top sensor below the part that the backup heats",
    ),
    check_next=(
        "From here: which set point and hours does the backup have, and is there a heater behind "
        "the store?",
        "Ask the household to let the backup heat the store to 60 °C once a week, by local rules",
        "After weeks without use, heat the store through before the first shower; let the taps "
        "run without breathing the spray",
        "On site: compare the backup's thermostat with the store's top; read the sensor's place",
    ),
    cautions=(SCALD, HOT_PARTS, ELECTRICITY, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """First and last cool day, how many tell, and whether a hot day followed."""

    first: int
    last: int
    days: int
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HygieneTemperature:
    """Store top too cool for too long.

    Attributes
    ----------
    hygiene_c : what a store should reach (HSE, WHO)
    reading_k : a sensor on the wall of the store may read so much too low (engineering judgement)
    hour_bins : how long it must hold, in bins: an hour (engineering judgement)
    least_days : more than a week of days in a row (weekly regime; engineering judgement)
    short_k : a backup set to reach it that stays this far below its set point for so many days
        does not do its work: worth a visit
    known_frac : less of a day in the log, and the hour may have been in the hole
    """

    hygiene_c: float = 60.0
    reading_k: float = 2.0
    hour_bins: int = 12
    least_days: int = 8
    short_k: float = 5.0
    known_frac: float = 0.8
    kind: str = "hygiene_temperature"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (HSE_HOT_WATER, WHO_LEGIONELLA)

    def observe(self, case: Case) -> Observation:
        """Give the temperature that the store's top held for an hour."""
        top = case.binned("store_top")
        length = min(self.hour_bins, top.shape[1])
        held = in_a_row(np.minimum, top, length)
        known = counted(np.isfinite(top)) * BIN_S >= self.known_frac * case.days.length_s
        # One hot hour in half a day is enough; a cold half day says nothing of the other half.
        hour_c = day_peak(held)
        hot = hour_c >= self._bound_c()
        return Observation(columns={"top_hour_c": np.where(known | hot, hour_c, np.nan)})

    def _bound_c(self) -> float:
        return self.hygiene_c - self.reading_k

    def conclude(self, history: History) -> Conclusion:
        """Give stretches of cool days, those of a season as one; one hot hour ends it."""
        table = history.table
        if "seen_store_top" not in table.columns:
            return NotJudged(why="no temperature of the store's top in the log")
        hour_c = table.column("top_hour_c")
        if np.isfinite(hour_c).sum() < self.least_days:
            return NotJudged(why="fewer than eight whole days with the store's top in the log")
        stretches = self._stretches(hour_c < self._bound_c(), hour_c >= self._bound_c())
        groups: list[list[_Stretch]] = []
        for stretch in stretches:
            if groups and stretch.first - groups[-1][-1].last <= SEASON_DAYS:
                groups[-1].append(stretch)
            else:
                groups.append([stretch])
        return Judged(findings=tuple(self._found(history, hour_c, group) for group in groups))

    def _stretches(self, cool: Bools, hot: Bools) -> list[_Stretch]:
        """Give the stretches of cool days.

        It opens on enough cool days in a row; once open, a day that does not tell leaves it open.
        """
        stretches: list[_Stretch] = []
        first, count, last = 0, 0, 0
        for day in range(len(cool)):
            if cool[day]:
                first = first if count else day
                count, last = count + 1, day
            elif hot[day] or count < self.least_days:
                if count >= self.least_days:
                    stretches.append(_Stretch(first=first, last=last, days=count, over=True))
                count = 0
        if count >= self.least_days:
            stretches.append(_Stretch(first=first, last=last, days=count, over=False))
        return stretches

    def _found(self, history: History, hour_c: Floats, group: list[_Stretch]) -> Found:
        edges, latest = history.table.days.edge_s, group[-1]
        start_s = int(edges[group[0].first])
        seen_s = min(int(edges[latest.last + 1]), history.end_s)
        days = sum(stretch.days for stretch in group)
        # The latest stretch tells how it stands now.
        best = latest.first + int(np.nanargmax(hour_c[latest.first : latest.last + 1]))
        best_c = float(hour_c[best])
        backup = history.site.backup
        set_c = None if backup is None else backup.setpoint_c
        certainty = 0.9 if best_c < self._bound_c() - self.reading_k else 0.7
        level: Level = "possible"
        note = ""
        if set_c is not None and set_c >= self.hygiene_c:
            note = f", although the backup is set to {set_c:.0f} °C"
            if best_c < set_c - self.short_k:
                level = "present"
        return Found(
            start_s=start_s,
            end_s=seen_s if latest.over else None,
            urgency=urgency_of(self.kind, certainty=certainty, level=level, normal=backup is None),
            certainty=certainty,
            summary=f"Store top below 60 °C for more than seven days: {days} days, lately at most "
            f"{best_c:.0f} °C for an hour{note}",
            evidence=(
                Evidence(
                    what="hottest hour of the store's top, lately",
                    start_s=int(edges[best]),
                    end_s=min(int(edges[best + 1]), history.end_s),
                    value=best_c,
                    unit="°C",
                ),
                Evidence(
                    what="days without an hour at 60 °C",
                    start_s=start_s,
                    end_s=seen_s,
                    value=float(days),
                    unit="days",
                ),
            ),
        )
