"""How well lost tubes are counted, dated and told apart, over drawn cases.

python -m tests.bench.tubes [cases] [seed]

Invented plants of 20 tubes with an irradiance sensor, class-B temperature sensors and 3 % flow
error, logged at 1 or 5 minutes; 0 to 8 tubes missing or without vacuum from a random day on, after
at least 90 days. Then flow meters that begin to read low, with the pump's command in the log and
without it, and missing tubes without it.
"""

import sys
from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.assess import observe
from analysis.days import DayTable
from analysis.faults import Judged
from analysis.faults._protocol import Conclusion, History
from analysis.faults.degraded_tubes import DegradedTubes
from analysis.sitefile import parse_site
from fixtures.scenario import site_toml
from fixtures.sensors import STANDARD_CHANNELS
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import simulate
from tests.bench.tubes_cases import Case, cases
from tests.plants import record_of

KIND_OF = {"tubes_missing": "optical", "tubes_without_vacuum": "vacuum"}
NO_PUMP = tuple(name for name in STANDARD_CHANNELS if name != "pump")
SUMMER_DAYS = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """A case and what was said of it; None where nothing was."""

    case: Case
    found: int
    kind: str | None
    late_days: int | None
    low: float | None
    high: float | None
    excess_k: float
    why: str

    @property
    def held(self) -> bool | None:
        """Whether the true number lies within the range; None where no range was given."""
        if self.low is None or self.high is None:
            return None
        return self.low <= self.case.lost <= self.high

    @property
    def followed(self) -> bool:
        """Whether a summer of the site, April to September, lay after the change."""
        summer = max(self.case.changed, date(2025, 4, 1))
        return (date(2025, 9, 30) - summer).days >= SUMMER_DAYS


def judged(case: Case, *, channels: tuple[str, ...] = STANDARD_CHANNELS) -> Judgement:
    """Simulate, log and judge one case."""
    run = simulate(case.scenario, seed=case.seed, start=str(case.start), days=case.days)
    site = parse_site(site_toml(case.scenario))
    log = read_sensors(
        run, seed=case.seed + 1000, sensors="site", step_s=case.step_s, channels=channels
    )
    record = record_of(log)
    table = observe(site=site, record=record, channels=frozenset(record.columns))
    end_s = int(table.days.edge_s[-1])
    conclusion = DegradedTubes().conclude(
        History(
            site=site,
            table=table,
            start_s=int(table.days.edge_s[0]),
            end_s=end_s,
            until_s=end_s,
        )
    )
    return _judgement(case, conclusion, table)


def _judgement(case: Case, conclusion: Conclusion, table: DayTable) -> Judgement:
    days = np.array(table.days.dates) >= str(case.changed)
    hours, kelvin_hours = (
        sum(float(np.nansum(table.column(f"steady_{name}_{part}")[days])) for name in _CLASSES)
        for part in ("h", "kh")
    )
    excess_k = kelvin_hours / max(hours, 1e-9)
    tubes = conclusion.tubes if isinstance(conclusion, Judged) else None
    change = tubes.change if tubes is not None else None
    lost = tubes.lost if tubes is not None else None
    return Judgement(
        case=case,
        found=len(conclusion.findings) if isinstance(conclusion, Judged) else 0,
        kind=None if change is None else change.kind,
        late_days=None if change is None else (date.fromisoformat(change.date) - case.changed).days,
        low=None if lost is None else lost.low,
        high=None if lost is None else lost.high,
        excess_k=excess_k,
        why=conclusion.why,
    )


_CLASSES = ("cool", "warm")


def main() -> None:
    """Print cases and sums."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 44
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    seen = [_shown(judged(case)) for case in cases(count, seed=seed)]
    held = [item.held for item in seen if item.held is not None]
    print(f"range given {len(held)} of {count}, holds the truth {sum(held)} of {len(held)}")
    for kind, most in (("tubes_missing", 2.0), ("tubes_without_vacuum", 4.0)):
        _widths(seen, kind, most)
    real = [item for item in seen if item.case.lost and item.kind is not None]
    late = [abs(item.late_days or 0) for item in real]
    print(f"changes found {len(real)}, dated within 21 days {sum(days <= 21 for days in late)}")
    claimed = [item for item in real if item.kind in ("optical", "vacuum")]
    right = sum(item.kind == KIND_OF[item.case.kind] for item in claimed)
    print(f"kind claimed {len(claimed)}, right {right}, wrong {len(claimed) - right}")
    false = sum(item.found for item in seen if not item.case.lost)
    print(f"plants with nothing lost {sum(not i.case.lost for i in seen)}, findings {false}")
    few = max(count // 3, 1)
    for words, kind, channels in (
        ("flow reads low, pump logged", "flow_reads_low", STANDARD_CHANNELS),
        ("flow reads low, pump not logged", "flow_reads_low", NO_PUMP),
        ("tubes missing, pump not logged", "tubes_missing", NO_PUMP),
    ):
        alike = [
            judged(case, channels=channels) for case in cases(few, seed=seed + 500, kinds=(kind,))
        ]
        lost = [item for item in alike if item.case.lost]
        counted = sum(item.low is not None for item in lost if item.kind is not None)
        kinds = {str(item.kind): 0 for item in lost}
        for item in lost:
            kinds[str(item.kind)] += 1
        print(f"{words}: {len(lost)} cases, a number of tubes in {counted}, kinds {kinds}")


def _widths(seen: list[Judgement], kind: str, most: float) -> None:
    least_k = 30.0 if kind == "tubes_without_vacuum" else -np.inf
    chosen = [
        item
        for item in seen
        if item.case.kind == kind and item.case.lost >= 4 and item.followed and item.kind
        and item.low is not None and item.high is not None and item.excess_k >= least_k
    ]  # fmt: skip
    half = sorted(((item.high or 0.0) - (item.low or 0.0)) / 2.0 for item in chosen)
    within = sum(width <= most for width in half)
    print(f"{kind}, 4 and more, a summer: half widths {half}, within {most}: {within}/{len(half)}")


def _shown(item: Judgement) -> Judgement:
    case = item.case
    print(
        case.number, f"plant {case.plant}", f"{case.step_s} s", case.kind, f"{case.lost:.0f}",
        case.changed, "->", item.kind, item.late_days, item.low, item.high,
        "held" if item.held else "" if item.held is None else "MISSED",
        f"{item.excess_k:.0f} K", item.why if item.low is None else "", sep=" | ", flush=True,
    )  # fmt: skip
    return item


if __name__ == "__main__":
    main()
