"""What a visit measured, as facts of the site: changes, a meter reading, dates of the fluid."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import cast

from analysis.site import Change, Commissioned, HandReading, Part
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site, site_on
from analysis.sitefile_schema import TABLES
from analysis.sitefile_splice import with_changes, with_papers, with_part, with_reading
from dashboards.format import day as day_words
from dashboards.format import number
from dashboards.visits.fields import Field, all_fields, typed_number, typed_tubes

# What is said of the fluid, and what becomes of the dates in the site file.
FLUID_DATES: Mapping[str, Callable[[Commissioned, date], Commissioned]] = {
    "passed": lambda held, day: replace(held, fluid_tested=day),
    "renewed": lambda held, day: replace(held, filled=day),
}
_FLUID_WORDS = {"passed": "fluid tested, good", "renewed": "fluid renewed"}


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFacts:
    """A site file with what a visit found, and what is new in it, in words."""

    text: str
    words: tuple[str, ...]


def new_facts(
    text: str,
    values: Mapping[str, str],
    *,
    day: date,
    read_at: datetime,
    who: str,
    why: str,
) -> NewFacts:
    """Write what was measured into a site file, where the file knows it and it is new.

    Parameters
    ----------
    text : the site file as it is
    values : field to what was typed; all of them can be used
    day : local day of the visit; changes hold from its midnight on
    read_at : when the meter was read
    who, why : who measured, and what the change says of itself

    Raises
    ------
    analysis.errors.SiteFileError : the facts do not fit together
    """
    facts = parse_site(text)
    before = site_on(facts, day)
    changes, words = [], []
    for field in all_fields(facts.arrays):
        typed = values.get(field.name, "").strip()
        if not typed or field.key is None:
            continue
        value = typed_number(field, typed)
        held = held_value(before, field.key)
        if held is not None and abs(cast(float, held) - value) < 1e-9:
            continue
        changes.append(Change(date=day, key=field.key, value=value, why=why))
        words.append(_changed_words(field, held, value, day))
    text = with_changes(text, changes)
    fluid = values.get("fluid", "")
    if fluid in FLUID_DATES:
        held = facts.commissioned or Commissioned(filled=None, tubes_fitted=None)
        moved = FLUID_DATES[fluid](held, day)
        if moved != held:
            text = with_papers(text, moved, facts.warranty)
            words.append(f"{_FLUID_WORDS[fluid]} on {day_words(day)}")
    for part in _tubes_changed(values, facts, day=day, who=who, why=why):
        text = with_part(text, part)
        words.append(part.what)
    register = values.get("register_kwh", "").strip()
    if register:
        field = next(one for one in all_fields(facts.arrays) if one.name == "register_kwh")
        kwh = typed_number(field, register)
        if not any(one.at == read_at and one.heat_register_kwh == kwh for one in facts.readings):
            reading = HandReading(at=read_at, heat_register_kwh=kwh, who=who or None)
            text = with_reading(text, reading)
            words.append(f"meter read: {number(kwh, decimals=1)} kWh")
    return NewFacts(text=text, words=tuple(words))


def _tubes_changed(
    values: Mapping[str, str], facts: SiteFacts, *, day: date, who: str, why: str
) -> Iterator[Part]:
    for place, array in enumerate(facts.arrays, start=1):
        typed = values.get(f"tubes.{place}.changed", "").strip()
        if not typed:
            continue
        numbers = typed_tubes(typed, tubes=array.tubes or 0)
        where = f" of array {place}" if len(facts.arrays) > 1 else ""
        what = f"tubes{where} changed: {', '.join(map(str, numbers))}"
        yield Part(date=day, what=what, why=why, by=who or None)


def held_value(facts: SiteFacts, key: str) -> object:
    """Give what the facts say under a key of the site file such as `loop.flow_l_min`."""
    table, name = key.split(".")
    shape = TABLES[table]
    held = getattr(facts, shape.attribute)
    return None if held is None else getattr(held, shape.field(name))


def _changed_words(field: Field, held: object, value: float, day: date) -> str:
    was = "" if held is None else f", in place of {cast(float, held):g} {field.unit}"
    return f"{field.label}: {value:g} {field.unit} from {day_words(day)} on{was}"
