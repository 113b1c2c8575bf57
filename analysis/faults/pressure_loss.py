"""Pressure loss: the cold loop's pressure goes down, by and by or at once, or has become too low.

In the data: the pressure of resting nights, with the fluid's growth and the gas's warmth taken out,
falls against the plant's own past, or nears the weight of the fluid up to the roof. Looks alike and
is not it: a cold spell (taken out); a vessel that loses its gas lets the pressure fall as well (its
own kind, which explains it); a pressure lowered on purpose, which the site file should say.
"""

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.days import DayTable, Happening
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES, NO_COLD_FILL, STEAM
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
from analysis.loop_pressure import (
    COLD,
    VESSEL_RULES,
    cold_columns,
    reference_bar,
    static_bar,
    vessel_bar_l,
)
from analysis.pressure_kernel import likeliest_fall
from analysis.quantiles import running
from analysis.record import Bools, Floats, Ints
from analysis.results import Evidence
from analysis.sources import Source
from analysis.urgency import Level, is_fresh, urgency_of

TEXT = FaultText(
    title="Pressure in the solar loop too low or falling",
    customer=(
        "The solar loop is losing pressure. It still works, but fluid may be leaking; when the "
        "pressure is gone, air gets in and the collector gives no more heat."
    ),
    technician=(
        "The pressure of the cold, resting loop was compared with its own past, at one and the "
        "same temperature of fluid and gas. A steady fall is a leak, or air that leaves after a "
        "fill; a fall at once, after a hot day above all, is a safety valve that opened. Near the "
        "weight of the fluid up to the roof the top of the loop draws air and boils early."
    ),
    likely_causes=(
        "Leak at a joint, vent, pump seal or under the roof",
        "Safety valve opened in stagnation, or does not close any more",
        "Air leaving the fluid after a fill",
        "Vessel losing its gas",
        "Pressure sensor drifting",
    ),
    check_next=(
        "From here: was fluid let out or the pressure lowered at a visit? Then record it",
        "Ask what the gauge shows in the morning, and whether there are stains or drops",
        "On site: compare gauge and logger; look at the safety valve's outlet and the level in the "
        "can under it",
        "Follow the pipes for stains of glycol, joints and vents first",
        "With the loop cold: check the vessel's gas by the maker's procedure, then top up with the "
        "same mixture and record the pressure",
        "Only then plan a look at the joints on the roof",
    ),
    cautions=(HOT_PARTS, STEAM, NO_COLD_FILL, HEIGHT, LOCAL_CODES),
)
_MONTH_DAYS = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Levels:
    """Each day's cold pressure at 15 °C: as read, evened out, and how far it has fallen.

    `span` counts the stretches between fills; `fast_bar`, `slow_bar` are falls against the best of
    the same stretch within weeks and within a year.
    """

    read_bar: Floats
    even_bar: Floats
    span: Ints
    fast_bar: Floats
    slow_bar: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureLoss:
    """Cold pressure falling or too low.

    Attributes
    ----------
    even_days : known nights of which the median counts, an odd number
    fast_bar, fast_days : a fall of so much within so many days is reported
    slow_bar, slow_days : likewise over a year; seasons and sensor are good for 0.1 bar
    sound_bar : less than this below the best of a year is sound
    topped_up_bar : a rise of so much from one night to the next is somebody with a pump
    spare_bar : static head plus this is the least a cold loop should have
    bare_bar : static head plus this is nearly nothing: air is drawn in
    visit_bar : a fall of so much asks for a visit
    ahead_days : so does one that will come down to the least within so many days
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it
    airing_days : so long after a fill the pressure falls because air leaves
    hot_c : a collector above it within two days before a fall may have opened the safety valve
        (all of them engineering judgement, beside the sources)
    """

    even_days: int = 3
    fast_bar: float = 0.2
    fast_days: int = 45
    slow_bar: float = 0.3
    slow_days: int = 365
    sound_bar: float = 0.1
    topped_up_bar: float = 0.12
    spare_bar: float = 0.3
    bare_bar: float = 0.1
    visit_bar: float = 0.3
    ahead_days: float = 60.0
    least_days: int = 3
    within_days: int = 10
    quiet_days: int = 3
    airing_days: int = 30
    hot_c: float = 110.0
    kind: str = "pressure_loss"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (VESSEL_RULES,)

    def observe(self, case: Case) -> Observation:
        """See the pressure of the cold loop."""
        if "pressure" not in case.channels or case.site.loop.kind != "filled":
            return Observation()
        return Observation(columns=cold_columns(case))

    def conclude(self, history: History) -> Conclusion:
        """Follow the cold pressure between fills."""
        table, site = history.table, history.site
        if site.loop.kind != "filled":
            return NotJudged(why="a loop that drains back has no pressure to lose")
        known = np.isfinite(table.column(COLD))
        if int(known.sum()) < self.even_days + self.least_days:
            return NotJudged(why="no pressure of a cold, resting loop in the log, night by night")
        levels = self._levels(history)
        static = static_bar(site)
        low = np.zeros(len(known), dtype=np.bool_)
        if static is not None:
            low = levels.even_bar < static + self.spare_bar
        fallen = (levels.fast_bar >= self.fast_bar) | (levels.slow_bar >= self.slow_bar)
        bad = known & (fallen | low)
        good = known & ~low & (levels.slow_bar < self.sound_bar)
        groups = lasting(
            self._items(table, levels, bad), table=table, good=good, quiet_days=self.quiet_days
        )
        found = []
        for items, over in groups:
            kept = without_strays(items, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(history, levels, kept, over))
        why = "" if static is not None else "the height is not on record, so only falls are judged"
        return Judged(findings=tuple(found), why=why)

    def _levels(self, history: History) -> _Levels:
        table = history.table
        read = reference_bar(table, vessel_bar_l(history.site))
        days = np.flatnonzero(np.isfinite(read))
        filled = self._filled(days, read[days], self._fills(history))
        each, span = np.arange(len(days)), np.zeros(len(read), dtype=np.int64)
        span[days] = np.cumsum(filled)
        first = np.maximum.accumulate(np.where(filled, each, 0))
        # Nothing between fills, so that no night is evened out with those before one.
        place = each + (self.even_days - 1) * (1 + span[days])
        apart = np.full(place[-1] + 1, np.nan)
        apart[place] = read[days]
        level = running(apart, 0.5, self.even_days)[place - self.even_days // 2]
        even = np.full(len(read), np.nan)
        even[days] = level
        falls = np.full((2, len(read)), np.nan)
        for fall, reach in zip(falls, (self.fast_days, self.slow_days), strict=True):
            since = np.searchsorted(days, days - reach, side="right")
            fall[days] = _highest(level.tolist(), np.maximum(since, first).tolist()) - level
        return _Levels(
            read_bar=read, even_bar=even, span=span, fast_bar=falls[0], slow_bar=falls[1]
        )

    def _filled(self, days: Ints, known: Floats, fills: list[int]) -> Bools:
        """Tell which of the known days are the first after the loop was filled.

        As the records say, or as a rise of the pressure that lasts shows.
        """
        filled = np.zeros(len(days), dtype=np.bool_)
        if len(days) < 2:
            return filled
        steady = running(np.concatenate([[np.nan], known, [np.nan]]), 0.5, 3)
        before, after = steady[:-3], steady[3:]
        filled[1:] = (after - before > self.topped_up_bar) & (
            np.diff(known) > self.topped_up_bar / 2.0
        )
        for fill in fills:
            filled[1:] |= (days[:-1] < fill) & (fill <= days[1:])
        return filled

    def _fills(self, history: History) -> list[int]:
        """Give the days on which the records say that the loop was filled anew."""
        site, place = history.site, history.table.days.dates
        named = [item.date for item in site.changes if item.key in _FILL_KEYS]
        if site.commissioned is not None and site.commissioned.filled is not None:
            named.append(site.commissioned.filled)
        return [bisect_left(place, day.isoformat()) for day in named]

    def _items(self, table: DayTable, levels: _Levels, bad: Bools) -> list[Happening]:
        edges = table.days.edge_s
        return [
            Happening(
                kind=self.kind,
                date=table.days.dates[day],
                start_s=int(edges[day]),
                end_s=int(edges[day + 1]),
                values={"day": float(day)},
            )
            for day in np.flatnonzero(bad).tolist()
        ]

    def _found(
        self, history: History, levels: _Levels, items: tuple[Happening, ...], over: bool
    ) -> Found:
        table, site = history.table, history.site
        first, last = (int(item.values["day"]) for item in (items[0], items[-1]))
        onset, before_bar, at_once = self._onset(levels, first)
        now_bar = float(levels.even_bar[last])
        fall_bar = before_bar - now_bar
        days = max(last - onset, 1)
        a_month = fall_bar / days * _MONTH_DAYS
        static = static_bar(site)
        start_s, end_s = int(table.days.edge_s[onset]), items[-1].end_s
        if fall_bar < self.sound_bar:
            words = f"The cold loop stands at {now_bar:.1f} bar, too little for its height"
        elif at_once:
            words = f"The cold loop lost {fall_bar:.1f} bar at once and stands at {now_bar:.1f} bar"
            peaks_c = table.column("peak_collector_c")[max(onset - 2, 0) : onset + 1]
            if (peaks_c >= self.hot_c).any():
                words += "; the collector had stood hot, so the safety valve may have opened"
        else:
            words = (
                f"The cold loop lost {fall_bar:.1f} bar in {days} days and stands at "
                f"{now_bar:.1f} bar"
            )
        certainty = 0.9 if fall_bar >= self.visit_bar else 0.75
        evidence = [
            ("pressure of the cold loop before, at 15 °C", before_bar, "bar"),
            ("pressure of the cold loop now, at 15 °C", now_bar, "bar"),
        ]
        if not at_once and fall_bar >= self.sound_bar:
            evidence.append(("fall in thirty days", a_month, "bar"))
        if static is not None:
            evidence.append(("weight of the fluid up to the array", static, "bar"))
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=certainty,
                level=self._level(history, onset, now_bar, fall_bar, a_month),
                today=not over and is_fresh(end_s, history.until_s),
            ),
            certainty=certainty,
            summary=words,
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=end_s, value=value, unit=unit)
                for what, value, unit in evidence
            ),
        )

    def _level(
        self, history: History, onset: int, now_bar: float, fall_bar: float, a_month: float
    ) -> Level:
        """Say how near the loop is to drawing air."""
        static = static_bar(history.site)
        if static is not None and now_bar < static + self.bare_bar:
            return "acute"
        low = static is not None and now_bar < static + self.spare_bar
        if static is not None and a_month > 0.0 and fall_bar >= self.fast_bar:
            ahead = (now_bar - static - self.spare_bar) / a_month * _MONTH_DAYS
            low = low or ahead < self.ahead_days
        filled = history.site.commissioned.filled if history.site.commissioned else None
        began = date.fromisoformat(history.table.days.dates[onset])
        airing = filled is not None and 0 <= (began - filled).days < self.airing_days
        return "present" if low or (fall_bar >= self.visit_bar and not airing) else "possible"

    def _onset(self, levels: _Levels, seen: int) -> tuple[int, float, bool]:
        """Say when a fall seen on a day began, from what pressure, and whether it fell at once.

        Among all days of the stretch that may be it, the one from which a straight line down, or a
        step, leaves least.
        """
        own = np.flatnonzero((levels.span == levels.span[seen]) & np.isfinite(levels.read_bar))
        own = own[(own > seen - self.slow_days) & (own <= seen + self.even_days)]
        read, x = levels.read_bar[own], own.astype(np.float64)
        number, before_bar, at_once = likeliest_fall(given(x), given(read))
        return int(own[number]), before_bar, at_once


_FILL_KEYS = ("loop.pressure_bar", "commissioned.filled", "loop.concentration", "loop.fluid")


def _highest(values: list[float], since: list[int]) -> Floats:
    """Give the greatest of each value and those before it, from one on that never falls."""
    found, falling = [], deque[int]()
    for here, (value, first) in enumerate(zip(values, since, strict=True)):
        # What a later one reaches is the greatest no more.
        while falling and values[falling[-1]] <= value:
            falling.pop()
        falling.append(here)
        while falling[0] < first:
            falling.popleft()
        found.append(values[falling[0]])
    return np.array(found)
