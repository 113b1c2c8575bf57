"""Frost risk: the fluid comes near the temperature at which it freezes.

In the data: a sensor in the loop reads close to the ice point of the fluid that the site file
states. Looks alike and is not it: a broken sensor that reads far below any weather (sensor fault);
a drain-back loop, whose collector is empty while the pump rests.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import Happening
from analysis.faults._cautions import ELECTRICITY, HEIGHT, LOCAL_CODES, NO_COLD_FILL, STEAM
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.fluid import ice_point_c
from analysis.results import Evidence
from analysis.runs import bin_runs
from analysis.sources import MELINDER, Source
from analysis.units import SECONDS_PER_DAY
from analysis.urgency import is_fresh, urgency_of

TEXT = FaultText(
    title="Loop too cold for its fluid",
    customer=(
        "The solar loop became so cold that its fluid may freeze. Frozen pipes burst; please have "
        "the antifreeze checked soon."
    ),
    technician=(
        "A loop sensor came within a few kelvin of the ice point of the stated fluid, or below it. "
        "Slush blocks the loop first, ice bursts pipes and exchangers. The stated mixture may be "
        "too weak for this place, or thinned by topping up with water."
    ),
    likely_causes=(
        "Antifreeze too weak for the place, or thinned by topping up with water",
        "Loop filled with water",
        "Drain-back loop that does not drain",
    ),
    check_next=(
        "From here: which mixture do the papers state, and who topped the loop up since?",
        "While the loop may hold ice, leave its pump off",
        "Before the next frost: measure the freezing point with a refractometer made for this "
        "fluid, on a sample taken from the cold loop",
        "If it is weaker than stated, drain and refill by the maker's procedure, and record the "
        "new mixture in the site file",
    ),
    cautions=(STEAM, NO_COLD_FILL, HEIGHT, ELECTRICITY, LOCAL_CODES),
)


_SENSORS = ("collector", "loop_hot", "loop_cold")


@dataclass(frozen=True, slots=True, kw_only=True)
class FrostRisk:
    """Fluid near its ice point.

    Attributes
    ----------
    margin_k : distance to the ice point that asks for action (function-control practice; handbook
        ice points differ by 1.2 K among themselves)
    coldest_air_c : below this no loop in any climate the tool knows can be; the sensor is broken
    least_s : shorter is not reported
    """

    margin_k: float = 3.0
    coldest_air_c: float = -45.0
    least_s: float = 1800.0
    kind: str = "frost_risk"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (MELINDER,)

    def observe(self, case: Case) -> Observation:
        """See times near the ice point."""
        loop = case.site.loop
        ice_c = ice_point_c(fluid=loop.fluid, concentration_frac=loop.concentration_frac)
        read = np.stack([case.binned(name) for name in _SENSORS])
        read = np.where(read > self.coldest_air_c, read, np.nan)
        coldest = np.fmin(np.fmin(read[0], read[1]), read[2])
        near = coldest <= ice_c + self.margin_k
        if loop.kind == "drain_back":
            near &= case.loop.moving_frac > 0.0
        found = []
        for run in bin_runs(near, least_s=self.least_s, bridge_s=1800.0):
            start_s, end_s = case.span_s(run.day, run.first, run.last)
            lowest = float(np.nanmin(coldest[run.day, run.bins]))
            # The sensor that saw it first stays the same one as more of the day arrives.
            first = read[:, run.day, run.first] <= ice_c + self.margin_k
            found.append(
                Happening(
                    kind=self.kind,
                    date=case.days.dates[run.day],
                    start_s=start_s,
                    end_s=end_s,
                    values={"lowest_c": lowest, "ice_c": ice_c},
                    channel=_SENSORS[int(np.argmax(first))],
                )
            )
        return Observation(happenings=tuple(found))

    def conclude(self, history: History) -> Conclusion:
        """Give one finding, which lasts until a better fluid is on record."""
        seen = {"seen_collector", "seen_loop_hot", "seen_loop_cold"} & set(history.table.columns)
        if not seen:
            return NotJudged(why="no temperature of the loop in the log")
        seen_near = history.table.of_kind(self.kind)
        return Judged(findings=(self._found(history, seen_near),) if seen_near else ())

    def _found(self, history: History, items: tuple[Happening, ...]) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        coldest = min(items, key=lambda item: item.values["lowest_c"])
        lowest = coldest.values["lowest_c"]
        ice_c = items[-1].values["ice_c"]
        # The cold passes, a weak fluid stays: it is over when a better one is on record.
        loop = history.site.loop
        now_c = ice_point_c(fluid=loop.fluid, concentration_frac=loop.concentration_frac)
        over = lowest > now_c + self.margin_k
        soon = _frost_season(history.until_s, history.site.place.latitude_deg)
        soon = soon or is_fresh(end_s, history.until_s)
        certainty = 0.95 if lowest <= ice_c else 0.85
        nights = len({item.date for item in items})
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            channel=items[0].channel,
            urgency=urgency_of(
                self.kind, certainty=certainty, level="acute", today=soon and not over
            ),
            certainty=certainty,
            summary=f"Loop down to {lowest:.1f} °C; the stated fluid freezes from "
            f"{ice_c:.1f} °C".replace("-", "−"),
            evidence=(
                Evidence(
                    what="coldest loop temperature",
                    start_s=coldest.start_s,
                    end_s=coldest.end_s,
                    value=lowest,
                    unit="°C",
                ),
                Evidence(
                    what="ice point of the stated fluid",
                    start_s=start_s,
                    end_s=end_s,
                    value=ice_c,
                    unit="°C",
                ),
                Evidence(
                    what="days with the loop that cold",
                    start_s=start_s,
                    end_s=end_s,
                    value=float(nights),
                    unit="days",
                ),
            ),
        )


def _frost_season(time_s: int, latitude_deg: float) -> bool:
    """Tell whether frost may come any night: within four months of midwinter (judgement)."""
    midwinter = 15.0 if latitude_deg >= 0.0 else 15.0 + 365.25 / 2.0
    day = (time_s / SECONDS_PER_DAY) % 365.25
    away = abs((day - midwinter + 365.25 / 2.0) % 365.25 - 365.25 / 2.0)
    return away <= 122.0
