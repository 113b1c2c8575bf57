"""What was set aside, in words: a line for each reason, however many rows it took."""

from collections.abc import Iterable

from analysis.problem_groups import LINES_NAMED, ProblemGroup
from dashboards.format import number
from dashboards.site_facts import Fact


def set_aside_facts(groups: Iterable[ProblemGroup]) -> tuple[Fact, ...]:
    """Give each reason with its place, the most frequent first."""
    ordered = sorted(groups, key=lambda one: -one.count)
    return tuple(Fact(label=place_of(one), value=reason_of(one)) for one in ordered)


def place_of(group: ProblemGroup) -> str:
    """Write where it stands: `log.csv, lines 812 to 1,290, column t_collector_c`."""
    parts = (group.file, _lines(group), f"column {group.column}" if group.column else "")
    return ", ".join(part for part in parts if part)


def reason_of(group: ProblemGroup) -> str:
    """Say how often, why, what stood there, and what helps."""
    often = f"{number(group.count)} times: " if group.count > 1 else ""
    such = f" (such as “{group.value}”)" if group.value and group.count > 1 else ""
    alone = f" (“{group.value}”)" if group.value and group.count == 1 else ""
    remedy = f"; {group.remedy}" if group.remedy else ""
    return f"{often}{group.why}{such}{alone}{remedy}"


def _lines(group: ProblemGroup) -> str:
    if group.first_line is None or group.last_line is None:
        return ""
    if group.first_line == group.last_line:
        return f"line {group.first_line}"
    if group.count <= LINES_NAMED and len(group.lines) == group.count:
        *most, last = group.lines
        return f"lines {', '.join(str(line) for line in most)} and {last}"
    return f"lines {group.first_line} to {group.last_line}"
