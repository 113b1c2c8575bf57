"""Flow reading wrong: the meter disagrees with everything else that knows the flow.

In the data: the reading falls or rises at the same pump command while the spread between the pipes
stays as the sun wants it, or the store gains what the meter does not count; nothing is read while
heat comes down; one value stays through pump and rest; a flow is read with the pump off and both
pipes cold. Looks alike and is not it: real low or high flow (the spread changes as well); lost
tubes (the spread falls, the reading stays); reverse circulation (the pipes are warm).
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._flow_share import against_own, happenings_of, running_span_s
from analysis.faults._meter_witness import (
    METERS,
    binned_reading_l_min,
    dead_spans,
    ghost_spans,
    stuck_spans,
    witness_columns,
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
from analysis.faults._reopening import lasting, without_strays
from analysis.record import Bools, Floats
from analysis.results import Evidence
from analysis.sources import VDI_2169, Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Flow meter reads wrong",
    customer=(
        "The flow meter of the solar loop no longer reads right. The collector works as before, "
        "but the heat figures of these days cannot be trusted and are left out."
    ),
    technician=(
        "The flow reading was held against what needs no meter: the spread between the pipes for "
        "the sun there was, what the store gained, and pipes that stand cold. Real low flow makes "
        "the pipes differ more; here they do not. Heat that was counted with this reading is "
        "taken out of the figures."
    ),
    likely_causes=(
        "Turbine or impeller worn, dirty or stuck; vortex meter with air",
        "Pulses a litre or the meter's scale entered wrongly after a change",
        "Cable or pulse input disturbed; logger repeating its last value",
        "Meter too large for the flow, below its start",
    ),
    check_next=(
        "From here: was meter, logger or scale changed about then? Record it with its date",
        "Does the controller's own display show the same flow?",
        "On site: compare the reading with the flow setter while the pump runs, and with zero "
        "while it rests",
        "With power isolated: check terminals, shield and pulse input",
        "With the loop cold, by the maker's procedure: take the meter out, clean or change it",
    ),
    cautions=(HOT_PARTS, STEAM, ELECTRICITY, LOCAL_CODES),
)

_WAYS = ("dead", "stuck", "ghost", "low", "high")
_SAYS = (
    "read nothing while heat came down",
    "stayed at one value through pump and rest",
    "showed a flow with the pump off and the pipes cold",
    "read {share:.0f} % of what pipes and store tell",
    "read {share:.0f} % of what pipes and store tell",
)
_SPANS = (dead_spans, stuck_spans, ghost_spans)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scale:
    """Days on which the reading is low or high by its scale, on which it is sound, how far."""

    low: Bools
    high: Bools
    sound: Bools
    share: Floats
    proven: Bools


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowReadingWrong:
    """A flow meter that other sensors disprove.

    Attributes
    ----------
    low_frac, high_frac : reading over that of before, or over the commissioned flow
    sun_low_frac, sun_high_frac : between them sun and spread say that the flow is as it was
    store_more_frac, store_less_frac : gain of the store over counted heat, against that of before
    own_days : so many sound days make a past
    sound_low_frac, sound_high_frac : between them a day's reading is sound
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it (all engineering judgement)
    """

    low_frac: float = 0.65
    high_frac: float = 1.5
    sun_low_frac: float = 0.75
    sun_high_frac: float = 1.35
    store_more_frac: float = 1.4
    store_less_frac: float = 0.7
    own_days: int = 6
    sound_low_frac: float = 0.75
    sound_high_frac: float = 1.33
    least_days: int = 4
    within_days: int = 15
    quiet_days: int = 3
    kind: str = "flow_reading_wrong"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        VDI_2169.at("heat meters against pump and store: practice, from memory"),
        Source("Energy balance of loop and store; limits are engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """See what other sensors say of the reading."""
        if not set(METERS) & case.channels:
            return Observation()
        found = []
        read_l_min = binned_reading_l_min(case)
        for way, spans_of in enumerate(_SPANS):
            for day, (first, last) in spans_of(case, read_l_min).items():
                start_s, end_s = case.span_s(day, first, last)
                found.append(
                    Happening(
                        kind=self.kind,
                        date=case.days.dates[day],
                        start_s=start_s,
                        end_s=end_s,
                        values={"way": float(way)},
                    )
                )
        columns = {**witness_columns(case, read_l_min), **running_span_s(case)}
        return Observation(columns=columns, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join days on which the reading is disproved; sound ones end it."""
        table = history.table
        if not any(f"seen_{name}" in table.columns for name in METERS):
            return NotJudged(why="no flow or heat meter in the log")
        scale = self._scale(table)
        items = self._items(table, scale)
        good = scale.sound & ~table.days.among({item.date for item in items})
        if "seen_pump" not in table.columns:
            return NotJudged(why="no pump command beside the meter")
        found = []
        for group, over in lasting(items, table=table, good=good, quiet_days=self.quiet_days):
            kept = without_strays(group, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(history, kept, over))
        return Judged(findings=tuple(found))

    def _scale(self, table: DayTable) -> _Scale:
        """Tell days on which reading and real flow part."""
        read, sun, store = (
            table.column(f"meter_{name}") for name in ("share", "sun_share", "store_share")
        )
        own, own_sun, own_store = (
            against_own(values, least=self.own_days) for values in (read, sun, store)
        )
        past = self._parted(own.share, own_sun.share, own_store.share)
        # Without a past the papers stand for it; of the store's gain they say nothing.
        papers = self._parted(read, sun, np.full(store.shape, np.nan))
        as_on_paper = (read >= self.sound_low_frac) & (read <= self.sound_high_frac)
        as_before = (own.share >= self.sound_low_frac) & (own.share <= self.sound_high_frac)
        low, high = (
            np.asarray((one | other) & ~as_on_paper)
            for one, other in zip(past, papers, strict=True)
        )
        proven = np.asarray(past[0] | past[1])
        return _Scale(
            low=low,
            high=high,
            sound=np.asarray((as_on_paper | as_before) & ~low & ~high),
            share=np.where(proven, own.share, read),
            proven=proven,
        )

    def _parted(self, read: Floats, sun: Floats, store: Floats) -> tuple[Bools, Bools]:
        """Tell days on which a reading is low, and high, although the flow is as it was."""
        by_sun = (sun >= self.sun_low_frac) & (sun <= self.sun_high_frac)
        # What the sun denies the store does not prove.
        unlit = ~np.isfinite(sun)
        low = (by_sun | (unlit & (store > self.store_more_frac))) & (read < self.low_frac)
        high = (by_sun | (unlit & (store < self.store_less_frac))) & (read > self.high_frac)
        return np.asarray(low), np.asarray(high)

    def _items(self, table: DayTable, scale: _Scale) -> list[Happening]:
        """Give one happening for each wrong day; what was seen goes before what was worked out."""
        items: dict[str, Happening] = {}
        for way, days in ((3.0, scale.low), (4.0, scale.high)):
            values = {
                "way": np.full(len(days), way),
                "share": scale.share,
                "proven": scale.proven.astype(np.float64),
            }
            items |= {one.date: one for one in happenings_of(self.kind, table, days, values)}
        for item in reversed(table.of_kind(self.kind)):
            items[item.date] = item
        return sorted(items.values(), key=lambda item: item.start_s)

    def _found(self, history: History, items: tuple[Happening, ...], over: bool) -> Found:
        start_s, end_s = items[0].start_s, max(item.end_s for item in items)
        ways = [round(item.values["way"]) for item in items]
        way = max(set(ways), key=ways.count)
        shares = [item.values.get("share", np.nan) for item in items]
        share = float(np.nanmedian(shares)) if np.isfinite(shares).any() else np.nan
        proven = float(np.mean([item.values.get("proven", 1.0) for item in items])) > 0.5
        certainty = 0.9 if proven else 0.6
        evidence = [
            Evidence(
                what="days on which other sensors disprove the reading",
                start_s=start_s,
                end_s=end_s,
                value=float(len(items)),
                unit="days",
            )
        ]
        if np.isfinite(share):
            evidence.append(
                Evidence(
                    what="flow read over the flow of before, at the same pump command",
                    start_s=start_s,
                    end_s=end_s,
                    value=100.0 * share,
                    unit="%",
                )
            )
        said = _SAYS[way].format(share=100.0 * share)
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind, certainty=certainty, level="present" if proven else "possible"
            ),
            certainty=certainty,
            summary=f"The meter {said}, on {len(items)} days; heat of these days is left out"
            if proven
            else f"The meter {said}, on {len(items)} days; heat of these days is doubtful",
            evidence=tuple(evidence),
            channel=_channel(history.table),
        )


def _channel(table: DayTable) -> str:
    return next(name for name in METERS if f"seen_{name}" in table.columns)
