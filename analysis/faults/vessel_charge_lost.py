"""Vessel charge lost: the pressure answers to warmth far more than the vessel's gas allows.

In the data: the inverse of the absolute pressure falls in a straight line as the fluid grows; its
slope is the inverse of the gas charge (see `analysis.loop_pressure`). Looks alike and is not it: a
loop that lost fluid (the line moves, its slope stays); steam (hours with a hot roof are left out);
a warm room, which is fitted beside.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.compiled import given
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
    peak_columns,
    slopes_of,
    swing_columns,
    swing_sums,
    vessel_bar_l,
)
from analysis.pressure_kernel import follow
from analysis.record import Bools, Floats, Ints
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Days:
    """What days say of the vessel, shape (n,); `place` are their rows in the table.

    `usual_per_l` is the slope that a day is held against, `per_l` the one that decided it; NaN
    where there is none.
    """

    place: Ints
    usual_per_l: Floats
    per_l: Floats
    beyond: Bools
    sound: Bools

    def __len__(self) -> int:
        return len(self.place)

    @property
    def judged(self) -> Bools:
        """Which days can be held against anything."""
        return np.isfinite(self.usual_per_l)


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
        sums = swing_sums(table)
        days = _joined(
            [
                self._followed(sums, stretch, vessel_bar_l(site) if latest else None)
                for stretch, latest in _stretches(history, known)
            ]
        )
        if not days.judged.any():
            return NotJudged(
                why="no vessel on record, and too little warmth in the loop to learn from"
            )
        times = self._open_times(sums, days)
        if times is not None:
            return NotJudged(
                why=f"for {self.pool_days} days the pressure has climbed about {times:.1f} times "
                "as far as it should, but not surely: the gas's own warmth may do that. Log the "
                "air outdoors, or measure the vessel's gas on the next visit"
            )
        climb_bar = table.column("swing_bar")[days.place]
        good = np.zeros(len(table.days), dtype=np.bool_)
        good[days.place[days.sound]] = True
        items = [
            self._item(history, days, number)
            for number in np.flatnonzero(
                days.beyond | (~days.judged & (climb_bar > self.swing_bar))
            ).tolist()
        ]
        found = []
        for group, over in lasting(items, table=table, good=good, quiet_days=self.quiet_days):
            kept = without_strays(group, least=self.least_days, within_days=self.within_days)
            if kept:
                onset = self._onset(sums, days, int(kept[0].values["number"]))
                found.append(self._found(history, kept, int(table.days.edge_s[onset]), over))
        return Judged(findings=tuple(found), why=_WHY)

    def _open_times(self, sums: Floats, days: _Days) -> float | None:
        """Give how many times too far the pressure climbs where no day says so and few deny it.

        That is so with a loss of half where the air outdoors is only estimated; months more do not
        help, since the gas goes with the season.
        """
        latest = slice(-self.pool_days, None)
        if len(days) < self.pool_days or days.beyond.any():
            return None
        if not days.judged[latest].all() or days.sound[latest].sum() > self.few_sound:
            return None
        now = float(slopes_of(sums[days.place[latest]].sum(axis=0)[None]).per_l[0])
        times = now / float(days.usual_per_l[-1])
        return times if times >= self.sound_times else None

    def _followed(self, sums: Floats, stretch: Ints, stated: float | None) -> _Days:
        """Follow the days that share one vessel.

        Each is judged with as many before it as it takes to be certain.
        """
        sums = sums[stretch]
        usual, beyond, sound = self._limits(sums, stated)
        per_l, (far, near) = np.empty(len(sums)), np.empty((2, len(sums)), dtype=np.bool_)
        total = np.empty((self.pool_days, sums.shape[1]))
        limits = given(usual), given(beyond), given(sound)
        follow(given(sums), *limits, self.sigmas, total, per_l, far, near)
        return _Days(place=stretch, usual_per_l=usual, per_l=per_l, beyond=far, sound=near)

    def _limits(self, sums: Floats, stated: float | None) -> tuple[Floats, Floats, Floats]:
        """Give each day's usual slope, that from which gas is gone, and that up to which it is not.

        By the first days, as many as it takes to know their slope, and by the vessel on record.
        """
        size = len(sums)
        usual, beyond, sound = np.full(size, np.nan), np.full(size, np.inf), np.full(size, np.inf)
        counts = np.arange(self.sound_days, min(3 * self.sound_days, size) + 1, 5)
        first = slopes_of(np.cumsum(sums[: 3 * self.sound_days], axis=0)[counts - 1])
        sharp = np.flatnonzero(first.u_per_l < self.enough_frac * first.per_l)
        if stated is not None:
            usual[:] = 1.0 / stated
            beyond[:] = self.stated_times / stated
            sound[:] = self.sound_stated_times / stated
        if sharp.size:
            own = float(first.per_l[sharp[0]] + first.u_per_l[sharp[0]])
            since = slice(int(counts[sharp[0]]), None)
            usual[since] = own
            beyond[since] = np.minimum(beyond[since], self.own_times * own)
            sound[since] = np.minimum(sound[since], self.sound_times * own)
        return usual, beyond, sound

    def _item(self, history: History, days: _Days, number: int) -> Happening:
        table, place = history.table, int(days.place[number])
        per_l = float(days.per_l[number])
        return Happening(
            kind=self.kind,
            date=table.days.dates[place],
            start_s=int(table.days.edge_s[place]),
            end_s=int(table.days.edge_s[place + 1]),
            values={
                "number": float(number),
                "times": per_l / float(days.usual_per_l[number]),
                "charge_bar_l": np.inf if per_l <= 0.0 else 1.0 / per_l,
                "peak_bar": float(table.column("peak_bar")[place]),
                "swing_bar": float(table.column("swing_bar")[place]),
            },
        )

    def _onset(self, sums: Floats, days: _Days, seen: int) -> int:
        """Give the day from which the slopes are those seen rather than the usual ones."""
        back = slice(max(seen - self.back_days, 0), seen + 1)
        ones = slopes_of(sums[days.place[back]])
        usual, now = days.usual_per_l[seen], days.per_l[seen]
        # How much better each day fits the slope that was seen.
        better = ((ones.per_l - usual) ** 2 - (ones.per_l - now) ** 2) / ones.u_per_l**2
        known = np.isfinite(ones.per_l)
        if not days.beyond[seen] or not known.any():
            return int(days.place[seen])
        since = np.cumsum(better[known][::-1])[::-1]
        return int(days.place[back][known][int(np.argmax(since))])

    def _found(
        self, history: History, items: tuple[Happening, ...], start_s: int, over: bool
    ) -> Found:
        end_s = items[-1].end_s
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


def _joined(parts: list[_Days]) -> _Days:
    """Put the days of several vessels one after another."""
    return _Days(
        **{name: np.concatenate([getattr(one, name) for one in parts]) for name in _Days.__slots__}
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
