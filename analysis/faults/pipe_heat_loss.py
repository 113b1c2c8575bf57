"""Pipe heat loss: fluid cools on its way down far more than pipes of this length should let it.

In the data: from collector to hot pipe the temperature falls, the more the hotter the fluid and the
slower it flows. A collector sensor in a poor place, and both sensors' errors, make a fall that is
the same however hot the fluid is: it is fitted beside the loss and taken out. Looks alike and is
not it: less flow than is known, where nothing meters it; that is asked for first.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted, summed
from analysis.days import DayTable, Happening
from analysis.expected import still_idle
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES, STEAM
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
from analysis.heat import PUMP_ON_PERCENT
from analysis.loop_pipes import around_pipes_c
from analysis.missed import Missed, missed_heat
from analysis.quantiles import median_of, quantile_of, running
from analysis.record import Bools, Floats, Ints
from analysis.results import Evidence
from analysis.sources import ISO_12241, Source
from analysis.units import SECONDS_PER_HOUR, kwh_from_j
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Pipes lose too much heat",
    customer=(
        "On its way from the collector to your store the solar heat cools down more than it "
        "should. The insulation of the pipes seems to be missing, wet or damaged somewhere."
    ),
    technician=(
        "Between collector and hot pipe the fluid cools far more than the planned pipes would let "
        "it, and the more so the hotter it is and the slower it flows; a sensor's error would not "
        "grow with the heat. Insulation is bare, wet, pecked or gone over part of the run."
    ),
    likely_causes=(
        "Insulation missing since a repair, or open at joints and valves",
        "Insulation outdoors wet, or eaten by birds and martens",
        "Foam that has shrunk or crumbled from heat and sunlight",
        "Pipes longer or thinner insulated than the site file says",
        "Less flow than the command says, where no meter shows it",
    ),
    check_next=(
        "From here: is the length of the pipes in the site file right, both ways together?",
        "From here: did it come at once (a repair, a storm) or with rain (wet insulation)?",
        "On site: follow the pipes indoors, pump running: where does a touchless thermometer read "
        "far above the room on the insulation?",
        "From the ground with binoculars: insulation and its cover outdoors",
        "Renew it with material for 150 °C and more near the collector, and cover it outdoors",
        "Only from safe access, collector cold: the last metres on the roof",
    ),
    cautions=(HOT_PARTS, HEIGHT, STEAM, LOCAL_CODES),
)

# Bins after a start in which what stood in the pipes comes by.
_SETTLE_BINS = 4
_LEAST_FLOW_FRAC = 0.25
# Fluid that warms faster than this still fills the pipe with older, cooler fluid [K].
_MOST_LAG_K = 1.0
_LEAST_BINS = 8
# The sensors' errors, and the place of the one on the roof, together (IEC 60751 class B at 60 °C
# and common practice: 1.5 K on the roof); what single readings scatter besides.
_OFFSET_U_K, _SCATTER_K = 1.6, 0.6
_MOST_OFFSET_K = 5.0 * _OFFSET_U_K


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeHeatLoss:
    """Loss of the pipe from the roof against the planned one.

    Attributes
    ----------
    many : so many times the planned loss is too much where the plant has no past
    most : no pipe without any insulation loses more than so many times the planned loss; then a
        sensor sits elsewhere than told (engineering judgement)
    more_than_past, past_plus : so many times its own past, and so much of the planned loss more
    sound_many : below it a day is sound where the plant has no past
    alone_frac : fitted to a finding's days alone, so much of the bound must be left
    past_days : so many days at first make the past
    around_days : days on each side that smooth a day
    least_days, within_days : fewer days in so many are not reported
    most_days_frac : of the days between first and last that tell, so many must show it
    quiet_days : so many sound days end it (all engineering judgement)
    excess_u_frac : standard uncertainty of both pipes' excess, as a share of it: the return is not
        seen
    """

    many: float = 1.6
    most: float = 6.0
    more_than_past: float = 1.6
    past_plus: float = 0.55
    sound_many: float = 1.3
    alone_frac: float = 0.9
    past_days: int = 12
    around_days: int = 3
    least_days: int = 5
    within_days: int = 25
    most_days_frac: float = 0.6
    quiet_days: int = 3
    excess_u_frac: float = 0.2
    kind: str = "pipe_heat_loss"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        ISO_12241,
        Source("Heat balance of a pipe: fall = loss per kelvin times excess over heat flow"),
    )

    def observe(self, case: Case) -> Observation:
        """Sum up each day's steady falls and what the planned pipes would make of them."""
        if not {"collector", "loop_hot"} <= case.channels:
            return Observation()
        if not {"pump", "flow"} & case.channels:
            return Observation()
        roof, hot, share = case.loop.t_roof_c, case.binned("loop_hot"), _flow_share(case)
        around = around_pipes_c(case.loop.t_ambient_c)
        inside = (roof + hot) / 2.0
        half_w_k = case.model.pipe_w_k / 2.0
        carry_w_k = case.model.flow_w_k * share
        with np.errstate(invalid="ignore", divide="ignore"):
            planned = half_w_k * (inside - around) / carry_w_k
            lag = case.model.pipe_j_k / 2.0 * _rate_k_s(inside) / carry_w_k
        fall = roof - hot - lag
        use = _steady(case) & (share >= _LEAST_FLOW_FRAC) & (np.abs(lag) < _MOST_LAG_K)
        use &= ~still_idle(case.loop, case.model, case.sky.gain_w)
        # Where the roof is further off, the fluid stands behind its command.
        use &= fall <= self.most * planned + _MOST_OFFSET_K
        use &= np.isfinite(planned) & np.isfinite(fall) & (planned > 0.0)
        use &= (counted(use) >= _LEAST_BINS)[:, None]
        seconds = case.loop.known_s * case.loop.moving_frac
        cold = case.binned("loop_cold")
        columns = {
            "pipe_bins": counted(use).astype(np.float64),
            "pipe_planned_k": summed(planned, use),
            "pipe_fall_k": summed(fall, use),
            "pipe_planned_k2": summed(planned**2, use),
            "pipe_both_k2": summed(planned * fall, use),
            "pipe_hot_kwh": _running_kwh(half_w_k * (inside - around), seconds),
            "pipe_cold_kwh": _running_kwh(half_w_k * (cold - around), seconds),
        }
        return Observation(columns=columns)

    def conclude(self, history: History) -> Conclusion:
        """Hold each day's loss against the planned one and the plant's own past."""
        table = history.table
        for name, words in (("collector", "collector"), ("loop_hot", "hot pipe")):
            if f"seen_{name}" not in table.columns:
                return NotJudged(why=f"no {words} temperature in the log")
        place = np.flatnonzero(np.nan_to_num(table.column("pipe_bins")) >= _LEAST_BINS)
        if place.size < self.least_days:
            return NotJudged(why="too few days on which the loop ran steadily, or no pump or flow")
        shares = running(_shares(table, place), 0.5, 2 * self.around_days + 1)
        past = self._past(table, place)
        length_known = history.site.loop.pipe_length_m is not None
        if past is None and not length_known:
            return NotJudged(why="the site file gives no pipe length, and the log no past")
        bound, sound = self._bounds(past, length_known)
        good = np.zeros(len(table.days), dtype=np.bool_)
        good[place[shares < sound]] = True
        items = [
            _happening(self.kind, table, int(place[number]), float(shares[number]))
            for number in np.flatnonzero(shares >= bound).tolist()
            # What is held against its past begins after it.
            if past is None or number >= self.past_days
        ]
        found = []
        for group, over in lasting(items, table=table, good=good, quiet_days=self.quiet_days):
            kept = without_strays(group, least=self.least_days, within_days=self.within_days)
            if not kept or not self._outweighs(table, kept, place):
                continue
            # A sensor that was moved shifts all falls alike: its days alone show nothing.
            share, high = _alone(table, kept)
            if self.alone_frac * bound <= share and high <= self.most:
                found.append(self._found(table, kept, over, share, past))
        why = "" if length_known else "no pipe length in the site file: against the own past alone"
        return Judged(findings=tuple(found), why=why)

    def _outweighs(self, table: DayTable, items: tuple[Happening, ...], place: Ints) -> bool:
        """Tell whether most of the days between that tell, show it."""
        first, last = (table.days.dates.index(items[end].date) for end in (0, -1))
        told = ((place >= first) & (place <= last)).sum()
        return bool(len(items) >= self.most_days_frac * told)

    def _past(self, table: DayTable, place: Ints) -> float | None:
        """Give the plant's own loss on its first days, as a share of the planned one."""
        if len(place) < 2 * self.past_days:
            return None
        past = median_of(_shares(table, place[: self.past_days]))
        return past if 0.0 <= past < self.many else None

    def _bounds(self, past: float | None, length_known: bool) -> tuple[float, float]:
        """Give the shares from which on a day shows it, and below which it is sound."""
        if past is None:
            return self.many, self.sound_many
        level = max(past, 0.3)
        own = max(self.more_than_past * level, past + self.past_plus)
        if length_known:
            own = min(max(own, 1.1), max(self.many, 1.3 * past))
        return own, (own + past) / 2.0

    def _found(
        self,
        table: DayTable,
        items: tuple[Happening, ...],
        over: bool,
        share: float,
        past: float | None,
    ) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        metered = "seen_flow" in table.columns
        sure = 0.85 if metered and past is not None else 0.75
        missed = self._missed(table, items, share - (past if past is not None else 1.0))
        evidence = [
            ("loss of the pipe from the roof over the planned one", share, "times"),
            ("days that show it", float(len(items)), "days"),
        ]
        if past is not None:
            evidence.append(("the same on the plant's first days", past, "times"))
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=sure,
                lost_week=per_week(missed.lost, start_s=start_s, end_s=end_s),
            ),
            certainty=sure,
            summary=f"The pipe from the roof loses {share:.1f} times what is planned for it"
            + (f"; it was {past:.1f} times" if past is not None else ""),
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=end_s, value=value, unit=unit)
                for what, value, unit in evidence
            ),
            lost=missed.lost,
            untaken_kwh=missed.untaken_kwh,
        )

    def _missed(self, table: DayTable, items: tuple[Happening, ...], excess: float) -> Missed:
        """Give the excess of both pipes, as the store would have taken it."""
        dates = table.days.dates
        days = np.arange(dates.index(items[0].date), dates.index(items[-1].date) + 1)
        planned = table.column("pipe_hot_kwh")[days] + table.column("pipe_cold_kwh")[days]
        extra = max(excess, 0.0) * np.nan_to_num(planned)
        return missed_heat(table, days, extra, u_kwh=self.excess_u_frac * float(extra.sum()))


def _flow_share(case: Case) -> Floats:
    flow = case.binned("flow") / case.model.flow_l_min
    return np.where(np.isfinite(flow), flow, case.binned("pump") / 100.0)


def _steady(case: Case) -> Bools:
    moving = case.loop.moving_frac > 0.95
    if "pump" in case.channels:
        # A flow that is only read carries nothing.
        moving &= case.binned("pump") >= PUMP_ON_PERCENT
    steady = moving.copy()
    for back in range(1, _SETTLE_BINS + 1):
        steady[:, back:] &= moving[:, :-back]
        steady[:, :back] = False
    steady[:, :-1] &= moving[:, 1:]
    return steady


def _rate_k_s(t_c: Floats) -> Floats:
    """Give the rate of change over the twenty minutes around each bin [K/s]."""
    rate = np.full(t_c.shape, np.nan)
    rate[:, 2:-2] = (t_c[:, 4:] - t_c[:, :-4]) / (SECONDS_PER_HOUR / 3.0)
    return rate


def _running_kwh(power_w: Floats, seconds: Floats) -> Floats:
    known = np.isfinite(power_w) & (seconds > 0.0)
    return kwh_from_j(summed(np.maximum(power_w, 0.0) * seconds, known))


def _alone(table: DayTable, items: tuple[Happening, ...]) -> tuple[float, float]:
    """Give median and upper quartile of the loss over the planned one, fitted to days alone."""
    place = np.array([table.days.dates.index(item.date) for item in items], dtype=np.int64)
    shares = _shares(table, place)
    return quantile_of(shares, 0.5), quantile_of(shares, 0.75)


def _shares(table: DayTable, place: Ints) -> Floats:
    """Give each day's loss as a share of the planned one, one offset fitted to all of them.

    Least squares of fall = offset + share of the day times planned fall; the offset is held near
    nothing by what sensors may differ.
    """
    count, planned, fall, planned2, both = (
        table.column(f"pipe_{name}")[place]
        for name in ("bins", "planned_k", "fall_k", "planned_k2", "both_k2")
    )
    weight = float((count - planned**2 / planned2).sum()) / _SCATTER_K**2
    pull = float((fall - both * planned / planned2).sum()) / _SCATTER_K**2
    offset_k = pull / (weight + 1.0 / _OFFSET_U_K**2)
    return np.asarray((both - offset_k * planned) / planned2)


def _happening(kind: str, table: DayTable, day: int, share: float) -> Happening:
    return Happening(
        kind=kind,
        date=table.days.dates[day],
        start_s=int(table.days.edge_s[day]),
        end_s=int(table.days.edge_s[day + 1]),
        values={"share": share},
    )
