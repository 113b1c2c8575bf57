"""What can be noted on a visit: one table of fields, their units, spans and keys of the site file.

Names of fields are stable: drafts on phones and stored entries carry them. Spans catch slips; the
rules of the site file hold for what goes into it.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.logs.numbers import meanings
from analysis.site import Array
from analysis.sitefile_schema import READING, TABLES
from dashboards.format import number

Sort = Literal["number", "choice", "text", "long"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A field of the visit's form.

    Attributes
    ----------
    unit : as printed, empty where there is none
    key : the key of the site file that it changes from the day of the visit on
    choices : value and words of each
    """

    name: str
    label: str
    unit: str = ""
    sort: Sort = "number"
    lowest: float | None = None
    highest: float | None = None
    help: str = ""
    key: str | None = None
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields that stand together."""

    title: str
    fields: tuple[Field, ...]
    about: str = ""


def _of_file(key: str, **given: str) -> Field:
    """Give a field with the span of the key that it changes."""
    table, name = key.split(".")
    rule = TABLES[table].rules[name]
    return Field(key=key, lowest=rule.lowest, highest=rule.highest, **given)  # type: ignore[arg-type]


LOOP = Group(
    title="Loop",
    about="Read the gauge with the loop cold. What is left different from the site's facts is "
    "written into them when the visit is finished.",
    fields=(
        Field(name="pressure_found_bar", label="Pressure found", unit="bar", lowest=0, highest=25),
        _of_file("loop.pressure_bar", name="pressure_left_bar", label="Pressure left", unit="bar"),
        Field(name="flow_found_l_min", label="Flow found", unit="l/min", lowest=0, highest=5000),
        _of_file("loop.flow_l_min", name="flow_left_l_min", label="Flow left", unit="l/min"),
        _of_file(
            "loop.vessel_precharge_bar",
            name="vessel_gas_bar",
            label="Gas of the vessel left",
            unit="bar",
            help="Only by the maker's procedure, with the loop cold.",
        ),
    ),
)
FLUID = Group(
    title="Fluid",
    fields=(
        Field(name="ph", label="pH", lowest=0, highest=14),
        # Lowest: glycol and water freeze no lower (about -50 °C, common practice, no source).
        Field(name="freezing_c", label="Freezing point", unit="°C", lowest=-60, highest=5),
        Field(
            name="fluid",
            label="Fluid tested",
            sort="choice",
            choices=(
                ("", "not tested"),
                ("passed", "tested, good"),
                ("failed", "tested, to be renewed"),
                ("renewed", "renewed today"),
            ),
        ),
    ),
)
HOUSE = Group(
    title="House",
    fields=(
        Field(
            name="register_kwh",
            label="Heat meter's register",
            unit="kWh",
            lowest=READING.rules["heat_register_kwh"].lowest,
            highest=READING.rules["heat_register_kwh"].highest,
        ),
        _of_file(
            "store.mixing_valve_c", name="mixing_valve_c", label="Mixing valve set to", unit="°C"
        ),
    ),
)
NOTES = Field(name="notes", label="Notes", sort="long")
WHO = (
    Field(name="name", label="Who did the work", sort="text"),
    Field(name="registration", label="Registration number", sort="text"),
)
OUTCOMES = (("put_right", "Put right"), ("open", "Still to do"))
CHECK_RESULTS = (("fine", "fine"), ("found", "this was it"), ("skipped", "not done"))

_NAME = re.compile(r"[a-z0-9_.]{1,60}")
_TUBES = re.compile(r"\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?")


def groups(arrays: Sequence[Array]) -> tuple[Group, ...]:
    """Give the groups of fields for a site's arrays."""
    tubes = [
        Field(
            name=f"tubes.{place}.changed",
            label="Tubes changed" if len(arrays) == 1 else f"Array {place}: tubes changed",
            sort="text",
            help=f"Numbers such as 3, 7-9; counted 1 to {array.tubes} from the left.",
        )
        for place, array in enumerate(arrays, start=1)
        if array.tubes
    ]
    extra = (Group(title="Tubes", fields=tuple(tubes)),) if tubes else ()
    return (LOOP, FLUID, HOUSE, *extra)


def all_fields(arrays: Sequence[Array]) -> Iterator[Field]:
    """Give every field that holds something measured."""
    for group in groups(arrays):
        yield from group.fields


def is_name(name: str) -> bool:
    """Tell whether a field could be called so."""
    return _NAME.fullmatch(name) is not None


def typed_number(field: Field, text: str) -> float:
    """Read a number that a person typed, with either decimal sign.

    Raises
    ------
    ValueError : why it cannot be used, as a sentence
    """
    unit = f" {field.unit}" if field.unit else ""
    found = meanings(text.replace("−", "-"))
    low = field.lowest if field.lowest is not None else -1e9
    high = field.highest if field.highest is not None else 1e9
    if not found:
        raise ValueError(f"{field.label}: “{text[:40]}” is no number; write it like 1.8.")
    fit = [value for value in found if low <= value <= high]
    if not fit:
        raise ValueError(
            f"{field.label}: {text[:40]}{unit} cannot be; it lies between {_short(low)} and "
            f"{_short(high)}{unit}."
        )
    if len(fit) > 1:
        raise ValueError(
            f"{field.label}: {text[:40]} can be read as {_short(fit[0])} or {_short(fit[1])}; "
            "write it without a sign for the thousands."
        )
    return fit[0]


def _short(value: float) -> str:
    return number(value, decimals=3).rstrip("0").rstrip(".") if value % 1 else number(value)


def typed_tubes(text: str, *, tubes: int) -> tuple[int, ...]:
    """Read numbers of tubes such as `3, 7-9`.

    Raises
    ------
    ValueError : why it cannot be used, as a sentence
    """
    found: set[int] = set()
    for part in filter(str.strip, re.split(r"[,;]", text)):
        match = _TUBES.fullmatch(part)
        if match is None:
            raise ValueError(f"Tubes changed: “{part.strip()[:40]}” is no number; write 3, 7-9.")
        first, last = int(match[1]), int(match[2] or match[1])
        if not 1 <= first <= last <= tubes:
            raise ValueError(f"Tubes changed: {part.strip()} is not among 1 to {tubes}.")
        found.update(range(first, last + 1))
    return tuple(sorted(found))


def problem_of(name: str, text: str, arrays: Sequence[Array]) -> str | None:
    """Say why what was typed into a field cannot be used; None where it can."""
    if not text.strip():
        return None
    field = next((one for one in all_fields(arrays) if one.name == name), None)
    if field is None:
        return None
    try:
        if field.sort == "number":
            typed_number(field, text)
        elif name.startswith("tubes."):
            typed_tubes(text, tubes=arrays[int(name.split(".")[1]) - 1].tubes or 0)
        elif field.choices and text not in dict(field.choices):
            return f"{field.label}: choose one of the list."
    except ValueError as error:
        return str(error)
    return None
