"""One cause, one finding: which kind explains which, in two visible tables.

`RESTS_ON` says which channels a kind is derived from: a fault of one of them explains it.
`CAUSES` says what each kind accounts for; earlier rows win. A cause either brings its symptoms
about (a dead pump lets the collector stand hot), or feigns them (a wrong clock moves the day into
the night). A finding is explained when a cause covers at least half of its time, and it is kept,
with the reason, beside the findings that remain. A cause is as urgent as what it brings about.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.precedence_rules import RESTS_ON as RESTS_ON
from analysis.precedence_rules import (
    began_with,
    of_the_clock,
    of_the_coil,
    of_the_meter,
    of_the_roof_in_place,
    of_the_sensor,
    of_the_shade,
    of_the_standing,
    of_the_swapped,
    same_channel,
)
from analysis.results import URGENCIES, Finding
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What a kind accounts for: symptoms that are real, and such that only seem to be.

    `only` tells of a cause and a symptom whether the row holds for them.
    """

    kind: str
    brings: frozenset[str] = frozenset()
    feigns: frozenset[str] = frozenset()
    only: Callable[[Finding, Finding], bool] = same_channel


def _cause(
    kind: str,
    *,
    brings: str = "",
    feigns: str = "",
    only: Callable[[Finding, Finding], bool] = same_channel,
) -> Cause:
    return Cause(
        kind=kind, brings=frozenset(brings.split()), feigns=frozenset(feigns.split()), only=only
    )


_YIELD = "degraded_tubes yield_shortfall"
_STANDS = f"lost_circulation stagnation {_YIELD}"
_TEMPERATURES = (
    "stagnation lost_circulation reverse_circulation night_running pump_never_stops "
    "low_flow poor_heat_transfer pipe_heat_loss start_delayed short_cycling charge_limit_low "
    f"not_yet_fitted {_YIELD}"
)
_STORE_STATES = "fluid_stress store_overheat scald_risk hygiene_temperature backup_overlap no_draw"

CAUSES = (
    # What is read wrongly: the symptoms are not there.
    # A store's sensor shows what the roof gets to.
    _cause("sensors_swapped", feigns="sensor_fault", only=of_the_roof_in_place),
    # Of a sensor only what rests on it.
    Cause(kind="sensor_fault", feigns=frozenset(RESTS_ON), only=of_the_sensor),
    _cause(
        "sensors_swapped",
        feigns=f"clock_wrong shading {_STORE_STATES} {_TEMPERATURES}",
        only=of_the_swapped,
    ),
    # A roof that nothing cools leaves meter and coil without work, and its day without the sun's
    # shape.
    _cause(
        "lost_circulation",
        feigns="flow_reading_wrong poor_heat_transfer clock_wrong",
        only=of_the_standing,
    ),
    # Where no sun sensor tells the clock, the heat that was carried and a dark afternoon do.
    _cause("flow_reading_wrong", feigns="clock_wrong", only=of_the_meter),
    _cause("shading", feigns="clock_wrong", only=of_the_shade),
    _cause(
        "clock_wrong",
        feigns="night_running reverse_circulation start_delayed shading backup_overlap "
        f"charge_limit_low {_YIELD}",
        only=of_the_clock,
    ),
    # A flow that is not there carries heat up at night, as the meter has it.
    _cause(
        "flow_reading_wrong",
        feigns="low_flow high_flow reverse_circulation poor_heat_transfer pipe_heat_loss shading "
        f"{_YIELD}",
    ),
    # What stands still, from the first cause to the last.
    _cause("not_yet_fitted", feigns=f"start_delayed shading pipe_heat_loss {_STANDS}"),
    _cause("vessel_charge_lost", brings=f"pressure_loss low_flow short_cycling {_STANDS}"),
    _cause("pressure_loss", brings=f"low_flow short_cycling poor_heat_transfer {_STANDS}"),
    _cause(
        # The store's bottom warms while the pump runs: the heat came, late and hot.
        "poor_heat_transfer",
        brings="short_cycling yield_shortfall",
        feigns="lost_circulation shading",
        only=of_the_coil,
    ),
    _cause(
        "charge_limit_low",
        brings="stagnation yield_shortfall",
        feigns="lost_circulation degraded_tubes start_delayed short_cycling",
    ),
    _cause(
        "lost_circulation",
        # Nothing cools the roof: it starts the night hot.
        brings=f"stagnation low_flow start_delayed {_YIELD}",
        feigns="reverse_circulation pipe_heat_loss shading",
    ),
    # What runs when it should not.
    _cause("pump_never_stops", brings="night_running reverse_circulation yield_shortfall"),
    _cause("night_running", brings="reverse_circulation"),
    # What carries less than it should.
    _cause(
        "low_flow",
        brings="poor_heat_transfer short_cycling yield_shortfall",
        # Where the flow is taken from the command, half of it looks like twice the loss.
        feigns="pipe_heat_loss",
    ),
    _cause("high_flow", brings="short_cycling"),
    _cause("pipe_heat_loss", brings=_YIELD),
    _cause("shading", brings=_YIELD),
    # A sensor that reads low starts the pump late, and stops it early and often.
    _cause("start_delayed", brings="short_cycling yield_shortfall"),
    _cause("short_cycling", brings="yield_shortfall"),
    _cause("degraded_tubes", brings="yield_shortfall"),
    # What gets too hot: one store, one warning.
    _cause("store_overheat", brings="scald_risk"),
)
"""What accounts for what, in order of precedence.

A kind may have an earlier row for what it accounts for under a condition alone."""

_COVERS = 0.5
# A cause known to have cost less than this share of a symptom's loss is not its cause.
_WORTH = 0.5
# Besides what feigns a shortfall: on days with these the yield tells nothing further.
_TAKES_THE_YIELD = frozenset(
    {"not_yet_fitted", "lost_circulation", "charge_limit_low", "degraded_tubes", "low_flow"}
)
# A cause goes on acting for a while: a sensor repaired at noon leaves a hot collector. A low limit
# shows itself only where the pump ran before it stopped, some days late (engineering judgement).
_BEFORE_S = int(SECONDS_PER_HOUR)
_SEEN_LATE_S = {"charge_limit_low": int(2.0 * SECONDS_PER_DAY)}
_AFTER_S = int(SECONDS_PER_DAY / 2)
# What came back so soon was hardly gone between (engineering judgement).
_BREAK_S = int(7.0 * SECONDS_PER_DAY)
# A drop against the plant's own past is not explained by what was there before; it is dated by so
# much too late at most (engineering judgement).
_ONSET_S = int(60.0 * SECONDS_PER_DAY)
_AGAINST_ITS_PAST = frozenset({"degraded_tubes"})
# So much of its past must have been read wrongly to feign a drop (engineering judgement).
_SPOILT_S = int(14.0 * SECONDS_PER_DAY)


def sort_out(
    findings: Sequence[Finding], *, until_s: int
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Part findings into those that stand and those that another explains.

    Parameters
    ----------
    findings : everything that was found
    until_s : stands for the end of findings that last
    """
    kept = list(findings)
    explained: list[Finding] = []
    for row in CAUSES:
        causes = [item for item in kept if item.kind == row.kind]
        if not causes:
            continue
        accounts_for = row.brings | row.feigns
        heirs: dict[int, list[Finding]] = {id(cause): [] for cause in causes}
        for item in [item for item in kept if item.kind in accounts_for]:
            cause = _cause_of(row, item, causes, until_s)
            if cause is None:
                continue
            explained.append(replace(item, suppressed_by=row.kind))
            kept = [other for other in kept if other is not item]
            if item.kind in row.brings:
                heirs[id(cause)].append(item)
        kept = [_heir(item, heirs.get(id(item), [])) for item in kept]
    return tuple(kept), tuple(explained)


def takes_the_yield(finding: Finding) -> bool:
    """Tell whether the yield of a finding's days says nothing beyond it."""
    if finding.kind == "sensor_fault":
        return finding.channel in RESTS_ON["yield_shortfall"]
    feigned = any(row.kind == finding.kind and "yield_shortfall" in row.feigns for row in CAUSES)
    return feigned or finding.kind in _TAKES_THE_YIELD


def _cause_of(row: Cause, item: Finding, causes: Sequence[Finding], until_s: int) -> Finding | None:
    """Give the finding of a row's kind that explains another, None where none does.

    Several spells of one cause may explain it together; the one that covers most of it then counts.
    """
    told = [cause for cause in causes if row.only(cause, item)]
    if item.kind in _AGAINST_ITS_PAST:
        spoilt = [cause for cause in told if item.kind in row.feigns and _spoils(cause, item)]
        if spoilt:
            return spoilt[0]
        told = [cause for cause in told if cause.start_s >= item.start_s - _ONSET_S]
    if item.kind in row.brings:
        told = [cause for cause in told if _worth_it(cause, item, until_s)]
    if not told or _covered(item, told, until_s) < _COVERS:
        return None
    return max(told, key=lambda cause: _covered(item, [cause], until_s))


def _spoils(cause: Finding, item: Finding) -> bool:
    """Tell whether a drop began as a cause ended: the past it is held against was read wrongly."""
    if cause.end_s is None or cause.end_s - cause.start_s < _SPOILT_S:
        return False
    return began_with(cause.end_s, item)


def _worth_it(cause: Finding, item: Finding, until_s: int) -> bool:
    """Tell whether a cause cost enough for what it is to have brought about."""
    if cause.lost is None or item.lost is None:
        return True
    return cause.lost.high >= _WORTH * _covered(item, [cause], until_s) * item.lost.low


def _heir(cause: Finding, brought: Sequence[Finding]) -> Finding:
    """Give a cause the urgency of what it brings about, and its loss where it states none."""
    if not brought:
        return cause
    urgency = min((cause, *brought), key=lambda item: URGENCIES.index(item.urgency)).urgency
    priced = [item for item in brought if item.lost is not None]
    told = cause
    if cause.lost is None and priced:
        told = max(priced, key=lambda item: 0.0 if item.lost is None else item.lost.value)
    return replace(cause, urgency=urgency, lost=told.lost, untaken_kwh=told.untaken_kwh)


def _covered(item: Finding, causes: Sequence[Finding], until_s: int) -> float:
    """Give the share of a finding's time that spells of one cause cover, short breaks included."""

    def span_s(finding: Finding) -> tuple[int, int]:
        return finding.start_s, until_s if finding.end_s is None else finding.end_s

    start, end = span_s(item)
    spells: list[list[int]] = []
    for begins, ends in sorted(span_s(cause) for cause in causes):
        if spells and begins - spells[-1][1] <= _BREAK_S:
            spells[-1][1] = max(spells[-1][1], ends)
        else:
            spells.append([begins, ends])
    before_s = max((_SEEN_LATE_S.get(cause.kind, _BEFORE_S) for cause in causes), default=0)
    shared = sum(
        max(min(end, ends + _AFTER_S) - max(start, begins - before_s), 0) for begins, ends in spells
    )
    return shared / max(end - start, 1)
