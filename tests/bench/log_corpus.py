"""How well logs in hundreds of invented dialects are read.

python -m tests.bench.log_corpus [cases] [seed]

Prints how many cases are read with exact times and values when a map tells the columns, how many
columns are understood without a map (heads of the reader's kind and heads held apart separately),
how many are asked, and how many are wrong at a stated certainty above 0.9.
"""

import sys
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.channels import channel
from analysis.errors import LogError
from analysis.logs.asking import SURE_FRAC, Question
from analysis.logs.conversions import converted, folded_unit, unit_named
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_site
from fixtures.log_corpus import Case, TrueColumn, corpus, covering_design, pair_coverage

_EXACT = 1e-9


@dataclass(slots=True)
class Score:
    """What came of one case, or of many added up.

    `right`, `asked`, `wrong` and `off` count columns by list of heads (own, apart, none): right;
    left to a person; stated above 0.9 and wrong; not used for another reason.
    """

    cases: int = 0
    exact: int = 0
    opened: int = 0
    failures: list[str] = field(default_factory=list)
    right: Counter[str] = field(default_factory=Counter)
    asked: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    columns: Counter[str] = field(default_factory=Counter)

    def add(self, other: "Score") -> None:
        """Add another score."""
        self.cases += other.cases
        self.exact += other.exact
        self.opened += other.opened
        self.failures += other.failures
        for name in ("right", "asked", "wrong", "columns"):
            getattr(self, name).update(getattr(other, name))


def map_of(case: Case) -> LogMap:
    """Give the map that a person would write for a case."""
    entries = []
    for column in case.columns:
        key = column.head or str(column.place + 1)
        entries.append((key, ColumnMeaning(channel=column.channel, unit=column.unit)))
    return LogMap(columns=tuple(entries))


def score(case: Case, *, meaning: bool = True) -> Score:
    """Read a case with its map and without one, and hold both against the truth."""
    out = Score(cases=1)
    site = replace(parse_site(case.site_text), log=LogMap())
    source = LogSource(name=case.name, data=case.data)
    label = f"{case.name} {dict(case.dialect.levels)}"
    if case.asks:
        asked = _questions(source, site, map_of(case))
        if {one.kind for one in asked} >= case.asks:
            out.exact, out.opened = 1, 1
        else:
            out.failures.append(f"{label}: {case.asks} is open and was not asked")
        return out
    try:
        parsed = read_logs([source], site=site, log_map=map_of(case))
        wrong = compare(case, parsed)
    except LogError as refused:
        wrong = f"refused: {refused}"
    if wrong:
        out.failures.append(f"{label}: {wrong}")
    else:
        out.exact = 1
    if meaning:
        _score_meaning(case, source, site, out, label)
    return out


def _questions(source: LogSource, site, log_map: LogMap) -> tuple[Question, ...]:
    try:
        return read_logs([source], site=site, log_map=log_map).questions
    except LogError as refused:
        return refused.questions


def compare(case: Case, parsed: ParsedLog) -> str:
    """Say what is wrong with times or values, "" where all is exact."""
    if len(parsed.stamp_s) != len(case.stamp_s):
        return f"{len(parsed.stamp_s)} stamps where {len(case.stamp_s)} are: {parsed.rejected[:2]}"
    off = np.flatnonzero(parsed.stamp_s != case.stamp_s)
    if len(off):
        return f"{len(off)} stamps off, the first by {(parsed.stamp_s - case.stamp_s)[off[0]]} s"
    for column in case.columns:
        wrong = _compare_values(column, parsed)
        if wrong:
            return wrong
    return ""


def _compare_values(column: TrueColumn, parsed: ParsedLog) -> str:
    known = channel(column.channel)
    assert known is not None
    if column.channel not in parsed.columns:
        return f"{column.channel} was not read"
    read = parsed.columns[column.channel]
    unit = unit_named(quantity=known.quantity, unit=column.unit)
    assert unit is not None
    true = converted(column.printed, unit)
    gone = np.isnan(true)
    real = (read >= known.lowest) & (read <= known.highest)
    if (gone & real).any():
        return f"{column.channel}: {(gone & real).sum()} values read where there are none"
    far = ~gone & ~(np.abs(read - true) <= _EXACT * np.maximum(1.0, np.abs(true)))
    if far.any():
        row = int(np.flatnonzero(far)[0])
        return f"{column.channel}: {far.sum()} values off, {read[row]} for {true[row]} in row {row}"
    return ""


def _score_meaning(case: Case, source: LogSource, site, out: Score, label: str) -> None:
    understood = {}
    try:
        parsed = read_logs([source], site=site, keep_open=True)
        for one in parsed.files:
            assert one.understood is not None
            understood = {column.place: column for column in one.understood.columns}
    except LogError as refused:
        out.failures.append(f"{label}: without a map: {refused}")
    for column in case.columns:
        kind = "apart" if column.apart else "own" if column.head else "none"
        out.columns[kind] += 1
        found = understood.get(column.place)
        if found is None or found.meaning is None or found.certainty_frac < SURE_FRAC:
            out.asked[kind] += 1
        elif _same(column, found.meaning):
            out.right[kind] += 1
        else:
            out.wrong[kind] += 1
            out.failures.append(
                f"{case.name}: {column.channel} [{column.unit}] taken for {found.meaning.channel} "
                f"[{found.meaning.unit}] at {found.certainty_frac:.3f} ({kind})"
            )


def _same(column: TrueColumn, meaning: ColumnMeaning) -> bool:
    if meaning.channel != column.channel:
        return False
    known = channel(column.channel)
    if known is None or known.quantity == "share":
        return True  # the scale of a share is told by its values
    if meaning.unit is None:
        return unit_named(quantity=known.quantity, unit=None) == unit_named(
            quantity=known.quantity, unit=column.unit
        )
    return unit_named(quantity=known.quantity, unit=folded_unit(meaning.unit)) == unit_named(
        quantity=known.quantity, unit=column.unit
    )


def report(total: Score) -> str:
    """Write a score."""
    lines = [f"{total.exact} of {total.cases} cases exact ({total.opened} asked, as they must)"]
    for kind in sorted(total.columns):
        count = total.columns[kind]
        lines.append(
            f"heads {kind:6}: {count:5} columns, {total.right[kind] / count:6.1%} right, "
            f"{total.asked[kind] / count:6.1%} asked, {total.wrong[kind]} wrong above 0.9"
        )
    return "\n".join(lines)


def main() -> None:
    """Score the corpus and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 420
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20_250
    total = Score()
    for case in corpus(count, seed=seed):
        total.add(score(case))
    seen, could = pair_coverage(covering_design(count, seed=seed))
    print("\n".join(line[:600] for line in total.failures))
    print(f"seed {seed}: {seen} of {could} pairs of properties stand together in some case")
    print(report(total))


if __name__ == "__main__":
    main()
