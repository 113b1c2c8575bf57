"""The page of a visit in words: its findings, its fields, and what the newest log says."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from analysis.results import Finding, Report
from dashboards.format import day_of, moment
from dashboards.visits.fields import CHECK_RESULTS, OUTCOMES, Field


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """A check with the field that holds its result."""

    name: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPart:
    """A finding of the visit, or the routine checks, with its fields.

    `figure` is Plotly JSON, None where there are no rows to draw.
    """

    place: int | None
    title: str
    mark: str
    urgency: str
    summary: str
    href: str | None
    checks: tuple[CheckLine, ...]
    figure: str | None
    hours: str

    @property
    def outcome(self) -> str:
        """The field that says whether it was put right."""
        return f"finding.{self.place}.outcome"

    @property
    def note(self) -> str:
        """The field that says what was done."""
        return f"finding.{self.place}.note"


def check_lines(place: int | str, checks: Sequence[str]) -> tuple[CheckLine, ...]:
    """Give checks with the names of their fields; `place` is the finding's, or `routine`."""
    return tuple(
        CheckLine(name=f"check.{place}.{number}", words=words)
        for number, words in enumerate(checks)
    )


def words_of(name: str, value: str) -> str:
    """Write a choice of the form as people read it."""
    table = OUTCOMES if name.endswith(".outcome") else CHECK_RESULTS
    return dict(table).get(value, value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the newest log says of one finding; `mood` is `good`, `bad` or `open`."""

    title: str
    words: str
    mood: str


def verdict(
    title: str, finding: Finding | None, report: Report | None, *, kind: str, state: str
) -> Verdict:
    """Say what the newest analysis makes of a finding.

    Parameters
    ----------
    title : what it is called
    finding : the finding in the newest analysis, None where it is not found any more
    report : that analysis, None where there is none
    kind, state : of which kind it is, and what people did about it (see `service.care.life`)
    """
    if report is None:
        return Verdict(title=title, words="No log has been looked at yet.", mood="open")
    until = moment(report.end_s, report.timezone)
    if state == "confirmed":
        return Verdict(title=title, words="Put right, confirmed by the data.", mood="good")
    if state == "came_back":
        return Verdict(title=title, words="It came back after it was put right.", mood="bad")
    words, mood = _seen(finding, report, kind)
    if state == "put_right":
        words += f" It stays “put right, waiting for the next logs”: the data end {until}."
        mood = "good" if mood == "good" else "open"
    return Verdict(title=title, words=words, mood=mood)


def _seen(finding: Finding | None, report: Report, kind: str) -> tuple[str, str]:
    until = moment(report.end_s, report.timezone)
    if finding is None:
        judged = {one.kind for one in report.verdicts if one.outcome != "cannot_judge"}
        if kind not in judged:
            return f"The data up to {until} do not let it be judged.", "open"
        return f"The data up to {until} do not show it any more.", "good"
    if finding.end_s is not None:
        return f"Over since {day_of(finding.end_s, report.timezone)}.", "good"
    last_s = min(max((finding.start_s, *(one.end_s for one in finding.evidence))), report.end_s)
    return f"It still shows, last on {day_of(last_s, report.timezone)}.", "bad"


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """Something that was typed and does not count any more, or who typed what counts."""

    label: str
    value: str
    who: str
    at: str
    counts: bool


def label_of(name: str, fields: Collection[Field], titles: Sequence[str]) -> str:
    """Name a field to people."""
    known: Mapping[str, str] = {one.name: one.label for one in fields}
    if name in known:
        return known[name]
    sort, _, rest = name.partition(".")
    place, _, last = rest.partition(".")
    title = titles[int(place)] if place.isdecimal() and int(place) < len(titles) else "Routine"
    if sort == "finding":
        return f"{title}: {'put right?' if last == 'outcome' else 'what was done'}"
    if sort == "check":
        return f"{title}: check {int(last) + 1 if last.isdecimal() else last}"
    return name.replace("_", " ").capitalize()
