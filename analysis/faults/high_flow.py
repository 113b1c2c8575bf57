"""High flow: the meter shows far more than the commissioned flow. Never more than watch.

From the spread alone it is not judged: a collector that gives too little has a small one as well.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES
from analysis.faults._flow_share import metered_share, share_span
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
    high_frac : a day's metered share above this is high (engineering judgement)
    sound_frac : below it a day is sound
    least_days, within_days : fewer days in so many are not reported
    quiet_days : so many sound days end it
    """

    high_frac: float = 1.6
    sound_frac: float = 1.3
    least_days: int = 4
    within_days: int = 15
    quiet_days: int = 3
    kind: str = "high_flow"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Energy balance of the loop; limits are engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """See days of much flow."""
        share = metered_share(case)
        found = []
        for day in np.flatnonzero(share > self.high_frac).tolist():
            start_s, end_s = share_span(case, day)
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[day],
                    start_s=start_s,
                    end_s=end_s,
                    values={
                        "share": float(share[day]),
                        "asked_l_min": case.model.flow_l_min,
                    },
                )
            )
        return Observation(columns={"metered_flow_share": share}, happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Join days; some sound ones end a finding."""
        share = history.table.column("metered_flow_share")
        if not np.isfinite(share).any():
            return NotJudged(why="no hour a day with metered flow and the pump near full command")
        groups = lasting(
            history.table.of_kind(self.kind),
            table=history.table,
            good=share <= self.sound_frac,
            quiet_days=self.quiet_days,
        )
        found = []
        for items, over in groups:
            kept = without_strays(items, least=self.least_days, within_days=self.within_days)
            if kept:
                found.append(self._found(kept, over))
        return Judged(findings=tuple(found))

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
