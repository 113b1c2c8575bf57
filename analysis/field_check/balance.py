"""Stage two of the field check: a year's valid hours against what they should have given."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from operator import attrgetter

import numpy as np

from analysis.days import DayTable
from analysis.field_check.equations import safety_factor
from analysis.field_check.hours import HOUR_KIND, INDICATIVE, STRICT
from analysis.offsets import TAKEN
from analysis.record import Floats, known_or_zero
from analysis.results import CheckedHours, FieldCheck, FieldCheckOutcome
from analysis.site import Site
from analysis.units import SECONDS_PER_DAY

# The latest year counts: a check shall say how the field is, not how it once was.
_YEAR_S = 366 * SECONDS_PER_DAY
# Flow distribution, dirt and what nobody named (common practice, no source: 0.95 to 0.99).
OTHER_FACTOR = 0.98
# Agreed factors lie within these; a domestic sensor's uncertainty may pull the second lower.
_LEAST_PIPES, _LEAST_UNCERTAINTY = 0.80, 0.80


def field_check(table: DayTable, site: Site, *, end_s: int) -> FieldCheck | None:
    """Compare the latest year's valid hours with the estimate.

    Parameters
    ----------
    table : the days
    site : facts of the last day; its `[field_check]` holds factors that were agreed
    end_s : end of the data

    Returns
    -------
    FieldCheck, or None where no hour may be compared at all. Strict where as many hours as the
    standard asks for keep to its limits and the wind is known in them, else indicative.
    """
    every = table.of_kind(HOUR_KIND)
    hours = every[bisect_left(every, end_s - _YEAR_S, key=attrgetter("start_s")) :]
    if not hours:
        return None
    by_the_book = [item for item in hours if item.values["strict"] and item.values["wind_known"]]
    strict = len(by_the_book) >= STRICT.hours
    chosen = by_the_book if strict else hours
    needed = STRICT.hours if strict else INDICATIVE.hours
    # The plain equation asks for a high sun straight on; elsewhere the one with modifiers.
    equation = "estimated_hem_w" if strict else "estimated_w"
    values = [item.values for item in chosen]
    start_s = [item.start_s for item in chosen]
    due_w = [own[equation] for own in values]
    factors = _factors(site, estimated_w=sum(due_w), piped_w=sum([own["pipe_w"] for own in values]))
    whole = safety_factor(
        pipes=factors["pipes"], uncertainty=factors["uncertainty"], other=factors["other"]
    )
    measured = _measured_w(table, start_s, values)
    estimated = np.array(due_w) * whole
    ratio = float(measured.sum() / estimated.sum())
    outcome: FieldCheckOutcome = "reached" if ratio >= 1.0 else "not_reached"
    return FieldCheck(
        mode="strict" if strict else "indicative",
        outcome=outcome if len(chosen) >= needed else "too_few_hours",
        hours=len(chosen),
        hours_needed=needed,
        ratio=ratio,
        scatter_frac=float(np.std(measured / estimated)),
        safety_factor=whole,
        pipes_factor=factors["pipes"],
        uncertainty_factor=factors["uncertainty"],
        other_factor=factors["other"],
        start_s=chosen[0].start_s,
        end_s=chosen[-1].end_s,
        points=CheckedHours(
            start_s=tuple(start_s),
            measured_w=tuple(measured.tolist()),
            estimated_w=tuple(estimated.tolist()),
        ),
    )


def _measured_w(
    table: DayTable, start_s: Sequence[int], values: Sequence[Mapping[str, float]]
) -> Floats:
    """Give the measured heat of hours, less what the offset of the pipe sensors made of it [W]."""
    measured = np.array([own["measured_w"] for own in values])
    per_k = np.array([own.get("per_k_w_k", 0.0) for own in values])
    day = np.searchsorted(table.days.edge_s, start_s, side="right") - 1
    return np.asarray(measured - known_or_zero(table.column(TAKEN))[day] * per_k)


def _factors(site: Site, *, estimated_w: float, piped_w: float) -> dict[str, float]:
    """Give the agreed factors; where none were agreed, those that the site's facts suggest."""
    agreed = site.field_check
    pipes = min(max(1.0 - piped_w / estimated_w, _LEAST_PIPES), 1.0)
    sensors = site.sensors
    reach = float(np.hypot(sensors.flow_percent, sensors.irradiance_percent)) / 100.0
    uncertainty = max(1.0 - reach, _LEAST_UNCERTAINTY)
    found = {"pipes": pipes, "uncertainty": uncertainty, "other": OTHER_FACTOR}
    if agreed is not None:
        given = {
            "pipes": agreed.pipes_factor,
            "uncertainty": agreed.uncertainty_factor,
            "other": agreed.other_factor,
        }
        found |= {name: value for name, value in given.items() if value is not None}
    return found
