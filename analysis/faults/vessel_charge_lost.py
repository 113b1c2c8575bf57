"""Vessel charge lost: the pressure answers to warmth far more than the vessel's gas allows.

In the data: the inverse of the absolute pressure falls in a straight line as the fluid grows; its
slope is the inverse of the gas charge (see `analysis.loop_pressure`). Looks alike and is not it: a
loop that lost fluid (the line moves, its slope stays); steam (hours with a hot roof are left out);
a warm room, which is fitted beside.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
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
    VESSEL_RULES,
    Fit,
    Swing,
    peak_columns,
    swing_columns,
    swing_of,
    vessel_bar_l,
)
from analysis.record import Ints
from analysis.results import Evidence
from analysis.sources import Source
from analysis.urgency import is_fresh, urgency_of

TEXT = FaultText(
    title="Expansion vessel has lost its gas",
    customer=(
        "The vessel that takes up the warm fluid's growth no longer does. The pressure in the "
        "solar loop climbs too far on hot days, and fluid may be let out."
    ),
    technician=(
        "Pressure was set against the growth of the fluid in collector, pipes and coil, day by "
        "day. It climbs far more a litre than before, or than the vessel on record allows: gas has "
        "left the vessel, its membrane is torn, or the valve to it is closed. In stagnation the "
        "safety valve opens, and the cold loop then lacks fluid and draws air."
    ),
    likely_causes=(
        "Gas leaked from the vessel over the years, and the loop was topped up since",
        "Membrane torn: fluid on the gas side",
        "Valve between loop and vessel closed",
        "Vessel changed for a smaller one, or its data on record are wrong",
    ),
    check_next=(
        "From here: are size and gas pressure of the vessel on record right? Was it changed?",
        "On site: is the way to the vessel free, its valve secured against shutting?",
        "Look at the can under the safety valve: has fluid been let out?",
        "With the loop cold: part the vessel from the loop, let its fluid side empty, and measure "
        "the gas pressure, by the maker's procedure; fluid at the gas valve means a torn membrane",
        "Refill nitrogen to the pressure on record, or change the vessel, with the loop cold; then "
        "set the cold pressure and record it",
    ),
    cautions=(STEAM, HOT_PARTS, NO_COLD_FILL, HEIGHT, LOCAL_CODES),
)
_VESSEL_KEYS = ("loop.vessel_l", "loop.vessel_precharge_bar")
_WHY = (
    "compared with the plant's own first weeks, and with the vessel on record; what was lost "
    "before the log began shows only where the pressure climbs three times too far"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """What a day says of the vessel; `place` is its row in the table."""

    place: int
    judged: bool = False
    beyond: bool = False
    sound: bool = False
    swing: Swing | None = None
    usual_per_l: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselChargeLost:
    """Pressure that answers too much to growth.

    Attributes
    ----------
    sound_days : days whose slope is the plant's own past, up to three times as many in winter
    back_days : a loss is dated so many days back at most
    pool_days : slopes are fitted over so many days at most, fewer where they decide
    enough_frac : standard uncertainty of a past that is enough
    own_times : a slope so many times that of the past is reported
    stated_times : likewise of the vessel on record, whose loop's content is known to half only
    sound_times : below so many times the past a day is sound; likewise `sound_stated_times`
    sigmas : how far beyond chance a slope must lie; a sound one within one is enough
    swing_bar : without a past and a vessel on record, a climb of so much within a day and without
        steam (common practice, no source)
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it (all engineering judgement)
    few_sound : of `pool_days` at most so many sound ones leave it open whether gas was lost
    near_valve_bar : this near the safety valve it opens soon (common practice, no source)
    """

    sound_days: int = 20
    back_days: int = 15
    pool_days: int = 30
    enough_frac: float = 0.2
    own_times: float = 1.45
    stated_times: float = 3.0
    sound_times: float = 1.25
    sound_stated_times: float = 2.0
    sigmas: float = 3.0
    swing_bar: float = 1.5
    least_days: int = 4
    within_days: int = 15
    quiet_days: int = 3
    few_sound: int = 10
    near_valve_bar: float = 0.3
    kind: str = "vessel_charge_lost"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        VESSEL_RULES,
        Source("Law of ideal gases; fluid's growth from its density"),
    )

    def observe(self, case: Case) -> Observation:
        """See how pressure and growth go together on each day."""
        if "pressure" not in case.channels or case.site.loop.kind != "filled":
            return Observation()
        return Observation(columns={**swing_columns(case), **peak_columns(case)})

    def conclude(self, history: History) -> Conclusion:
        """Compare slopes with the past and with the vessel on record."""
        table, site = history.table, history.site
        if site.loop.kind != "filled":
            return NotJudged(why="a loop that drains back has no vessel under pressure")
        known = np.flatnonzero(np.isfinite(table.column("swing_gg")))
        if known.size < self.least_days:
            return NotJudged(why="no days with pressure, collector and store in the log")
        fit = swing_of(table)
        days: list[_Day] = []
        for stretch, latest in _stretches(history, known):
            days += self._followed(fit, stretch, vessel_bar_l(site) if latest else None)
        if not any(day.judged for day in days):
            return NotJudged(
                why="no vessel on record, and too little warmth in the loop to learn from"
            )
        times = self._open_times(fit, days)
        if times is not None:
            return NotJudged(
                why=f"for {self.pool_days} days the pressure has climbed about {times:.1f} times "
                "as far as it should, but not surely: the gas's own warmth may do that. Log the "
                "air outdoors, or measure the vessel's gas on the next visit"
            )
        climb_bar = table.column("swing_bar")
        good = np.zeros(len(table.days), dtype=np.bool_)
        good[[day.place for day in days if day.sound]] = True
        items = [
            self._item(history, fit, days, number)
            for number, day in enumerate(days)
            if day.beyond or (not day.judged and climb_bar[day.place] > self.swing_bar)
        ]
        found = []
        for group, over in lasting(items, table=table, good=good, quiet_days=self.quiet_days):
            kept = without_strays(group, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(history, kept, over))
        return Judged(findings=tuple(found), why=_WHY)

    def _open_times(self, fit: Fit, days: list[_Day]) -> float | None:
        """Give how many times too far the pressure climbs where no day says so and few deny it.

        That is so with a loss of half where the air outdoors is only estimated; months more do not
        help, since the gas goes with the season.
        """
        latest = days[-self.pool_days :]
        if len(latest) < self.pool_days or any(day.beyond for day in days):
            return None
        if (
            any(not day.judged for day in latest)
            or sum(day.sound for day in latest) > self.few_sound
        ):
            return None
        now = fit(np.array([day.place for day in latest]))
        usual = latest[-1].usual_per_l
        if now is None or not usual or now.per_l < self.sound_times * usual:
            return None
        return now.per_l / usual

    def _followed(self, fit: Fit, stretch: Ints, stated: float | None) -> list[_Day]:
        """Follow the days that share one vessel."""
        base, since = self._base(fit, stretch)
        days = []
        for number in range(stretch.size):
            limits = []
            if base is not None and number >= since:
                limits.append((base.per_l + base.u_per_l, self.own_times, self.sound_times))
            if stated is not None:
                limits.append((1.0 / stated, self.stated_times, self.sound_stated_times))
            days.append(self._judged_day(fit, stretch[: number + 1], limits))
        return days

    def _base(self, fit: Fit, stretch: Ints) -> tuple[Swing | None, int]:
        """Fit the first days, as many as it takes to know the slope; and say how many."""
        for count in range(self.sound_days, min(3 * self.sound_days, stretch.size) + 1, 5):
            base = fit(stretch[:count])
            if base is not None and base.sharp(self.enough_frac):
                return base, count
        return None, 0

    def _judged_day(self, fit: Fit, until: Ints, limits: list[tuple[float, float, float]]) -> _Day:
        """Judge the latest day, with as many before it as it takes to be certain."""
        place = int(until[-1])
        beyond_per_l = min((times * one for one, times, _ in limits), default=np.inf)
        sound_per_l = min((times * one for one, _, times in limits), default=-np.inf)
        for count in range(1, min(self.pool_days, until.size) + 1) if limits else ():
            now = fit(until[-count:])
            if now is None:
                continue
            beyond = now.per_l - self.sigmas * now.u_per_l > beyond_per_l
            sound = now.per_l + now.u_per_l < sound_per_l
            if beyond or sound:
                return _Day(
                    place=place,
                    judged=True,
                    beyond=beyond,
                    sound=sound,
                    swing=now,
                    usual_per_l=limits[0][0],
                )
        return _Day(place=place, judged=bool(limits), usual_per_l=limits[0][0] if limits else 0.0)

    def _item(self, history: History, fit: Fit, days: list[_Day], number: int) -> Happening:
        table, day = history.table, days[number]
        first = self._onset(fit, days, number) if day.swing is not None else day.place
        times = day.swing.per_l / day.usual_per_l if day.swing is not None else np.nan
        return Happening(
            kind=self.kind,
            date=table.days.dates[day.place],
            start_s=int(table.days.edge_s[first]),
            end_s=int(table.days.edge_s[day.place + 1]),
            values={
                "times": times,
                "charge_bar_l": day.swing.charge_bar_l if day.swing is not None else np.nan,
                "peak_bar": float(table.column("peak_bar")[day.place]),
                "swing_bar": float(table.column("swing_bar")[day.place]),
            },
        )

    def _onset(self, fit: Fit, days: list[_Day], seen: int) -> int:
        """Give the day from which the slopes are those seen rather than the usual ones."""
        day = days[seen]
        if day.swing is None:
            return day.place
        back = days[max(seen - self.back_days, 0) : seen + 1]
        ones = [(one.place, swing) for one in back if (swing := fit(np.array([one.place])))]
        # How much better each day fits the slope that was seen.
        better = [
            ((one.per_l - day.usual_per_l) ** 2 - (one.per_l - day.swing.per_l) ** 2)
            / one.u_per_l**2
            for _, one in ones
        ]
        since = np.cumsum(better[::-1])[::-1]
        return ones[int(np.argmax(since))][0] if ones else day.place

    def _found(self, history: History, items: tuple[Happening, ...], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        seen = {name: np.array([item.values[name] for item in items]) for name in items[0].values}
        peak_bar, climb_bar = float(seen["peak_bar"].max()), float(seen["swing_bar"].max())
        evidence = [
            ("highest pressure meanwhile", peak_bar, "bar"),
            ("greatest climb within a day, without steam", climb_bar, "bar"),
        ]
        words = f"The pressure climbed by {climb_bar:.1f} bar within a day, without steam"
        if np.isfinite(seen["times"]).any():
            times = float(np.nanmedian(seen["times"]))
            words = f"The pressure climbs {times:.1f} times as far as the fluid grows as it should"
            left = float(np.nanmedian(seen["charge_bar_l"]))
            evidence.append(("gas charge that would climb so, absolute", left, "bar·l"))
        valve_bar = history.site.loop.safety_valve_bar
        near = valve_bar is not None and peak_bar > valve_bar - self.near_valve_bar
        if near:
            words += f"; at {peak_bar:.1f} bar the safety valve opens"
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=0.9,
                level="acute" if near else "present",
                today=not over and is_fresh(end_s, history.until_s),
            ),
            certainty=0.9,
            summary=words,
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=end_s, value=value, unit=unit)
                for what, value, unit in evidence
            ),
        )


def _stretches(history: History, known: Ints) -> list[tuple[Ints, bool]]:
    """Part days at changes of the vessel on record; the flag marks the latest vessel."""
    dates = history.table.days.dates
    cuts = sorted(
        {
            int(np.searchsorted(dates, change.date.isoformat()))
            for change in history.site.changes
            if change.key in _VESSEL_KEYS
        }
    )
    parts = np.split(known, np.searchsorted(known, cuts))
    return [(part, number == len(cuts)) for number, part in enumerate(parts)]
