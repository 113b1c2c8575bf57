"""Sensor fault: a sensor reads what cannot be, or nothing, or the same value for ever.

An open or shorted circuit reads off the scale (such values are masked when the log is read, and
flagged); a stuck sensor repeats one value to the last digit while everything around it moves. Looks
alike and is not it: a store that really rests, a logger with coarse steps; so a constant value
counts only where heat moved, or, from a logger with fine steps, for most of a day.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.channels import channel
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HEIGHT, HOT_PARTS, LOCAL_CODES, NO_COLD_FILL
from analysis.faults._episodes import days_between
from analysis.faults._grain import grain_columns, grain_k
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._stillness import ConstantRun, Stillness, stillness
from analysis.grid import BIN_S
from analysis.heat import PUMP_ON_PERCENT, TRICKLE_FRAC, column
from analysis.precedence_rules import GAVE_NO_VALUE, OFF_ITS_SCALE
from analysis.record import Bools, Floats, Ints
from analysis.results import Evidence
from analysis.sources import IEC_60751, Source
from analysis.units import SECONDS_PER_HOUR, kwh_from_j
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="Sensor out of order",
    customer=(
        "A temperature or flow sensor no longer reads right. Figures that depend on it are left "
        "out or doubtful until it is changed."
    ),
    technician=(
        "The reading is off the scale, missing, or frozen at one value while the plant moved. The "
        "controller may be working from the same sensor, so a broken collector or store sensor can "
        "stop the loop or let it run at night."
    ),
    likely_causes=(
        "Cable broken, chafed or chewed; loose terminal; water in a joint",
        "Sensor burnt by stagnation heat (collector) or pulled out of its pocket",
        "Wrong sensor type set in the controller",
        "Logger repeating its last value after losing the sensor or the bus",
    ),
    check_next=(
        "From here: which channel, since when, and does the controller's own display show it too?",
        "At the controller, isolated: measure the sensor's resistance at the terminals against the "
        "table of its type (Pt1000: about 1078 Ω at 20 °C)",
        "With the collector cold, swap terminals with a sound sensor of the same type: does the "
        "fault go with the sensor or stay with the input? Then put both back",
        "Follow the cable; only then plan work on the roof",
    ),
    cautions=(ELECTRICITY, HOT_PARTS, NO_COLD_FILL, HEIGHT, LOCAL_CODES),
)

# What the controller steers by; without them the loop itself is at risk.
_STEERING = ("collector", "store_bottom", "store_top")
_WAYS = {
    "open": OFF_ITS_SCALE,
    "stuck": "repeated one value",
    "missing": GAVE_NO_VALUE,
}
# How a stuck reading stands in a happening's `way`.
STUCK = float(list(_WAYS).index("stuck"))


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFault:
    """A channel that cannot be believed.

    Attributes
    ----------
    least_open_s : off the scale for this long in a day (judgement)
    still_day_s : constant for this long means stuck whatever happened (judgement)
    still_active_s : constant for this long while heat moved means stuck (usual check: frozen for
        6 h with sun)
    moved_kwh : heat that must have moved meanwhile
    store_rise_k : what it must be to the whole store where the steps are coarse (judgement)
    lit_s : an irradiance sensor must see the sun move in this time of daylight (judgement)
    coarse_k : a logger whose steps are at least this coarse may repeat a resting value for days
    missing_days : so many days without a value, once it had given some
    """

    least_open_s: float = 1800.0
    still_day_s: float = 72000.0
    still_active_s: float = 18000.0
    moved_kwh: float = 0.7
    store_rise_k: float = 6.0
    lit_s: float = 14400.0
    coarse_k: float = 0.4
    missing_days: int = 2
    kind: str = "sensor_fault"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        IEC_60751,
        Source("Frozen value for 6 h with sun: function-control practice, engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """See channels off their scale or frozen, day by day."""
        still = stillness(case, filter(_is_watched, case.record.columns))
        found = [*self._open(case), *self._stuck(case, still)]
        found.sort(key=lambda item: item.start_s)
        columns = {**_tails(case, still), **grain_columns(case)}
        return Observation(columns=columns, happenings=tuple(found))

    def _open(self, case: Case) -> list[Happening]:
        record, found = case.record, []
        for name, flags in record.masked.items():
            seconds = case.per_day(flags * record.step_s)
            for day in np.flatnonzero(seconds >= self.least_open_s).tolist():
                rows = np.flatnonzero(flags & (case.day == day))
                end = record.start_s[rows[-1]] + int(record.step_s[rows[-1]])
                found.append(
                    self._seen(
                        case, day, int(record.start_s[rows[0]]), int(end), name, "open", np.nan
                    )
                )
        return found

    def _stuck(self, case: Case, still: dict[str, Stillness]) -> list[Happening]:
        found: list[Happening] = []
        for name, runs in still.items():
            quantity = _quantity(name)
            for run in runs.longer(self.still_active_s, self._telling(case, name, runs)):
                moved = self._moved(case, quantity, name, run)
                all_day = run.end_s - run.start_s >= self.still_day_s
                if moved > 0.0 or (all_day and quantity == "temperature"):
                    found.append(self._seen_stuck(case, name, run, moved))
        return found

    def _telling(self, case: Case, name: str, runs: Stillness) -> Bools | bool:
        """Tell the runs that may say something: at night the sun is dark, and nothing flows.

        A flow of zero counts only where the pipes show flow, and a dark sensor after a whole day.
        """
        quantity = _quantity(name)
        if quantity == "irradiance":
            return np.asarray(runs.end_s - runs.start_s >= self.still_day_s)
        if quantity != "flow":
            return True
        proven = _unmetered(case, case.record.columns[name])
        before_s = np.append(0.0, np.cumsum(case.record.step_s[proven]))
        first, after = np.searchsorted(proven, (runs.first, runs.last + 1))
        flowed = before_s[after] - before_s[first] >= SECONDS_PER_HOUR
        return np.asarray(flowed | ~(np.abs(runs.value) <= _NO_FLOW_L_MIN))

    def _moved(self, case: Case, quantity: str, name: str, run: ConstantRun) -> float:
        """Tell whether plant or sun moved so much meanwhile that the value had to follow.

        1: by whatever steps it is logged; 0.5: the pump ran or heat moved, so by fine steps at
        least; 0: no.
        """
        if quantity == "irradiance":
            begin = case.grid.start_s[run.day]
            within = (begin >= run.start_s) & (begin < run.end_s)
            up_s = float((within & (case.sky.sun_sine[run.day] > 0.1)).sum()) * BIN_S
            return float(up_s >= self.lit_s)
        if quantity == "flow":
            # Another value than zero counts only beside a pump that changed meanwhile.
            if abs(run.value) <= _NO_FLOW_L_MIN:
                return 1.0
            on = _pumping(case, run.rows)
            return float(bool(on.any()) and not bool(on.all()))
        base = name.rstrip("_23456789")
        if base not in ("collector", "loop_hot", "loop_cold", "store_bottom"):
            return 0.0
        step_s = case.record.step_s[run.rows]
        heat_j = np.abs(np.nan_to_num(case.heat.power_w[run.rows]) * step_s)
        # A trickle leaves the pipes at rest.
        flow = column(case.record, "flow")[run.rows]
        heat_j = np.where(flow < TRICKLE_FRAC * case.model.flow_l_min, 0.0, heat_j)
        if base == "store_bottom":
            return self._store_moved(case, name, run, heat_j)
        if kwh_from_j(float(heat_j.sum())) >= self.moved_kwh:
            # Where nothing else stirred either, nothing speaks against the value.
            return 1.0 if _others_stirred(case, name, run.rows) else 0.5
        on = _pumping(case, run.rows)
        return 0.5 if (on * step_s).sum() >= SECONDS_PER_HOUR else 0.0

    def _store_moved(self, case: Case, name: str, run: ConstantRun, heat_j: Floats) -> float:
        """Tell the same of the store: heat that came down would have warmed its bottom.

        Under a stranded roof no heat comes down, whatever the command says. What a trickle brings
        stays above the bottom, and cold water replaces the rest; so coarse steps need more.
        """
        roof = column(case.record, "collector")[run.rows]
        came = ~(roof - run.value > case.model.stranded_k)
        heat_j = np.where(came, heat_j, 0.0)
        if kwh_from_j(float(heat_j.sum())) < self.moved_kwh:
            return 0.0
        warmed_k = float(heat_j.sum()) / case.model.store_j_k
        # Heat worked out from a pump command is no witness: the loop may stand behind it.
        sure = case.heat.measured and _others_stirred(case, name, run.rows)
        return 1.0 if warmed_k >= self.store_rise_k and sure else 0.5

    def _seen_stuck(self, case: Case, name: str, run: ConstantRun, moved: float) -> Happening:
        seen = self._seen(case, run.day, run.start_s, run.end_s, name, "stuck", run.value)
        return seen._replace(values={**seen.values, "moved": moved})

    def _seen(
        self, case: Case, day: int, start_s: int, end_s: int, name: str, way: str, value: float
    ) -> Happening:
        return Happening(
            kind=self.kind,
            date=case.days.dates[day],
            start_s=start_s,
            end_s=end_s,
            values={"way": float(list(_WAYS).index(way)), "value": value},
            channel=name,
        )

    def conclude(self, history: History) -> Conclusion:
        """Join days per channel; a sound day ends it."""
        table = history.table
        names = [name[5:] for name in table.columns if name.startswith("seen_")]
        if not names:
            return NotJudged(why="no channel in the log")
        found: list[Found] = []
        for name in sorted(names):
            for items in self._spells(table, name):
                found.extend(self._found(history, name, items))
            found.extend(self._missing(history, name))
        return Judged(findings=tuple(sorted(found, key=lambda item: item.start_s)))

    def _spells(self, table: DayTable, name: str) -> list[list[Happening]]:
        groups: list[list[Happening]] = []
        items = [item for item in table.of_kind(self.kind) if item.channel == name]
        # Mostly no channel has any, and the steps need not be known.
        coarse = bool(items) and grain_k(table, name) >= self.coarse_k
        for item in items:
            if coarse and item.values.get("moved", 1.0) < 1.0:
                continue
            # A stuck sensor shows on every day with sun; dull ones in between may pass.
            if groups and days_between(groups[-1][-1].date, item.date) <= 4:
                groups[-1].append(item)
            else:
                groups.append([item])
        return groups

    def _found(self, history: History, name: str, items: list[Happening]) -> list[Found]:
        table = history.table
        start_s, end_s = items[0].start_s, max(item.end_s for item in items)
        before = table.days.dates.index(items[0].date) - 1
        midnight = int(table.days.edge_s[before + 1])
        since = table.column(f"still_since_{name}")
        if before >= 0 and start_s - midnight < SECONDS_PER_HOUR and np.isfinite(since[before]):
            start_s = int(since[before])
        days = len({item.date for item in items})
        lasts = end_s >= history.end_s - 2 * SECONDS_PER_HOUR
        way = list(_WAYS)[round(items[-1].values["way"])]
        value = items[-1].values["value"]
        return [self._finding(name, way, start_s, None if lasts else end_s, end_s, days, value)]

    def _missing(self, history: History, name: str) -> list[Found]:
        """Find stretches of whole days in which a channel that had values gave none."""
        table = history.table
        seen = table.column(f"seen_{name}")
        gone = ~(seen > 0.02)
        gone &= table.column("logged_s") / table.column("length_s") > 0.8
        if not gone.any():
            return []
        masked = {item.date for item in table.of_kind(self.kind) if item.channel == name}
        gone &= ~table.days.among(masked)
        given = np.maximum.accumulate(np.cumsum(seen > 0.5) >= 3)
        found = []
        change = np.flatnonzero(np.diff(np.concatenate(([0], gone & given, [0]))))
        for first, after in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
            days = after - first
            if days < self.missing_days:
                continue
            start_s, end_s = int(table.days.edge_s[first]), int(table.days.edge_s[after])
            lasts = after == len(gone)
            found.append(
                self._finding(
                    name, "missing", start_s, None if lasts else end_s, end_s, days, np.nan
                )
            )
        return found

    def _finding(
        self,
        name: str,
        way: str,
        start_s: int,
        end_s: int | None,
        until_s: int,
        days: int,
        value: float,
    ) -> Found:
        known = channel(name)
        says = known.says if known is not None else name
        unit = known.unit if known is not None else ""
        proven = (days >= 2 and name in _STEERING) or (days >= 3 and end_s is None)
        certainty = 0.97 if days >= 2 else 0.85
        evidence = [
            Evidence(
                what=f"days on which the sensor {_WAYS[way]}",
                start_s=start_s,
                end_s=until_s,
                value=float(days),
                unit="days",
            )
        ]
        if np.isfinite(value):
            evidence.append(
                Evidence(
                    what="the value it repeats",
                    start_s=start_s,
                    end_s=until_s,
                    value=value,
                    unit=unit,
                )
            )
        return Found(
            start_s=start_s,
            end_s=end_s,
            urgency=urgency_of(
                self.kind, certainty=certainty, level="present" if proven else "possible"
            ),
            certainty=certainty,
            summary=f"Sensor “{says}” {_WAYS[way]} on {days} day{'s' if days > 1 else ''}",
            evidence=tuple(evidence),
            channel=name,
        )


# What a meter may show of a flow that is none (engineering judgement).
_NO_FLOW_L_MIN = 0.05


def _quantity(name: str) -> str:
    known = channel(name)
    return "" if known is None else known.quantity


def _is_watched(name: str) -> bool:
    """Tell whether a channel that repeats one value is looked at."""
    return _quantity(name) in ("temperature", "flow", "irradiance")


def _tails(case: Case, still: dict[str, Stillness]) -> dict[str, np.ndarray]:
    """Give for each temperature since when it has not changed at the end of each day."""
    tails = {}
    for name, runs in still.items():
        if _quantity(name) == "temperature":
            since = np.full(len(case.days), np.nan)
            since[runs.day[runs.reaches_end]] = runs.start_s[runs.reaches_end]
            tails[f"still_since_{name}"] = since
    return tails


def _others_stirred(case: Case, name: str, rows: slice) -> bool:
    """Tell whether any other channel took two values meanwhile."""
    for other, values in case.record.columns.items():
        known = values[rows][np.isfinite(values[rows])]
        if other != name and known.size and bool((known != known[0]).any()):
            return True
    return False


def _pumping(case: Case, rows: slice) -> Bools:
    """Tell which of some rows had the pump commanded."""
    return np.asarray(column(case.record, "pump")[rows] >= PUMP_ON_PERCENT)


def _unmetered(case: Case, flow_l_min: Floats) -> Ints:
    """Give the rows in which the pipes prove that the commanded pump moves fluid no meter shows.

    The hot pipe at the store is warmer than the cold one and near the roof: standing pipes come
    down to the room, and a trickle leaves the roof far above them (judgement).
    """
    record = case.record
    shown = np.abs(flow_l_min) > _NO_FLOW_L_MIN
    rows = np.flatnonzero(_pumping(case, slice(None)) & ~shown)
    hot, cold, roof = (
        column(record, name)[rows] for name in ("loop_hot", "loop_cold", "collector")
    )
    return np.asarray(rows[(hot - cold > 4.0) & (np.abs(roof - hot) < 10.0)])
