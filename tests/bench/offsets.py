"""Is the offset of the pipe sensors learnt, and learnt from nothing else?

python -m tests.bench.offsets [runs of each plant] [draws for each run] [step in s]

Every run draws anew (all invented) how warm the room is at the hot pipe's end over the cold one's
(up to 0.3 K), what conducts (up to 0.06 W/K) and what creeps into it (up to 0.2 W/K) from a warm
store. Over each run sensors are drawn from the classes of the site file: once the pair of pipe
sensors alone, once all. Then plants with faults: what is learnt must be the sensors' own.
"""

import sys
from dataclasses import replace

import numpy as np

from analysis.assess import observe
from analysis.days import DayTable
from analysis.energy import delivered
from analysis.offsets import corrected, learn_offsets
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures.scenario import Fault, Scenario, flat_roof, home, school, site_toml
from fixtures.sensors import SensorErrors, draw_errors
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import Run, simulate
from tests.plants import record_of

PLANTS: dict[str, Scenario] = {
    "home": home(),
    "home, on/off pump": home(tubes=24, least_speed=1.0),
    "home, much flow": home(flow_l_min=4.0, least_speed=1.0),
    "school": school(),
    "flat roof, direct flow": flat_roof(),
    "home, class A": home(temperature_class="A"),
}
PIPES = ("loop_hot", "loop_cold")
FAULTS: dict[str, tuple[Fault, ...]] = {
    "valve leaks all year": (Fault(kind="reverse_circulation", start="2025-01-01"),),
    "valve leaks a little": (Fault(kind="reverse_circulation", start="2025-01-01", severity=0.02),),
    "valve leaks in spring": (
        Fault(kind="reverse_circulation", start="2025-03-10", end="2025-04-20"),
    ),
    "hot sensor stuck": (
        Fault(kind="sensor_stuck", start="2025-01-05", end="2025-01-25", channel="loop_hot"),
    ),
    "hot sensor changed, -0.6 K": (
        Fault(kind="sensor_offset", start="2025-06-10", channel="loop_hot", value=-0.6),
    ),
    "hot sensor 4 K off from June": (
        Fault(kind="sensor_offset", start="2025-06-10", channel="loop_hot", value=4.0),
    ),
}


def drawn(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """Give the plant with other rest: room, conduction and creeping drawn anew."""
    gradient, conducts, creeps = rng.uniform(0.0, (0.3, 0.06, 0.2))
    return replace(
        scenario, pipe_gradient_k=gradient, pipe_conduct_w_k=conducts, pipe_creep_w_k=creeps
    )


def table_of(run: Run, site: Site, errors: SensorErrors, *, seed: int, step_s: int) -> DayTable:
    """Log a run with these errors and observe it."""
    record = record_of(read_sensors(run, seed=seed, sensors=errors, step_s=step_s))
    return observe(site=site, record=record, channels=frozenset(record.columns))


def alone(errors: SensorErrors) -> SensorErrors:
    """Keep the errors of the pair and of the store's sensor; all else is perfect."""
    names = (*PIPES, "store_bottom")
    return SensorErrors(
        constant_k={name: errors.constant_k[name] for name in names},
        slope={name: errors.slope[name] for name in names if name in errors.slope},
    )


def outcome(table: DayTable, site: Site, truth: np.ndarray, rng: np.random.Generator):
    """Give the year's error plain and learnt, whether day and year were held, and the spells."""
    spells = learn_offsets(table, site)
    learnt = corrected(table, spells, site)
    every = np.arange(len(truth))
    day = np.array([int(rng.choice(np.flatnonzero(truth > 0.1)))])
    plain, better = delivered(table, every), delivered(learnt, every)
    held_day, held_year = (
        found.low <= truth[days].sum() <= found.high
        for days, found in ((day, delivered(learnt, day)), (every, better))
    )
    return (
        plain.value / truth.sum() - 1.0,
        better.value / truth.sum() - 1.0,
        held_day,
        held_year,
        (better.high - better.low) / (plain.high - plain.low),
        any(spell.corrected for spell in spells),
    )


def _prepared(scenario: Scenario, seed: int) -> tuple[Run, Site, np.ndarray]:
    run = simulate(scenario, seed=seed, start="2025-01-01", days=365)
    site = parse_site(site_toml(scenario))
    return run, site, np.array(list(run.daily_truth(site.place.timezone).values()))


def _printed(name: str, rows) -> None:
    values = np.array(rows, dtype=np.float64)
    plain, learnt = np.median(np.abs(values[:, :2]), axis=0) * 100.0
    day, year, width, share = values[:, 2:].mean(axis=0)
    print(
        f"{name}: {len(values)} draws, median error of the year {plain:.2f} -> {learnt:.2f} % "
        f"(x {learnt / plain:.2f}), bounds x {width:.2f}, held: day {100 * day:.1f} %, "
        f"year {100 * year:.1f} %; learnt in {100 * share:.0f} %"
    )


def main() -> None:
    """Print the shares."""
    given = [int(text) for text in sys.argv[1:]]
    runs, draws, step_s = [*given, *(4, 15, 300)[len(given) :]]
    whole: dict[str, list] = {"pair": [], "all": []}
    for number, (name, scenario) in enumerate(PLANTS.items()):
        rows: dict[str, list] = {"pair": [], "all": []}
        for place in range(runs):
            seed = 100 * number + place + 1
            rng = np.random.default_rng(seed)
            plant = drawn(scenario, rng)
            run, site, truth = _prepared(plant, seed)
            for draw in range(draws):
                errors = draw_errors(plant, rng=rng)
                for kind, one in (("pair", alone(errors)), ("all", errors)):
                    table = table_of(run, site, one, seed=draw, step_s=step_s)
                    rows[kind].append(outcome(table, site, truth, rng))
        for kind, found in rows.items():
            _printed(f"{name}, errors of {kind}", found)
            whole[kind] += found
    for kind, found in whole.items():
        _printed(f"together, errors of {kind}", found)
    for name, faults in FAULTS.items():
        _faulty(name, faults, step_s=step_s)


def _faulty(name: str, faults: tuple[Fault, ...], *, step_s: int) -> None:
    for seed in (1, 2, 3):
        rng = np.random.default_rng(seed)
        plant = replace(drawn(home(), rng), faults=faults)
        run, site, truth = _prepared(plant, seed)
        errors = draw_errors(plant, rng=rng)
        table = table_of(run, site, errors, seed=seed, step_s=step_s)
        true_k = {
            at_c: np.subtract(
                *(errors.constant_k[pipe] + errors.slope[pipe] * at_c for pipe in PIPES)
            )
            for at_c in (15.0, 45.0)
        }
        got = "; ".join(
            f"{table.days.dates[one.first]} to {table.days.dates[one.last - 1]}: "
            f"{one.offset_k:+.2f} ({one.u_k:.2f}) K{'' if one.corrected else ' not corrected'}"
            for one in learn_offsets(table, site)
        )
        plain, learnt, *_ = outcome(table, site, truth, rng)
        print(
            f"{name} | {seed} | drawn {true_k[15.0]:+.2f} K at 15 °C | {got or 'nothing learnt'} | "
            f"year {100 * plain:+.1f} -> {100 * learnt:+.1f} %"
        )


if __name__ == "__main__":
    main()
