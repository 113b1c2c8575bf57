"""Sensors swapped: two temperature channels have changed places, by plug or by the log's map.

In the data: a rule of physics is broken day after day in one and the same way, which it would not
be if both channels had each other's names. Looks alike and is not it: a store mixed on purpose
(then its layers are equal, not upside down), fluid that runs backwards (not with the pump on and
the sun in), a sensor that repeats itself.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.channels import BASE_CHANNELS
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HEIGHT, HOT_PARTS, LOCAL_CODES, NO_COLD_FILL
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
from analysis.faults._swap_signs import PAIRS, Pair, spoken, sunlit_running_h
from analysis.precedence_rules import swapped_words
from analysis.record import Bools
from analysis.results import Evidence
from analysis.runs import day_span
from analysis.sources import Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Two sensors have changed places",
    customer=(
        "Two of your system's temperature sensors seem to be mixed up, in a plug or in the log. "
        "The readings cannot be trusted until they are told apart again."
    ),
    technician=(
        "Day after day two temperatures behave as the other one should. Either the map of the log "
        "names them the wrong way round, or their plugs were exchanged, perhaps at the last visit. "
        "Heat and findings that rest on them are wrong meanwhile; if the controller reads the same "
        "plugs, it may pump at the wrong time."
    ),
    likely_causes=(
        "The columns of the log are mapped the wrong way round",
        "Two plugs exchanged at controller, meter or logger, often at a visit or a repair",
        "A sensor put back into the wrong pocket",
        "A sensor out of its pocket, which then reads the room",
    ),
    check_next=(
        "From here: is the map of the log right? If it was wrong from the first day, exchange the "
        "two channels in the site file and read the log again",
        "From here: did it begin on the day of a visit? Ask what was unplugged",
        "On site: compare the controller's display with a thermometer at both places",
        "Warm one sensor in the hand and see which reading moves",
        "With the collector cold: exchange the plugs; next day, does the pump start and stop as it "
        "should?",
        "Only if nothing was found below: the sensor's pocket on the roof, collector cold",
    ),
    cautions=(HOT_PARTS, NO_COLD_FILL, ELECTRICITY, HEIGHT, LOCAL_CODES),
)
# Where the pump runs in the sun on this share of the days, the controller knows what it reads.
_MINDS_FRAC = 0.5
_RAN_H = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorsSwapped:
    """Two temperatures that have changed places.

    Attributes
    ----------
    least_days, within_days : fewer days in so many are not reported
    strays_frac : of the days that speak, so many must speak for it
    quiet_days : so many days that speak against it end it
    certainty : each day is sure, and days repeat it (all engineering judgement)
    """

    least_days: int = 3
    within_days: int = 15
    strays_frac: float = 0.6
    quiet_days: int = 2
    certainty: float = 0.93
    kind: str = "sensors_swapped"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Second law and stable layers of water: which place is warmer when, textbook"),
    )

    def observe(self, case: Case) -> Observation:
        """See what each day says of each pair."""
        says, hours = spoken(case)
        ran = sunlit_running_h(case) >= _RAN_H
        found = []
        logged = day_span(case.loop.known_s > 0.0)
        for number, day in np.argwhere(says == 1.0).tolist():
            if day not in logged:
                continue
            start_s, end_s = case.span_s(day, *logged[day])
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "pair": float(number),
                        "hours": float(hours[number, day]),
                        "ran": float(ran[day]),
                    },
                )
            )
        columns = {
            _column(pair): row
            for pair, row in zip(PAIRS, says, strict=True)
            if np.isfinite(row).any()
        }
        return Observation(columns=columns, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join days that speak for one pair; days against it end a finding."""
        table = history.table
        judged = [pair for pair in PAIRS if np.isfinite(table.column(_column(pair))).any()]
        if not judged:
            return NotJudged(why="no two temperatures whose places a day tells")
        found: list[Found] = []
        for number in sorted({int(item.values["pair"]) for item in table.of_kind(self.kind)}):
            against = table.column(_column(PAIRS[number])) == 0.0
            items = [item for item in table.of_kind(self.kind) if item.values["pair"] == number]
            groups = lasting(items, table=table, good=against, quiet_days=self.quiet_days)
            for group, over in groups:
                kept = without_strays(group, least=self.least_days, within_days=self.within_days)
                if kept and self._outweighs(table, kept, number):
                    end_s = _proven_s(table, kept[-1], against) if over else None
                    found.append(self._found(kept, end_s, PAIRS[number]))
        left = tuple(item for item in found if not _outdone(item, found, history.until_s))
        names = sorted({BASE_CHANNELS[name].says for pair in judged for name in _names(pair)})
        return Judged(findings=left, why=f"looked at {', '.join(names)}")

    def _outweighs(self, table: DayTable, items: tuple[Happening, ...], number: int) -> bool:
        """Tell whether most of the days between that speak, speak for it."""
        dates = table.days.dates
        span = slice(dates.index(items[0].date), dates.index(items[-1].date) + 1)
        says = table.column(_column(PAIRS[number]))[span]
        return bool(np.nansum(says) >= self.strays_frac * np.isfinite(says).sum())

    def _found(self, items: tuple[Happening, ...], over_s: int | None, pair: Pair) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        one, other = (BASE_CHANNELS[name].says for name in _names(pair))
        words = f"“{one}” and “{other}” have changed places: "
        words += pair.why.format(one=one, other=other)
        if pair.one == "collector":
            ran = float(np.mean([item.values["ran"] for item in items]))
            words += (
                "; the pump runs in the sun all the same: the map, or the logger's plugs"
                if ran >= _MINDS_FRAC
                else "; the pump hardly runs in the sun: think of the controller's plugs first"
            )
        return Found(
            start_s=start_s,
            end_s=over_s,
            urgency=urgency_of(self.kind, certainty=self.certainty, level="present"),
            certainty=self.certainty,
            summary=words,
            evidence=(
                Evidence(
                    what=swapped_words(*_names(pair)),
                    start_s=start_s,
                    end_s=end_s,
                    value=float(len(items)),
                    unit="days",
                ),
                Evidence(
                    what="hours of a day in which it shows, at most",
                    start_s=start_s,
                    end_s=end_s,
                    value=max(item.values["hours"] for item in items),
                    unit="h",
                ),
            ),
        )


def _proven_s(table: DayTable, last: Happening, against: Bools) -> int:
    """Give the start of the first day after a happening that speaks against a swap."""
    after = table.days.dates.index(last.date) + 1
    return int(table.days.edge_s[after + int(np.argmax(against[after:]))])


def _column(pair: Pair) -> str:
    return f"swap_{pair.one}_{pair.other}"


def _names(pair: Pair) -> tuple[str, str]:
    return pair.one, pair.other


def swapped_channels(happening: Happening) -> frozenset[str]:
    """Give the two channels that a happening of this kind is about."""
    return frozenset(_names(PAIRS[int(happening.values["pair"])]))


def _outdone(item: Found, found: list[Found], until_s: int) -> bool:
    """Tell whether another pair shows itself on more days of the same time.

    Channels in each other's places mislead the rules about their neighbours now and then.
    """
    days = item.evidence[0].value
    for other in found:
        first = max(item.start_s, other.start_s)
        last = min(item.end_s or until_s, other.end_s or until_s)
        if other is not item and first < last and other.evidence[0].value > days:
            return True
    return False
