"""Tables of the contributors' guide that are written from the code.

python -m tests.architecture.overviews

Writes each table anew between its two marks in DEVELOPERS.md; a test holds that they are so.
"""

import re
from pathlib import Path

from analysis.precedence import CAUSES, RESTS_ON
from analysis.results import URGENCIES
from analysis.urgency import AT_MOST, STAKES

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


def stakes() -> str:
    """Give a row for each danger: its kinds, those bounded further with their bound."""
    rows = ["| danger | at most | kinds |", "| --- | --- | --- |"]
    for danger, most in AT_MOST.items():
        kinds = [
            kind if URGENCIES.index(stake.at_most) <= URGENCIES.index(most)
            else f"{kind} ({stake.at_most}: {stake.why})"
            for kind, stake in STAKES.items()
            if stake.danger == danger
        ]  # fmt: skip
        rows.append(f"| {danger} | {most} | {', '.join(kinds)} |")
    return "\n".join(rows)


def precedence() -> str:
    """Give a row for each cause, in order of precedence."""
    rows = ["| cause | brings about | feigns |", "| --- | --- | --- |"]
    for row in CAUSES:
        brings, feigns = (", ".join(sorted(kinds)) for kinds in (row.brings, row.feigns))
        if row.kind == "sensor_fault":
            feigns = "what rests on that sensor, see the next table"
        rows.append(f"| {row.kind} | {brings} | {feigns} |")
    return "\n".join(rows)


def rests_on() -> str:
    """Give a row for each kind that a broken sensor may feign."""
    rows = ["| kind | rests on |", "| --- | --- |"]
    rows += [f"| {kind} | {', '.join(sorted(names))} |" for kind, names in RESTS_ON.items()]
    return "\n".join(rows)


TABLES = {"stakes": stakes, "precedence": precedence, "rests on": rests_on}


def guide_as_it_should_be(text: str) -> str:
    """Give the guide with each table written anew; ValueError where its marks are missing."""
    for name, table in TABLES.items():
        marks = f"<!-- {name} -->", f"<!-- end of {name} -->"
        between = re.compile(
            rf"(?<={re.escape(marks[0])}\n).*?(?=\n{re.escape(marks[1])})", re.DOTALL
        )
        if not between.search(text):
            raise ValueError(f"the guide has no marks for the table “{name}”")
        text = between.sub(lambda _, table=table: table(), text)
    return text


def main() -> None:
    """Write the guide."""
    GUIDE.write_text(guide_as_it_should_be(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
