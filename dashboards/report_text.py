"""The report as plain text: what an installer reads in a terminal."""

import textwrap
from collections.abc import Iterator, Sequence

from analysis.problem_groups import ProblemGroup, grouped
from analysis.results import Finding, MonthFigure, Report
from dashboards import format as fmt
from dashboards.check_facts import clear_days_of, field_check_of, readings_of, year_of
from dashboards.design_facts import beside_of, design_of
from dashboards.finding_page import explains_words
from dashboards.logs_text import printable
from dashboards.losses import lost_words
from dashboards.missing_heat import missing_heat, missing_heat_says, untold_days
from dashboards.set_aside_words import set_aside_facts
from dashboards.site_facts import Fact
from dashboards.texts import (
    Texts,
    design_basis,
    heat_basis,
    offset_words,
    title_of,
    weather_basis,
)

_WIDTH = 78
_LISTED = 10
_CHECKS = 3


def render_text(
    report: Report,
    *,
    texts: Texts,
    set_aside: Sequence[ProblemGroup] | None = None,
    logs: str = "",
) -> str:
    """Write a report for reading.

    Parameters
    ----------
    report : the report
    texts : the catalogue's words
    set_aside : all that was set aside, by reason; None: what `report.rejected` lists
    logs : how the logs were read, as `dashboards.logs_text` writes it
    """
    parts = [
        _head(report),
        _heat(report),
        _months(report),
        _missing_heat(report, texts),
        _findings(report, texts),
        _verdicts(report, texts),
        logs,
        _rows(report, grouped(report.rejected) if set_aside is None else set_aside),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(report: Report) -> str:
    days = fmt.span(report.start_s, report.end_s, report.timezone)
    name = printable(" ".join(report.site.split()))
    return f"{name}\n{'=' * len(name)}\n{days}, days of {report.timezone}"


def _heat(report: Report) -> str:
    totals, basis = report.totals, report.basis
    delivered = fmt.bounded(
        fmt.bound_of(totals.delivered_kwh, totals.delivered_low_kwh, totals.delivered_high_kwh)
    )
    expected = fmt.bounded(
        fmt.bound_of(totals.expected_kwh, totals.expected_low_kwh, totals.expected_high_kwh),
        unknown="not known: the log holds no irradiance and no --weather was given"
        if basis.weather is None
        else "not known for these days",
    )
    # The basis' own notes stand in these lines, each where it matters.
    lines = [
        ("Delivered", delivered),
        ("Expected", f"{expected}{_expected_is(report)}"),
        ("Design", _design(report)),
        ("Coverage", f"{fmt.share(totals.coverage)} of the time is in the log{_missing(report)}"),
        ("Pump", fmt.quantity(totals.pump_kwh, "kWh of electricity", unknown=fmt.NOT_MEASURED)),
        *_savings(report),
        *_facts("This year", year_of(report)),
        *_facts("Field check", field_check_of(report)),
        *_readings(report),
        *_facts("Clear days", clear_days_of(report)),
        *_promise(report),
        *_collector(report),
        ("Rests on", f"heat: {heat_basis(basis.heat)}"),
        *(("", f"pipe sensors: {offset_words(item)}") for item in basis.offsets),
        ("", f"weather: {weather_basis(basis.weather)}"),
        ("", f"design: {design_basis(basis.design)}"),
    ]
    return "HEAT\n" + "\n".join(_labelled(label, text) for label, text in lines)


def _expected_is(report: Report) -> str:
    if report.totals.expected_kwh is None:
        return ""
    untold = untold_days(report)
    but = f"; {fmt.plural(untold, 'day')} that cannot tell it left out" if untold else ""
    return f" (a healthy collector in this weather{but})"


def _missing(report: Report) -> str:
    whole = fmt.share(report.totals.coverage) == "100 %"
    return "" if whole else "; what is missing counts as unknown, not as zero"


def _design(report: Report) -> str:
    totals = report.totals
    if totals.design_kwh is None:
        return "not known"
    what = "promised for" if report.basis.design == "given" else "computed for"
    text = f"{fmt.quantity(totals.design_kwh, 'kWh')} {what} these days, from the climate"
    if totals.coverage >= 0.9:
        return text
    if any(month.design_pro_rata for month in report.months):
        return f"{text}, pro rata for the time that is in the log"
    return f"{text}; with so little in the log the two cannot be compared as they stand"


def _savings(report: Report) -> Iterator[tuple[str, str]]:
    saved = report.savings
    if saved is None:
        known = fmt.known(report.totals.delivered_kwh)
        why = "the site file has no [backup] table" if known else "delivered heat is not known"
        yield "Saved", f"not known: {why}"
        return
    fuel = fmt.bounded(fmt.bound_of(saved.fuel_kwh, saved.fuel_low_kwh, saved.fuel_high_kwh))
    yield "Saved", f"fuel: {fuel}"
    if saved.money_net is not None:
        low = fmt.money(saved.money_net_low, saved.currency)
        high = fmt.money(saved.money_net_high, saved.currency)
        net = fmt.money(saved.money_net, saved.currency)
        yield "", f"money, after the pump: {net}, likely between {low} and {high}"
    else:
        yield "", "money: not known; it needs the prices of fuel and electricity in one currency"
    if saved.co2_kg is None:
        yield "", "CO2 not emitted: not known; it needs co2_kg_per_kwh for this fuel"
    else:
        co2 = fmt.bounded(fmt.bound_of(saved.co2_kg, saved.co2_low_kg, saved.co2_high_kg), "kg")
        yield "", f"CO2 not emitted, after the pump: {co2}"


def _collector(report: Report) -> Iterator[tuple[str, str]]:
    state = report.condition
    if state is None:
        return
    said = list(state.says)
    if state.tubes_working is not None:
        # The report does not hold how many tubes there are: words of the analysis do.
        working = state.tubes_working
        value, low, high = (fmt.number(n) for n in (working.value, working.low, working.high))
        span = "" if low == high else f", likely between {low} and {high}"
        said.insert(0, f"tubes working: {value}{span}")
    for number, sentence in enumerate(said):
        yield "" if number else "Collector", sentence


def _facts(label: str, facts: Sequence[Fact]) -> Iterator[tuple[str, str]]:
    """Write facts one under the other, the first beside the label."""
    for number, fact in enumerate(facts):
        yield label if number == 0 else "", f"{fact.label}: {fact.value}. {fact.note}"


def _readings(report: Report) -> Iterator[tuple[str, str]]:
    for number, fact in enumerate(readings_of(report)):
        yield "Meter" if number == 0 else "", f"{fact.label}: {fact.value}. {fact.note}"


def _promise(report: Report) -> Iterator[tuple[str, str]]:
    yield from _facts("Promise", design_of(report))
    beside = "; ".join(f"{fact.label} {fact.value}" for fact in beside_of(report))
    if beside:
        yield "", f"Other methods: {beside} (why they differ: --html or --json)."


def _months(report: Report) -> str:
    if not report.months:
        return ""
    head = f"  {'Month':<15}{'delivered':>10}{'likely between':>19}{'expected':>10}"
    lines = [f"MONTHS, in kWh\n{head}{'design':>8}{'coverage':>10}"]
    lines.extend(_month(month) for month in report.months)
    if any(month.design_pro_rata for month in report.months):
        lines.append("  ~ pro rata: under 0.9 of the month is in the log")
    return "\n".join(lines)


def _month(month: MonthFigure) -> str:
    def whole(value: float | None) -> str:
        return fmt.number(value) if fmt.known(value) else "-"

    bounds = "-"
    if fmt.known(month.delivered_low_kwh) and fmt.known(month.delivered_high_kwh):
        bounds = f"{whole(month.delivered_low_kwh)} and {whole(month.delivered_high_kwh)}"
    design = ("~" if month.design_pro_rata else "") + whole(month.design_kwh)
    return (
        f"  {fmt.month(month.month):<15}{whole(month.delivered_kwh):>10}{bounds:>19}"
        f"{whole(month.expected_kwh):>10}{design:>8}{fmt.share(month.coverage):>10}"
    )


def _missing_heat(report: Report, texts: Texts) -> str:
    lines = missing_heat(report, texts=texts, slug=None)
    if not lines:
        return ""
    marks = {"gap": "", "finding": "- ", "untaken": "- ", "rest": "- ", "apart": "beside it: "}
    said = []
    for line in lines:
        when = f", {line.when}" if line.when else ""
        mark = marks[line.sort]
        said.append(_wrapped(f"{line.label}{when}: {line.value}", 2, mark=mark))
    head = _wrapped(missing_heat_says(report), 2)
    return "\n".join(["WHERE THE MISSING HEAT WENT", head, *said])


def rank(finding: Finding) -> tuple[int, bool, float, int]:
    """Give what findings are sorted by: urgency, still going on, heat lost, start."""
    lost = finding.lost.value if finding.lost else 0.0
    return (fmt.URGENCY_RANK[finding.urgency], finding.end_s is not None, -lost, finding.start_s)


def _findings(report: Report, texts: Texts) -> str:
    if not report.findings:
        return "FINDINGS\n  Nothing was found."
    ranked = sorted(report.findings, key=rank)
    told: dict[str, int] = {}
    shown = [_finding(number, item, report, texts, told) for number, item in enumerate(ranked, 1)]
    return "FINDINGS, the most urgent first\n" + "\n\n".join(shown)


def _finding(
    number: int, finding: Finding, report: Report, texts: Texts, told: dict[str, int]
) -> str:
    """Write one finding; `told` holds which caution stood under which number already."""
    channel = f" ({finding.channel.replace('_', ' ')})" if finding.channel else ""
    asks = finding.urgency in ("act", "visit")
    over = asks and finding.end_s is not None
    mark = fmt.OVER if over else fmt.urgency(finding.urgency)
    head = f"{number}. {mark}: {title_of(finding.kind, texts)}{channel}"
    when = fmt.span(finding.start_s, finding.end_s, report.timezone)
    # What is over, only watched or noted asks for no work now, so nothing about work is said.
    work: Sequence[str] = ()
    if over:
        work = [_wrapped(f"{_causes(finding)}If nobody mended it, it may come back.", 5)]
    elif asks:
        work = list(_work(number, finding, told))
    explains = explains_words(finding, report, texts)
    lines = [
        f"  {head}",
        _wrapped(f"{when}; heat lost: {lost_words(finding)}", 5),
        _wrapped(fmt.sentence(finding.summary), 5),
        *work,
        *([_wrapped(f"This explains as well: {explains}.", 5)] if explains else []),
    ]
    return "\n".join(lines)


def _work(number: int, finding: Finding, told: dict[str, int]) -> Iterator[str]:
    """Say what to be careful about, then what to look at."""
    if finding.likely_causes:
        yield _wrapped(_causes(finding), 5)
    if not finding.check_next:
        return
    if finding.cautions:
        yield "     First, take care:"
        yield from _cautions(number, finding, told)
    yield "     Then check, in this order:"
    for place, check in enumerate(finding.check_next[:_CHECKS], 1):
        yield _wrapped(fmt.sentence(check), 7, mark=f"{place}. ")
    more = len(finding.check_next) - _CHECKS
    if more > 0:
        yield f"       ({fmt.plural(more, 'further check')} with --html or --json)"


def _causes(finding: Finding) -> str:
    if not finding.likely_causes:
        return ""
    return f"Likely causes: {'; '.join(finding.likely_causes)}. "


def _cautions(number: int, finding: Finding, told: dict[str, int]) -> Iterator[str]:
    """Write the cautions; those that stood under an earlier finding are called to mind."""
    earlier = sorted({told[text] for text in finding.cautions if text in told})
    if earlier:
        under = " and ".join(str(place) for place in earlier)
        yield _wrapped(f"Heed the cautions under {under} here, too.", 7, mark="! ")
    for text in finding.cautions:
        if text not in told:
            told[text] = number
            yield _wrapped(text, 7, mark="! ")


def _verdicts(report: Report, texts: Texts) -> str:
    unjudged = [item for item in report.verdicts if item.outcome == "cannot_judge"]
    clear = [item for item in report.verdicts if item.outcome == "clear"]
    parts = []
    if unjudged:
        lines = [
            _wrapped(f"{title_of(item.kind, texts)}: {item.why.rstrip('.')}.", 2)
            for item in unjudged
        ]
        parts.append("COULD NOT BE JUDGED\n" + "\n".join(lines))
    if clear:
        names = ", ".join(title_of(item.kind, texts).lower() for item in clear)
        parts.append("LOOKED FOR AND NOT FOUND\n" + _wrapped(names, 2))
    return "\n\n".join(parts)


def _rows(report: Report, set_aside: Sequence[ProblemGroup]) -> str:
    rows = report.rows
    count = (
        f"{rows.read:,} read: {rows.kept:,} kept, {rows.duplicate:,} given more than once, "
        f"{rows.rejected:,} set aside"
    )
    lines = [f"ROWS\n{_wrapped(count, 2)}"]
    facts = set_aside_facts(set_aside)
    lines.extend(_wrapped(printable(f"{one.label}: {one.value}"), 2) for one in facts[:_LISTED])
    if len(facts) > _LISTED:
        lines.append(f"  and {fmt.plural(len(facts) - _LISTED, 'more reason')}")
    return "\n".join(lines)


def _labelled(label: str, text: str) -> str:
    return textwrap.fill(
        text, _WIDTH, initial_indent=f"  {label:<13}", subsequent_indent=" " * 15,
        break_on_hyphens=False,
    )  # fmt: skip


def _wrapped(text: str, indent: int, *, mark: str = "") -> str:
    return textwrap.fill(
        text, _WIDTH, initial_indent=" " * indent + mark,
        subsequent_indent=" " * (indent + len(mark)), break_on_hyphens=False,
    )  # fmt: skip
