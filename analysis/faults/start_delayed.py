"""Start delayed: the pump waits for more than the collector needs to offer.

In the data: on sunny days the pump comes on only when the collector is far above the store, over
the start difference on record and over what is usual. Or the collector sensor sits in a cool place
and reads less than what comes down the pipe: then the controller sees its difference too late.
Looks alike and is not it: a full store, the lock of a hot collector and the hours after either
(left out), a charge limit that is too low, a pump that fails. In summer the store is full every
evening and its top is hot still when the sun comes: a controller that watches the top then waits
for a draw, and its pump starts at any difference, one that waits for its difference always at the
same. So such mornings count as far as they are alike.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.day_sums import counted
from analysis.faults._cautions import ELECTRICITY, HEIGHT, HOT_PARTS, LOCAL_CODES
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._switching import (
    Spell,
    cell_of_rows,
    span_of,
    steps_above,
    unjudged,
)
from analysis.faults._tops_kernel import find_tops
from analysis.heat import PUMP_ON_PERCENT, column
from analysis.quantiles import median_of, median_of_rows, quantile_of_groups
from analysis.record import Floats
from analysis.results import Evidence
from analysis.runs import in_a_row
from analysis.sources import VDI_2169, Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Pump starts late",
    customer=(
        "Your solar pump waits longer than it should before it fetches the sun's heat. A setting "
        "or the place of a sensor is the likely cause; the hot water is safe."
    ),
    technician=(
        "The pump came on only when the collector stood far above the store's bottom, or the "
        "collector sensor read less than the fluid that came down from it. Heat waits on the roof, "
        "weak sun is never fetched at all, and what comes down first is hot."
    ),
    likely_causes=(
        "Start difference set too high in the controller",
        "Collector sensor not pushed fully into its pocket, or without heat-conducting paste",
        "Collector sensor on the cold side of the manifold, or on a pipe outside the insulation",
        "Sensor cable or connection that reads too low; a store sensor that reads too high",
    ),
    check_next=(
        "From here: is the start difference on record right? 6 to 10 K is usual",
        "From here: compare collector and hot pipe while the pump runs; the pipe cannot be warmer",
        "On site: read the start difference in the controller's menu and set it as on record",
        "On site: compare the controller's readings on an overcast morning, all sensors cold",
        "Only then, collector cold: sensor pushed home in its pocket, paste, insulation over it",
    ),
    cautions=(HOT_PARTS, ELECTRICITY, HEIGHT, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StartDelayed:
    """The pump starts at too large a difference, or on a sensor that reads low.

    Attributes
    ----------
    usual_k : start differences up to this are usual (common practice: 6 to 10 K)
    beyond_k : beyond the greater of usual and on record by this much it is late: sensors of class
        B may differ by one or two kelvin (engineering judgement)
    reads_low_k : the pipe from the roof this much warmer than the collector sensor: two sensors of
        class B at their limits, and the pipe's own loss is left out (engineering judgement)
    tops_low_k : likewise, the warmest of the pipe in a run over the warmest that the collector
        showed in the two hours before, and in it: sound plants stay below 0 K, and two sensors of
        class B add up to 1.4 K at 80 °C (engineering judgement)
    alike_k, alike_k_min : mornings after a full store count while half of them lie within so many
        kelvin, and this much more for each minute of the log's step, in which a resting collector
        climbs by a kelvin or so (engineering judgement)
    least_days : days in a row, of those that tell (engineering judgement)
    """

    usual_k: float = 10.0
    beyond_k: float = 4.0
    reads_low_k: float = 4.0
    tops_low_k: float = 2.5
    alike_k: float = 2.0
    alike_k_min: float = 0.3
    least_days: int = 4
    kind: str = "start_delayed"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        VDI_2169.at("start and stop difference of the controller: practice, from memory"),
    )

    def observe(self, case: Case) -> Observation:
        """See what the pipe says of the sensor; how the pump switches is in every day's row."""
        return Observation(
            columns={"roof_reads_low_k": _reads_low_k(case), "roof_tops_low_k": _tops_low_k(case)}
        )

    def conclude(self, history: History) -> Conclusion:
        """Find spells of late starts and of a sensor that reads low."""
        table = history.table
        why = unjudged(table, "switch_start_bottom_k")
        if why:
            return NotJudged(why=why)
        late = self._late_spells(history)
        cool = self._cool_spells(history)
        found = [self._late(history, spell, starts) for spell, starts in late]
        found += [
            self._cool(history, spell, low)
            for spell, low in cool
            if not any(_overlap(spell, other) for other, _ in late)
        ]
        return Judged(findings=tuple(sorted(found, key=lambda item: item.start_s)))

    def _late_spells(self, history: History) -> list[tuple[Spell, Floats]]:
        """Give spells of late starts, each with the starts that show it; shape (days,) [K]."""
        table = history.table
        late_k = max(self.usual_k, history.site.controller.start_difference_k) + self.beyond_k
        free = table.column("switch_start_k")
        every = np.where(np.isfinite(free), free, table.column("switch_start_bottom_k"))
        step_min = table.column("switch_step_s") / 60.0
        known = np.isfinite(step_min)
        step_min = np.where(known, step_min, median_of(step_min[known]) if known.any() else 0.0)
        apart_k = self.alike_k + self.alike_k_min * step_min
        alike = steps_above(every, late_k, least=self.least_days, apart=apart_k)
        return _joined(
            [(spell, every) for spell in alike],
            [(spell, free) for spell in steps_above(free, late_k, least=self.least_days)],
        )

    def _cool_spells(self, history: History) -> list[tuple[Spell, Floats]]:
        """Give spells of a sensor that reads low, each with what shows it; shape (days,) [K]."""
        steady = history.table.column("roof_reads_low_k")
        tops = history.table.column("roof_tops_low_k")
        least = self.least_days
        return _joined(
            [(spell, steady) for spell in steps_above(steady, self.reads_low_k, least=least)],
            [(spell, tops) for spell in steps_above(tops, self.tops_low_k, least=least)],
        )

    def _late(self, history: History, spell: Spell, starts: Floats) -> Found:
        table = history.table
        start_s, end_s = span_of(history.table, spell)
        level = median_of(starts[spell.days])
        on_record = history.site.controller.start_difference_k
        stop = table.column("switch_stop_k")[spell.days]
        evidence = [
            Evidence(
                what="collector over store bottom just before the pump starts, median of days",
                start_s=start_s,
                end_s=end_s,
                value=level,
                unit="K",
            ),
            Evidence(
                what="start difference on record"
                if history.site.controller_given
                else "usual start difference",
                start_s=start_s,
                end_s=end_s,
                value=on_record,
                unit="K",
            ),
        ]
        if np.isfinite(stop).any():
            evidence.append(
                Evidence(
                    what="collector over store bottom just before it stops, median of days",
                    start_s=start_s,
                    end_s=end_s,
                    value=float(np.nanmedian(stop)),
                    unit="K",
                )
            )
        return Found(
            start_s=start_s,
            end_s=end_s if spell.over else None,
            urgency=urgency_of(self.kind, certainty=0.9),
            certainty=0.9,
            summary=f"The pump starts only with the collector {level:.0f} K over the store's "
            f"bottom (set to {on_record:.0f} K)",
            evidence=tuple(evidence),
        )

    def _cool(self, history: History, spell: Spell, low: Floats) -> Found:
        start_s, end_s = span_of(history.table, spell)
        level = median_of(low[spell.days])
        return Found(
            start_s=start_s,
            end_s=end_s if spell.over else None,
            urgency=urgency_of(self.kind, certainty=0.8),
            certainty=0.8,
            summary=f"The collector sensor reads {level:.0f} K less than the pipe that comes down "
            "from it: the pump starts late and stops early",
            evidence=(
                Evidence(
                    what="hot pipe over collector sensor while the pump runs, median of days",
                    start_s=start_s,
                    end_s=end_s,
                    value=level,
                    unit="K",
                ),
            ),
        )


def _reads_low_k(case: Case) -> Floats:
    """Give how much warmer the pipe from the roof is than the roof while fluid runs; (days,) [K].

    In steady running alone: what stood in a hot pipe, and a sun that goes, are no sign.
    """
    running = case.loop.moving_frac > 0.95
    steady = running.copy()
    for before in range(1, 4):
        steady[:, before:] &= running[:, :-before]
        steady[:, :before] = False
    over_k = case.binned("loop_hot") - case.loop.t_roof_c
    over_k = np.where(steady, over_k, np.nan)
    told = counted(np.isfinite(over_k)) >= _LEAST_BINS
    level = np.full(len(case.days), np.nan)
    level[told] = median_of_rows(over_k[told])
    return level


def _tops_low_k(case: Case) -> Floats:
    """Give how far the pipe's warmest in a run lies over what the roof showed; (days,) [K].

    Nothing in the pipe can be warmer than the collector was of late: this tells of a pump that
    runs for minutes only, where `_reads_low_k` finds nothing steady. What stood in the pipe may be
    the store's warmth: unless it was cooler than the collector, the first minutes are left out.
    The median of a day's runs.
    """
    record = case.record
    lately_c = _lately_c(case, column(record, "collector"))
    told = (case.sky.sun_sine.ravel() > 0.0) & (lately_c > -np.inf)
    top_k, top_day = np.empty(len(record) // 2), np.empty(len(record) // 2, dtype=np.int64)
    count = find_tops(
        given(column(record, "pump") >= PUMP_ON_PERCENT),
        given(column(record, "loop_hot")),
        given(cell_of_rows(case)),
        given(np.where(told, lately_c, np.nan)),
        given(record.start_s),
        given(case.day),
        _TURNED_S,
        top_k,
        top_day,
    )
    return quantile_of_groups(top_k[:count], top_day[:count], len(case.days), 0.5)


def _lately_c(case: Case, roof: Floats) -> Floats:
    """Give the hottest that the roof was in each bin and the two hours before it, bins in a row."""
    peak = case.grid.peak(roof).ravel()
    padded = np.concatenate((np.full(_BEFORE_BINS, -np.inf), peak))
    return in_a_row(np.maximum, padded, _BEFORE_BINS + 1)


# Two hours before count as of late, and the pipe's content has passed after three minutes
# (engineering judgement).
_BEFORE_BINS, _TURNED_S = 24, 180
# Half an hour of steady running tells (engineering judgement).
_LEAST_BINS = 6


def _overlap(one: Spell, other: Spell) -> bool:
    return bool(one.days[0] <= other.days[-1] and other.days[0] <= one.days[-1])


def _joined(
    first: list[tuple[Spell, Floats]], other: list[tuple[Spell, Floats]]
) -> list[tuple[Spell, Floats]]:
    """Give spells of two signs of one thing: the first sign's where both show it."""
    left = [item for item in other if not any(_overlap(item[0], one) for one, _ in first)]
    return first + left
