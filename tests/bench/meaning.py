"""How sure the meaning of columns is, and how often that comes true.

python -m tests.bench.meaning [seed]    reliability on invented plants, with headers held apart
                                        and without headers

The plants and seeds are not those that the tables were read off (`tests.bench.meaning_fit`). Of
headers only totals are printed.
"""

import itertools
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import SURE_FRAC, OpenColumn
from analysis.logs.conversions import UNITS
from analysis.meaning.propose import propose
from analysis.meaning.unit_words import find_unit
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures.header_words_apart import WORDS_APART
from fixtures.scenario import Scenario, home, school, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from tests.other_plant import Other, log_of

# How often a log holds a channel (invented).
SHARES = {
    "collector": 1.0, "store_bottom": 0.95, "store_top": 0.8, "loop_hot": 0.6, "loop_cold": 0.6,
    "pump": 0.8, "flow": 0.6, "ambient": 0.5, "irradiance_plane": 0.5, "pressure": 0.3,
    "irradiance_horizontal": 0.15, "heat_register": 0.3, "heat_power": 0.25, "backup": 0.25,
    "store_middle": 0.25, "flow_volume": 0.15, "cold_feed": 0.1, "hot_tap": 0.1, "wind": 0.1,
}  # fmt: skip
STARTS = ("2025-01-06", "2025-03-20", "2025-05-25", "2025-07-20", "2025-10-05", "2025-12-01")
# Days, step and kind of values.
SPANS = ((1, 60, "sample"), (3, 300, "mean"), (15, 600, "sample"), (14, 60, "sample"),
         (15, 3600, "mean"))  # fmt: skip
HELD_OUT = (
    home(tubes=20, tilt_deg=30.0, azimuth_deg=215.0, backup_setpoint_c=50.0, limit_c=75.0),
    home(tubes=12, latitude_deg=44.0, longitude_deg=9.0, timezone="Europe/Rome", volume_l=300.0),
    home(backup_w=0.0, pressure_bar=1.2, flow_l_min=3.0),
    school(volume_l=3000.0, flow_l_min=12.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A stretch of a log."""

    stamp_s: np.ndarray
    columns: dict[str, np.ndarray]
    site: Site | None
    spans_days: int


@dataclass(slots=True)
class Reliability:
    """Counts of columns by stated certainty, and how many of each were right."""

    stated: Counter = field(default_factory=Counter)
    right: Counter = field(default_factory=Counter)
    wrong: list = field(default_factory=list)

    def add(self, certainty: float, right: bool, what: tuple) -> None:
        bin_ = min(int(certainty * 10), 9) if certainty < 0.97 else 10
        self.stated[bin_] += 1
        self.right[bin_] += right
        if certainty >= SURE_FRAC and not right:
            self.wrong.append(what)

    def lines(self) -> list[str]:
        names = {9: "0.90-0.97", 10: "0.97-1.00"}
        total = sum(self.stated.values())
        sure = self.stated[9] + self.stated[10]
        kept = self.right[9] + self.right[10]
        return [
            *(
                f"  stated {names.get(one, f'{one / 10:.2f}-{one / 10 + 0.1:.2f}')}: "
                f"{self.stated[one]:5} columns, {self.right[one] / self.stated[one]:6.1%} right"
                for one in sorted(self.stated)
            ),
            f"  {total} columns: {kept / total:.1%} right and sure, {1 - sure / total:.1%} asked, "
            f"{len(self.wrong)} sure and wrong",
        ]


def stretches(scenarios: tuple[Scenario, ...], *, seed: int) -> Iterator[Logged]:
    """Give logs of plants in all seasons, of one day to two weeks, at steps of 1 to 60 minutes."""
    for number, (scenario, start) in enumerate(itertools.product(scenarios, STARTS)):
        run = simulate(scenario, seed=seed + number, start=start, days=15)
        site = parse_site(site_toml(scenario))
        for days, step_s, values in SPANS:
            log = observe(run, seed=seed + number, sensors="site", channels=tuple(SHARES),
                          step_s=step_s, values=values)  # fmt: skip
            rows = int(days * 86_400 / step_s)
            first = int(86_400 / step_s) * ((number + 1) % max(1, 15 - days)) if days < 15 else 0
            some = slice(first, first + rows)
            yield Logged(
                stamp_s=log.stamp_s[some],
                columns={name: column[some] for name, column in log.columns.items()},
                site=site if number % 2 else None,
                spans_days=days,
            )


def other_stretches(*, seed: int) -> Iterator[Logged]:
    """Give logs of the other invented plant, a drain-back one."""
    for number, start in enumerate(("2025-01-10", "2025-04-01", "2025-07-01", "2025-10-15")):
        record = log_of(Other(seed=seed + number, start=start, days=14))
        for days in (1, 5, 12):
            some = slice(288, 288 + days * 144)
            columns = {name: values[some] for name, values in record.columns.items()}
            yield Logged(
                stamp_s=record.start_s[some], columns=columns, site=None, spans_days=days
            )  # fmt: skip


def judge(log: Logged, found: Reliability, rng: np.random.Generator, *, headed: bool) -> None:
    """Hide some channels and all meanings of a log, and hold the proposals against the truth."""
    names = [name for name in log.columns if rng.random() < SHARES[name]]
    rng.shuffle(names)
    language = list(WORDS_APART)[int(rng.integers(len(WORDS_APART)))]
    columns, units = [], []
    for place, name in enumerate(names):
        texts = WORDS_APART[language][name]
        head = texts[int(rng.integers(len(texts)))] if headed else ""
        table = UNITS[BASE_CHANNELS[name].quantity]
        unit = find_unit(head).unit
        if unit not in table:
            unit = {"flow": ("l/min", "l/h"), "power": ("w", "kw")}.get(
                BASE_CHANNELS[name].quantity, (None,)
            )[int(rng.integers(2)) if name in ("flow", "heat_power") else 0]
        scale = table[unit] if unit else None
        values = log.columns[name]
        values = (values - scale.shift) / scale.factor if scale else values
        units.append(scale)
        columns.append(OpenColumn(place=place, head=head, unit_head="", values=values, words=False))
    keys = {one.place: one.head or str(one.place + 1) for one in columns}
    proposals = propose(columns, stamp_s=log.stamp_s, site=log.site, keys=keys, file="log")
    for name, scale, proposal in zip(names, units, proposals, strict=True):
        meaning = proposal.meaning
        right = meaning is not None and meaning.channel == name
        if right and scale is not None and BASE_CHANNELS[name].quantity != "share":
            own = UNITS[BASE_CHANNELS[name].quantity][(meaning.unit or "").lower()]
            right = own == scale
        found.add(
            proposal.certainty_frac,
            right,
            (name, meaning and (meaning.channel, meaning.unit), log.spans_days),
        )


def main() -> None:
    """Print reliability."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 700
    for headed in (True, False):
        for title, logs in (
            ("plants of the simulator", stretches(HELD_OUT, seed=seed)),
            ("the other plant", other_stretches(seed=seed)),
        ):
            found = Reliability()
            rng = np.random.default_rng([seed, headed])
            for log in logs:
                judge(log, found, rng, headed=headed)
            print(f"{title}, {'headers held apart' if headed else 'no headers'}, seed {seed}")
            print("\n".join(found.lines()))
            if not headed:
                for one in found.wrong:
                    print("    sure and wrong:", *one)


if __name__ == "__main__":
    main()
