"""What changed in the papers from one site file to the next, in words."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboards.warranty_words import (
    KIND_WORDS,
    NOTE_WORDS,
    TERM_KEY_WORDS,
    change_words,
    key_words,
    value_words,
)

_TERM_WORDS = {**TERM_KEY_WORDS, **NOTE_WORDS}
_TABLES = ("commissioned", "warranty")
_LISTS = {"change": "Change", "part": "Part"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One time that the papers were changed."""

    when: str
    who: str
    lines: tuple[str, ...]


def edits(versions: Sequence[tuple[str, str, str]], text: str) -> tuple[Edit, ...]:
    """Give the changes of the papers, the newest first.

    Parameters
    ----------
    versions : replaced files, the newest first: text, when it was replaced, by whom
    text : the present file
    """
    found, after = [], tomllib.loads(text)
    for old, when, who in versions:
        before = tomllib.loads(old)
        lines = _lines(before, after)
        if lines:
            found.append(Edit(when=when, who=who, lines=lines))
        after = before
    return tuple(found)


def _lines(before: dict[str, Any], after: dict[str, Any]) -> tuple[str, ...]:
    lines: list[str] = []
    for name in _TABLES:
        old, new = before.get(name, {}), after.get(name, {})
        lines += [
            f"{key_words(f'{name}.{key}')}: {_said(old.get(key))} → {_said(new.get(key))}"
            for key in sorted({*old, *new} - {"term"})
            if old.get(key) != new.get(key)
        ]
    terms = (one.get("warranty", {}).get("term", []) for one in (before, after))
    lines += _moved("Term", *terms)
    for name, what in _LISTS.items():
        lines += _moved(what, before.get(name, []), after.get(name, []))
    return tuple(lines)


def _moved(what: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> list[str]:
    return [
        *(f"{what} added: {_entry(one)}" for one in new if one not in old),
        *(f"{what} taken out: {_entry(one)}" for one in old if one not in new),
    ]


def _entry(entry: dict[str, Any]) -> str:
    if "kind" in entry:
        rest = {key: value for key, value in entry.items() if key != "kind"}
        return "; ".join([KIND_WORDS.get(entry["kind"], entry["kind"]), *_pairs(rest)])
    if "key" in entry:
        words = [value_words(entry["date"]), change_words(entry["key"], entry["value"])]
        return "; ".join([*words, *([entry["why"]] if entry.get("why") else [])])
    return "; ".join(value_words(value) for value in entry.values())


def _pairs(entry: dict[str, Any]) -> list[str]:
    return [f"{_TERM_WORDS.get(key, key)}: {value_words(value)}" for key, value in entry.items()]


def _said(value: Any) -> str:
    return "not given" if value is None else value_words(value)
