"""One cause, one finding: which kind explains which, in one visible table.

A finding is explained when another of the left-hand kinds covers at least half of its time. It is
kept, with the reason, beside the findings that remain. What names its own channel is explained by
a fault of that channel alone.
"""

from collections.abc import Sequence
from dataclasses import replace

from analysis.results import Finding
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

# (kind, channels it must be about or None for any, kinds it explains). Earlier rows win.
EXPLAINS: tuple[tuple[str, frozenset[str] | None, frozenset[str]], ...] = (
    (
        "not_yet_fitted",
        None,
        frozenset({"lost_circulation", "stagnation", "degraded_tubes", "yield_shortfall"}),
    ),
    (
        "sensor_fault",
        frozenset({"collector"}),
        frozenset(
            {
                "lost_circulation",
                "stagnation",
                "reverse_circulation",
                "degraded_tubes",
                "yield_shortfall",
                "not_yet_fitted",
            }
        ),
    ),
    (
        "sensor_fault",
        frozenset({"store_bottom", "store_top", "store_middle"}),
        frozenset({"lost_circulation", "reverse_circulation", "stagnation", "yield_shortfall"}),
    ),
    (
        "sensor_fault",
        frozenset({"store_bottom", "store_top", "store_middle"}),
        frozenset({"store_overheat", "charge_limit_low", "backup_overlap", "no_draw"}),
    ),
    ("sensor_fault", frozenset({"store_top"}), frozenset({"hygiene_temperature", "scald_risk"})),
    ("sensor_fault", frozenset({"hot_tap"}), frozenset({"scald_risk"})),
    ("sensor_fault", frozenset({"collector"}), frozenset({"charge_limit_low", "fluid_stress"})),
    (
        "charge_limit_low",
        None,
        frozenset({"lost_circulation", "stagnation", "degraded_tubes", "yield_shortfall"}),
    ),
    (
        "sensor_fault",
        frozenset({"loop_hot", "loop_cold", "flow", "irradiance_plane", "irradiance_horizontal"}),
        frozenset({"degraded_tubes", "yield_shortfall", "lost_circulation", "reverse_circulation"}),
    ),
    (
        "sensor_fault",
        frozenset({"pump", "collector", "store_bottom"}),
        frozenset({"pump_never_stops", "night_running"}),
    ),
    (
        "sensor_fault",
        frozenset({"pump", "flow", "loop_hot", "loop_cold", "irradiance_plane"}),
        frozenset({"low_flow", "high_flow"}),
    ),
    ("pump_never_stops", None, frozenset({"night_running"})),
    # Pipes burst: frost is doubted only where the very sensor that saw it is broken.
    ("sensor_fault", frozenset({"collector", "loop_hot", "loop_cold"}), frozenset({"frost_risk"})),
    (
        "lost_circulation",
        None,
        frozenset({"stagnation", "degraded_tubes", "yield_shortfall", "low_flow"}),
    ),
    ("degraded_tubes", None, frozenset({"yield_shortfall"})),
)
_COVERS = 0.5
# A cause goes on acting for a while: a sensor repaired at noon leaves a hot collector.
_BEFORE_S = int(SECONDS_PER_HOUR)
_AFTER_S = int(SECONDS_PER_DAY / 2)


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
    for kind, channels, kinds in EXPLAINS:
        causes = [
            item
            for item in kept
            if item.kind == kind and (not channels or item.channel in channels)
        ]
        for cause in causes:
            for item in [found for found in kept if found.kind in kinds]:
                if item.channel not in (None, cause.channel):
                    continue
                if item is not cause and _covered(item, cause, until_s) >= _COVERS:
                    kept.remove(item)
                    explained.append(replace(item, suppressed_by=kind))
    return tuple(kept), tuple(explained)


def _covered(item: Finding, cause: Finding, until_s: int) -> float:
    """Give the share of a finding's time that a cause covers."""
    start, end = item.start_s, until_s if item.end_s is None else item.end_s
    first = cause.start_s - _BEFORE_S
    last = (until_s if cause.end_s is None else cause.end_s) + _AFTER_S
    return max(min(end, last) - max(start, first), 0) / max(end - start, 1)
