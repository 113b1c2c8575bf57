"""A shortfall seen without any sun sensor: the plant's level on days proven clear."""

from dataclasses import replace

import numpy as np

from analysis.clear_days import CLEAR_U_FRAC, Fall, Level, falls_of, level_of
from analysis.days import DayTable
from analysis.energy import delivered
from analysis.faults._protocol import Conclusion, Found, History, Judged, NotJudged
from analysis.record import Ints
from analysis.results import Bounded, Evidence
from analysis.uncertainty import COVERAGE_95
from analysis.urgency import per_week, urgency_of

# Proven days without which nothing can be said.
_LEAST_DAYS = 8
# What a fall costs on dull days and at other temperatures than those of the clear hours
# (engineering judgement), 95 %.
_ELSEWHEN_FRAC = 0.35
# Without a meter, more flow than at commissioning looks like less heat (engineering judgement).
_UNMEASURED = 0.65


def weak_under_clear_sky(history: History) -> Conclusion:
    """Judge the days whose sun is unknown by the clear ones among them."""
    level = _unexplained(history)
    if len(level.place) < _LEAST_DAYS:
        return NotJudged(
            why="the sun on the collector is unknown, and too few days prove by their own curves "
            f"that they were clear ({len(level.place)}, needed {_LEAST_DAYS})"
        )
    found = tuple(_found(history, level, fall) for fall in falls_of(level))
    why = (
        f"without a sun sensor, by {len(level.place)} days with smooth hours: finds a yield that "
        "fell to about half, not smaller losses"
    )
    return Judged(findings=found, why=why)


def _unexplained(history: History) -> Level:
    level = level_of(history.table)
    kept = ~history.table.days.among(history.explained)[level.place]
    return replace(level, place=level.place[kept], ratio=level.ratio[kept])


def _found(history: History, level: Level, fall: Fall) -> Found:
    table = history.table
    start_s = int(table.days.edge_s[fall.first])
    last_s = int(table.days.edge_s[fall.last + 1])
    final = fall.last if fall.over else len(table.days) - 1
    days: Ints = np.arange(fall.first, final + 1)
    share = fall.level / fall.sound
    sure = measured(table, days)
    # What an assumed flow carried is no ground to reckon the sound heat from.
    lost = _lost(history, level, days, share, fall.own) if sure else None
    other = "" if sure else ": less heat, or more flow than at commissioning"
    against = "its own earlier clear days" if fall.own else "what a clear sky brings"
    end_s = last_s if fall.over else history.end_s
    certainty = certainty_of(table, days, _certainty(level, fall))
    return Found(
        start_s=start_s,
        end_s=last_s if fall.over else None,
        urgency=urgency_of(
            "yield_shortfall",
            certainty=certainty,
            lost_week=per_week(lost, start_s=start_s, end_s=end_s),
        ),
        certainty=certainty,
        summary=f"On clear days only {100.0 * share:.0f} % of {against}, unexplained{other}; the "
        "sun is not measured, so clear days were told by the shape of their curves",
        evidence=(
            Evidence(
                what=f"level on clear days, of {against}",
                start_s=start_s,
                end_s=end_s,
                value=100.0 * share,
                unit="%",
            ),
        ),
        lost=lost,
    )


def _lost(history: History, level: Level, days: Ints, share: float, own: bool) -> Bounded | None:
    got = delivered(history.table, days)
    if got is None:
        return None
    value = max(got.value, 0.0) * (1.0 / max(share, 0.05) - 1.0)
    # Against its own past the errors of the heat figure fall out of the share, not of the size.
    sky = 0.0 if own else COVERAGE_95 * CLEAR_U_FRAC
    reach = value * float(np.hypot(np.hypot(level.reach_frac, sky), _ELSEWHEN_FRAC))
    return Bounded(value=value, low=max(value - reach, 0.0), high=value + reach)


def certainty_of(table: DayTable, days: Ints, sure: float) -> float:
    """Give how sure a shortfall of some days is, which would be `sure` with measured heat.

    A flow that is only taken to be that of commissioning may have changed as well as the heat.
    """
    return sure if measured(table, days) else min(sure, _UNMEASURED)


def measured(table: DayTable, days: Ints) -> bool:
    """Tell whether a meter told the heat of most of these days."""
    return bool((table.column("heat_measured")[days] > 0.5).mean() >= 0.5)


def _certainty(level: Level, fall: Fall) -> float:
    """Give how sure the finding is: most where the plant is held against its own past."""
    if fall.own:
        return 0.85 if level.reach_frac < 0.3 else 0.75
    return 0.7
