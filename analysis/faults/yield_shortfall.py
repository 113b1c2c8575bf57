"""Yield shortfall: less heat than a healthy collector would have given, and nothing else says why.

The last kind to be judged: days that another finding explains are left out. With the weather known,
windows of weeks are compared; without it, the plant's level on days that its own curves prove
clear. A comparison with the design alone cannot tell a fault from a dull summer. Looks alike and is
not it: days with much of the sun or the loop unlogged.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.energy import delivered, delivered_each, expected, expected_each
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._clear_level import certainty_of, weak_under_clear_sky
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.missed import missed_heat
from analysis.record import Bools
from analysis.results import Evidence
from analysis.sources import HAURWITZ, ISO_24194, Source
from analysis.uncertainty import COVERAGE_95
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Less heat than the weather offered",
    customer=(
        "Your system delivered clearly less than a healthy one would have in the same weather. "
        "The reason is not clear from the data alone."
    ),
    technician=(
        "Over weeks the delivered heat stayed below what the collector equation gives at the "
        "temperatures that occurred, beyond both uncertainties, and no other kind explains it."
    ),
    likely_causes=(
        "Dirt or new shade on the collector",
        "Flow far from the commissioned value",
        "Coil or exchanger furred up",
        "Wrong facts in the site file: area basis, tilt, direction, mixture, flow",
        "Irradiance sensor reading high, or not in the collector plane",
    ),
    check_next=(
        "From here: compare the site file with the papers, first the area that the coefficients "
        "refer to",
        "Look at a clear day's curves: is the loss at all hours (dirt, flow) or at certain sun "
        "positions (shade)?",
        "On site: read the flow setter against the commissioned flow; pressure; clean strainer",
        "From the ground: look for shade, dirt and broken tubes",
    ),
    cautions=(HOT_PARTS, STEAM, HEIGHT, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldShortfall:
    """A gap that nothing else explains.

    Attributes
    ----------
    window_days : how many logged days are taken together
    least_kwh : expected heat that a window must hold
    ratio : delivered over expected below which a window falls short (ISO 24194 practice asks for
        0.85 to 0.92 of the estimate in short checks; domestic sensors need more room)
    """

    window_days: int = 28
    least_kwh: float = 30.0
    ratio: float = 0.75
    kind: str = "yield_shortfall"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (ISO_24194, HAURWITZ)

    def observe(self, case: Case) -> Observation:
        """See nothing of its own: the days' figures are enough."""
        del case
        return Observation()

    def conclude(self, history: History) -> Conclusion:
        """Judge windows of unexplained days."""
        table = history.table
        wanted = table.column("expected_kwh")
        got = table.column("heat_kwh")
        if not np.isfinite(got).any():
            return NotJudged(why="no heat can be worked out from the log")
        weak = weak_under_clear_sky(history)
        if not np.isfinite(wanted).any():
            return weak
        usable = np.isfinite(wanted) & np.isfinite(got)
        usable &= ~table.days.among(history.explained)
        days = np.flatnonzero(usable)
        short = np.zeros(len(table.days), dtype=np.bool_)
        judged = False
        if len(days) >= self.window_days:
            windows = np.lib.stride_tricks.sliding_window_view(days, self.window_days)
            due = expected_each(table, windows, history.site)
            came = delivered_each(table, windows)
            # A window without a figure, NaN, is neither enough nor short.
            enough = due.value >= self.least_kwh
            judged = bool((enough & np.isfinite(came.value)).any())
            falls = enough & (came.value < self.ratio * due.value) & (came.high < due.low)
            short[windows[falls]] = True
        if not judged:
            return NotJudged(why=f"less than {self.least_kwh:.0f} kWh expected in any four weeks")
        found = [self._found(history, run) for run in _runs(short, days)]
        found += weak.findings if isinstance(weak, Judged) else ()
        return Judged(findings=tuple(sorted(found, key=lambda item: item.start_s)))

    def _found(self, history: History, run: np.ndarray) -> Found:
        table = history.table
        wanted, got = expected(table, run, history.site), delivered(table, run)
        assert wanted is not None
        assert got is not None
        reach = float(np.hypot(wanted.high - wanted.value, got.high - got.value))
        start_s, end_s = int(table.days.edge_s[run[0]]), int(table.days.edge_s[run[-1] + 1])
        logged = np.flatnonzero(np.isfinite(table.column("expected_kwh")))
        lasts = int(run[-1]) >= int(logged[-1]) - 2
        share = 100.0 * got.value / wanted.value
        lacking = table.column("expected_kwh")[run] - table.column("heat_kwh")[run]
        missed = missed_heat(table, run, lacking, u_kwh=reach / COVERAGE_95)
        certainty = certainty_of(table, run, 0.9)
        return Found(
            start_s=start_s,
            end_s=None if lasts else end_s,
            urgency=urgency_of(
                self.kind,
                certainty=certainty,
                lost_week=per_week(missed.lost, start_s=start_s, end_s=end_s),
            ),
            certainty=certainty,
            summary=f"Only {share:.0f} % of what a healthy collector would have given, unexplained",
            evidence=(
                Evidence(
                    what="delivered over expected",
                    start_s=start_s,
                    end_s=end_s,
                    value=share,
                    unit="%",
                ),
                Evidence(
                    what="expected heat",
                    start_s=start_s,
                    end_s=end_s,
                    value=wanted.value,
                    unit="kWh",
                ),
            ),
            lost=missed.lost,
            untaken_kwh=missed.untaken_kwh,
        )


def _runs(short: Bools, days: np.ndarray) -> list[np.ndarray]:
    """Give stretches of usable days that fall short, a sound one between ends a stretch."""
    flagged = short[days]
    runs: list[np.ndarray] = []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flagged.astype(np.int8), [0]))))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        runs.append(days[first:last])
    return runs
