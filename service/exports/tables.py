"""Tables to be written: heads with units, kinds of columns, and rows a piece at a time.

Pure. A piece is a mapping from head to values; what is not known is NaN or None.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.results import Bounded, Report
from analysis.savings_result import Savings, YearFigures
from dashboards.format import local, local_date
from dashboards.links import finding_key
from dashboards.texts import Texts, title_of

# An instant is UTC epoch seconds as int64; a wall is the site's own clock with its offset, as text.
Kind = Literal["instant", "wall", "number", "text"]
Piece = Mapping[str, Sequence[Any] | NDArray[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """What is written: columns in order, and pieces of rows in order."""

    columns: dict[str, Kind]
    pieces: Iterable[Piece]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Local days, both included; None leaves an end open."""

    first: date | None = None
    last: date | None = None

    def holds(self, when: date) -> bool:
        """Tell whether a day lies within."""
        return (self.first is None or when >= self.first) and (
            self.last is None or when <= self.last
        )


_DAY_HEADS = {
    "coverage": "coverage [share]",
    "delivered_kwh": "delivered [kWh]",
    "delivered_low_kwh": "delivered, low [kWh]",
    "delivered_high_kwh": "delivered, high [kWh]",
    "irradiation_kwh_m2": "sun in the collector plane [kWh/m²]",
    "expected_kwh": "expected [kWh]",
    "expected_low_kwh": "expected, low [kWh]",
    "expected_high_kwh": "expected, high [kWh]",
    "design_kwh": "design [kWh]",
    "pump_kwh": "pump [kWh]",
    "peak_collector_c": "hottest collector [°C]",
}


_HELD = "rows rolled up or removed since"


def days_table(report: Report, span: Span, *, held: Collection[date] = ()) -> Table:
    """Give a row for each local day; where some are `held`, a column says which.

    Their rows were rolled up or removed since, and the figures stand as they were found.
    """
    days = [one for one in report.days if span.holds(date.fromisoformat(one.date))]
    piece: dict[str, list[Any]] = {"date": [one.date for one in days]}
    for name, head in _DAY_HEADS.items():
        piece[head] = [getattr(one, name) for one in days]
    columns: dict[str, Kind] = {"date": "text", **dict.fromkeys(_DAY_HEADS.values(), "number")}
    if held:
        columns[_HELD] = "text"
        piece[_HELD] = ["yes" if date.fromisoformat(one.date) in held else "no" for one in days]
    return Table(columns=columns, pieces=[piece])


def findings_table(report: Report, span: Span, *, states: Mapping[str, str], texts: Texts) -> Table:
    """Give a row for each finding that touches the days."""
    zone = report.timezone
    found = [
        one
        for one in report.findings
        if (span.last is None or local_date(one.start_s, zone) <= span.last)
        and (span.first is None or one.end_s is None or local_date(one.end_s, zone) >= span.first)
    ]

    def wall(time_s: int | None) -> str | None:
        return None if time_s is None else local(time_s, zone).isoformat()

    def part(bound: Bounded | None, name: str) -> float | None:
        return None if bound is None else float(getattr(bound, name))

    piece: dict[str, list[Any]] = {
        "key": [finding_key(one) for one in found],
        "kind": [one.kind for one in found],
        "title": [title_of(one.kind, texts) for one in found],
        "sensor": [one.channel for one in found],
        "urgency": [one.urgency for one in found],
        "certainty [share]": [one.certainty for one in found],
        "begins": [one.start_s for one in found],
        "begins, local": [wall(one.start_s) for one in found],
        "ends": [one.end_s for one in found],
        "ends, local": [wall(one.end_s) for one in found],
        "lost heat [kWh]": [part(one.lost, "value") for one in found],
        "lost heat, low [kWh]": [part(one.lost, "low") for one in found],
        "lost heat, high [kWh]": [part(one.lost, "high") for one in found],
        "state": [states.get(finding_key(one), "new") for one in found],
        "summary": [one.summary for one in found],
    }
    kinds: dict[str, Kind] = {head: "number" if "[" in head else "text" for head in piece} | {
        "begins": "instant",
        "ends": "instant",
        "begins, local": "wall",
        "ends, local": "wall",
    }
    return Table(columns=kinds, pieces=[piece])


_SAVED_TEXT = ("currency", "co2_source")
_UNITS = {"_kwh": "kWh", "_kg": "kg"}


def savings_table(report: Report) -> Table:
    """Give a row for each calendar year."""
    years = report.years
    piece: dict[str, list[Any]] = {
        "year": [one.year for one in years],
        "first day": [one.first for one in years],
        "last day": [one.last for one in years],
        "coverage [share]": [one.coverage for one in years],
    }
    kinds: dict[str, Kind] = {
        "year": "number", "first day": "text", "last day": "text", "coverage [share]": "number",
    }  # fmt: skip
    for what in ("delivered", "healthy"):
        for part, words in (("value", ""), ("low", ", low"), ("high", ", high")):
            head = f"{what}{words} [kWh]"
            kinds[head] = "number"
            piece[head] = [_part(getattr(one, what), part) for one in years]
    for one in fields(Savings):
        head = _saved_head(one.name)
        kinds[head] = "text" if one.name in _SAVED_TEXT else "number"
        piece[head] = [_saved(year, one.name) for year in years]
    return Table(columns=kinds, pieces=[piece])


def _part(bound: Bounded | None, name: str) -> float | None:
    return None if bound is None else float(getattr(bound, name))


def _saved_head(name: str) -> str:
    for ending, unit in _UNITS.items():
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return name.replace("_", " ")


def _saved(year: YearFigures, name: str) -> Any:
    return None if year.savings is None else getattr(year.savings, name)


def walls(time_s: NDArray[np.int64], timezone: str) -> list[str]:
    """Write instants by a zone's clock, with the offset, so that no hour is told twice alike."""
    import pandas as pd

    stamps = pd.to_datetime(time_s, unit="s", utc=True).tz_convert(timezone)
    naive = stamps.tz_localize(None).to_numpy().astype("datetime64[s]")
    offsets = (naive.astype(np.int64) - time_s) // 60
    written = np.datetime_as_string(naive, unit="s").tolist()
    signs = {int(one): _offset(int(one)) for one in np.unique(offsets)}
    return [text + signs[offset] for text, offset in zip(written, offsets.tolist(), strict=True)]


def _offset(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    return f"{sign}{hours:02d}:{rest:02d}"


def only_pieces(pieces: Iterable[Piece | None]) -> Iterator[Piece]:
    """Give the pieces that hold something."""
    return (one for one in pieces if one is not None)
