"""Reverse circulation: at night the warm store drives fluid up to the cold roof.

In the data: long after sunset, pump off, the collector stays warmer than it could by itself, fed by
a store that is warmer still. Looks alike and is not it: a collector that cools slowly from a hot
day; so the warmth must outlast several of the collector's own time constants.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case, pump_on
from analysis.day_sums import mean_of, summed
from analysis.days import DayTable, Happening
from analysis.faults._cautions import ELECTRICITY, HOT_PARTS, LOCAL_CODES, SCALD, STEAM
from analysis.faults._dawn import dawn_columns, followed
from analysis.faults._episodes import days_between
from analysis.faults._given_off import about
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.loop_pipes import around_pipes_c
from analysis.record import Bools, Floats, Ints, known_or_zero
from analysis.results import Evidence
from analysis.runs import day_span
from analysis.sources import ISO_9806, VDI_2169, Source
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, kwh_from_j
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Store losing heat to the roof at night",
    customer=(
        "At night heat creeps from your store up to the cold collector and is lost; the backup has "
        "to make it again."
    ),
    technician=(
        "With the pump off and the sun long down, the collector stayed warmer than its own heat "
        "could keep it, while the store was warmer still. Fluid is rising by gravity: the check "
        "valve leaks, was left open after filling, or is missing."
    ),
    likely_causes=(
        "Check valve held open since filling, or dirt under its seat",
        "No check valve, or one without enough opening pressure for the height",
        "Heat trap missing where the hot pipe leaves the store",
        "Pump switched on at night by a timer, cooling function or frost protection",
    ),
    check_next=(
        "From here: look at the night curves; does the hot or the cold pipe warm up with the "
        "collector?",
        "In the controller's menu: is a night or holiday cooling, or a frost function, on?",
        "On site in the evening or with the collector cool: is the lever of the check valve in its "
        "working position?",
        "Feel for a warm pipe above the store two hours after the last run; mind hot pipes",
        "Clean or change the check valve, at cold fluid and by the maker's procedure",
    ),
    cautions=(HOT_PARTS, STEAM, SCALD, ELECTRICITY, LOCAL_CODES),
)

# A night that shows it only beside its neighbours.
_CANDIDATE = "reverse_circulation_night"
# How much cooler the air is with height [K/m] (ISO 2533 standard atmosphere).
COOLER_K_M = 0.0065


@dataclass(frozen=True, slots=True, kw_only=True)
class ReverseCirculation:
    """Warm collector in the dark.

    Attributes
    ----------
    night_sine : sun at least this far below the horizon (6 degrees: civil twilight over)
    least_excess_k : collector over air (function-control practice says 15 K; with the heat balance
        beside it less is enough)
    loss_share, capacity_share : how far a collector's own loss may lie below, and its capacity
        above, the test report's before warmth at night needs another explanation (judgement)
    dim_sine : sun so low that it warms no collector (6 degrees)
    manifold_share : of a collector's loss, what heat pipes that only carry heat in leave to the
        fluid: their manifold's (engineering judgement)
    night_margin_k : without an outdoor sensor the night air is taken to be no warmer than the
        season's mean at this latitude and this margin
    least_night_h : a night shows it when it lasted this long
    least_nights : fewer nights within `within_days` are not reported
    quiet_nights : so many clear nights after it end it
    """

    night_sine: float = -0.105
    least_excess_k: float = 8.0
    loss_share: float = 0.5
    capacity_share: float = 2.5
    dim_sine: float = 0.105
    manifold_share: float = 0.3
    night_margin_k: float = 8.0
    least_night_h: float = 1.5
    least_nights: int = 3
    within_days: int = 12
    quiet_nights: int = 6
    kind: str = "reverse_circulation"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        ISO_9806,
        VDI_2169.at("night check of 22 to 5 h, collector 15 K over air: practice, from memory"),
    )

    def observe(self, case: Case) -> Observation:
        """See nights in which the store feeds the roof."""
        night = (case.sky.sun_sine < self.night_sine) & ~pump_on(case) & (case.loop.known_s > 0.0)
        roof, excess = case.loop.t_roof_c, self._excess_k(case)
        store = case.loop.t_store_hottest_c
        rate = _hourly_rate_k_s(roof)
        loss_w = case.model.loss_w(excess)
        fed_w = self.loss_share * loss_w + (
            self.capacity_share * case.model.collector_j_k * np.minimum(rate, 0.0)
        )
        fed = night & (excess > self.least_excess_k) & (fed_w > 0.0) & (store > roof - 2.0)
        # A metered flow the wrong way round in the dark needs no inference.
        fed |= night & (case.loop.heat_w < -0.01 * case.model.brightest_w)
        hours = case.hours(fed)
        # The coil sits at the bottom: a cold bottom under a warm top drives nothing.
        able = night & np.isfinite(excess) & (case.loop.t_store_bottom_c > roof + 5.0)
        cost_w = self._cost_w(case, excess)
        columns = {"night_judged_h": case.hours(able), "night_fed_h": hours}
        after_dusk = case.sky.sun_sine < self.night_sine
        columns.update(dawn_columns(case, after_dusk, lambda at_s: _season_c(case, at_s)))
        enough = hours >= self.least_night_h
        whole = night & np.isfinite(columns["dawn_roof_c"])[:, None] & np.isfinite(excess)
        cost_kwh = kwh_from_j((known_or_zero(cost_w) * case.loop.known_s).sum(axis=1))
        found = (
            *_happenings(case, fed & enough[:, None], cost_kwh, excess, self.kind),
            *_happenings(case, whole & ~enough[:, None], cost_kwh, excess, _CANDIDATE),
        )
        return Observation(columns=columns, happenings=found)

    def _excess_k(self, case: Case) -> Floats:
        if "ambient" in case.channels:
            return np.asarray(case.loop.t_roof_c - case.loop.t_ambient_c)
        season_c = _season_c(case, case.grid.start_s)
        return np.asarray(case.loop.t_roof_c - season_c - self.night_margin_k)

    def _cost_w(self, case: Case, excess: Floats) -> Floats:
        """Give what the roof and the pipes on the way lose while the store feeds them [W].

        It begins when the sun has left the roof, not with the night that proves it.
        """
        # What is careful for finding is too little for the cost.
        over = excess if "ambient" in case.channels else excess + self.night_margin_k
        model, roof = case.model, case.loop.t_roof_c
        collector = model.loss_w(over) * (self.manifold_share if model.one_way else 1.0)
        pipes = model.pipe_w_k * (roof - around_pipes_c(roof - over))
        dim = (case.sky.sun_sine < self.dim_sine) & ~pump_on(case)
        fed = dim & (case.loop.t_store_hottest_c > roof - 2.0)
        return np.where(fed, np.maximum(collector, 0.0) + np.maximum(pipes, 0.0), 0.0)

    def conclude(self, history: History) -> Conclusion:
        """Join nights; a few quiet ones in a row end a spell."""
        table = history.table
        for name, words in (("seen_collector", "collector"), ("seen_store_bottom", "store")):
            if name not in table.columns:
                return NotJudged(why=f"no {words} temperature in the log")
        judged = table.column("night_judged_h") >= self.least_night_h
        follows = followed(table)
        fed = (table.column("night_fed_h") >= self.least_night_h) | follows
        if not (judged | fed).any():
            return NotJudged(why="no night with a store warmer than the roof")
        groups: list[list[Happening]] = []
        for item in self._nights(table, follows):
            quiet = judged & ~fed
            dates = table.days.dates
            if groups and not self._quiet_since(dates, quiet, groups[-1][-1], item.date):
                groups[-1].append(item)
            else:
                groups.append([item])
        dense = (self._without_strays(items) for items in groups)
        found = [self._found(history, items, judged & ~fed) for items in dense if items]
        why = ""
        if "seen_ambient" not in table.columns:
            why = "no outdoor temperature in the log: weak backflow in cool nights stays unseen"
        return Judged(findings=tuple(found), why=why)

    def _nights(self, table: DayTable, follows: Bools) -> list[Happening]:
        """Give the nights that show it, those at whose end the collector follows the store too."""
        dates = {table.days.dates[day] for day in np.flatnonzero(follows).tolist()}
        close = [item for item in table.of_kind(_CANDIDATE) if item.date in dates] if dates else []
        return sorted((*table.of_kind(self.kind), *close), key=lambda item: item.start_s)

    def _without_strays(self, items: list[Happening]) -> list[Happening]:
        """Drop nights at the front that lie too far from the next ones; none left: too few.

        Where few nights can be judged a lone one may be joined to a spell weeks later.
        """
        need = self.least_nights
        for first in range(len(items) - need + 1):
            close = items[first : first + need]
            apart = days_between(close[0].date, close[-1].date)
            if apart <= self.within_days and len({item.date for item in close}) >= need:
                return items[first:]
        return []

    def _quiet_since(
        self, dates: tuple[str, ...], quiet: Bools, last: Happening, before: str | None
    ) -> bool:
        """Tell whether enough quiet nights followed a happening, before a date."""
        start = dates.index(last.date) + 1
        stop = len(dates) if before is None else dates.index(before)
        return int(quiet[start:stop].sum()) >= self.quiet_nights

    def _found(self, history: History, items: list[Happening], quiet: Bools) -> Found:
        start_s, end_s = items[0].start_s, items[-1].end_s
        over = self._quiet_since(history.table.days.dates, quiet, items[-1], None)
        metered = sum(item.values["metered_kwh"] for item in items)
        inferred = sum(item.values["inferred_kwh"] for item in items)
        value = metered if metered > 0.2 * inferred else inferred
        # Metered backwards flow is near the meter's zero; the inferred loss rests on the test
        # report alone.
        lost = about(history, value)
        nights = len({item.date for item in items})
        certainty = 0.95 if nights >= 5 else 0.85
        excess = float(np.mean([item.values["excess_k"] for item in items]))
        worst = max(items, key=lambda item: item.values["inferred_kwh"])
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(
                self.kind,
                certainty=certainty,
                lost_week=per_week(lost, start_s=start_s, end_s=end_s),
            ),
            certainty=certainty,
            summary=f"In {nights} nights heat went from the store up to the roof",
            evidence=(
                Evidence(
                    what="nights", start_s=start_s, end_s=end_s, value=float(nights), unit="nights"
                ),
                Evidence(
                    what="collector above outdoor air in those hours, mean",
                    start_s=start_s,
                    end_s=end_s,
                    value=excess,
                    unit="K",
                ),
                Evidence(
                    what="collector above outdoor air in the worst night, mean",
                    start_s=worst.start_s,
                    end_s=worst.end_s,
                    value=worst.values["excess_k"],
                    unit="K",
                ),
            ),
            lost=lost,
        )


def _happenings(
    case: Case, fed: Bools, cost_kwh: Floats, excess_k: Floats, kind: str
) -> list[Happening]:
    """Give one for each day with a flagged bin, from its first to its last."""
    spans = day_span(fed)
    days = np.array(list(spans), dtype=np.int64)
    fed, known_s, excess_k = fed[days], case.loop.known_s[days], excess_k[days]
    backwards_w = np.where(fed, np.minimum(known_or_zero(case.loop.heat_w[days]), 0.0), 0.0)
    values = {
        "hours": summed(known_s, fed) / SECONDS_PER_HOUR,
        "excess_k": mean_of(excess_k, fed),
        "metered_kwh": -kwh_from_j((backwards_w * known_s).sum(axis=1)),
        "inferred_kwh": cost_kwh[days],
    }
    found = []
    for (day, span), row in zip(
        spans.items(), np.stack(list(values.values()), axis=1).tolist(), strict=True
    ):
        start_s, end_s = case.span_s(day, *span)
        found.append(
            Happening(
                kind=kind,
                date=case.days.dates[day],
                start_s=start_s,
                end_s=end_s,
                values=dict(zip(values, row, strict=True)),
            )
        )
    return found


def _season_c(case: Case, time_s: Ints) -> Floats:
    """Give the season's mean of the air at the site at instants [°C]."""
    place = case.site.place
    season = seasonal_air_c(place.latitude_deg, time_s)
    return np.asarray(season - COOLER_K_M * max(place.elevation_m, 0.0))


def seasonal_air_c(latitude_deg: float, time_s: Ints) -> Floats:
    """Give a rough seasonal mean of the outdoor temperature at sea level [°C].

    27 °C at the equator less 0.35 K a degree, swinging by 0.18 K a degree, latest in late July and
    late January (rough fit to climate atlases from memory; for plausibility only).
    """
    north = 1.0 if latitude_deg >= 0.0 else -1.0
    day_of_year = (time_s / SECONDS_PER_DAY) % 365.25
    swing = np.cos(2.0 * np.pi * (day_of_year - 205.0) / 365.25) * north
    away = abs(latitude_deg)
    return np.asarray(27.0 - 0.35 * away + 0.18 * away * swing)


def _hourly_rate_k_s(t_c: Floats) -> Floats:
    """Give the rate over the hour around each bin, within each day."""
    reach = 6
    rate = np.full(t_c.shape, np.nan)
    rate[:, reach:-reach] = (t_c[:, 2 * reach :] - t_c[:, : -2 * reach]) / SECONDS_PER_HOUR
    # At the edges of the day the nearest hour stands in.
    rate[:, :reach] = rate[:, reach : reach + 1]
    rate[:, -reach:] = rate[:, -reach - 1 : -reach]
    return rate
