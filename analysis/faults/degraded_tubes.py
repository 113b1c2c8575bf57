"""Degraded tubes: the collector gives less than it used to, in like sun at like temperature.

Tubes lose their vacuum, break or go missing; the array ages or gets dirty. Sensors of a domestic
plant cannot tell this from their own errors on any one day, so the plant is compared with its own
sound months: what the test report predicts is fitted to them, and a later drop shows. Looks alike
and is not it: standstill and switching (only steady bins count), a flow or irradiance sensor that
drifts, which the checks ask for first.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.condition.steady import CLASSES, steady_columns, steady_days
from analysis.condition.trace import Drop, Steps, Trace, trace_of
from analysis.condition.tubes import (
    Measured,
    TubesState,
    detectable,
    measured_step,
    unseen_loss,
)
from analysis.condition.words import lost_words
from analysis.condition_results import Detectable
from analysis.day_figures import usual_sun
from analysis.days import DayTable
from analysis.faults._cautions import GLASS, HEIGHT, HOT_PARTS, LOCAL_CODES, STEAM
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.missed import Missed, missed_heat
from analysis.record import Bools, Ints, known_or_zero
from analysis.results import Evidence
from analysis.sky import PLANE
from analysis.sources import ISO_9806, Source
from analysis.urgency import per_week, urgency_of

# A loss at the least that shows would show 95 times in 100 with this much more, in sigmas.
_ONE_SIDED_95 = 1.645

TEXT = FaultText(
    title="Collector weaker than it was",
    customer=(
        "In the same sun your collector now gives less than it did when it was sound. Some tubes "
        "may have lost their vacuum, or the glass is dirty."
    ),
    technician=(
        "Steady hours were compared with the plant's own sound months through the collector "
        "equation. The drop fits tubes without vacuum, broken or missing tubes, lost contact of "
        "heat pipes, or dirt. Which tube it is cannot be seen in the data."
    ),
    likely_causes=(
        "Tubes that lost their vacuum (the getter mirror at the end turns white)",
        "Broken, missing or slipped tubes; poor contact in the manifold",
        "Dirt, leaves, lime or new shade on the array",
        "Ageing of the whole array",
        "Not the collector: flow or irradiance sensor drifting, mixture changed",
    ),
    check_next=(
        "From here: were sensors, flow or mixture changed about then? Record the change if so",
        "From the ground with binoculars: broken or missing tubes, dirt, new shade, white ends",
        "On site: compare the flow reading with the flow setter, and wipe the irradiance sensor",
        "In the evening after sun, only from a safe place to stand: which tubes' glass is warmer "
        "than the rest? Point a thermometer at it rather than a hand",
        "A tube can be changed without draining where the heat pipe plugs in dry; record number "
        "and date",
    ),
    cautions=(HOT_PARTS, GLASS, HEIGHT, STEAM, LOCAL_CODES),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Follow:
    """What the days are followed by: logged days up to each steady day, and the drift allowed."""

    logged: Ints
    drift: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spell:
    """A drop and its end as the days showed it; places are rows of the table of days.

    `sound_place` lies before the onset by as many steady days as it may have been dated too late.
    """

    onset_place: int
    seen_place: int
    sound_place: int
    end_place: int | None
    frac: float
    u_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DegradedTubes:
    """Output below the plant's own baseline.

    Attributes
    ----------
    sound_days : logged days that the plant must have been sound first
    steady_days : of them sunny ones with enough steady hours
    sunny_kwh_m2 : what counts as a sunny day
    reach : how many steady days back a step is looked for
    least_after : steady days that must lie after it
    least_drop : smaller drops are not reported: one dead tube in twenty is 2 %, below what
        domestic sensors resolve; three are 5 %
    drift, drift_elsewhere : what seasons and instruments may do besides, standard uncertainty,
        with the sun measured in the collector plane and otherwise (judgement)
    sigmas : how far beyond chance a drop must lie
    visit_drop : from here a visit pays
    recovered_frac : back to within this share of the drop ends it
    """

    sound_days: int = 90
    steady_days: int = 15
    sunny_kwh_m2: float = 3.0
    reach: int = 30
    least_after: int = 6
    least_drop: float = 0.04
    drift: float = 0.006
    drift_elsewhere: float = 0.025
    sigmas: float = 4.0
    visit_drop: float = 0.045
    recovered_frac: float = 0.3
    kind: str = "degraded_tubes"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        ISO_9806,
        Source("Tube arithmetic: 1, 3 of 20 tubes without vacuum cost 2 %, 5 % at 40 K (invented)"),
    )

    def observe(self, case: Case) -> Observation:
        """Gather the steady hours of each day."""
        return Observation(columns=steady_columns(case))

    def conclude(self, history: History) -> Conclusion:
        """Follow the days and compare each window with the baseline before it."""
        table = history.table
        if not np.isfinite(table.column("irradiation_kwh_m2")).any():
            return NotJudged(why="the sun on the collector is unknown")
        if not np.isfinite(table.column("heat_kwh")).any():
            return NotJudged(why="no heat can be worked out from the log")
        if not (table.column("heat_measured") > 0.5).any():
            return NotJudged(why="the flow is not measured: heat is only estimated")
        trace = trace_of(steady_days(table, sunny_kwh_m2=self.sunny_kwh_m2), history.site)
        follow = _Follow(
            logged=np.cumsum(np.isfinite(table.column("heat_kwh")))[trace.days.place],
            drift=self.drift_elsewhere if _seen_elsewhere(history) else self.drift,
        )
        first = self._first_judged(trace, follow)
        if first is None:
            return NotJudged(
                why=f"needs {self.sound_days} sound days with {self.steady_days} sunny, steady "
                f"ones among them first; there are {len(trace.out)} such days in all"
            )
        early = self._unbased(trace, follow, first)
        if early is not None:
            day = table.days.dates[trace.days.place[early.onset]]
            return NotJudged(
                why=f"the output fell about {day}, before there were {self.sound_days} sound days "
                f"with {self.steady_days} sunny, steady ones to compare with"
            )
        since = table.days.dates[trace.days.place[0]]
        why = f"compared with the plant's own output since {since}; older faults stay unseen"
        spells = self._spells(trace, follow, first)
        used = np.ones(len(table.days), dtype=np.bool_)
        first_place = int(trace.days.place[first - self.least_after])
        findings: list[Found] = []
        now: Measured | None = None
        for spell in spells:
            seen = self._measured(history, spell, used, first_place, follow.drift)
            ended = slice(seen.place, spell.end_place)
            if seen.change.kind == "flow_reading":
                why += (
                    f"; the flow reading fell about {seen.change.date} at the same pump command "
                    "while the spread between the pipes stayed: the flow meter, not the tubes"
                )
            else:
                findings.append(self._found(history, spell, seen))
            if spell.end_place is None:
                now = seen
            else:
                used[ended] = False
        shown = self._detectable(history, trace, follow, spells)
        if now is not None:
            tubes = TubesState(
                lost=now.lost,
                change=now.change,
                detectable=shown,
                trend_percent_a=now.trend_percent_a,
            )
        else:
            lost, trend = unseen_loss(
                table, history.site, used=used, first=first_place, drift=follow.drift
            )
            tubes = TubesState(lost=lost, change=None, detectable=shown, trend_percent_a=trend)
        return Judged(findings=tuple(findings), why=why, tubes=tubes)

    def _spells(self, trace: Trace, follow: _Follow, first: int) -> list[_Spell]:
        """Follow the days from drop to drop; the last one may last."""
        spells: list[_Spell] = []
        joint, last = 0, first
        while (drop := self._next_drop(trace, follow, joint, last)) is not None:
            drop = self._settled(trace, drop)
            end = self._recovery(trace, drop)
            place = trace.days.place
            spells.append(
                _Spell(
                    onset_place=int(place[drop.onset]),
                    seen_place=int(place[drop.seen - 1]),
                    sound_place=int(place[max(drop.onset - self.steady_days, 0)]),
                    end_place=None if end is None else int(place[end]),
                    frac=drop.frac,
                    u_frac=drop.u_frac,
                )
            )
            if end is None:
                break
            # What follows the repair is compared with all sound days, before and after.
            joint, last = drop.onset, drop.onset + self.least_after
            trace = trace.without(drop.onset, end)
            logged = np.delete(follow.logged, slice(drop.onset, end))
            follow = _Follow(logged=logged, drift=follow.drift)
        return spells

    def _measured(
        self, history: History, spell: _Spell, used: Bools, first_place: int, drift: float
    ) -> Measured:
        """Measure a spell by the finer regression."""
        until = len(used) if spell.end_place is None else spell.end_place
        now = used.copy()
        now[until:] = False
        seen = measured_step(
            history.table,
            history.site,
            used=now,
            first=max(first_place, spell.sound_place),
            last=spell.seen_place,
            drift=drift,
            plain=(spell.frac, float(np.hypot(spell.u_frac, drift))),
        )
        # A spell was found on more days than a measurement needs.
        assert seen is not None
        return seen

    def _detectable(
        self, history: History, trace: Trace, follow: _Follow, spells: list[_Spell]
    ) -> Detectable | None:
        """Say which loss a summer of the plant's own sound days would have shown."""
        for spell in spells:
            lasting = np.flatnonzero(trace.days.place >= spell.onset_place)
            end = len(trace.out) if spell.end_place is None else None
            if end is not None:
                lasting = lasting[trace.days.place[lasting] < (spell.end_place or 0)]
            if len(lasting):
                trace = trace.without(int(lasting[0]), int(lasting[-1]) + 1)
        if len(trace.out) < self.steady_days + self.least_after:
            return None
        u_step = trace.latest_step(len(trace.out), reach=self.reach, least=self.least_after)
        u = float(np.hypot(u_step.u_frac, follow.drift))
        return detectable(
            trace.days,
            history.site,
            least_drop=max(self.least_drop, self.sigmas * u) + _ONE_SIDED_95 * u,
            steady_days=self.reach,
        )

    def _first_judged(self, trace: Trace, follow: _Follow) -> int | None:
        """Give how many steady days there must be before the first can be judged."""
        onset = np.arange(self.steady_days, len(trace.out) - self.least_after + 1)
        based = np.flatnonzero(self._based(follow, onset))
        return int(onset[based[0]]) + self.least_after if based.size else None

    def _based(self, follow: _Follow, onset: Ints) -> Bools:
        """Tell whether enough sound days lie before each of some steady days."""
        return (onset >= self.steady_days) & (follow.logged[onset - 1] >= self.sound_days)

    def _unbased(self, trace: Trace, follow: _Follow, first: int) -> Drop | None:
        """Give the drop that came before there was enough to compare with, if one did."""
        seen = trace.steps(np.array([first]), reach=first, least=self.least_after)
        early = self._large(seen, follow) & ~self._based(follow, seen.onset)
        drop = seen.drop(0)
        return drop if early[0] and self._local(trace, drop) else None

    def _large(self, seen: Steps, follow: _Follow) -> Bools:
        """Tell which steps cost more than chance and drift may."""
        limit = self.sigmas * np.hypot(seen.u_frac, follow.drift)
        return np.asarray(seen.frac >= np.maximum(self.least_drop, limit))

    def _next_drop(self, trace: Trace, follow: _Follow, joint: int, first: int) -> Drop | None:
        """Follow the days until a drop is certain, not earlier than at a joint."""
        seen = trace.steps(
            np.arange(first, len(trace.out) + 1), reach=self.reach, least=self.least_after
        )
        due = self._based(follow, seen.onset) & (seen.onset >= joint) & self._large(seen, follow)
        drops = (seen.drop(number) for number in np.flatnonzero(due).tolist())
        return next((drop for drop in drops if self._local(trace, drop)), None)

    def _settled(self, trace: Trace, drop: Drop) -> Drop:
        """Size and date a drop with the days that followed, as long as they make it surer.

        The first day on which a drop is certain sees little of it: a large one is dated before its
        time then, and made small by the sound days taken in.
        """
        last = min(drop.seen + self.reach - self.least_after, len(trace.out))
        seen = trace.steps(np.arange(drop.seen, last + 1), reach=self.reach, least=self.least_after)
        return seen.drop(int(np.argmax(seen.frac / seen.u_frac)))

    def _local(self, trace: Trace, drop: Drop) -> bool:
        """Tell whether the days right before and right after the onset show the drop too."""
        before = trace.drop(drop.sound, max(drop.onset - 12, 0), drop.onset)
        after = trace.drop(drop.sound, drop.onset, drop.seen)
        return after - before >= 0.6 * self.least_drop

    def _recovery(self, trace: Trace, drop: Drop) -> int | None:
        """Give the first steady day from which the output is back at the sound level."""
        width = self.least_after
        if len(trace.out) < drop.seen + 2 * width:
            return None
        back = trace.drops(drop.sound, width) < self.recovered_frac * drop.frac
        # Twice in a row: cool days make the drop of tubes without vacuum small for a while.
        sure = np.flatnonzero(back[drop.seen : -width] & back[drop.seen + width :])
        return self._first_sound(trace, drop, drop.seen + int(sure[0])) if sure.size else None

    def _first_sound(self, trace: Trace, drop: Drop, first: int) -> int:
        """Give the first of two days in a row that are nearer to sound than to the drop."""
        nearer = trace.drops(drop.sound, 1) < 0.5 * drop.frac
        sound = np.flatnonzero(nearer[first:-1] & nearer[first + 1 :])
        return first + int(sound[0]) if sound.size else first

    def _found(self, history: History, spell: _Spell, seen: Measured) -> Found:
        table, end = history.table, spell.end_place
        drop, u_all = seen.share, float(np.hypot(seen.u_share, self.drift))
        start_s = int(table.days.edge_s[seen.place])
        end_s = None if end is None else int(table.days.edge_s[end])
        until_s = history.end_s if end_s is None else end_s
        days = np.arange(seen.place, len(table.days) if end is None else end)
        missed = _missed(table, days, seen, u_all)
        certainty = min(0.99, 0.5 + 0.1 * spell.frac / max(spell.u_frac, 1e-6))
        evidence = [
            ("output below the plant's own sound months", 100.0 * drop, "%"),
            ("bounds of that figure (95 %), plus or minus", 196.0 * u_all, "%"),
        ]
        words = f"Collector gives {100.0 * drop:.0f} % less than in its sound months"
        kind, tubes = seen.change.kind, history.site.tubes
        if kind == "tubes_or_flow_reading":
            words = (
                f"Output low by {100.0 * drop:.0f} %: tubes, or the flow reading, which nothing "
                "else in the log can tell apart"
            )
        elif seen.lost is not None and tubes:
            words += f", {lost_words(seen.lost, tubes, kind)}"
            evidence += [
                ("tubes lost, fewest (95 %)", seen.lost.low, ""),
                ("tubes lost, most (95 %)", seen.lost.high, ""),
            ]
        return Found(
            start_s=start_s,
            end_s=end_s,
            urgency=urgency_of(
                self.kind,
                certainty=certainty,
                level="present" if drop >= self.visit_drop else "possible",
                lost_week=per_week(missed.lost, start_s=start_s, end_s=until_s),
            ),
            certainty=certainty,
            summary=words,
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=until_s, value=value, unit=unit)
                for what, value, unit in evidence
            ),
            lost=missed.lost,
            untaken_kwh=missed.untaken_kwh,
        )


def _seen_elsewhere(history: History) -> bool:
    """Tell whether the sun was measured out of the collectors' plane.

    A horizontal sensor or a weather file says less about the plane, season by season; so does a
    sensor in the plane of the first array about arrays that face elsewhere.
    """
    first, *others = history.site.arrays
    apart = any(
        (array.tilt_deg, array.azimuth_deg) != (first.tilt_deg, first.azimuth_deg)
        for array in others
    )
    return apart or usual_sun(history.table) != PLANE


def _missed(table: DayTable, days: Ints, seen: Measured, u_drop: float) -> Missed:
    """Give the heat that a drop cost, as the store would have taken it.

    A drop seen in steady sun is carried to all hours: by the heat that came where tubes are
    missing; by what the collectors lose to the air where tubes have no vacuum, which costs more of
    dull and cold hours. Where it is not sure which, one is as likely as the other, and so it is
    where lost vacuum is said: a pair of sensors that drifts looks the same.
    """
    heat = np.maximum(known_or_zero(table.column("heat_kwh")[days]), 0.0)
    less = seen.share / (1.0 - seen.share)
    offered = by_loss = less * heat
    out, loss = (_steady_kwh(table, days, part) for part in ("out", "loss"))
    if seen.change.kind != "optical" and loss > 0.0:
        to_air = known_or_zero(table.column("expected_loss_kwh")[days])
        by_loss = np.maximum(to_air, 0.0) * less * out / loss
    u_frac = u_drop / max(seen.share, 1e-6)
    return missed_heat(
        table,
        days,
        offered,
        u_kwh=u_frac * float((offered + by_loss).sum()) / 2.0,
        most_offered_kwh=by_loss,
    )


def _steady_kwh(table: DayTable, days: Ints, part: str) -> float:
    return float(
        sum(np.nansum(table.column(f"steady_{name}_{part}_kwh")[days]) for name in CLASSES)
    )
