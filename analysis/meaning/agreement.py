"""Whether a map and the heads that it was told for say the same, so that values need not be asked.

What words name clearly, values never state otherwise for sure (`stating.py`): they leave a doubt at
most. So where words name the channel that a map tells, only its unit can still differ, and a coarse
look tells whether that is so near that all of physics must be asked.
"""

from collections.abc import Sequence

import numpy as np

from analysis.channels import BASE_CHANNELS, base_name, channel
from analysis.days import one_row_a_day
from analysis.logs.asking import OpenColumn
from analysis.logs.conversions import folded_unit, is_same_unit
from analysis.meaning.degrees import HOW_COMMON, temperatures
from analysis.meaning.looks import Look, look_at
from analysis.meaning.states import Header, header_of, states_of
from analysis.meaning.stating import WORDS_AGAINST
from analysis.meaning.sun_plane import Fit
from analysis.meaning.times import Times, times_of
from analysis.record import Ints
from analysis.site import ColumnMeaning

# By so much must the told unit lead every other on a coarse look [nats]; a unit is stated for sure
# at 2.2, and other columns add some (engineering judgement).
CLEAR = 8.0
_FEWEST_ROWS = 100


def agree(columns: Sequence[OpenColumn], *, stamp_s: Ints) -> bool:
    """Tell whether the heads say what a map does, and the values do not speak against its units.

    Parameters
    ----------
    columns : sequence of OpenColumn
        The columns that a map explains, with some of their values; `known` is what it says.
    stamp_s : ndarray of int64, shape (n,)
        Stamps of those values [s].

    Returns
    -------
    bool
        False wherever there is a doubt, as over a log with one row for each day.
    """
    if len(stamp_s) < _FEWEST_ROWS or one_row_a_day(stamp_s):
        return False
    headers = [header_of(column) for column in columns]
    pairs = list(zip(columns, headers, strict=True))
    if not all(_named(column, header) for column, header in pairs):
        return False
    open_units = [pair for pair in pairs if not _unit_printed(*pair, headers)]
    if not open_units:
        return True
    times = times_of(stamp_s, latitude_deg=45.0, longitude_deg=0.0)
    looks = [look_at(column.values[times.rows], times) for column, _ in open_units]
    return _units_clear([column for column, _ in open_units], looks, times)


def _named(column: OpenColumn, header: Header) -> bool:
    """Tell whether words name the told channel so clearly that values never overrule them."""
    assert column.known is not None
    known = channel(column.known.channel)
    if known is None or header.unit.unread:
        return False
    name = base_name(known.name)
    others = [nats for other, nats in header.scores.nats.items() if other != name]
    said = header.scores.nats.get(name, 0.0)
    return said - max([0.0, *others]) >= WORDS_AGAINST


def _unit_printed(column: OpenColumn, header: Header, headers: Sequence[Header]) -> bool:
    """Tell whether the told unit is the one that the head prints, or no unit is needed."""
    assert column.known is not None
    name = base_name(column.known.channel)
    quantity = BASE_CHANNELS[name].quantity
    if quantity == "share":
        return True
    printed = {one.unit.unit for one in headers if quantity in one.unit.quantities}
    if quantity != "temperature":
        printed = {header.unit.unit} if quantity in header.unit.quantities else set()
    # One printed unit of degrees is that of the other temperatures, too.
    return len(printed) == 1 and is_same_unit(quantity, column.known.unit, *printed)


def _units_clear(columns: Sequence[OpenColumn], looks: Sequence[Look], times: Times) -> bool:
    """Tell whether the told units lead all others that their values could be in."""
    warmth = dict.fromkeys(temperatures([], looks), 0.0)
    told_degrees: set[str] = set()
    for column, look in zip(columns, looks, strict=True):
        assert column.known is not None
        name, told = base_name(column.known.channel), column.known.unit
        bare = OpenColumn(
            place=column.place,
            head="",
            unit_head="",
            values=column.values,
            words=column.words,
            known=ColumnMeaning(channel=name, unit=None),
        )
        header = header_of(bare)
        quantity = BASE_CHANNELS[name].quantity
        if quantity == "temperature":
            told_degrees.add(folded_unit(told or "C"))
            for degrees in warmth:
                warmth[degrees] += _nats(bare, header, look, times, degrees)[degrees]
            continue
        nats = _nats(bare, header, look, times, "c")
        if not _leads(nats, [unit for unit in nats if is_same_unit(quantity, told, unit)]):
            return False
    warmth = {degrees: nats + HOW_COMMON[degrees] for degrees, nats in warmth.items()}
    return not told_degrees or (len(told_degrees) == 1 and _leads(warmth, list(told_degrees)))


def _nats(
    bare: OpenColumn, header: Header, look: Look, times: Times, degrees: str
) -> dict[str, float]:
    """Give how much values speak for each unit of a known channel [nats]."""
    states = states_of(bare, header, look, Fit(), temperature=degrees, trust_frac=times.trust_frac)
    return {str(state.unit): state.nats for state in states}


def _leads(nats: dict[str, float], told: Sequence[str]) -> bool:
    mine = max((nats[unit] for unit in told if unit in nats), default=-np.inf)
    return all(mine - other >= CLEAR for unit, other in nats.items() if unit not in told)
