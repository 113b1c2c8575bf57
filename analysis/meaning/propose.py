"""The door: columns that nobody explained in, a proposal for each out.

Words and units of the header are scored, what the data do is scored, and the columns are assigned
together. What stays below `SURE_FRAC` is asked.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.days import one_row_a_day
from analysis.logs.asking import OpenColumn, Proposal, Question
from analysis.logs.conversions import UNITS
from analysis.meaning.amounts import holds_amounts, propose_amounts
from analysis.meaning.assign import Assignment, Links, assign
from analysis.meaning.balance import balance_of
from analysis.meaning.degrees import HOW_COMMON, temperatures
from analysis.meaning.gaps import gaps_of
from analysis.meaning.looks import Look, look_at
from analysis.meaning.misprints import with_other_units
from analysis.meaning.motion import Phases, motion_of, phases_of
from analysis.meaning.pairs import pairs_of
from analysis.meaning.phase import shift_to_sun_s
from analysis.meaning.pulses import counts_pulses, propose_pulses
from analysis.meaning.standing import STANDING_FRAC, flow_pipes, stands
from analysis.meaning.states import Header, State, header_of, states_of
from analysis.meaning.stating import Found
from analysis.meaning.summaries import propose_daily
from analysis.meaning.sun_plane import ClearSky, Fit, clear_sky_of, fit_of
from analysis.meaning.times import Times, times_of
from analysis.record import Bools, Floats, Ints
from analysis.site import ColumnMeaning, Site

# Where no place is known: the sun of the middle latitudes, noon by the clock.
_LATITUDE_DEG, _LONGITUDE_DEG = 45.0, 0.0
_RUNNING = ("pump", "flow", "heat_power")
_SURE = 1e3
# Above this share of its highest value a pump runs.
_RUNS = 0.02
_FEWEST_ROWS = 3
# Every column is held against every other: the work would grow with the square beyond this.
_MOST_COLUMNS = 64
# By so much must a unit of temperatures be behind the likeliest to be left out unasked [nats].
_OUT_OF_QUESTION = 15.0
# Numbers beyond this are no measurements, and their squares would overflow.
_FARTHEST = 1e13


def propose(
    columns: Sequence[OpenColumn],
    *,
    stamp_s: Ints,
    site: Site | None = None,
    keys: Mapping[int, str],
    file: str,
) -> tuple[Proposal, ...]:
    """Say what each column probably holds, how sure that is and why.

    Parameters
    ----------
    columns : sequence of OpenColumn
        The columns that nobody explained; a map may have told the channel of some.
    stamp_s : ndarray of int64, shape (n,)
        Stamps, UTC as far as known [s]; a clock that is hours off is found from the data.
    site : Site, optional
        Place and collector; without it the daily course still tells.
    keys : mapping
        Place of a column to what names it in `[log.columns]`, for questions.
    file : str
        Name for questions.

    Returns
    -------
    tuple of Proposal
        One for each column, in their order.
    """
    if not columns:
        return ()
    if len(stamp_s) < _FEWEST_ROWS:
        why = "the log has too few rows to tell what this holds"
        return tuple(_unseen(column, keys[column.place], file, why) for column in columns)
    if len(columns) > _MOST_COLUMNS:
        why = f"only the first {_MOST_COLUMNS} columns of a log are looked at"
        near = propose(columns[:_MOST_COLUMNS], stamp_s=stamp_s, site=site, keys=keys, file=file)
        far = [_unseen(one, keys[one.place], file, why) for one in columns[_MOST_COLUMNS:]]
        return (*near, *far)
    daily = one_row_a_day(stamp_s)
    counted = {
        one.place: propose_pulses(one, keys=keys, file=file, daily=daily)
        for one in columns
        if counts_pulses(one)
    }
    counted |= {
        one.place: propose_amounts(one, keys=keys, file=file)
        for one in columns
        if one.place not in counted and not daily and holds_amounts(one)
    }
    if counted:
        rest = [one for one in columns if one.place not in counted]
        others = propose(rest, stamp_s=stamp_s, site=site, keys=keys, file=file)
        every = {one.place: one for one in others} | counted
        return tuple(every[one.place] for one in columns)
    headers = flow_pipes([header_of(column) for column in columns])
    if daily:
        return propose_daily(columns, site=site, keys=keys, file=file)
    times, values, sky = _sampled(columns, stamp_s, site)
    looks = [look_at(row, times) for row in values]
    fits = [fit_of(row, look, sky, times) for row, look in zip(values, looks, strict=True)]
    # First the column that tells when the loop runs, then what the others do at its edges.
    standing = stands(headers, values)
    if standing:
        times = replace(times, trust_frac=times.trust_frac * STANDING_FRAC)
    in_celsius = _states(columns, headers, looks, fits, times, "c")
    on = None if standing else _running(in_celsius, values)
    phases = phases_of(times, on)
    looks = [
        replace(look, moves=motion_of(row, phases, times, span=look.high - look.low))
        for look, row in zip(looks, values, strict=True)
    ]
    seen = _Seen(
        columns=columns,
        headers=headers,
        looks=looks,
        fits=fits,
        values=values,
        times=times,
        phases=phases,
        area_m2=None if site is None else site.area_m2,
    )
    found = [_together(seen, *one) for one in _in_likely_degrees(seen).items()]
    weights = np.array([one.evidence for one in found])
    best = found[int(np.argmax(weights))]
    shares = np.exp(weights - weights.max())
    degrees = {
        one.temperature: float(share)
        for one, share in zip(found, shares / shares.sum(), strict=True)
    }
    return best.proposals(columns, headers, keys=keys, file=file, degrees=degrees)


def _unseen(column: OpenColumn, subject: str, file: str, why: str) -> Proposal:
    question = Question(kind="column", file=file, subject=subject, choices=(), why=why)
    return Proposal(
        place=column.place, meaning=None, certainty_frac=0.0, reasons=(), questions=(question,)
    )


def _sampled(
    columns: Sequence[OpenColumn], stamp_s: Ints, site: Site | None
) -> tuple[Times, Floats, ClearSky | None]:
    latitude = site.place.latitude_deg if site is not None else _LATITUDE_DEG
    longitude = site.place.longitude_deg if site is not None else _LONGITUDE_DEG
    times = times_of(stamp_s, latitude_deg=latitude, longitude_deg=longitude)
    values = np.array([column.values[times.rows] for column in columns], dtype=np.float64)
    with np.errstate(invalid="ignore"):
        values[np.abs(values) > _FARTHEST] = np.nan
    shift_s = shift_to_sun_s(
        values, times, latitude_deg=latitude, longitude_deg=longitude, known_place=site is not None
    )
    if shift_s:
        times = times_of(stamp_s, latitude_deg=latitude, longitude_deg=longitude, shift_s=shift_s)
    sky = None if site is None else clear_sky_of(times, site, shift_s=shift_s)
    return times, values, sky


def _states(
    columns: Sequence[OpenColumn],
    headers: Sequence[Header],
    looks: Sequence[Look],
    fits: Sequence[Fit],
    times: Times,
    temperature: str,
) -> list[tuple[State, ...]]:
    return [
        states_of(column, header, look, fit, temperature=temperature, trust_frac=times.trust_frac)
        for column, header, look, fit in zip(columns, headers, looks, fits, strict=True)
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """What was seen of the columns, whatever unit their temperatures are in.

    Attributes
    ----------
    columns, headers, looks, fits : one for each column
    values : at the sampled rows [as written], shape (columns, m)
    times, phases : the rows, and when the loop runs
    area_m2 : of the collectors, None where no site is known [m²]
    """

    columns: Sequence[OpenColumn]
    headers: Sequence[Header]
    looks: Sequence[Look]
    fits: Sequence[Fit]
    values: Floats
    times: Times
    phases: Phases
    area_m2: float | None


def _in_likely_degrees(seen: _Seen) -> dict[str, list[tuple[State, ...]]]:
    """Give what each column may be, by units of temperatures; not those that are out of question.

    What columns tell of each other differs by far less than `_OUT_OF_QUESTION` between the units.
    """
    found = {
        temperature: _states(
            seen.columns, seen.headers, seen.looks, seen.fits, seen.times, temperature
        )
        for temperature in temperatures(seen.headers, seen.looks)
    }
    nats = {
        temperature: HOW_COMMON[temperature] + sum(own[0].nats for own in states)
        for temperature, states in found.items()
    }
    least = max(nats.values()) - _OUT_OF_QUESTION
    return {temperature: found[temperature] for temperature in found if nats[temperature] >= least}


def _together(seen: _Seen, temperature: str, states: list[tuple[State, ...]]) -> Found:
    celsius = np.array(
        [
            _in_celsius(row, header, temperature)
            for row, header in zip(seen.values, seen.headers, strict=True)
        ]
    )
    links = Links(
        pairs=pairs_of(
            celsius, seen.values, seen.times, seen.phases.on if seen.phases.known else None
        ),
        gaps=gaps_of(celsius, seen.phases),
        named=_named(seen.headers),
    )
    first = assign(states, links)
    taken = {states[number][option].channel: number for number, option in enumerate(first.best)}
    spread = None
    if "loop_hot" in taken and "loop_cold" in taken:
        spread = celsius[taken["loop_hot"]] - celsius[taken["loop_cold"]]
    balance = balance_of(
        seen.values,
        seen.times,
        on=seen.phases.on if seen.phases.known else None,
        spread_k=spread,
        sun_w_m2=_sun(states, first, seen),
        area_m2=seen.area_m2,
    )
    links = replace(links, balance=balance)
    states = with_other_units(
        states,
        first,
        seen.headers,
        balance,
        unprinted=lambda column, name: _unprinted(seen, column, name, temperature),
    )
    return Found(
        states, assign(states, links), links, temperature, tuple(one.head for one in seen.columns)
    )


def _unprinted(seen: _Seen, column: int, name: str, temperature: str) -> tuple[State, ...]:
    """Give the units in which a column may hold a channel, were none printed in its head."""
    header = seen.headers[column]
    return states_of(
        replace(seen.columns[column], known=ColumnMeaning(channel=name, unit=None)),
        replace(header, unit=replace(header.unit, unit="", quantities=())),
        seen.looks[column],
        seen.fits[column],
        temperature=temperature,
        trust_frac=seen.times.trust_frac,
    )


def _named(headers: Sequence[Header]) -> list[str | None]:
    return [
        max(header.scores.nats, key=lambda name: header.scores.nats[name])
        if header.scores.nats
        else None
        for header in headers
    ]


def _in_celsius(row: Floats, header: Header, temperature: str) -> Floats:
    unit = header.unit.unit if "temperature" in header.unit.quantities else temperature
    scale = UNITS["temperature"][unit]
    return row * scale.factor + scale.shift


def _running(states: Sequence[Sequence[State]], values: Floats) -> Bools | None:
    """Give when the loop runs, by the column that is likeliest a pump or a flow."""
    best, lead = None, 0.0
    for own, row in zip(states, values, strict=True):
        top = max((state.nats for state in own if state.channel in _RUNNING), default=-np.inf)
        rest = max((state.nats for state in own if state.channel not in _RUNNING), default=-_SURE)
        known = row[np.isfinite(row)]
        if top - rest > lead and known.size:
            with np.errstate(invalid="ignore"):
                on = np.asarray(row > _RUNS * np.abs(known).max())
            # What never stops, or never starts, tells of no edges.
            if on.any() and not on.all():
                best, lead = on, top - rest
    return best


def _sun(states: Sequence[Sequence[State]], assignment: Assignment, seen: _Seen) -> Floats | None:
    for number, option in enumerate(assignment.best):
        state = states[number][option]
        # Light in a unit that nobody knows tells no heat.
        if not seen.headers[number].unit.unread and state.channel in (
            "irradiance_plane",
            "irradiance_horizontal",
        ):
            return (
                np.asarray(seen.values[number]) * UNITS["irradiance"][state.unit or "w/m2"].factor
            )
    return None
