"""Night running: the pump runs long after sunset and cools the store over the roof.

Looks alike and is not it: frost protection (only in the cold), a wrong clock (the collector is then
warmer than the store), a cooling function that empties a full store by intent (watch).
"""

from dataclasses import dataclass

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD
from analysis.faults._given_off import about, given_off_kwh
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
from analysis.faults._useless_running import no_frost, useless
from analysis.results import Evidence
from analysis.runs import day_span
from analysis.sources import VDI_2169, Source
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Pump running at night",
    customer="The solar pump runs at night and carries heat from your store up to the roof.",
    technician=(
        "With the sun long down and no frost near, the pump was commanded while the collector was "
        "no warmer than the store. A wrong clock is not the reason: the collector would be warm."
    ),
    likely_causes=(
        "Controller or its output left in manual operation",
        "Collector or store sensor misread by the controller",
        "Timer, cooling function or frost protection set wrongly",
    ),
    check_next=(
        "From here: look at the night curves; is the collector colder than the store while the "
        "pump runs?",
        "In the controller's menu: is manual operation, a timer or a cooling function on?",
        "On site: compare what the controller shows for both sensors with the log",
        "If the relay sticks, have whoever is licensed for it change the controller",
    ),
    cautions=(ELECTRICITY, HOT_PARTS, SCALD, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRunning:
    """Pump on without sun.

    Attributes
    ----------
    night_sine : sun at least this far below the horizon (6 degrees: civil twilight over)
    least_h : shorter in a night is not reported (engineering judgement)
    least_nights, within_days : fewer nights in so many days are not reported
    quiet_nights : so many nights with the pump known to rest end it
    full_band_k : store this near its limit may be cooled by intent
    sure_nights : from so many nights on it is sure
    """

    night_sine: float = -0.105
    least_h: float = 0.5
    least_nights: int = 3
    within_days: int = 12
    quiet_nights: int = 4
    full_band_k: float = 8.0
    sure_nights: int = 5
    kind: str = "night_running"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (VDI_2169.at("function checks at night: practice, from memory"),)

    def observe(self, case: Case) -> Observation:
        """See nights in which the pump runs for nothing."""
        night = case.sky.sun_sine < self.night_sine
        running = night & useless(case) & no_frost(case)
        hours = case.hours(running)
        resting = night & (case.binned("pump") < 1.0) & no_frost(case)
        store = case.loop.t_store_hottest_c >= case.site.store.limit_c - self.full_band_k
        full_h = case.hours(running & store)
        off_kwh = given_off_kwh(case, running)
        found = []
        for day, span in day_span(running).items():
            if hours[day] < self.least_h:
                continue
            start_s, end_s = case.span_s(day, *span)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "hours": float(hours[day]),
                        "full_h": float(full_h[day]),
                        "off_kwh": float(off_kwh[day]),
                        "pump_kwh": float(hours[day]) * case.site.loop.pump_w / 1000.0,
                    },
                )
            )
        columns = {"night_rest_h": case.hours(resting), "night_run_h": hours}
        return Observation(columns=columns, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join nights; some in a row with the pump at rest end a finding."""
        table = history.table
        for name in ("pump", "collector", "store_bottom"):
            if f"seen_{name}" not in table.columns:
                return NotJudged(why=f"no {name.replace('_', ' ')} in the log to judge nights by")
        ran, rest = table.column("night_run_h"), table.column("night_rest_h")
        if not ((ran > 0.0) | (rest > 1.0)).any():
            return NotJudged(why="no frost-free night with pump and collector in the log")
        good = (rest > 1.0) & ~(ran >= self.least_h)
        groups = lasting(
            table.of_kind(self.kind), table=table, good=good, quiet_days=self.quiet_nights
        )
        found = []
        for items, over in groups:
            kept = without_strays(items, least=self.least_nights, within_days=self.within_days)
            if kept:
                found.append(self._found(history, kept, over))
        return Judged(findings=tuple(found))

    def _found(self, history: History, items: tuple[Happening, ...], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        nights = len(items)
        hours = sum(item.values["hours"] for item in items)
        by_intent = sum(item.values["full_h"] for item in items) > 0.5 * hours
        sure = nights >= self.sure_nights and not by_intent
        certainty = 0.9 if sure else 0.6
        lost = about(history, sum(item.values["off_kwh"] for item in items))
        power_kwh = sum(item.values["pump_kwh"] for item in items)
        week = per_week(lost, start_s=start_s, end_s=end_s, pump_kwh=power_kwh)
        note = "; the store was near its limit, it may be cooled by intent" if by_intent else ""
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(self.kind, certainty=certainty, lost_week=week),
            certainty=certainty,
            summary=f"Pump ran {hours:.0f} h in {nights} nights, for nothing{note}",
            evidence=(
                Evidence(
                    what="nights", start_s=start_s, end_s=end_s, value=float(nights), unit="nights"
                ),
                Evidence(
                    what="pump on without gain",
                    start_s=start_s,
                    end_s=end_s,
                    value=hours,
                    unit="h",
                ),
                Evidence(
                    what="electricity of the pump in that time",
                    start_s=start_s,
                    end_s=end_s,
                    value=power_kwh,
                    unit="kWh",
                ),
            ),
            lost=lost,
        )
