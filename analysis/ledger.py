"""Where the missing heat went: the gap of the days, shared among the findings that cover them.

On each local day expected less delivered heat is shared in order of precedence; a finding takes no
more than what is left of it, and over all its days no more than it says that it cost. What is left
is the rest, that nothing explains. So a loss is never counted twice, and never larger than the heat
that is missing.

Heat that was lost from the store, at night or to a backup, is missing from no day's delivery, nor
is what a hotter loop costs, since the expected heat follows the loop; and days without sun or heat
have no gap: such findings stand apart with their own figure.

The gap rests on the plant's papers and is known to a tenth of the heat or so; a finding may know
better, from the plant's own past. So what it says of itself stands as long as it lies within the
upper bound of the gap that it may share in, though the ledger charges it no more than the gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.days import DayTable
from analysis.energy import Bands, delivered_each, expected_each, padded
from analysis.ledger_result import OUTSIDE_THE_GAP, Entry, Ledger
from analysis.precedence import CAUSES
from analysis.record import Bools, Floats, known_or_zero
from analysis.results import Bounded, Finding
from analysis.season import spells
from analysis.site import Site

_ORDER = {row.kind: place for place, row in enumerate(CAUSES)}
# A finding of whose days fewer tell sun and heat cannot be held against them.
_KNOWN_FRAC = 0.5
# What cancels leaves so much at most, and which way is chance [kWh].
_NOTHING_KWH = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Claim:
    """What a finding asks for: so many kWh at most, of the days that are True."""

    days: Bools
    kwh: float


def share_out(gap_kwh: Floats, claims: Sequence[Claim]) -> tuple[Floats, Floats]:
    """Share the gap of each day among claims, the first first.

    A claim is spread over its days as what is left of their gaps is. A day above its expectation
    has nothing to share.

    Parameters
    ----------
    gap_kwh : shape (n_days,), expected less delivered heat [kWh]; NaN unknown
    claims : in order of precedence

    Returns
    -------
    taken, rest : shapes (n_claims, n_days) and (n_days,); they add up to the known gaps
    """
    left = known_or_zero(np.maximum(gap_kwh, 0.0))
    taken = np.zeros((len(claims), len(gap_kwh)))
    for place, claim in enumerate(claims):
        if claim.kwh > 0.0:
            there = np.where(claim.days, left, 0.0)
            whole = float(there.sum())
            taken[place] = there * min(claim.kwh / whole, 1.0) if whole > 0.0 else 0.0
            left = np.maximum(left - taken[place], 0.0)
    return taken, left + known_or_zero(np.minimum(gap_kwh, 0.0))


def ledger_of(
    table: DayTable, findings: Sequence[Finding], site: Site, *, until_s: int
) -> tuple[Ledger | None, tuple[Finding, ...]]:
    """Share the gap, and hold each finding's loss against it.

    Parameters
    ----------
    table : every day, doubtful figures taken out
    findings : those that stand
    site : the site as its file states it
    until_s : stands for the end of findings that last

    Returns
    -------
    ledger, findings : None where no day tells both; the findings with no more than their share
    """
    gap = table.column("expected_kwh") - table.column("heat_kwh")
    known = np.isfinite(gap)
    (whole,) = _bounds(table, [known], site)
    if whole is None:
        return None, tuple(findings)
    shares: list[tuple[Finding, float]] = []
    claims: list[Claim] = []
    untaken: list[Claim] = []
    apart: list[Entry] = []
    for item in sorted(findings, key=_rank):
        if item.lost is None:
            continue
        days = _covered(table, item, until_s)
        frac = float(known[days].mean()) if days.any() else 0.0
        if item.kind in OUTSIDE_THE_GAP or frac < _KNOWN_FRAC:
            apart.append(_entry(item, item.lost))
        else:
            shares.append((item, frac))
            claims.append(Claim(days=days, kwh=frac * item.lost.value))
            # What a warmer store would not have taken is no loss, and is no riddle either.
            untaken.append(Claim(days=days, kwh=frac * item.untaken_kwh))
    taken, rest = share_out(gap, (*claims, *untaken))
    untaken_kwh = float(taken[len(claims) :].sum())
    at_most, _ = share_out(_widest_gap(table, gap, whole), claims)
    over_days = known & (np.abs(rest) > _NOTHING_KWH)
    over, *gaps = _bounds(table, [over_days, *(known & claim.days for claim in claims)], site)
    entries, held = [], {}
    for (item, frac), kwh, most_kwh, own_gap in zip(
        shares, taken[: len(claims)], at_most, gaps, strict=True
    ):
        entries.append(_entry(item, _limited(item, kwh, own_gap)))
        if item.lost is not None and most_kwh.sum() < frac * item.lost.value:
            held[id(item)] = _scaled(_limited(item, most_kwh, own_gap), 1.0 / frac)
    reach = 0.0 if over is None else max(over.high - over.value, over.value - over.low)
    total = float(rest[known].sum())
    ledger = Ledger(
        days=int(known.sum()),
        gap=Bounded(value=float(gap[known].sum()), low=whole.low, high=whole.high),
        entries=tuple(entries),
        untaken_kwh=untaken_kwh,
        rest=Bounded(value=total, low=total - reach, high=total + reach),
        apart=tuple(apart),
    )
    return ledger, tuple(
        replace(item, lost=held[id(item)]) if id(item) in held else item for item in findings
    )


def _widest_gap(table: DayTable, gap: Floats, whole: Bounded) -> Floats:
    """Give each day's gap at the upper bound of the whole: what is uncertain goes by the sun."""
    wanted = np.where(np.isfinite(gap), table.column("expected_kwh"), 0.0)
    wanted_kwh = float(wanted.sum())
    return gap + (whole.high - whole.value) * wanted / wanted_kwh if wanted_kwh > 0.0 else gap


def _rank(item: Finding) -> tuple[int, int]:
    return _ORDER.get(item.kind, len(_ORDER)), item.start_s


def _covered(table: DayTable, item: Finding, until_s: int) -> Bools:
    edges = table.days.edge_s
    days = np.zeros(len(table.days), dtype=np.bool_)
    for start_s, end_s in spells(item, until_s=until_s):
        days |= (edges[1:] > start_s) & (edges[:-1] < end_s)
    return days


def _bounds(table: DayTable, sets: Sequence[Bools], site: Site) -> list[Bounded | None]:
    """Give the gap of each set of days, None where it is not known."""
    days = padded([np.flatnonzero(one) for one in sets])
    wanted, got = expected_each(table, days, site), delivered_each(table, days)
    gap = wanted.value - got.value
    reach = np.hypot(wanted.high - wanted.value, got.high - got.value)
    bands = Bands(value=gap, low=gap - reach, high=gap + reach)
    return [bands.one(number) for number in range(len(sets))]


def _limited(item: Finding, taken: Floats, gap: Bounded | None) -> Bounded:
    """Give what a finding took, with its own bounds inside those of its days' gap."""
    assert item.lost is not None
    value, own = float(taken.sum()), item.lost
    # The gap is as uncertain as the heat itself: a small one makes a loss no better known.
    high = own.high if gap is None else min(own.high, gap.high)
    return Bounded(value=value, low=min(own.low, value), high=max(high, value))


def _scaled(bounded: Bounded, by: float) -> Bounded:
    return Bounded(value=by * bounded.value, low=by * bounded.low, high=by * bounded.high)


def _entry(item: Finding, lost: Bounded) -> Entry:
    return Entry(kind=item.kind, start_s=item.start_s, channel=item.channel, lost=lost)
