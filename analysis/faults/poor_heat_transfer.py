"""Poor heat transfer: the loop comes back hot because the store's coil hardly takes its heat.

In the data: the coil hands over a far smaller share of the difference between loop and store than
coils do, or than it did. Looks alike and is not it: little flow (the fluid then cools down to the
store, so the share grows), more sun (the share stays), a store that is charged above its bottom
sensor (which then does not warm). Without pipe sensors, little flow and a poor coil look the same.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD, STEAM
from analysis.faults._hand_over import BASES, BY_CLEAR_SKY, BY_PIPES, hand_over
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
from analysis.heat import COIL_NTU
from analysis.missed import Missed, missed_heat
from analysis.quantiles import median_of
from analysis.record import Floats
from analysis.results import Evidence
from analysis.sources import Source
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Store takes the heat badly",
    customer=(
        "The solar loop brings the heat down, but your store takes little of it, so the loop comes "
        "back hot and the roof loses more. The part in the store that hands the heat over needs a "
        "look."
    ),
    technician=(
        "The loop returns to the roof hardly cooler than it came. The coil hands over far less of "
        "the difference to the store than it should at this flow: scale outside, sludge or old "
        "fluid inside, or air that stands in its upper turns. The collector runs hotter than it "
        "need, and loses the difference."
    ),
    likely_causes=(
        "Air standing in the coil or the exchanger since it was filled",
        "Lime on the coil, most in hard water and hot stores",
        "Sludge or aged antifreeze inside the coil or a plate exchanger",
        "Flow far too low, where no pipe sensors can rule it out",
        "A store sensor out of its pocket, or below the coil",
    ),
    check_next=(
        "From here: did it come at once (air after filling, a sensor moved) or over months (lime, "
        "sludge)?",
        "From here: does the bottom of the store warm while the pump runs? If not, think of the "
        "sensor's place first",
        "On site: pump on, compare both pipes at the store by touchless thermometer; little "
        "difference, both far warmer than the store: the coil",
        "Read the flow setter against the commissioning record; look at the fluid: dark or smelly?",
        "With the loop cold: vent at the coil and at the air separator by the maker's procedure",
        "Only then: have coil or exchanger flushed or descaled by whoever is licensed to open them",
    ),
    cautions=(HOT_PARTS, STEAM, SCALD, ELECTRICITY, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PoorHeatTransfer:
    """A coil with too few transfer units.

    Attributes
    ----------
    seen_units : fewer transfer units at the commissioned flow than this are looked at [-]
    low_units : fewer, as both pipes show them, are too few; usual are 1 to 2 (common practice, no
        source), undersized coils 0.8 (engineering judgement)
    blind_units : the same without pipe sensors, where half the flow looks like 0.7
    blocked_units : fewer without pipe sensors: next to nothing moves, which is lost circulation
    past_frac : below this share of the plant's own sound days, by both pipes, is too few
    sound_units : a day from here on is sound
    past_days : so many sound days at first make the plant's own past
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it (all engineering judgement)
    sky_quiet_days : so many part days of one finding by a clear sky, where a cloudy day looks sound
        (invented plants)
    over_u_frac, blind_u_frac : standard uncertainty of what the hotter loop loses, as a share of
        it, by both pipes and otherwise
    """

    seen_units: float = 0.9
    low_units: float = 0.6
    blind_units: float = 0.45
    blocked_units: float = 0.1
    past_frac: float = 0.35
    sound_units: float = 0.8
    past_days: int = 15
    least_days: int = 3
    within_days: int = 15
    quiet_days: int = 3
    sky_quiet_days: int = 8
    over_u_frac: float = 0.15
    blind_u_frac: float = 0.25
    kind: str = "poor_heat_transfer"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Exchanger of capacity ratio 0: effectiveness 1 - exp(-NTU), textbook"),
        Source("Usual coils hand over two thirds to nine tenths: common practice, no source"),
    )

    def observe(self, case: Case) -> Observation:
        """See the coil's transfer units, and days on which they are few."""
        seen = hand_over(case)
        if seen.basis is None:
            return Observation()
        found = []
        for day in np.flatnonzero(seen.units < self.seen_units).tolist():
            start_s, end_s = case.span_s(day, int(seen.first[day]), int(seen.last[day]))
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "units": float(seen.units[day]),
                        "over_k": float(seen.over_k[day]),
                        "basis": float(seen.basis),
                    },
                )
            )
        columns = {
            "coil_units": seen.units,
            "coil_basis": np.where(np.isfinite(seen.units), float(seen.basis), np.nan),
            "coil_over_kwh": seen.over_kwh,
            "coil_carried_kwh": seen.carried_kwh,
        }
        return Observation(columns=columns, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join days of few transfer units; sound ones end a finding."""
        table = history.table
        for name, words in (("seen_store_bottom", "store bottom"), ("seen_pump", "pump or flow")):
            if name not in table.columns and not (
                name == "seen_pump" and {"seen_flow", "seen_flow_volume"} & set(table.columns)
            ):
                return NotJudged(why=f"no {words} in the log")
        if not {"seen_collector", "seen_loop_hot"} & set(table.columns):
            return NotJudged(why="neither collector nor pipe temperatures in the log")
        units = table.column("coil_units")
        if not np.isfinite(units).any():
            return NotJudged(
                why="the loop never ran steadily in the sun while the store's bottom warmed"
            )
        past = self._past(units)
        low = [item for item in table.of_kind(self.kind) if self._low(item, past)]
        by_sky = np.nanmax(table.column("coil_basis")) == BY_CLEAR_SKY
        groups = lasting(
            low,
            table=table,
            good=units >= self.sound_units,
            quiet_days=self.sky_quiet_days if by_sky else self.quiet_days,
        )
        found = []
        for items, _ in groups:
            last = table.days.dates.index(items[-1].date)
            over = bool((units[last + 1 :] >= self.sound_units).sum() >= self.quiet_days)
            kept = without_strays(items, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(table, kept, over, past))
        why = ""
        if np.nanmax(table.column("coil_basis")) > BY_PIPES:
            why = "without both pipes' temperatures a poor coil and far too little flow look alike"
        return Judged(findings=tuple(found), why=why)

    def _past(self, units: Floats) -> float | None:
        """Give the plant's own sound transfer units, of its first days."""
        sound = units[units >= self.sound_units]
        if len(sound) < self.past_days:
            return None
        return median_of(sound[: 2 * self.past_days])

    def _low(self, item: Happening, past: float | None) -> bool:
        units = item.values["units"]
        if item.values["basis"] != BY_PIPES:
            return self.blocked_units < units < self.blind_units
        return units < max(self.low_units, self.past_frac * (past or 0.0))

    def _found(
        self, table: DayTable, items: tuple[Happening, ...], over: bool, past: float | None
    ) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        basis = int(items[-1].values["basis"])
        units = float(np.median([item.values["units"] for item in items]))
        frac = 1.0 - float(np.exp(-units))
        missed = self._missed(table, items, past, by_pipes=basis == BY_PIPES)
        sure = {BY_PIPES: 0.9, BY_CLEAR_SKY: 0.7}.get(basis, 0.75)
        evidence = [
            ("share of the difference to the store that the coil takes", 100.0 * frac, "%"),
            ("transfer units of the coil at the commissioned flow", units, ""),
            (
                "fluid over the store's bottom while the pump runs",
                float(np.median([item.values["over_k"] for item in items])),
                "K",
            ),
            ("days that show it", float(len(items)), "days"),
        ]
        words = "usual is two thirds to nine tenths"
        if past is not None and basis == BY_PIPES:
            words = f"it was {100.0 * (1.0 - float(np.exp(-past))):.0f} %"
            evidence.append(("transfer units on the plant's own sound days", past, ""))
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=sure,
                lost_week=per_week(missed.lost, start_s=start_s, end_s=end_s),
            ),
            certainty=sure,
            summary=f"The store's coil takes {100.0 * frac:.0f} % of the difference between loop "
            f"and store, by {BASES[basis]}; {words}",
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=end_s, value=value, unit=unit)
                for what, value, unit in evidence
            ),
            lost=missed.lost,
        )

    def _missed(
        self, table: DayTable, items: tuple[Happening, ...], past: float | None, *, by_pipes: bool
    ) -> Missed:
        """Give what the hotter loop lost, as the store would have taken it."""
        dates = table.days.dates
        days = np.arange(dates.index(items[0].date), dates.index(items[-1].date) + 1)
        sound = 1.0 - float(np.exp(-min(max(past or COIL_NTU, 1.0), 3.0)))
        over, carried = table.column("coil_over_kwh")[days], table.column("coil_carried_kwh")[days]
        extra = np.maximum(np.nan_to_num(over - carried / sound), 0.0)
        u_frac = self.over_u_frac if by_pipes else self.blind_u_frac
        return missed_heat(table, days, extra, u_kwh=u_frac * float(extra.sum()))
