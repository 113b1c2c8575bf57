"""What is known of the tubes, in sentences that an owner can read."""

from datetime import date

from analysis.bounded import Bounded
from analysis.condition_results import ChangeKind, CollectorChange, Detectable

_KINDS: dict[ChangeKind, str] = {
    "optical": "The loss is alike in cool and hot hours: tubes missing, broken, dirty or shaded "
    "rather than without vacuum.",
    "vacuum": "The loss grows as the loop gets hotter: tubes without vacuum rather than missing "
    "ones.",
    "optical_or_vacuum": "Whether tubes are missing or have lost their vacuum cannot be told yet.",
    "tubes_or_flow_reading": "Tubes, or the flow reading: nothing in the log tells these apart, so "
    "no number of tubes is given.",
    "unlike": "The loss is like neither missing tubes nor lost vacuum: shade on part of the day, "
    "or a sensor. No number of tubes is given.",
    "flow_reading": "The flow reading fell as much at the same pump command, while the spread "
    "between the pipes stayed: the flow reading, not the tubes.",
}


def tubes_words(working: Bounded, tubes: int) -> str:
    """Say how many tubes work: "17 of 20 (15 to 19)"."""
    value, low, high = (f"{number:.0f}" for number in (working.value, working.low, working.high))
    return f"{value} of {tubes}" + (f" ({low} to {high})" if low != high else "")


def lost_words(lost: Bounded, tubes: int, kind: ChangeKind) -> str:
    """Say how many tubes a loss is like: "as if 3 of 20 tubes (1 to 5) were missing"."""
    low, high = f"{lost.low:.0f}", f"{lost.high:.0f}"
    span = f" ({low} to {high})" if low != high else ""
    how = {"optical": "were missing", "vacuum": "had lost their vacuum"}.get(
        kind, "were missing or had lost their vacuum"
    )
    return f"as if {lost.value:.0f} of {tubes} tubes{span} {how}"


def change_words(change: CollectorChange) -> tuple[str, ...]:
    """Say when the output fell, by how much, and what it is like."""
    less = change.output_less_percent
    when = f"about {_day(change.date)}"
    if change.earliest != change.latest:
        when += f" (between {_day(change.earliest)} and {_day(change.latest)})"
    verb = "reads lower" if change.kind == "flow_reading" else "is lower"
    return (
        f"Since {when} the output {verb} by {less.value:.0f} % ({less.low:.0f} to "
        f"{less.high:.0f} %) than in the plant's own sound months.",
        _KINDS[change.kind],
    )


def detectable_words(detectable: Detectable, tubes: int) -> str | None:
    """Say what would have been seen."""
    parts = []
    if detectable.missing is not None:
        parts.append(f"{detectable.missing} missing")
    if detectable.without_vacuum is not None:
        parts.append(f"{detectable.without_vacuum} without vacuum")
    if not parts:
        return None
    return (
        f"What these sensors would show: {' or '.join(parts)} of {tubes} tubes, within "
        f"{detectable.steady_days} sunny days; fewer may go unseen."
    )


def trend_words(trend: Bounded) -> str:
    """Say how the output changes from year to year."""
    return (
        f"Apart from sudden falls the output changes by {_signed(trend.value)} % a year "
        f"({_signed(trend.low)} to {_signed(trend.high)} %)."
    )


def _signed(value: float) -> str:
    """Write a change to a tenth with its sign; what rounds to nothing has none."""
    rounded = round(value, 1)
    return f"{rounded:+.1f}".replace("-", "\N{MINUS SIGN}") if rounded else "0.0"


def _day(text: str) -> str:
    return f"{date.fromisoformat(text):%-d %B %Y}"
