"""Backup overlap: the backup heats what the sun was about to heat.

In the data: on sunny days the backup runs in the sun's hours and outside those that its timer is
said to allow. Without a backup signal: the store's top rises although the loop carries nothing, or
beyond what the collector could give. Looks alike and is not it: a backup let loose in those hours
on purpose, as the site file says; days of little sun.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HYGIENE, LOCAL_CODES, SCALD
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
from analysis.record import Bools, Floats
from analysis.results import Evidence
from analysis.runs import day_span, in_a_row
from analysis.sources import VDI_2169, Source
from analysis.units import SECONDS_PER_HOUR
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Backup heats in the sun's hours",
    customer=(
        "On sunny days your boiler or heater warms the store in the hours when the sun would have "
        "done it for nothing. A change of its timer may save fuel."
    ),
    technician=(
        "On sunny days a good part of the backup's running time fell into the hours of sun, beyond "
        "what its timer should allow. A store that is already warm leaves less for the sun."
    ),
    likely_causes=(
        "Timer of the backup set wrongly, off by the change of the clocks, or bypassed",
        "Backup's sensor so low in the store that it also heats the sun's part",
        "Set point higher than the household needs",
    ),
    check_next=(
        "From here: compare the hours of the backup in the site file with the curves of a sunny "
        "day",
        "Ask whether the household chose these hours on purpose, then record them",
        "Set the timer so that the backup heats late in the afternoon, when it is known what the "
        "sun has left to do; keep the hygiene regime",
        "On site: where does the backup's sensor sit, above the solar part?",
    ),
    cautions=(HYGIENE, SCALD, ELECTRICITY, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupOverlap:
    """Backup at work in the sun's hours.

    Attributes
    ----------
    from_h, until_h : the sun's hours, local clock
    sun_sine : the sun must stand this high (15 degrees)
    clock_h : a timer's clock may be so far off
    sunny_kwh_m2, sunny_h : a sunny day; without the sun, hours in which the loop carried heat
    share : of the day's running time that falls into the sun's hours (engineering judgement)
    least_h : of a day, less is not counted
    rise_k, rise_bins : without a signal: the store's top rises by so much within so many bins
    still_bins, margin_k : while the loop rested for so many bins before, or with the top this much
        hotter than the collector whenever it ran
    least_days, within_days : fewer days are not reported
    timed_days : so many are enough where the signal is logged and the hours are on record
        (engineering judgement: a button pressed by hand now and then is no timer)
    sound_days : so many sunny days without it end it
    """

    from_h: float = 8.0
    until_h: float = 15.0
    sun_sine: float = 0.26
    clock_h: float = 0.25
    sunny_kwh_m2: float = 3.0
    sunny_h: float = 3.0
    share: float = 0.3
    least_h: float = 0.08
    rise_k: float = 3.0
    rise_bins: int = 6
    still_bins: int = 12
    margin_k: float = 2.0
    least_days: int = 5
    timed_days: int = 3
    within_days: int = 21
    sound_days: int = 10
    kind: str = "backup_overlap"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (VDI_2169.at("backup and sun: practice, from memory"),)

    def observe(self, case: Case) -> Observation:
        """See the backup's hours on sunny days."""
        told = "backup" in case.channels
        moving_told = bool({"pump", "flow"} & case.channels)
        if not told and not ("store_top" in case.channels and moving_told and case.site.backup):
            return Observation()
        seen = case.binned("backup" if told else "store_top")
        share = np.nan_to_num(seen) / 100.0 if told else self._rising(case).astype(np.float64)
        hour = np.arange(case.grid.shape[1]) * BIN_S / SECONDS_PER_HOUR
        window = (hour >= self.from_h) & (hour < self.until_h)
        in_sun = window & ~self._allowed(case, hour) & (case.sky.sun_sine > self.sun_sine)
        overlap_h = _hours(np.where(in_sun, share, 0.0))
        backup_h = _hours(share)
        judged = self._sunny(case) & (np.isfinite(seen)[:, window].mean(axis=1) > 0.9)
        bad = judged & (overlap_h >= self.least_h) & (overlap_h >= self.share * backup_h)
        found = []
        for day, (first, last) in day_span(in_sun & (share > 0.0) & bad[:, None]).items():
            start_s, end_s = case.span_s(day, first, last)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "overlap_h": float(overlap_h[day]),
                        "backup_h": float(backup_h[day]),
                        "told": float(told),
                    },
                )
            )
        sound = judged & (overlap_h < self.least_h)
        columns = {"backup_sound": np.where(judged, sound.astype(np.float64), np.nan)}
        return Observation(columns=columns, happenings=tuple(found))

    def _rising(self, case: Case) -> Bools:
        """Tell bins in which the store's top rises and the loop is not why."""
        top, reach = case.binned("store_top"), self.rise_bins
        rising = np.zeros(top.shape, dtype=np.bool_)
        rising[:, reach:] = top[:, reach:] - top[:, :-reach] >= self.rise_k
        moving = case.loop.moving_frac > 0.0
        # No collector heats water beyond its own temperature.
        source_c = np.where(moving, np.nan_to_num(case.loop.t_roof_c, nan=np.inf), -np.inf)
        padded = np.pad(source_c, ((0, 0), (self.still_bins, 0)), constant_values=-np.inf)
        hottest_c = in_a_row(np.maximum, padded, self.still_bins + 1)
        by_sun = top < hottest_c + self.margin_k
        return np.asarray(rising & ~by_sun & (case.loop.known_s > 0.0))

    def _allowed(self, case: Case, hour: Floats) -> Bools:
        allowed = np.zeros(hour.shape, dtype=np.bool_)
        backup = case.site.backup
        for begin, end in (backup.hours or ()) if backup is not None else ():
            allowed |= (hour >= begin - self.clock_h) & (hour < end + self.clock_h)
        return allowed

    def _sunny(self, case: Case) -> Bools:
        plane = case.sky.g_plane_w_m2
        kwh_m2 = np.nansum(plane, axis=1) * BIN_S / SECONDS_PER_HOUR / 1000.0
        sunny = kwh_m2 >= self.sunny_kwh_m2
        unknown = ~np.isfinite(plane).any(axis=1)
        return np.asarray(
            np.where(unknown, case.hours(case.expected.carried) >= self.sunny_h, sunny)
        )

    def conclude(self, history: History) -> Conclusion:
        """Join days; sunny days without it end it."""
        table = history.table
        if "seen_backup" not in table.columns and history.site.backup is None:
            return NotJudged(why="no backup in the log or the site file")
        if not np.isfinite(table.column("backup_sound")).any():
            return NotJudged(why="no sunny day with the backup, or store top and pump, in the log")
        timed = history.site.backup is not None and history.site.backup.hours is not None
        sure = timed and "seen_backup" in table.columns
        items = without_strays(
            table.of_kind(self.kind),
            least=self.timed_days if sure else self.least_days,
            within_days=self.within_days,
        )
        groups = lasting(
            items,
            table=table,
            good=table.column("backup_sound") > 0.5,
            quiet_days=self.sound_days,
        )
        why = ""
        if "seen_backup" not in table.columns:
            why = "no backup signal in the log: told from the store's top alone"
            if not groups:
                # While the loop runs the top rises anyway: seeing nothing proves nothing.
                return NotJudged(
                    why="no backup signal in the log, and the store's top tells too little"
                )
        return Judged(
            findings=tuple(self._found(history, group, over) for group, over in groups), why=why
        )

    def _found(self, history: History, items: list[Happening], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        hours = sum(item.values["overlap_h"] for item in items)
        total = sum(item.values["backup_h"] for item in items)
        told = items[-1].values["told"] > 0.5
        backup = history.site.backup
        timed = backup is not None and backup.hours is not None
        how = "the backup ran" if told else "the store's top rose without the sun"
        outside = ", outside the hours on record" if timed else ""
        longest = max(items, key=lambda item: item.values["overlap_h"])
        certainty = (0.9 if timed else 0.75) if told else 0.6
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(self.kind, certainty=certainty),
            certainty=certainty,
            summary=f"On {len(items)} sunny days {how} in the sun's hours{outside}",
            evidence=(
                Evidence(
                    what="running time in the sun's hours, longest day",
                    start_s=longest.start_s,
                    end_s=longest.end_s,
                    value=longest.values["overlap_h"],
                    unit="h",
                ),
                Evidence(
                    what="share of those days' running time",
                    start_s=start_s,
                    end_s=end_s,
                    value=100.0 * hours / total,
                    unit="%",
                ),
            ),
        )


def _hours(share: Floats) -> Floats:
    return np.asarray(share.sum(axis=1) * BIN_S / SECONDS_PER_HOUR)
