"""Short cycling: the pump comes on and goes off far more often than it should.

In the data: the pump goes off again when the collector is hardly cooler than when it came on, so
that each small change switches it. The shorter the band, the more often: three times narrower means
about three times the starts. Logs of a minute or two count the starts as well; with longer steps
most of them fall between two rows, but the band still shows. Looks alike and is not it: mornings,
evenings and passing cloud, in which a pump with a sound band starts several times.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES
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
    span_of,
    spells_of,
    steps_above,
    unjudged,
)
from analysis.quantiles import median_of, quantile_of, running
from analysis.record import Bools, Floats, Ints
from analysis.results import Evidence
from analysis.sources import VDI_2169, Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Pump switches too often",
    customer=(
        "Your solar pump switches on and off far more often than it should. The water is as warm "
        "as ever, but pump and controller wear out sooner."
    ),
    technician=(
        "The pump goes off when the difference has hardly fallen below that at which it came on, "
        "or it starts several times as often as this plant usually does. Each start brings a slug "
        "of cold fluid to the collector, which stops the pump again."
    ),
    likely_causes=(
        "Stop difference set too near to the start difference",
        "Pump too large, or its lowest speed or its flow set too high for weak sun",
        "Collector sensor where the cold fluid comes in, or one that follows too fast",
        "Speed control switched off, or its least running time set to nothing",
    ),
    check_next=(
        "From here: were start or stop difference, pump or speed control changed at the onset?",
        "On site: read both differences in the controller's menu; 4 K and more between them is "
        "usual",
        "Read pump stage, lowest speed and flow against the commissioning record",
        "Look at the controller how the collector's reading moves after a start: a fall at once "
        "points to the place of its sensor",
    ),
    cautions=(ELECTRICITY, HOT_PARTS, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """The band between start and stop, on the days that show both.

    Attributes
    ----------
    known : shape (m,), these days
    own_k : shape (m,), as each day shows it alone: too narrow where it had few starts
    level_k : shape (m,), as the days around show it together
    reach : how many days around count on each side
    """

    known: Ints
    own_k: Floats
    level_k: Floats
    reach: int

    @classmethod
    def of(cls, table: DayTable, width: int) -> "_Band":
        """Read it off the table; the outer days of each window stand for it."""
        start, stop = table.column("switch_start_k"), table.column("switch_stop_k")
        known = np.flatnonzero(np.isfinite(start - stop))
        start, stop = start[known], stop[known]
        level = running(start, _UPPER, width) - running(stop, 1.0 - _UPPER, width)
        return cls(known=known, own_k=start - stop, level_k=level, reach=width // 2)

    def below(self, most_k: float) -> Bools:
        """Tell days within a narrow band, up to the days on which it changed."""
        flagged = self.level_k < most_k
        change = np.flatnonzero(np.diff(np.concatenate(([0], flagged, [0]))))
        for first, after in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
            if after - first < _CORE_DAYS:
                flagged[first:after] = False
        # Where it changes, the window is still mixed: a day that is narrow itself goes along.
        for _ in range(self.reach):
            beside = np.zeros(flagged.shape, dtype=np.bool_)
            beside[1:] |= flagged[:-1]
            beside[:-1] |= flagged[1:]
            flagged = flagged | (beside & (self.own_k < most_k))
        return np.asarray(flagged)


# Which of the days around stand for the band, and how many must agree in a row (engineering
# judgement).
_UPPER = 0.8
_CORE_DAYS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortCycling:
    """The pump switches within a narrow band, or several times as often as usual.

    Attributes
    ----------
    narrow_frac : of the usual band: a third means three times the starts, and a little more is let
        through for what the step hides (tuned on invented plants)
    times : starts an hour of sun over the plant's own usual ones
    least_1_h : fewer starts an hour are no wear (engineering judgement)
    counted_s : up to this step starts can be counted
    seen_fracs : how much of the band rows of up to so many seconds see (tuned on invented plants);
        of longer steps it cannot be told
    own_days : days of its own from which a plant's usual level is taken
    most_own : a band of its own that is wider than so many times that on record is a start that is
        delayed, not the usual (engineering judgement)
    least_days : days in a row, of those that tell; where starts are counted the weather of some
        more days must even out (engineering judgement)
    counted_days : as said
    """

    narrow_frac: float = 0.42
    times: float = 3.0
    least_1_h: float = 3.0
    counted_s: float = 130.0
    seen_fracs: tuple[tuple[float, float], ...] = ((130.0, 1.0), (330.0, 0.9))
    own_days: int = 20
    most_own: float = 2.0
    least_days: int = 5
    counted_days: int = 8
    kind: str = "short_cycling"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        VDI_2169.at("start and stop difference of the controller: practice, from memory"),
    )

    def observe(self, case: Case) -> Observation:
        """See nothing of its own: how the pump switches is in every day's row."""
        del case
        return Observation()

    def conclude(self, history: History) -> Conclusion:
        """Find spells of a narrow band, and of many starts where they can be counted."""
        table = history.table
        why = unjudged(table)
        if why:
            return NotJudged(why=why)
        steps_s = table.column("switch_step_s")
        step_s = median_of(steps_s[np.isfinite(steps_s)])
        seen = next((frac for most_s, frac in self.seen_fracs if step_s <= most_s), None)
        if seen is None:
            return NotJudged(
                why=f"rows {step_s / 60.0:.0f} minutes apart do not show how a pump switches"
            )
        band = _Band.of(table, 2 * self.least_days + 1)
        if band.known.size < self.least_days:
            return NotJudged(why="too few days on which the pump started and stopped in the sun")
        control = history.site.controller
        stated = control.start_difference_k - control.stop_difference_k
        usual = self._usual(band.level_k, seen * stated)
        flagged = band.below(self.narrow_frac * usual)
        found = [
            self._narrow(history, spell, band, usual)
            for spell in spells_of(band.known, flagged, least=self.least_days)
        ]
        if not found and step_s <= self.counted_s:
            found = self._many(history)
        return Judged(findings=tuple(found))

    def _usual(self, level_k: Floats, stated_k: float) -> float:
        """Give the usual band: the plant's own, or that on record where its own is no wider [K]."""
        own = quantile_of(level_k, 0.75) if level_k.size >= self.own_days else 0.0
        return max(min(own, self.most_own * stated_k), stated_k)

    def _narrow(self, history: History, spell: Spell, band: _Band, usual: float) -> Found:
        start_s, end_s = span_of(history.table, spell)
        level = max(median_of(band.level_k[np.searchsorted(band.known, spell.days)]), 0.0)
        rate = _rate(history, spell)
        return Found(
            start_s=start_s,
            end_s=end_s if spell.over else None,
            urgency=urgency_of(self.kind, certainty=0.85),
            certainty=0.85,
            summary=f"The pump goes off {level:.1f} K below the difference at which it comes on; "
            f"{usual:.1f} K are usual here",
            evidence=(
                Evidence(
                    what="difference at start less difference at stop, median of days",
                    start_s=start_s,
                    end_s=end_s,
                    value=level,
                    unit="K",
                ),
                Evidence(
                    what="the same as usual",
                    start_s=start_s,
                    end_s=end_s,
                    value=usual,
                    unit="K",
                ),
                _seen_starts(rate, start_s, end_s),
            ),
        )

    def _many(self, history: History) -> list[Found]:
        """Find spells of many starts against the plant's own usual ones."""
        table = history.table
        starts, hours = table.column("switch_starts"), table.column("switch_sun_h")
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = np.where((hours >= 2.0) & (starts > 0.0), starts / hours, np.nan)
        known = rate[np.isfinite(rate)]
        if known.size < self.own_days + self.counted_days:
            return []
        # What the better half of its time looks like: weather makes up for the rest.
        smooth = running(known, 0.5, 2 * self.counted_days - 1)
        usual = quantile_of(smooth, 0.3)
        most = max(self.times * usual, self.least_1_h)
        spells = steps_above(rate, most, least=self.counted_days)
        return [self._counted(history, spell, usual) for spell in spells]

    def _counted(self, history: History, spell: Spell, usual: float) -> Found:
        start_s, end_s = span_of(history.table, spell)
        rate = _rate(history, spell)
        return Found(
            start_s=start_s,
            end_s=end_s if spell.over else None,
            urgency=urgency_of(self.kind, certainty=0.7),
            certainty=0.7,
            summary=f"{rate:.1f} pump starts an hour of sun; {usual:.1f} are usual here",
            evidence=(
                _seen_starts(rate, start_s, end_s),
                Evidence(
                    what="usual starts an hour of sun",
                    start_s=start_s,
                    end_s=end_s,
                    value=usual,
                    unit="1/h",
                ),
            ),
        )


def _rate(history: History, spell: Spell) -> float:
    """Give the starts an hour of sun that the rows of a spell show [1/h]."""
    table = history.table
    starts = float(np.nansum(table.column("switch_starts")[spell.days]))
    return starts / float(np.nansum(table.column("switch_sun_h")[spell.days]))


def _seen_starts(rate: float, start_s: int, end_s: int) -> Evidence:
    return Evidence(
        what="starts an hour of sun that the rows show",
        start_s=start_s,
        end_s=end_s,
        value=rate,
        unit="1/h",
    )
