"""Lost circulation: the heat stays on the roof, because the pump fails to run or moves no fluid.

In the data: the collector climbs far above the store while no heat arrives, with a store that could
take it; with irradiance, a healthy loop would have run for long. Looks alike and is not it: a full
store, the collector's lock after one, tubes not in yet, a collector sensor that reads too high.
"""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from analysis.case import Case, pump_on
from analysis.days import DayTable, Happening
from analysis.expected import still_idle
from analysis.faults._cautions import (
    ELECTRICITY,
    HEIGHT,
    HOT_PARTS,
    HYGIENE,
    LOCAL_CODES,
    NO_COLD_FILL,
    STEAM,
)
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._standstill import circulating
from analysis.heat import TRICKLE_U_FRAC
from analysis.precedence_rules import ROOF_OVER_STORE
from analysis.record import Bools
from analysis.results import Bounded, Evidence
from analysis.runs import day_span
from analysis.sky import NO_SOURCE
from analysis.sources import VDI_2169, Source
from analysis.uncertainty import COVERAGE_95
from analysis.units import SECONDS_PER_HOUR, kwh_from_j
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Solar loop not circulating",
    customer=(
        "The sun heats the collector, but the heat is not reaching your hot-water store. The "
        "backup covers for it, so the water is warm, at full fuel cost."
    ),
    technician=(
        "The collector rose far above the store while no heat came down, though the store could "
        "take it. Either the pump is not running (no command, no supply, seized), or it runs and "
        "moves nothing (air in the loop, closed valve, blocked strainer, lost fluid)."
    ),
    likely_causes=(
        "Pump without supply, seized or at the end of its life",
        "Air locked at the top of the loop, or too little pressure",
        "A valve left closed, or a blocked strainer or flow setter",
        "Controller switched off, in a wrong mode, or its output relay failed",
        "Collector or store sensor misplaced, so that the controller never sees the difference",
    ),
    check_next=(
        "From here: does the log show a pump command in the sun? Yes: think of the pump, air or a "
        "valve; no: think of controller, settings or sensors",
        "By phone: is the controller's display on, and what does it show for collector, store and "
        "pump? What does the pressure gauge read, cold?",
        "On site, collector cool (evening or covered): pump supply, pump turning, all valves open",
        "Pressure against the commissioning record; a low reading means lost fluid: find the leak "
        "before topping up",
        "Strainer and flow setter; then vent by the maker's procedure with a cold collector",
        "Only then, if nothing was found below: sensor and air vent on the roof, collector cold",
    ),
    cautions=(HOT_PARTS, STEAM, NO_COLD_FILL, ELECTRICITY, HEIGHT, HYGIENE, LOCAL_CODES),
)

# A trickle of a few percent past a hot roof may bring over half of the heat (invented plants).
_TRICKLE_LEAVES_FRAC = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class LostCirculation:
    """Heat stays on the roof.

    Attributes
    ----------
    least_day_h : a day shows it when it lasted this long (engineering judgement)
    least_total_h : over all its days together; below, nothing is reported
    proof_h : heat carried this long on a day shows that the loop circulates again
    beyond_start_k : with irradiance: collector over store beyond the start difference
    """

    least_day_h: float = 0.75
    least_total_h: float = 3.0
    proof_h: float = 1.0
    beyond_start_k: float = 8.0
    kind: str = "lost_circulation"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        VDI_2169.at("function control by temperature difference: thresholds from memory"),
    )

    def observe(self, case: Case) -> Observation:
        """See hours in which heat stayed on the roof."""
        idle, carried = still_idle(case.loop, case.model, case.sky.gain_w), circulating(case)
        lost = self._lost(case, idle)
        hours = case.hours(lost)
        found = [
            self._happening(case, lost[day], idle[day], carried[day], day, span)
            for day, span in day_span(lost).items()
            if hours[day] >= self.least_day_h
        ]
        columns = {
            "circulated_h": case.hours(carried),
            "circulated_from_s": case.spans_s(carried)[0],
            "stranded_h": hours,
        }
        return Observation(columns=columns, happenings=tuple(found))

    def _lost(self, case: Case, idle: Bools) -> Bools:
        excess = case.loop.t_roof_c - case.loop.t_store_bottom_c
        may_run = ~case.full_or_locked & (case.loop.known_s > 0.0)
        stranded = (excess > case.model.stranded_k) & idle
        warm = excess > case.site.controller.start_difference_k + self.beyond_start_k
        standing = case.expected.standing & idle & (warm | np.isnan(case.loop.t_roof_c))
        return (stranded | standing) & may_run

    def _happening(
        self,
        case: Case,
        bins: Bools,
        idle: Bools,
        carried: Bools,
        day: int,
        span: tuple[int, int],
    ) -> Happening:
        """Tell of one day; `bins`, `idle` and `carried` are that day's."""
        first, last = span
        start_s, end_s = case.span_s(day, first, last)
        # Whatever trickled down on that day was not lost, in the sun or after it.
        came = bins | (idle & (np.arange(bins.size) >= first))
        heat = case.loop.heat_w[day]
        expected = case.expected.standing_w[day]
        after = carried & (np.arange(bins.size) >= last)
        on = pump_on(case)[day]
        excess = case.loop.t_roof_c[day] - case.loop.t_store_bottom_c[day]
        known = case.loop.known_s[day]
        return Happening(
            kind=self.kind,
            date=case.days.dates[day],
            start_s=start_s,
            end_s=end_s,
            values={
                "hours": float(known[bins].sum() / SECONDS_PER_HOUR),
                "roof_over_store_k": float(np.nanmax(excess[bins], initial=np.nan))
                if np.isfinite(excess[bins]).any()
                else np.nan,
                "pump_on_frac": float(on[bins].mean()) if "pump" in case.channels else np.nan,
                "heat_kwh": kwh_from_j(float(np.nansum((heat * known)[came]))),
                "expected_kwh": kwh_from_j(float(np.nansum((expected * known)[bins])))
                if case.sky.source[day] != NO_SOURCE
                else np.nan,
                "carried_after_h": float(known[after].sum() / SECONDS_PER_HOUR),
            },
        )

    def conclude(self, history: History) -> Conclusion:
        """Join days that no proof of circulation separates."""
        table = history.table
        if not {"seen_collector", "seen_store_bottom"} <= set(table.columns):
            missing = "collector" if "seen_collector" not in table.columns else "store bottom"
            return NotJudged(why=f"no {missing} temperature in the log")
        groups: list[list[Happening]] = []
        for item in table.of_kind(self.kind):
            if groups and self._proof_s(table, groups[-1][-1], item.start_s) is None:
                groups[-1].append(item)
            else:
                groups.append([item])
        findings = (self._found(history, items) for items in groups)
        return Judged(findings=tuple(found for found in findings if found is not None))

    def _proof_s(self, table: DayTable, last: Happening, before_s: int) -> int | None:
        """Give when heat was carried again after a day of lost circulation, before an instant."""
        if last.values["carried_after_h"] >= self.proof_h:
            return last.end_s
        hours, since = table.column("circulated_h"), table.column("circulated_from_s")
        stranded = table.column("stranded_h")
        place = table.days.dates.index(last.date)
        for day in range(place + 1, len(table.days)):
            if table.days.edge_s[day] >= before_s:
                return None
            if hours[day] >= self.proof_h and not stranded[day] >= self.least_day_h:
                return int(since[day])
        return None

    def _found(self, history: History, items: list[Happening]) -> Found | None:
        hours = sum(item.values["hours"] for item in items)
        if hours < self.least_total_h:
            return None
        start_s = items[0].start_s
        proof_s = self._proof_s(history.table, items[-1], history.until_s)
        on, excess_k = (
            [one for item in items if isfinite(one := item.values[name])]
            for name in ("pump_on_frac", "roof_over_store_k")
        )
        on_frac = sum(on) / len(on) if on else None
        commanded = on_frac is None or on_frac > 0.5
        blind = commanded and not (history.table.column("heat_measured") > 0.5).any()
        lost = _lost_kwh(items, blind=blind)
        end_s = history.end_s if proof_s is None else proof_s
        if on_frac is None:
            pump = "no pump signal in the log"
        elif commanded:
            pump = "the pump was commanded but moved no heat"
        else:
            pump = "the pump was not commanded"
        evidence = [
            Evidence(
                what="time with heat left on the roof",
                start_s=start_s,
                end_s=end_s,
                value=hours,
                unit="h",
            )
        ]
        if excess_k:
            evidence.append(
                Evidence(
                    what=ROOF_OVER_STORE,
                    start_s=start_s,
                    end_s=end_s,
                    value=max(excess_k),
                    unit="K",
                )
            )
        if on_frac is not None:
            evidence.append(
                Evidence(
                    what="share of that time with the pump commanded",
                    start_s=start_s,
                    end_s=end_s,
                    value=100.0 * on_frac,
                    unit="%",
                )
            )
        single = len(items) < 2
        certainty = 0.8 if single else 0.97
        return Found(
            start_s=start_s,
            end_s=proof_s,
            urgency=urgency_of(
                self.kind, certainty=certainty, level="possible" if single else "present"
            ),
            certainty=certainty,
            summary=f"Heat stayed on the roof on {len(items)} day{'s' * (not single)}: {pump}",
            evidence=tuple(evidence),
            lost=lost,
        )


def _lost_kwh(items: list[Happening], *, blind: bool) -> Bounded | None:
    """Give the heat lost [kWh]; `blind`: a pump was commanded, and no meter tells what moved."""
    expected = np.array([item.values["expected_kwh"] for item in items])
    if np.isnan(expected).any():
        return None
    got = sum(item.values["heat_kwh"] for item in items)
    value = max(float(expected.sum()) - got, 0.0)
    # The store that would have existed is itself worked out: 15 % on top of the sun's 8 %; so the
    # difference to a trickle is known to a share of the healthy figure, not of itself. What came
    # all the same passed a meter near its start.
    trickle = COVERAGE_95 * TRICKLE_U_FRAC * got
    reach = float(np.hypot(0.2 * float(expected.sum()), trickle))
    low = max(value - reach, 0.0)
    high = value + reach
    if blind:
        # What came is worked out from the pump's command alone: all of it, or nothing.
        low, high = min(low, _TRICKLE_LEAVES_FRAC * value), high + max(got, 0.0)
    return Bounded(value=value, low=low, high=high)
