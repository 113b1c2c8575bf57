"""The service record of a visit, ready to be shown, printed or drawn as PDF."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from babel.dates import format_date
from babel.numbers import format_decimal

from analysis.site import Array
from dashboards.visits.fields import Field, all_fields, typed_number, typed_tubes
from dashboards.visits.record_words import LANGUAGES, RecordWords


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """A finding, or the routine checks, as they go on record before any words are chosen."""

    place: int | str
    kind: str | None
    title: str
    checks: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPart:
    """A finding on the record: what came of it, what was done, and its checks with results.

    A check is its words, the result, and the language of the words: one that the catalogue no
    longer has stays as it was shown.
    """

    title: str
    outcome: str
    note: str
    checks: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordView:
    """The record in words; `day` is None while the visit is not finished."""

    language: str
    says: RecordWords
    site: str
    day: str | None
    parts: tuple[RecordPart, ...]
    measured: tuple[tuple[str, str], ...]
    notes: str
    facts: tuple[str, ...]
    later: str | None
    photos: str | None
    name: str
    registration: str
    made_on: str

    @property
    def other_language(self) -> str:
        """The code of the language that it can be read in besides."""
        return next(code for code in LANGUAGES if code != self.language)


def record_view(
    values: Mapping[str, str],
    looked_at: Sequence[LookedAt],
    *,
    arrays: Sequence[Array],
    site: str,
    number: int,
    finished_on: date | None,
    finished_by: str,
    facts: Sequence[str],
    later: Sequence[str],
    photos: int,
    language: str,
    today: date,
) -> RecordView:
    """Put a visit on record.

    Parameters
    ----------
    values : field to what counts in it
    looked_at : what the visit was for
    arrays : the site's, whose tubes were counted
    site, number : its name, and the visit's number
    finished_on, finished_by : None and empty while it is not finished
    facts : what went into the site's file, in words
    later : fields that were changed after the visit was finished
    photos : how many are kept
    language : a code of `record_words.LANGUAGES`
    today : local day
    """
    says = LANGUAGES[language]
    fields = tuple(all_fields(arrays))
    labels = {field.name: says.fields.get(field.name, field.label) for field in fields}
    named = [labels.get(name, says.notes) for name in later]
    return RecordView(
        language=language,
        says=says,
        site=site,
        day=_date(finished_on, language) if finished_on else None,
        parts=tuple(_part(one, values, says, language) for one in looked_at),
        measured=_measured(fields, values, labels, says, arrays, language),
        notes=values.get("notes", "").strip(),
        facts=_facts(facts, says),
        later=says.later.format(fields=", ".join(dict.fromkeys(named))) if named else None,
        photos=says.photos.format(count=photos) if photos else None,
        name=values.get("name", "").strip() or finished_by,
        registration=values.get("registration", "").strip(),
        made_on=says.made_on.format(number=number, today=_date(today, language)),
    )


def _facts(facts: Sequence[str], says: RecordWords) -> tuple[str, ...]:
    """Give what went into the site file; in other languages how much, as the values stand above."""
    if facts and says.facts_taken:
        return (says.facts_taken.format(count=len(facts)),)
    return tuple(facts)


def _date(when: date, language: str) -> str:
    return str(format_date(when, format="long", locale="en_GB" if language == "en" else language))


def _part(one: LookedAt, values: Mapping[str, str], says: RecordWords, language: str) -> RecordPart:
    results = [
        (
            says.checks.get(words, words),
            says.results.get(values.get(f"check.{one.place}.{number}", ""), ""),
            language if words in says.checks else "en",
        )
        for number, words in enumerate(one.checks)
    ]
    outcome = values.get(f"finding.{one.place}.outcome", "")
    return RecordPart(
        title=says.kinds.get(one.kind, one.title) if one.kind else says.routine,
        outcome=says.outcomes.get(outcome, says.no_outcome) if one.kind else "",
        note=values.get(f"finding.{one.place}.note", "").strip(),
        checks=tuple(check for check in results if check[1]),
    )


def _measured(
    fields: Sequence[Field],
    values: Mapping[str, str],
    labels: Mapping[str, str],
    says: RecordWords,
    arrays: Sequence[Array],
    language: str,
) -> tuple[tuple[str, str], ...]:
    rows = []
    for field in fields:
        typed = values.get(field.name, "").strip()
        if not typed:
            continue
        if field.name.startswith("tubes."):
            label, value = _tubes(field, typed, says, arrays)
        elif field.choices:
            label, value = labels[field.name], says.choices.get(typed, typed)
        else:
            label, value = labels[field.name], _number(field, typed, language)
        rows.append((label, value))
    return tuple(rows)


def _number(field: Field, typed: str, language: str) -> str:
    try:
        value = format_decimal(typed_number(field, typed), format="#,##0.###", locale=language)
    except ValueError:
        return typed  # it is on record as it was typed
    return f"{value} {field.unit}".rstrip()


def _tubes(field: Field, typed: str, says: RecordWords, arrays: Sequence[Array]) -> tuple[str, str]:
    place = int(field.name.split(".")[1])
    label = says.tubes_changed if len(arrays) == 1 else f"{says.tubes_changed} ({place})"
    try:
        numbers = typed_tubes(typed, tubes=arrays[place - 1].tubes or 0)
    except ValueError:
        return label, typed
    return label, f"{len(numbers)}: {', '.join(map(str, numbers))}"
