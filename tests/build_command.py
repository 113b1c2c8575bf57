"""`suntally report` as an outsider runs it: texts of a site file and logs in, what came out back.

All logs made here are invented.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from service.cli import main

LOOP = ("t_loop_hot_c", "t_loop_cold_c", "flow_l_min", "pump_percent")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the command gave back."""

    status: int
    out: str
    err: str

    @property
    def report(self) -> dict[str, Any]:
        """The machine report that stood on standard output."""
        return json.loads(self.out)


@lru_cache(maxsize=1)
def full_site() -> str:
    """Give the site file that holds every key, without the table that maps columns."""
    path = Path(__file__).parent.parent / "fixtures" / "sites" / "mill-lane-4.toml"
    return path.read_text(encoding="utf-8").partition("[log]")[0]


def with_lines(text: str, **given: str) -> str:
    """Give a site file whose first line of each key is another; `""` takes the line out."""
    lines = text.splitlines()
    for key, line in given.items():
        place = next(n for n, one in enumerate(lines) if one.split("=")[0].strip() == key)
        lines[place : place + 1] = [line] if line else []
    return "\n".join(lines) + "\n"


def without_table(text: str, heading: str) -> str:
    """Give a site file without a table, its subtables left."""
    lines, inside = [], False
    for line in text.splitlines():
        if line.startswith("["):
            inside = line.split("#")[0].strip() == heading
        if not inside:
            lines.append(line)
    return "\n".join(lines) + "\n"


def change(day: str, key: str, value: str) -> str:
    """Give one `[[change]]`."""
    return f'[[change]]\ndate = {day}\nkey = "{key}"\nvalue = {value}\n'


def a_log(
    start: str,
    rows: int,
    *,
    step_s: int = 600,
    heads: Sequence[str] = LOOP,
    values: Callable[[int], Sequence[float | None]] | None = None,
) -> str:
    """Give a tidy log of stamps at the end of each step; by default 2 l/min at about 60 and 45 C.

    The temperatures stir a little, as those of a real loop do.
    """
    moment = datetime.fromisoformat(start).replace(tzinfo=UTC)
    values = values or (lambda row: (60 + row % 7 / 10, 45 + row % 5 / 10, 2.0, 100))
    lines = [f"time,{','.join(heads)}"]
    for row in range(rows):
        moment += timedelta(seconds=step_s)
        cells = ["" if value is None else f"{value:g}" for value in values(row)]
        lines.append(f"{moment:%Y-%m-%dT%H:%M:%SZ},{','.join(cells)}")
    return "\n".join(lines) + "\n"


class Desk:
    """A folder in which the command runs."""

    def __init__(self, folder: Path, capture: Any) -> None:
        self.folder = folder
        self._capture = capture

    def put(self, name: str, content: str | bytes) -> str:
        """Write a file; gives its path."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return str(path)

    def run(self, *words: str) -> Outcome:
        """Run `suntally report` with these words."""
        self._capture.readouterr()
        try:
            status = main(["report", *words])
        except SystemExit as refused:
            status = int(refused.code or 0)
        out, err = self._capture.readouterr()
        return Outcome(status=status, out=out, err=err.replace(f"{self.folder}/", ""))

    def report(self, site: str, *logs: str, words: Sequence[str] = ()) -> Outcome:
        """Run it on these texts, the machine report to standard output."""
        files = [self.put(f"log{number}.csv", text) for number, text in enumerate(logs)]
        return self.run(self.put("site.toml", site), *files, *words, "--json", "-")
