"""Scald risk: water at the taps, or what may reach them, is hot enough to burn.

In the data: a sensor at the taps above 55 to 60 °C, or, without one, a hot store and no mixing
valve on record. Looks alike and is not it: a sensor strapped to the pipe before the valve, which
follows the store; the first check asks for it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable, Happening
from analysis.faults._cautions import HOT_PARTS, HYGIENE, LOCAL_CODES, SCALD
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
from analysis.heat import column
from analysis.results import Evidence
from analysis.runs import day_peak, day_span, long_runs
from analysis.site import Site
from analysis.sources import HSE_HOT_WATER, Source
from analysis.urgency import Level, is_fresh, urgency_of

TEXT = FaultText(
    title="Hot water may scald",
    customer=(
        "Water from your hot taps may burn the skin within seconds. Until it has been looked at, "
        "run cold water first and keep children and frail people away from the hot tap."
    ),
    technician=(
        "Water at the taps was hotter than a mixing valve should let through, or the store gets "
        "hot and no valve is on record. At 60 °C a burn takes less than five seconds, at 55 °C "
        "about thirty."
    ),
    likely_causes=(
        "No mixing valve between store and taps",
        "Mixing valve scaled up, worn, or set too high",
        "Cold side of the valve shut, or check valves missing so that hot water passes by",
        "Tap sensor strapped to the pipe before the valve (then it reads the store)",
    ),
    check_next=(
        "From here: is a mixing valve fitted, and where does the tap sensor sit? Record the set "
        "point in the site file",
        "Tell the household today, and have the taps' temperature measured with a thermometer",
        "On site: measure at the nearest tap with the store hot; compare with the valve's set "
        "point",
        "Clean or change the mixing valve; where there is none, fit one",
        "Do not lower the store against scalding: hygiene needs it hot",
    ),
    cautions=(SCALD, HYGIENE, HOT_PARTS, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaldRisk:
    """Water hot enough to burn.

    Attributes
    ----------
    burns_c : a burn takes less than five seconds (HSE)
    slow_burn_c : a burn takes about thirty seconds (HSE)
    over_set_k : a sound valve holds its set point this well, sensor included (common practice, no
        source)
    surely_c : without a valve on record from here on it asks to act: a backup set to 60 °C stays
        below (engineering judgement)
    least_s : of a day, shorter is a splash of the first hot water
    hot_store_c : a store so hot for an hour needs a valve; a backup set to 60 °C stays below
    least_days, within_days : fewer days are not reported
    sound_days : so many days with warm but safe water at the taps end it
    """

    burns_c: float = 60.0
    slow_burn_c: float = 55.0
    over_set_k: float = 8.0
    surely_c: float = 65.0
    least_s: float = 60.0
    hot_store_c: float = 66.0
    least_days: int = 2
    within_days: int = 14
    sound_days: int = 7
    kind: str = "scald_risk"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (HSE_HOT_WATER,)

    def observe(self, case: Case) -> Observation:
        """See days with water that burns at the taps, or with a hot store and no valve."""
        if "hot_tap" in case.channels:
            return self._at_the_taps(case)
        if case.site.store.mixing_valve_c is not None:
            return Observation()
        top = case.binned("store_top")
        top = np.where(np.isfinite(top), top, case.loop.t_store_hottest_c)
        hot = long_runs(top >= self.hot_store_c, 12)
        peak = day_peak(top)
        return Observation(
            columns={"top_without_valve_c": peak},
            happenings=tuple(
                self._happening(
                    case,
                    day,
                    case.span_s(day, *span),
                    peak_c=float(peak[day]),
                    bound_c=self.hot_store_c,
                )
                for day, span in day_span(hot).items()
            ),
        )

    def _at_the_taps(self, case: Case) -> Observation:
        tap = column(case.record, "hot_tap")
        bound_c = self._bound_c(case.site)
        # A draw is shorter than a bin: rows are looked at themselves.
        burning = (tap >= bound_c) & (case.day >= 0)
        seconds = case.per_day(burning * case.record.step_s)
        rows = np.flatnonzero(burning)
        first_s, last_s = (np.zeros(len(case.days), dtype=np.int64) for _ in range(2))
        first_s[case.day[rows[::-1]]] = case.record.start_s[rows[::-1]]
        last_s[case.day[rows]] = (case.record.start_s + case.record.step_s.astype(np.int64))[rows]
        peak = case.greatest(tap)
        found = [
            self._happening(
                case,
                day,
                (int(first_s[day]), int(last_s[day])),
                peak_c=float(peak[day]),
                bound_c=bound_c,
            )
            for day in np.flatnonzero(seconds >= self.least_s).tolist()
        ]
        # Lukewarm water was perhaps not drawn at all and proves nothing.
        sound = (peak >= 38.0) & (peak < bound_c)
        columns = {
            "tap_peak_c": peak,
            "tap_sound": np.where(np.isfinite(peak), sound.astype(np.float64), np.nan),
        }
        return Observation(columns=columns, happenings=tuple(found))

    def _bound_c(self, site: Site) -> float:
        """Give the temperature at the taps from which on a day counts."""
        set_c = site.store.mixing_valve_c
        if set_c is None:
            return self.burns_c
        return max(self.slow_burn_c, set_c + self.over_set_k)

    def _happening(
        self, case: Case, day: int, span_s: tuple[int, int], *, peak_c: float, bound_c: float
    ) -> Happening:
        start_s, end_s = span_s
        set_c = case.site.store.mixing_valve_c
        return Happening(
            kind=self.kind,
            date=case.days.dates[day],
            start_s=start_s,
            end_s=end_s,
            values={
                "peak_c": peak_c,
                "bound_c": bound_c,
                "valve_c": np.nan if set_c is None else set_c,
            },
            channel="hot_tap" if "hot_tap" in case.channels else None,
        )

    def conclude(self, history: History) -> Conclusion:
        """Join days; safe water at the taps, or a valve on record, ends it."""
        table = history.table
        taps = np.isfinite(table.column("tap_peak_c")).any()
        if not taps and not np.isfinite(table.column("top_without_valve_c")).any():
            why = "no temperature of the store's top in the log"
            if history.site.store.mixing_valve_c is not None:
                why = (
                    "no sensor at the taps: a mixing valve is on record, whether it works is not "
                    "seen"
                )
            return NotJudged(why=why)
        found = [*self._of(history, table, "hot_tap"), *self._of(history, table, None)]
        return Judged(findings=tuple(sorted(found, key=lambda item: item.start_s)))

    def _of(self, history: History, table: DayTable, channel: str | None) -> list[Found]:
        items = tuple(item for item in table.of_kind(self.kind) if item.channel == channel)
        items = without_strays(items, least=self.least_days, within_days=self.within_days)
        good = table.column("tap_sound") > 0.5
        groups = lasting(items, table=table, good=good, quiet_days=self.sound_days)
        return [self._found(history, group, over) for group, over in groups]

    def _found(self, history: History, items: list[Happening], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        worst = max(items, key=lambda item: item.values["peak_c"])
        peak, set_c = worst.values["peak_c"], items[-1].values["valve_c"]
        level: Level = "possible"
        if items[0].channel is None:
            over = over or history.site.store.mixing_valve_c is not None
            certainty = 0.6
            said = f"Store up to {peak:.0f} °C, and no mixing valve is on record"
        elif np.isnan(set_c):
            certainty = 0.9
            said = f"Up to {peak:.0f} °C at the taps, and no mixing valve is on record"
            if peak >= self.surely_c:
                level = "acute"
        else:
            certainty = 0.9
            said = f"Up to {peak:.0f} °C at the taps; the mixing valve should hold {set_c:.0f} °C"
            level = "acute" if peak >= self.burns_c else "present"
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            channel=items[0].channel,
            urgency=urgency_of(
                self.kind,
                certainty=certainty,
                level=level,
                today=not over and is_fresh(end_s, history.until_s),
            ),
            certainty=certainty,
            summary=said,
            evidence=(
                Evidence(
                    what="hottest water at the taps"
                    if items[0].channel
                    else "hottest store temperature",
                    start_s=worst.start_s,
                    end_s=worst.end_s,
                    value=peak,
                    unit="°C",
                ),
                Evidence(
                    what="days on which it was that hot",
                    start_s=start_s,
                    end_s=end_s,
                    value=float(len({item.date for item in items})),
                    unit="days",
                ),
            ),
        )
