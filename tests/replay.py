"""A history lived through day by day: what the report said on each evening."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from analysis.assess import assess
from analysis.days import DayTable, part_of
from analysis.results import Report, RowCount
from dashboards.links import finding_key
from tests.build import Plant


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """One finding's name over a replay: first and last evening, and how often it was gone."""

    key: str
    first: str
    last: str
    gone: int
    stays: bool
    explained: bool


def evenings(
    plant: Plant, *, first: int, every: int = 1, table: DayTable | None = None
) -> Iterator[tuple[str, Report]]:
    """Give date and report of evenings, each from the days until then."""
    whole = plant.table() if table is None else table
    for days in range(first, len(whole.days) + 1, every):
        part = part_of(whole, first=0, last=days)
        end_s = min(int(part.days.edge_s[-1]), plant.end_s)
        yield (
            part.days.dates[-1],
            assess(
                site=plant.site,
                table=part,
                start_s=int(plant.record.start_s[0]),
                end_s=end_s,
                until_s=end_s,
                channels=plant.channels,
                rows=RowCount(read=0, kept=0, duplicate=0, rejected=0),
                rejected=(),
            ),
        )


def lives(told: list[tuple[str, Report]]) -> list[Life]:
    """Give the life of each name; one that goes over to its cause is explained, not gone."""
    kept = [{finding_key(item) for item in report.findings} for _, report in told]
    aside = [{finding_key(item) for item in report.explained} for _, report in told]
    found = []
    for key in sorted(set().union(*kept)):
        there = [key in names for names in kept]
        seen = [place for place, here in enumerate(there) if here]
        gone = sum(
            before and not here and key not in aside[place + 1]
            for place, (before, here) in enumerate(pairwise(there))
        )
        found.append(
            Life(
                key=key,
                first=told[seen[0]][0],
                last=told[seen[-1]][0],
                gone=gone,
                stays=there[-1],
                explained=any(key in names for names in aside),
            )
        )
    return found
