"""The one door: `observe` turns samples into the table of days, `assess` the table into a report.

The stateless report and the service go through the same two calls; the service keeps the table's
rows and observes only days that changed.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np

from analysis.apart import apart_columns, apart_notes
from analysis.basis import Basis
from analysis.case import case_of
from analysis.clear_days import seasons_of
from analysis.clear_sky import clear_columns
from analysis.condition.state import condition_of
from analysis.condition.tubes import TubesState
from analysis.day_figures import day_columns
from analysis.day_summaries import (
    DAILY_SUMMARY,
    summary_columns,
    summary_notes,
    summed_days,
    with_rounding,
)
from analysis.days import DayTable, Happening, joined, local_date, local_midnight_s, part_of
from analysis.design import promise
from analysis.design.compared import compared
from analysis.doubt import without_doubtful
from analysis.errors import RecordError
from analysis.faults import CATALOGUE, Fault, Found, Judged, NotJudged
from analysis.faults._protocol import Conclusion, History
from analysis.faults._switching import switching_columns
from analysis.field_check.balance import field_check
from analysis.field_check.hours import field_check_hours
from analysis.figures import day_figures, month_figures, promises_of, total_figures
from analysis.forecast import year_in_progress
from analysis.heat import heat_basis
from analysis.ledger import ledger_of
from analysis.life import reopened
from analysis.missed import room_columns
from analysis.offsets import OFFSET_LEARNT, Spell, corrected, learn_offsets, pair_offsets
from analysis.precedence import sort_out, takes_the_yield
from analysis.readings import hand_spans
from analysis.record import Record
from analysis.results import (
    URGENCIES,
    Finding,
    Outcome,
    Problem,
    Report,
    RowCount,
    Verdict,
)
from analysis.savings import savings_of
from analysis.site import Site
from analysis.sitefile import change_dates, site_on
from analysis.stepping import edge_columns, values_kind
from analysis.sun_basis import sensor_notes, sun_basis
from analysis.sun_drift import drift_notes, drifts, without_drift
from analysis.sun_sensor import sensor_columns
from analysis.units import SECONDS_PER_DAY
from analysis.weather import Weather
from analysis.years import year_figures

METHOD = "26"
"""Version of the method: stored tables of another version are observed anew."""

MARGIN_DAYS = 1
"""Neighbours on both sides that `observe` wants with the days that count."""

# Days observed at a time by each of two threads: bounds memory, whatever the length of the log.
_CHUNK_DAYS = 184

_HEAT_WORDS = {
    "pump_and_commissioned_flow": "Heat is estimated: no flow meter, so the flow set at "
    "commissioning is taken whenever the pump is commanded; bounds are wide",
    "pump_and_store_temperature": "Heat is estimated from pump, collector and store temperature "
    "and the flow set at commissioning; bounds are wide",
    "flow_and_store_temperature": "Heat is estimated from flow, collector and store temperature; "
    "bounds are wide",
    "heat_power": "Heat is summed from the rate that the logger computed itself",
    "heat_register": "Heat is taken from the meter's register",
}
# A register that is misread now and then, or was changed, falls more seldom (judgement).
_FALLS, _FALLS_FRAC = 3, 0.05
_KINDS = {"sample": "samples at an instant", "mean": "means over their step"}


def observe(
    *,
    site: Site,
    record: Record,
    channels: frozenset[str],
    weather: Weather | None = None,
    catalogue: tuple[Fault, ...] = CATALOGUE,
) -> DayTable:
    """Look at the samples of whole local days and write a row for each.

    Parameters
    ----------
    site : the site as its file states it; changes are applied on their days here
    record : rows of whole local days; the first and last day are best with a neighbour
    channels : channels ever seen at the site
    weather : hourly weather of the same period, or None
    catalogue : the faults that look

    Raises
    ------
    RecordError : the record is empty
    """
    if len(record) == 0:
        raise RecordError("a record without rows cannot be observed")
    timezone = site.place.timezone

    def chunk(span_s: tuple[int, int]) -> DayTable:
        facts = site_on(site, local_date(span_s[0], timezone))
        return _chunk(facts, record, span_s, channels, weather, catalogue)

    starts = record.start_s
    edges = _chunk_edges_s(site, record)
    logged = [
        span_s
        for span_s in pairwise(edges)
        if len(set(np.searchsorted(starts, span_s).tolist())) > 1
    ]
    # What numpy and compiled loops do lets another thread work. This one takes its part, whose
    # memory is at hand.
    with ThreadPoolExecutor(1) as beside:
        others = beside.map(chunk, logged[1::2])
        tables = [chunk(span_s) for span_s in logged[::2]]
        return joined([*tables, *others], timezone=timezone)


def _chunk(
    facts: Site,
    record: Record,
    span_s: tuple[int, int],
    channels: frozenset[str],
    weather: Weather | None,
    catalogue: tuple[Fault, ...],
) -> DayTable:
    """Observe the days from one local midnight to another, under the facts of the first."""
    # A neighbouring day on each side, so that rates and registers go through midnight.
    margin_s = MARGIN_DAYS * int(SECONDS_PER_DAY)
    inside = np.searchsorted(record.start_s, [span_s[0] - margin_s, span_s[1] + margin_s])
    part = record.part(int(inside[0]), int(inside[1]))
    table = _observed(facts, part, channels, weather, catalogue)
    days = np.searchsorted(table.days.edge_s, span_s)
    return part_of(table, first=int(days[0]), last=int(days[1]))


def _observed(
    site: Site,
    record: Record,
    channels: frozenset[str],
    weather: Weather | None,
    catalogue: tuple[Fault, ...],
) -> DayTable:
    case = case_of(site=site, record=record, channels=channels, weather=weather)
    columns = {
        **day_columns(case),
        **room_columns(case),
        **edge_columns(case),
        **apart_columns(case),
    }
    columns.update({**sensor_columns(case), **clear_columns(case), **switching_columns(case)})
    happenings: list[Happening] = list(field_check_hours(case))
    for fault in catalogue:
        seen = fault.observe(case)
        columns.update(seen.columns)
        happenings.extend(seen.happenings)
    columns.update(summary_columns(case, columns))
    happenings.sort(key=lambda item: (item.start_s, item.kind))
    return DayTable(days=case.days, columns=columns, happenings=tuple(happenings))


def _chunk_edges_s(site: Site, record: Record) -> list[int]:
    """Give local midnights that part the record: at changes of facts, else every so many days."""
    timezone = site.place.timezone
    first = local_date(int(record.start_s[0]), timezone)
    last = local_date(int(record.start_s[-1] + record.step_s[-1]) - 1, timezone)
    cuts = {first.toordinal(), last.toordinal() + 1}
    cuts |= {day.toordinal() for day in change_dates(site) if first < day <= last}
    whole = sorted(cuts)
    for one, other in pairwise(whole):
        cuts |= set(range(one, other, _CHUNK_DAYS))
    return [local_midnight_s(date.fromordinal(day), timezone) for day in sorted(cuts)]


def assess(
    *,
    site: Site,
    table: DayTable,
    start_s: int,
    end_s: int,
    until_s: int,
    channels: frozenset[str],
    rows: RowCount,
    rejected: tuple[Problem, ...],
    catalogue: tuple[Fault, ...] = CATALOGUE,
) -> Report:
    """Draw the conclusions from the table of days.

    Parameters
    ----------
    site : the site as its file states it
    table : every observed day
    start_s, end_s : the span that the data cover, UTC epoch seconds
    until_s : the present moment where the shell knows it, else `end_s`
    channels : channels ever seen at the site
    rows, rejected : what reading the logs gave
    catalogue : the faults that judge, the shortfall last
    """
    facts = site_on(site, local_date(end_s - 1, site.place.timezone))
    table = with_rounding(table)
    drift = drifts(table, site)
    table = without_drift(table, drift)
    spells = learn_offsets(table, site)
    table = corrected(table, spells, site)
    history = History(site=facts, table=table, start_s=start_s, end_s=end_s, until_s=until_s)
    found: list[Finding] = []
    verdicts: list[Verdict] = []
    conclusions: dict[str, Conclusion] = {}
    for fault in catalogue:
        conclusion = fault.conclude(history)
        conclusions[fault.kind] = conclusion
        verdicts.append(_verdict(fault, conclusion))
        if isinstance(conclusion, Judged):
            own = [_finding(fault, item) for item in conclusion.findings]
            found.extend(own)
            more = _explained(own, history) - history.explained
            if more:
                history = replace(history, explained=history.explained | more)
    kept, explained = map(reopened, sort_out(found, until_s=until_s))
    table = _without_tubes(table, kept, until_s)
    table = without_doubtful(table, found, channels=channels, until_s=until_s)
    ledger, kept = ledger_of(table, kept, site, until_s=until_s)
    days, months = day_figures(table, site), month_figures(table, site)
    years = year_figures(table, site)
    promised = promise.design_yield(facts)
    return Report(
        site=site.place.name,
        timezone=site.place.timezone,
        start_s=start_s,
        end_s=end_s,
        basis=_basis(facts, channels, table, spells, drift_notes(drift)),
        rows=rows,
        rejected=rejected,
        days=days,
        months=months,
        totals=total_figures(table, site, months, start_s=start_s, end_s=end_s),
        findings=tuple(sorted(kept, key=_weight)),
        explained=explained,
        verdicts=tuple(verdicts),
        condition=condition_of(table, facts, tubes=_tubes(conclusions)),
        savings=savings_of(table, site),
        method=METHOD,
        clear_seasons=seasons_of(table),
        field_check=field_check(table, facts, end_s=end_s),
        year=year_in_progress(table, site, days, so_far=years[-1], promised_kwh=promises_of(facts)),
        design=None if promised is None else compared(promised, table, site, months),
        readings=hand_spans(site, days),
        ledger=ledger,
        years=years,
    )


def _without_tubes(table: DayTable, kept: tuple[Finding, ...], until_s: int) -> DayTable:
    """Take the healthy figure out of days on which there was no collector yet."""
    absent = np.zeros(len(table.days), dtype=np.bool_)
    for item in kept:
        if item.kind == "not_yet_fitted":
            end_s = until_s if item.end_s is None else item.end_s
            edges = table.days.edge_s
            absent |= (edges[:-1] < end_s) & (edges[1:] > item.start_s)
    if not absent.any():
        return table
    columns = {
        name: np.where(absent, np.nan, values) if name.startswith("expected_") else values
        for name, values in table.columns.items()
    }
    return replace(table, columns=columns)


def _explained(found: list[Finding], history: History) -> frozenset[str]:
    """Give the days whose loss a finding accounts for."""
    edges, dates = history.table.days.edge_s, history.table.days.dates
    named: set[str] = set()
    for item in found:
        if takes_the_yield(item):
            end_s = history.until_s if item.end_s is None else item.end_s
            touched = (edges[1:] > item.start_s) & (edges[:-1] < end_s)
            named.update(dates[day] for day in np.flatnonzero(touched).tolist())
    return frozenset(named)


def _verdict(fault: Fault, conclusion: Conclusion) -> Verdict:
    if isinstance(conclusion, NotJudged):
        return Verdict(kind=fault.kind, outcome="cannot_judge", why=conclusion.why)
    outcome: Outcome = "found" if conclusion.findings else "clear"
    return Verdict(kind=fault.kind, outcome=outcome, why=conclusion.why)


def _finding(fault: Fault, item: Found) -> Finding:
    return Finding(
        kind=fault.kind,
        start_s=item.start_s,
        end_s=item.end_s,
        urgency=item.urgency,
        certainty=item.certainty,
        channel=item.channel,
        lost=item.lost,
        untaken_kwh=item.untaken_kwh,
        summary=item.summary,
        evidence=item.evidence,
        likely_causes=fault.text.likely_causes,
        check_next=fault.text.check_next,
        cautions=fault.text.cautions,
    )


def _weight(item: Finding) -> tuple[bool, int, float, int]:
    """Order findings: those that last first, then by urgency, lost heat and start."""
    lost = item.lost.value if item.lost is not None else 0.0
    return (item.end_s is not None, URGENCIES.index(item.urgency), -lost, item.start_s)


def _tubes(conclusions: dict[str, Conclusion]) -> TubesState | None:
    conclusion = conclusions.get("degraded_tubes")
    return conclusion.tubes if isinstance(conclusion, Judged) else None


def _heat_basis(channels: frozenset[str], table: DayTable) -> str | None:
    """Give what the heat rests on: the summaries of days only where nothing better gave any."""
    summed = summed_days(table)
    sampled = np.isfinite(table.column("heat_kwh")) & ~summed
    return DAILY_SUMMARY if summed.any() and not sampled.any() else heat_basis(channels)


def _unread_notes(table: DayTable) -> tuple[str, ...]:
    """Say on how many days what heat rests on was not logged, at least while the loop ran."""
    silent = (table.column("known_s") == 0.0) & (table.column("logged_s") > 0.0)
    unread = np.flatnonzero((table.column("unread") > 0.0) | silent)
    if not len(unread):
        return ()
    first, last = (date.fromisoformat(table.days.dates[at]) for at in (unread[0], unread[-1]))
    days = "1 day" if len(unread) == 1 else f"{len(unread)} days"
    span = f"{first:%-d %B %Y}" + (f" to {last:%-d %B %Y}" if last > first else "")
    return (
        f"On {days} ({span}) the flow, a pipe or whatever else heat rests on was not logged, or a "
        "logger that read nothing repeated it, at least while the loop ran: the heat of those days "
        "is unknown, and none of it is counted",
    )


def _register_notes(table: DayTable) -> tuple[str, ...]:
    """Say where a heat register falls as none does."""
    moves, falls = (int(np.nansum(table.column(f"register_{what}"))) for what in ("moves", "falls"))
    if falls < _FALLS or falls <= _FALLS_FRAC * moves:
        return ()
    return (
        f"The heat register falls in {falls} of its {moves} steps, which no register does: check "
        "its column. Heat noted for each whole day is day_heat in [log.columns]",
    )


def _basis(
    site: Site,
    channels: frozenset[str],
    table: DayTable,
    spells: tuple[Spell, ...],
    of_drift: tuple[str, ...],
) -> Basis:
    heat = _heat_basis(channels, table)
    learnt = any(spell.corrected for spell in spells)
    weather, sun_notes = sun_basis(table, site)
    notes = []
    if heat is None:
        notes.append("Heat cannot be worked out: neither flow, a meter nor pump and temperatures")
    elif heat in _HEAT_WORDS:
        notes.append(_HEAT_WORDS[heat])
    notes.extend((*summary_notes(table), *(() if heat is None else _unread_notes(table))))
    notes.extend((*apart_notes(table), *_register_notes(table)))
    notes.extend((*sun_notes, *sensor_notes(table), *of_drift))
    kind = values_kind(table)
    if site.log.values is None and kind == "mean":
        notes.append("Values are means over their step, as the pump's edges show")
    elif site.log.values is not None and kind not in (None, site.log.values):
        notes.append(
            f"The site file says that values are {_KINDS[site.log.values]}, the pump's edges say "
            f"{_KINDS[kind]}: check [log] values"
        )
    if promise.basis_of(site) is None:
        notes.append(promise.NO_CLIMATE)
    if site.backup is None:
        notes.append("No backup in the site file: savings are left out")
    return Basis(
        heat=f"{heat}{OFFSET_LEARNT}" if heat and learnt else heat,
        weather=weather,
        design=promise.basis_of(site),
        notes=tuple(notes),
        offsets=pair_offsets(table, spells),
    )
