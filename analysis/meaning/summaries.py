"""What columns mean in a log that has one row for each day.

Such rows have no course of the day and no physics between columns, so words, units and one question
tell: does the column fall from day to day? A counter never does, and the figure of a day nearly
always. Scores are natural logarithms, engineering judgement.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.channels import BASE_CHANNELS, Channel
from analysis.logs.asking import SURE_FRAC, OpenColumn, Proposal, Question
from analysis.logs.conversions import UNITS, folded_unit
from analysis.meaning.looks import counts_up
from analysis.meaning.questions import ASKED_FRAC, column_question, unit_question
from analysis.meaning.states import UNIT_SHARES, Header, base_of, header_of, printed_unit
from analysis.record import Floats
from analysis.site import ColumnMeaning, Site

_COMMON = {
    "day_heat": 0.0, "day_peak_collector": -0.5, "day_pump_hours": -0.7, "heat_register": -1.0,
    "flow_volume": -2.0, "pump_hours": -2.0,
}  # fmt: skip
_NONE, _NONE_WITH_UNIT = -1.0, -2.5
_OTHER_QUANTITY, _IMPOSSIBLE, _UNLIKELY = -9.0, -14.0, -4.0
# The sunniest day in a tilted plane gives less than this [kWh/m2].
_SUNNIEST_KWH_M2 = 10.0
# Signs are not independent, as in `analysis.meaning.assign`.
_SHARPNESS = 0.75
_SUREST_ALONE = 0.85


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    channel: str
    unit: str | None
    nats: float


def propose_daily(
    columns: Sequence[OpenColumn], *, site: Site | None, keys: Mapping[int, str], file: str
) -> tuple[Proposal, ...]:
    """Say what each column of a log of days probably holds.

    Parameters
    ----------
    columns : sequence of OpenColumn
        The columns that nobody explained, rows in order of time.
    site : Site, optional
        Its area tells what a day can give.
    keys : mapping
        Place of a column to what names it in `[log.columns]`.
    file : str
        Name for questions.

    Returns
    -------
    tuple of Proposal
        One for each column; the second of a kind is asked.
    """
    headers = [header_of(column, daily=True) for column in columns]
    ranked = [
        _ranked(column, header, site) for column, header in zip(columns, headers, strict=True)
    ]
    first: dict[str, int] = {}
    for number in sorted(range(len(columns)), key=lambda one: -ranked[one][0][1]):
        first.setdefault(ranked[number][0][0].channel, number)
    return tuple(
        _proposal(
            column, header, states, key=keys[column.place], file=file,
            doubled=first[states[0][0].channel] != number,
        )
        for number, (column, header, states) in enumerate(
            zip(columns, headers, ranked, strict=True)
        )
    )  # fmt: skip


def _ranked(column: OpenColumn, header: Header, site: Site | None) -> list[tuple[_State, float]]:
    """Give what a column may be with the share of each, the likeliest first."""
    told = base_of(column.known.channel) if column.known is not None else None
    names = [told] if told is not None else list(_COMMON)
    states = [state for name in names for state in _states(name, column, header, site)]
    if told is None:
        unit = _NONE_WITH_UNIT if header.unit.unit else _NONE
        states.append(_State(channel="", unit=None, nats=unit + header.scores.none))
    best = max(state.nats for state in states)
    weights = [math.exp(_SHARPNESS * (state.nats - best)) for state in states]
    total = sum(weights)
    pairs = [(state, weight / total) for state, weight in zip(states, weights, strict=True)]
    return sorted(pairs, key=lambda pair: -pair[1])


def _states(name: str, column: OpenColumn, header: Header, site: Site | None) -> list[_State]:
    known = BASE_CHANNELS[name]
    told = column.known.unit if column.known is not None else None
    if told is not None and folded_unit(told) in UNITS[known.quantity]:
        units = {folded_unit(told): 1.0}
    elif known.quantity in header.unit.quantities:
        units = {header.unit.unit: 1.0}
    else:
        units = UNIT_SHARES.get(known.quantity, {"c": 1.0})
    other = bool(header.unit.quantities) and known.quantity not in header.unit.quantities
    base = (
        _COMMON.get(name, 0.0)
        + header.scores.nats.get(name, 0.0)
        + (_OTHER_QUANTITY if other else 0.0)
        + _moves_nats(known, column.values)
    )
    return [
        _State(
            channel=name,
            unit=unit,
            nats=base + math.log(share) + _size_nats(known, column.values, unit, site),
        )
        for unit, share in units.items()
    ]


def _moves_nats(known: Channel, values: Floats) -> float:
    """Say what falling, or never falling, speaks for."""
    if known.quantity == "temperature":
        return 0.0
    moves = counts_up(values)
    if known.counter:
        return _IMPOSSIBLE if moves.falls else 0.0
    # Figures of days that do not hang together rise n times in a row once in (n + 1)! cases.
    return 0.0 if moves.falls else -math.lgamma(moves.rises + 2)


def _size_nats(known: Channel, values: Floats, unit: str, site: Site | None) -> float:
    """Say what the size of the values speaks against."""
    scale = UNITS[known.quantity][unit]
    held = values[np.isfinite(values)] * scale.factor + scale.shift
    if not held.size or not known.daily:
        return 0.0
    low, high = float(held.min()), float(held.max())
    if low < known.lowest or high > known.highest:
        return _IMPOSSIBLE
    if known.name == "day_heat" and site is not None and high > _SUNNIEST_KWH_M2 * site.area_m2:
        return _UNLIKELY
    if known.quantity == "temperature" and high < 20.0:
        return _UNLIKELY
    return 0.0


def _proposal(
    column: OpenColumn,
    header: Header,
    ranked: list[tuple[_State, float]],
    *,
    key: str,
    file: str,
    doubled: bool,
) -> Proposal:
    best, certainty = ranked[0]
    named = header.scores.nats.get(best.channel, 0.0) > 0.0 or (
        not best.channel and header.scores.none > 0.0
    )
    if (doubled and best.channel) or (not named and column.known is None):
        certainty = min(certainty, _SUREST_ALONE)
    meaning = None
    if best.channel:
        name = best.channel if column.known is None else column.known.channel
        unit = printed_unit(best.channel, best.unit) or None
        meaning = ColumnMeaning(channel=name, unit=unit)
    return Proposal(
        place=column.place,
        meaning=meaning,
        certainty_frac=certainty,
        reasons=_reasons(column, header, best),
        questions=() if certainty >= SURE_FRAC else (_question(best, ranked, key, file),),
    )


def _reasons(column: OpenColumn, header: Header, best: _State) -> tuple[str, ...]:
    if not best.channel:
        return ()
    known = BASE_CHANNELS[best.channel]
    found = []
    if header.scores.nats.get(best.channel, 0.0) > 0.0:
        found.append(f"the header “{column.head}” says {known.says}")
    if known.quantity in header.unit.quantities:
        printed = printed_unit(best.channel, header.unit.unit)
        found.append(f"the unit {printed or header.unit.unit} fits")
    moves = counts_up(column.values)
    if known.counter and moves.rises and not moves.falls:
        found.append("it only ever rises, as a counter does")
    elif known.daily and moves.falls:
        found.append("there is one row for each day, and it falls as no counter does")
    return tuple(found)


def _question(best: _State, ranked: list[tuple[_State, float]], key: str, file: str) -> Question:
    shares: dict[str, float] = {}
    for state, share in ranked:
        shares[state.channel] = shares.get(state.channel, 0.0) + share
    units = {
        state.unit: share
        for state, share in ranked
        if state.channel == best.channel and share >= ASKED_FRAC / 4
    }
    if best.channel and shares[best.channel] >= SURE_FRAC and len(units) > 1:
        return unit_question(best.channel, units, key, file)
    why = "there is one row for each day, and header and values do not say enough"
    return column_question(shares, key, file, why=why)
