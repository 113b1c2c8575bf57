"""Low flow: at near full command far less than the commissioned flow moves.

Looks alike and is not it: no flow at all (lost circulation); a pump slowed by its controller, which
is not judged; a broken meter (sensor fault).
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._flow_share import (
    LOW_EDGE_FRAC,
    SOUND_FRAC,
    against_own,
    clear_share,
    happenings_of,
    metered_share,
    running_span_s,
    sunlit_share,
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
from analysis.sources import Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Too little flow in the solar loop",
    customer=(
        "Too little fluid moves through the solar loop. The collector runs hotter than it need and "
        "gives less."
    ),
    technician=(
        "At near full command the flow stayed well under that of commissioning, metered or worked "
        "out from sun and spread. The pipes differ more, the collector runs hotter and loses more; "
        "on bright days the fluid ages faster. The flow in the site file may also be wrong."
    ),
    likely_causes=(
        "Air in the loop, dirty strainer, valve partly closed",
        "Pump stage or speed set too low, or pump worn",
        "Fluid thickened by age; flow setter moved",
        "Flow in the site file is not that of commissioning",
    ),
    check_next=(
        "From here: compare the flow in the site file with the papers of commissioning",
        "In the controller's menu: which speed is set, and which is commanded at noon?",
        "On site: read the flow setter at full command; is no valve partly closed?",
        "With the loop cold: vent it and clean the strainer by the maker's procedure",
    ),
    cautions=(HOT_PARTS, STEAM, ELECTRICITY, LOCAL_CODES),
)

_BY_CLEAR = "told by clear days and spread"
_HOW = ("metered", "worked out from sun and spread", _BY_CLEAR)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Measure:
    """How the share was told, its days against papers and past, which are low, which sound."""

    how: str
    share: Floats
    own: Floats
    low: Bools
    good: Bools


@dataclass(frozen=True, slots=True, kw_only=True)
class LowFlow:
    """Flow well under that of commissioning.

    Attributes
    ----------
    metered_frac : at near full command a day's metered share under this is low (judgement)
    sunlit_frac : likewise from sun or sky and spread, which know it to a third only (judgement)
    own_frac : of the plant's own earlier level, which they know much better (judgement)
    blocked_frac : below it nothing moves, which is lost circulation
    sound_frac : above it a day is sound
    least_days, within_days : fewer days in so many are not reported
    clear_within_days : likewise where clear days tell it: a dull summer has one in six (tuned on
        invented plants)
    clear_own_days : so many clear days that agree are a level of the plant's own (tuned on
        invented plants)
    quiet_days : so many sound days end it
    visit_frac, visit_days : metered under this for so long asks for a visit: a hot collector wears
        fluid and parts
    """

    metered_frac: float = 0.6
    sunlit_frac: float = 0.45
    own_frac: float = 0.7
    blocked_frac: float = 0.12
    sound_frac: float = 0.75
    least_days: int = 4
    within_days: int = 15
    clear_within_days: int = 25
    clear_own_days: int = 5
    quiet_days: int = 3
    visit_frac: float = 0.5
    visit_days: int = 5
    kind: str = "low_flow"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        Source("Energy balance of the loop; limits are engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """Give the days' shares; how low is low, the whole of the days decides."""
        share = metered_share(case) if "flow" in case.channels else sunlit_share(case)
        asked = np.full(len(case.days), case.model.flow_l_min)
        return Observation(
            columns={"flow_share": share, "asked_flow_l_min": asked, **running_span_s(case)}
        )

    def conclude(self, history: History) -> Conclusion:
        """Join days; some sound ones end a finding."""
        table = history.table
        measure = self._measure(table)
        if measure is None:
            return NotJudged(
                why="neither flow and pump, nor pump and both pipes, with the sun or clear days"
            )
        items = happenings_of(
            self.kind,
            table,
            measure.low,
            {
                "share": measure.share,
                "own": measure.own,
                "how": np.full(len(table.days), float(_HOW.index(measure.how))),
                "asked_l_min": table.column("asked_flow_l_min"),
            },
        )
        groups = lasting(items, table=table, good=measure.good, quiet_days=self.quiet_days)
        found = []
        within_days = self.clear_within_days if measure.how == _BY_CLEAR else self.within_days
        for group, over in groups:
            kept = without_strays(group, least=self.least_days, within_days=within_days)
            if kept:
                found.append(self._found(kept, over))
        why = "" if measure.how == "metered" else "no flow meter: from the pipes' spread"
        return Judged(findings=tuple(found), why=why)

    def _measure(self, table: DayTable) -> _Measure | None:
        """Tell days of little flow by the best of what is known; None where nothing is."""
        share = table.column("flow_share")
        if "seen_flow" in table.columns:
            low, good = share < self.metered_frac, share >= self.sound_frac
            how, level = "metered", np.full(share.shape, np.nan)
        else:
            how, most = "worked out from sun and spread", np.inf
            own = against_own(share)
            if not np.isfinite(share).any():
                # A day that seems to have more than its flow was dull, and proves nothing.
                how, most = _BY_CLEAR, SOUND_FRAC[1]
                share = clear_share(table) if "seen_loop_hot" in table.columns else share
                own = against_own(share, edge_frac=LOW_EDGE_FRAC, agreeing=self.clear_own_days)
            low = (own.share < self.own_frac) & (share < 1.0)
            low |= share < self.sunlit_frac
            told = np.where(np.isfinite(own.share), own.share, share)
            good = (told >= self.sound_frac) & (told <= most) & ~low
            level = own.share
        if not np.isfinite(share).any():
            return None
        return _Measure(
            how=how,
            share=share,
            own=level,
            low=np.asarray(low & (share > self.blocked_frac)),
            good=np.asarray(good),
        )

    def _found(self, items: tuple[Happening, ...], over: bool) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        share = float(np.median([item.values["share"] for item in items]))
        how = _HOW[round(items[-1].values["how"])]
        own = float(np.median([item.values["own"] for item in items]))
        # Collector data or a sky that are off leave the papers' share near one.
        by_own = own < self.own_frac and share >= self.sunlit_frac
        told, against = (own, "its own earlier days") if by_own else (share, "commissioning")
        sure = how == "metered" and share < self.visit_frac and len(items) >= self.visit_days
        certainty = 0.9 if sure else 0.65
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind, certainty=certainty, level="present" if sure else "possible"
            ),
            certainty=certainty,
            summary=f"Flow at {100.0 * told:.0f} % of {against}, {how}, on {len(items)} days",
            evidence=(
                Evidence(
                    what=f"flow against {against}, {how}, median of days",
                    start_s=start_s,
                    end_s=end_s,
                    value=100.0 * told,
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
