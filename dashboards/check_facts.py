"""The year in progress, the field check and the clear days, in words."""

from analysis.hand_span import HandSpan
from analysis.results import Bounded, FieldCheck, Report, YearInProgress
from dashboards.format import bound_of, bounded, money, number, plural, share, span
from dashboards.site_facts import Fact

NO_LABEL = (
    "After the method of ISO 24194, quoted from secondary text: a figure to talk about, not a "
    "certificate."
)
_OUTCOME = {
    "reached": "as much as estimated, or more",
    "not_reached": "less than estimated",
    "too_few_hours": "too few valid hours to say",
}
_MODE = {
    "strict": "the standard's own limits",
    "indicative": "milder limits for small systems: 500 W/m², 50° of incidence, 10 K an hour",
}


def year_of(report: Report) -> tuple[Fact, ...]:
    """Give the calendar year so far and by its end; nothing where that cannot be told."""
    year = report.year
    if year is None:
        return ()
    return (
        Fact(
            label=f"Heat in {year.year}",
            value=f"{bounded(year.delivered_kwh)} so far",
            note=f"By the end of the year: {bounded(year.by_end_delivered_kwh)}. "
            f"Rests on the {year.rests_on}, and the weather's usual spread.",
        ),
        *_parts(year),
    )


def _parts(year: YearInProgress) -> tuple[Fact, ...]:
    found = []
    if year.money_net is not None and year.by_end_money_net is not None:
        found.append(
            Fact(
                label=f"Money in {year.year}, after the pump",
                value=f"{money_words(year.money_net, year.currency)} so far",
                note="By the end of the year, at today's prices: "
                f"{money_words(year.by_end_money_net, year.currency)}.",
            )
        )
    if year.co2_kg is not None and year.by_end_co2_kg is not None:
        found.append(
            Fact(
                label=f"CO₂ in {year.year}, after the pump",
                value=f"{bounded(year.co2_kg, 'kg')} so far",
                note=f"By the end of the year: {bounded(year.by_end_co2_kg, 'kg')}.",
            )
        )
    return tuple(found)


def money_words(bound: Bounded, currency: str | None) -> str:
    """Write money with its bounds."""
    low, high = money(bound.low, currency), money(bound.high, currency)
    return f"{money(bound.value, currency)}, likely between {low} and {high}"


def field_check_of(report: Report) -> tuple[Fact, ...]:
    """Give what the field check says and what it rests on; nothing without valid hours."""
    check = report.field_check
    if check is None:
        return ()
    return (
        Fact(label="Measured over estimated", value=_verdict(check), note=NO_LABEL),
        Fact(
            label="Valid hours",
            value=f"{plural(check.hours, 'hour')}, {check.hours_needed} needed",
            note=f"{span(check.start_s, check.end_s, report.timezone)}; {_MODE[check.mode]}. "
            f"Single hours scatter by {share(check.scatter_frac)}.",
        ),
        Fact(
            label="Estimate lowered to",
            value=share(check.safety_factor),
            note=f"Pipes {share(check.pipes_factor)}, sensors {share(check.uncertainty_factor)}, "
            f"all else {share(check.other_factor)}; to be agreed in writing before it counts "
            "([field_check] in the site file).",
        ),
    )


def _verdict(check: FieldCheck) -> str:
    return f"{number(check.ratio, decimals=2)}: {_OUTCOME[check.outcome]}"


def clear_days_of(report: Report) -> tuple[Fact, ...]:
    """Give what clear days say where no sun was measured, the latest four seasons."""
    return tuple(
        Fact(
            label=f"Clear days, {item.season}",
            value=f"{share(item.level.value)} of what a clear sky brings, likely between "
            f"{share(item.level.low)} and {share(item.level.high)}"
            if item.level
            else "not known",
            note=f"{plural(item.days, 'clear day')}, told by the shape of their curves; "
            f"{item.basis}.",
        )
        for item in report.clear_seasons[-4:]
    )


def readings_of(report: Report) -> tuple[Fact, ...]:
    """Give what meter readings by hand say, the latest four spans, each beside the log."""
    return tuple(
        Fact(
            label=f"Read by hand, {span(item.start_s, item.end_s, report.timezone)}",
            value=bounded(
                bound_of(item.delivered_kwh, item.delivered_low_kwh, item.delivered_high_kwh)
            )
            if item.delivered_kwh is not None
            else "the register went down: another meter, or a slip",
            note=_beside_log(item),
        )
        for item in report.readings[-4:]
    )


def _beside_log(item: HandSpan) -> str:
    who = f"Read by {item.who}. " if item.who else ""
    if item.logged_kwh is None:
        return f"{who}The log has no day of it; it is not in the other figures."
    return (
        f"{who}The log measured {number(item.logged_kwh)} kWh in {share(item.logged_frac)} of that "
        "time; the two are never added up."
    )
