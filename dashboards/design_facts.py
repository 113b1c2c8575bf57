"""The design yield in words: a typical year's promise, and how the latest year stands to it."""

from collections.abc import Iterator

from analysis.design.result import DesignYield
from analysis.results import Report
from dashboards.format import month, plural, quantity, sentence, share
from dashboards.site_facts import Fact

_GIVEN = "given"


def design_of(report: Report) -> tuple[Fact, ...]:
    """Give the promise, what it rests on and how it was met; nothing where there is none."""
    design = report.design
    if design is None:
        return ()
    return (_typical_year(design), *_against(design))


def beside_of(report: Report) -> tuple[Fact, ...]:
    """Give what other methods say of the same system, and why they differ."""
    if report.design is None:
        return ()
    return tuple(
        Fact(label=f"{item.method} says", value=_kwh(item.yearly_kwh), note=sentence(item.why))
        for item in report.design.beside
    )


def _typical_year(design: DesignYield) -> Fact:
    if design.method == _GIVEN:
        return Fact(
            label="Promised for a typical year",
            value=_kwh(design.yearly_kwh),
            note="The monthly promise in the site file.",
        )
    assumed = f" Assumed: {'; '.join(design.assumed)}." if design.assumed else ""
    return Fact(
        label="Design yield of a typical year",
        value=_kwh(design.yearly_kwh),
        note=f"Computed after {design.method}, heat into the store. Climate: {design.climate}. "
        f"Demand: {design.demand}.{assumed}",
    )


def _against(design: DesignYield) -> Iterator[Fact]:
    promise = "promise" if design.method == _GIVEN else "design yield"
    if design.raw_ratio is None or design.compared_from is None or design.compared_to is None:
        yield Fact(
            label=f"Delivered of the {promise}",
            value="not known yet",
            note="It wants a calendar month with nine tenths of its time in the log.",
        )
        return
    months = _months(design.compared_months, design.compared_from, design.compared_to)
    own = "" if design.method == _GIVEN else "; the computed figure is itself good to about 15 %"
    yield Fact(
        label=f"Delivered of the {promise}, as it stands",
        value=_ratio(design.raw_ratio, design.raw_ratio_low, design.raw_ratio_high),
        note=f"{months}, whatever the weather{own}.",
    )
    label = f"Delivered of the {promise}, corrected for the weather"
    if design.weather_corrected_ratio is None:
        why = (
            "The climate here is not known: `suntally climate` writes one for the site file."
            if design.climate is None
            else "The sun of these months was not measured."
        )
        yield Fact(label=label, value="not known", note=why)
        return
    few = design.corrected_months < design.compared_months
    over = f" over the {plural(design.corrected_months, 'month')} that have it" if few else ""
    sun = (
        f"The sun gave {share(design.sun_ratio)} of the usual{over}; under it the {promise} is "
        f"{quantity(design.corrected_promise_kwh, 'kWh')} rather than "
        f"{quantity(design.usual_promise_kwh, 'kWh')}."
    )
    # A computed figure has named its climate already.
    usual = f" Usual sun: {design.climate}." if design.method == _GIVEN else ""
    yield Fact(
        label=label,
        value=_ratio(
            design.weather_corrected_ratio,
            design.weather_corrected_ratio_low,
            design.weather_corrected_ratio_high,
        ),
        note=f"{sun}{usual}",
    )


def _months(count: int, first: str, last: str) -> str:
    if count == 1:
        return month(first)
    return f"{plural(count, 'month')} from {month(first)} to {month(last)}"


def _ratio(value: float, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return share(value)
    return f"{value * 100:.0f} %, likely between {low * 100:.0f} and {high * 100:.0f}"


def _kwh(value: float) -> str:
    return f"{quantity(value, 'kWh')} a year"
