"""Store overheat: the store gets hotter than its limit and its parts allow.

In the data: the hottest store sensor above 85 °C and above the stated limit. Looks alike and is not
it: a store whose limit is set that high on purpose, up to 95 °C; a store sensor that reads too high
(sensor fault).
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD, STEAM
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._reopening import lasting
from analysis.grid import BIN_S
from analysis.results import Evidence
from analysis.runs import day_peak, day_span
from analysis.site import Site
from analysis.sources import HSE_HOT_WATER, Source
from analysis.store_limit import FULL_BAND_K
from analysis.units import SECONDS_PER_HOUR
from analysis.urgency import Level, is_fresh, urgency_of

TEXT = FaultText(
    title="Store too hot",
    customer=(
        "The water in your store became much hotter than it should. Mind the taps: let cold water "
        "run first, keep children away from the hot tap, and have the limit checked."
    ),
    technician=(
        "The hottest store sensor passed 85 °C and the limit on record. The controller, or the "
        "backup, does not stop where it should. Taps without a working mixing valve scald within "
        "a second at this temperature, and lime and the store's lining suffer."
    ),
    likely_causes=(
        "Store limit in the controller set too high, or its holiday or cooling function misused",
        "Store sensor out of its pocket or far below the hottest place",
        "Pump or relay that no longer switches off",
        "Backup thermostat stuck or set too high",
    ),
    check_next=(
        "From here: did the pump run above the limit on record? If not, look at the backup",
        "Tell the household today: test the temperature at the taps with a thermometer before use",
        "On site: compare the store limit in the controller's menu with the site file",
        "Check that the mixing valve is there and holds its set point",
        "Is the store sensor in its pocket? Does the pump stop when the controller says so?",
        "Check the backup's thermostat and safety cut-out (licensed people only)",
    ),
    cautions=(SCALD, HOT_PARTS, STEAM, ELECTRICITY, LOCAL_CODES),
)

_SENSORS = ("store_bottom", "store_middle", "store_top")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreOverheat:
    """Store hotter than allowed.

    Attributes
    ----------
    hot_c : nothing below it is reported (engineering judgement beside HSE's 60 °C for a store)
    over_limit_k : a stated limit may be passed by this much: sensor and layering
    danger_c : whatever is stated, above this it is a danger: near boiling, linings and many valves
        are made for 95 °C at most (common practice, no source)
    least_h : shorter is not reported (engineering judgement)
    full_days : so many days with a full store that stayed below end it
    many_days : with a valve on record so many days ask for a visit
    """

    hot_c: float = 85.0
    over_limit_k: float = 5.0
    danger_c: float = 95.0
    least_h: float = 0.5
    full_days: int = 3
    many_days: int = 3
    kind: str = "store_overheat"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (HSE_HOT_WATER,)

    def observe(self, case: Case) -> Observation:
        """See hours above the bound."""
        hottest = case.loop.t_store_hottest_c
        bound_c = self._bound_c(case.site)
        over = hottest > bound_c
        hours = counted(over) * BIN_S / SECONDS_PER_HOUR
        above = case.expected.carried & (hottest > case.site.store.limit_c + self.over_limit_k)
        charged_h = case.hours(above)
        peak = day_peak(hottest)
        read = np.stack([case.binned(name) for name in _SENSORS])
        found = []
        for day, (first, last) in day_span(over).items():
            if hours[day] < self.least_h:
                continue
            start_s, end_s = case.span_s(day, first, last)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "peak_c": float(peak[day]),
                        "hours": float(hours[day]),
                        "charged_h": float(charged_h[day]),
                        "limit_c": case.site.store.limit_c,
                    },
                    # The sensor that saw it first stays the same one as more of the day arrives.
                    channel=_SENSORS[int(np.argmax(np.nan_to_num(read[:, day, first])))],
                )
            )
        full = (peak >= case.site.store.limit_c - FULL_BAND_K) & (peak <= bound_c)
        return Observation(
            columns={
                "store_peak_c": peak,
                "store_full_sound": np.where(np.isfinite(peak), full.astype(np.float64), np.nan),
            },
            happenings=tuple(found),
        )

    def _bound_c(self, site: Site) -> float:
        return max(self.hot_c, min(site.store.limit_c + self.over_limit_k, self.danger_c))

    def conclude(self, history: History) -> Conclusion:
        """Give one finding for a season's days; full stores that stayed below end it."""
        table = history.table
        if not np.isfinite(table.column("store_peak_c")).any():
            return NotJudged(why="no temperature of the store in the log")
        groups = lasting(
            table.of_kind(self.kind),
            table=table,
            good=table.column("store_full_sound") > 0.5,
            quiet_days=self.full_days,
        )
        why = ""
        if "seen_store_top" not in table.columns:
            why = "no sensor at the store's top: it may have been hotter than what was seen"
        return Judged(
            findings=tuple(self._found(history, items, over) for items, over in groups), why=why
        )

    def _found(self, history: History, items: list[Happening], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        worst = max(items, key=lambda item: item.values["peak_c"])
        peak = worst.values["peak_c"]
        days = len({item.date for item in items})
        charged = sum(item.values["charged_h"] for item in items)
        valve = history.site.store.mixing_valve_c is not None
        fresh = is_fresh(end_s, history.until_s)
        near_boiling = peak > self.danger_c and not over
        certainty = 0.95 if days > 1 else 0.85
        level: Level = "present" if days >= self.many_days or near_boiling else "possible"
        # A single day that a full store has proved past is no reason to run.
        if (near_boiling or not valve) and fresh and not over:
            level = "acute"
        note = "" if valve else "; no mixing valve is on record"
        times = "on one day" if days == 1 else f"on {days} days"
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            channel=items[0].channel,
            urgency=urgency_of(self.kind, certainty=certainty, level=level),
            certainty=certainty,
            summary=f"Store up to {peak:.0f} °C {times}; the limit on record is "
            f"{items[-1].values['limit_c']:.0f} °C{note}",
            evidence=(
                Evidence(
                    what="hottest store temperature",
                    start_s=worst.start_s,
                    end_s=worst.end_s,
                    value=peak,
                    unit="°C",
                ),
                Evidence(
                    what="time too hot",
                    start_s=start_s,
                    end_s=end_s,
                    value=sum(item.values["hours"] for item in items),
                    unit="h",
                ),
                Evidence(
                    what="of it, solar loop running above the limit",
                    start_s=start_s,
                    end_s=end_s,
                    value=charged,
                    unit="h",
                ),
            ),
        )
