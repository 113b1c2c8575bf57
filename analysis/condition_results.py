"""The state of the collector as the report gives it, and reading it back."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from analysis.bounded import Bounded

ChangeKind = Literal[
    "optical", "vacuum", "optical_or_vacuum", "tubes_or_flow_reading", "flow_reading", "unlike"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectorChange:
    """A lasting step in what the collector gives.

    `kind` is a loss of gain (missing, broken, dark tubes), lost vacuum, either, one that the flow
    reading may account for or does, or unlike all of these. Dates are local; it lies between
    `earliest` and `latest`.
    """

    kind: ChangeKind
    date: str
    earliest: str
    latest: str
    output_less_percent: Bounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Detectable:
    """Fewest tubes whose loss the data of this site would show within `steady_days` sunny days."""

    missing: int | None
    without_vacuum: int | None
    steady_days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """The state of the collector as the data show it; parts are None where they cannot be told.

    `trend_percent_a` is the slow change of the output [% a year], steps apart; `says` puts all of
    it in sentences.
    """

    tubes_working: Bounded | None
    eta0: Bounded | None
    a1_w_m2k: Bounded | None
    as_of: str
    change: CollectorChange | None = None
    detectable: Detectable | None = None
    trend_percent_a: Bounded | None = None
    says: tuple[str, ...] = ()


def condition_from_json(data: Mapping[str, Any]) -> Condition:
    """Build the condition again from its entry in the machine report; older ones tell less."""

    def bounded(name: str) -> Bounded | None:
        return None if data.get(name) is None else Bounded(**data[name])

    change, detectable = data.get("change"), data.get("detectable")
    return Condition(
        tubes_working=bounded("tubes_working"),
        eta0=bounded("eta0"),
        a1_w_m2k=bounded("a1_w_m2k"),
        as_of=data["as_of"],
        change=None
        if change is None
        else CollectorChange(
            **{**change, "output_less_percent": Bounded(**change["output_less_percent"])}
        ),
        detectable=None if detectable is None else Detectable(**detectable),
        trend_percent_a=bounded("trend_percent_a"),
        says=tuple(data.get("says", ())),
    )
