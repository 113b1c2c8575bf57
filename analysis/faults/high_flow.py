"""High flow: the meter shows far more than the commissioned flow. Never more than watch.

From the spread alone it is not judged: a collector that gives too little has a small one as well.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES
from analysis.faults._flow_share import (
    BANDS_PERCENT,
    SOUND_FRAC,
    against_own,
    happenings_of,
    metered_share,
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
from analysis.record import Floats
from analysis.results import Evidence
from analysis.sources import Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Too much flow in the solar loop",
    customer="More fluid moves through the solar loop than was set; the pump may waste power.",
    technician=(
        "At near full command the metered flow stayed far above that of commissioning. The spread "
        "becomes small, the pump stops and starts more often, and uses more electricity. The flow "
        "in the site file or the meter may also be wrong."
    ),
    likely_causes=(
        "Pump stage or speed raised, or pump changed for a larger one",
        "Flow setter opened",
        "Flow in the site file, or pulses a litre of the meter, entered wrongly",
    ),
    check_next=(
        "From here: compare the flow in the site file with the papers of commissioning",
        "Is the meter's scale (litres a pulse) entered as its label says?",
        "In the controller's menu: which speed is set?",
        "On site: read the flow setter at full command",
    ),
    cautions=(HOT_PARTS, ELECTRICITY, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HighFlow:
    """Flow far above that of commissioning.

    Attributes
    ----------
    high_frac : a day's metered share above this, near full command of commissioning, at part
        command of its own past, is high (engineering judgement)
    sound_frac : below it a day is sound
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it
    linear_days : so many days on which part command went by commissioning prove the pump linear
    """

    high_frac: float = 1.6
    sound_frac: float = 1.3
    least_days: int = 4
    within_days: int = 15
    quiet_days: int = 3
    linear_days: int = 3
    kind: str = "high_flow"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Energy balance of the loop; limits are engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """Give the days' shares in bands of command."""
        columns = {_column(band): metered_share(case, band) for band in BANDS_PERCENT}
        return Observation(columns=columns)

    def conclude(self, history: History) -> Conclusion:
        """Join days; some sound ones end a finding."""
        table = history.table
        share, excess = self._shares(table)
        if not np.isfinite(excess).any():
            return NotJudged(
                why="no hour a day with metered flow and the pump near full command, nor days to "
                "compare part command with"
            )
        items = happenings_of(
            self.kind,
            table,
            excess > self.high_frac,
            {"share": share, "asked_l_min": table.column("asked_flow_l_min")},
        )
        groups = lasting(
            items, table=table, good=excess <= self.sound_frac, quiet_days=self.quiet_days
        )
        found = []
        for group, over in groups:
            kept = without_strays(group, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(kept, over))
        return Judged(findings=tuple(found))

    def _shares(self, table: DayTable) -> tuple[Floats, Floats]:
        """Give metered over commissioned flow, and how far it is above what is right there.

        Near full command the commissioned flow is right; at part command, where a pump need not be
        linear, what flowed there before, or commissioning once earlier days went by it.
        """
        full, *parts = (table.column(_column(band)) for band in BANDS_PERCENT)
        told = np.isfinite(parts)
        at_part = np.array(parts)
        sound = ~told | ((at_part >= SOUND_FRAC[0]) & (at_part <= SOUND_FRAC[1]))
        linear = told.any(axis=0) & sound.all(axis=0)
        proven = np.cumsum(linear) - linear >= self.linear_days
        share, excess = full.copy(), full.copy()
        for part in parts:
            own = against_own(part)
            # Far above its past and above what was set: a plant put right is not too fast.
            above = np.where(part > self.sound_frac, own.share, np.minimum(own.share, 1.0))
            excess = np.fmax(excess, np.where(proven, part, above))
            share = np.where(np.isfinite(share), share, part)
        return share, excess

    def _found(self, items: tuple[Happening, ...], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        share = float(np.median([item.values["share"] for item in items]))
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(self.kind, certainty=0.8),
            certainty=0.8,
            summary=f"Flow at {100.0 * share:.0f} % of commissioning, on {len(items)} days",
            evidence=(
                Evidence(
                    what="flow against commissioning, median of days",
                    start_s=start_s,
                    end_s=end_s,
                    value=100.0 * share,
                    unit="%",
                ),
                Evidence(
                    what="flow at commissioning, of the site file",
                    start_s=start_s,
                    end_s=end_s,
                    value=items[-1].values["asked_l_min"],
                    unit="l/min",
                ),
            ),
        )


def _column(band: tuple[float, float]) -> str:
    return f"metered_flow_share_{band[0]:.0f}"
