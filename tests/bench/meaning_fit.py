"""The tables that tell columns apart by their values, read off drawn plants.

python -m tests.bench.meaning_fit [plants]    usual values, gaps, and how much each sign counts

The rows of `analysis.meaning.usual` and `analysis.meaning.gaps` are medians and quartile distances.
The weights make the truth likeliest for each column, the others known (a pseudo-likelihood), and
are kept near those that are in use. Plants are drawn anew from a seed of their own; none is one of
`tests.bench.meaning` or of the corpus.
"""

import math
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import OpenColumn
from analysis.logs.conversions import UNITS
from analysis.meaning.assign import Links
from analysis.meaning.gaps import GAP_WEIGHTS, Gaps, gaps_of
from analysis.meaning.looks import Look, look_at, rescaled
from analysis.meaning.motion import motion_of, phases_of
from analysis.meaning.pairs import pairs_of
from analysis.meaning.states import header_of, states_of
from analysis.meaning.sun_plane import clear_sky_of, fit_of
from analysis.meaning.times import times_of
from analysis.meaning.traits import TRAITS, counted, narrowest, trait_value
from analysis.site import Site
from analysis.sitefile import parse_site
from fixtures import weather
from fixtures.scenario import Scenario, flat_roof, home, school, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from tests.bench.meaning import SHARES

SEED, PLANTS, EACH = 41, 70, 6
_CLIMATES = (weather.BRITISH, weather.ATLANTIC, weather.CONTINENTAL, weather.ALPINE,
             weather.SOUTHERN)  # fmt: skip
_SPANS = ((1, 60), (5, 60), (5, 300), (5, 600), (14, 300), (15, 3600))
_TEMPERATURES = tuple(
    name for name in SHARES if BASE_CHANNELS[name].quantity == "temperature"
)  # fmt: skip
# How strongly weights are held where they are.
_HOLD = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What a stretch of a log shows: names, looks in canonical units, gaps, states and links."""

    names: list[str]
    looks: list[Look]
    gaps: Gaps
    states: list
    links: Links
    trust_frac: float


def drawn_plant(rng: np.random.Generator) -> Scenario:
    """Draw a plant: a home, a school or a flat roof somewhere between 37 and 58 degrees north."""
    longitude = float(rng.uniform(-6.0, 20.0))
    known: dict[str, object] = {
        "latitude_deg": float(rng.uniform(37.0, 58.0)),
        "longitude_deg": longitude,
        "timezone": "Europe/London" if longitude < 4.0 else "Europe/Berlin",
        "climate": _CLIMATES[int(rng.integers(len(_CLIMATES)))],
        "backup_setpoint_c": float(rng.uniform(45.0, 62.0)),
        "limit_c": float(rng.choice([60.0, 65.0, 70.0, 75.0, 85.0])),
        "pressure_bar": float(rng.uniform(1.0, 3.0)),
        "least_speed": float(rng.choice([0.3, 0.5, 1.0])),
        "pipe_length_m": float(rng.uniform(10.0, 40.0)),
        "store_w_k": float(rng.uniform(1.3, 3.5)),
    }
    if rng.random() < 0.3:
        known["backup_w"] = 0.0
    kind = rng.random()
    if kind < 0.2:
        return flat_roof(**known, flow_l_min=round(float(rng.uniform(2.0, 4.0)), 1))
    known["tilt_deg"] = float(rng.uniform(20.0, 60.0))
    known["azimuth_deg"] = float(rng.uniform(120.0, 250.0))
    if kind < 0.4:
        return school(**known, volume_l=float(rng.uniform(800.0, 3000.0)))
    tubes = int(rng.integers(10, 40))
    plain = home(tubes=tubes)
    return home(
        **known,
        tubes=tubes,
        flow_l_min=round(plain.flow_l_min * float(rng.uniform(0.7, 1.8)), 1),
        litres_per_day=round(plain.litres_per_day * float(rng.uniform(0.4, 1.8))),
    )


def stretches(plants: int) -> Iterator[Seen]:
    """Give what stretches of the logs of drawn plants show."""
    rng = np.random.default_rng(SEED)
    for number in range(plants):
        plant = drawn_plant(rng)
        start = np.datetime64("2024-01-01") + int(rng.integers(700))
        run = simulate(plant, seed=SEED * 1000 + number, start=str(start), days=15)
        site = parse_site(site_toml(plant))
        for _ in range(EACH):
            days, step_s = _SPANS[int(rng.integers(len(_SPANS)))]
            log = observe(run, seed=number, sensors="site", channels=tuple(SHARES), step_s=step_s)
            rows = int(days * 86_400 / step_s)
            first = int(rng.integers(0, max(1, len(log.stamp_s) - rows + 1)))
            names = [name for name in log.columns if rng.random() < SHARES[name]]
            values = np.array([log.columns[name][first : first + rows] for name in names])
            known = site if rng.random() < 0.7 else None
            yield seen_of(names, values, log.stamp_s[first : first + rows], known)


def seen_of(names: list[str], values: np.ndarray, stamp_s: np.ndarray, site: Site | None) -> Seen:
    """Look at a stretch as `analysis.meaning.propose` does, the pump being known."""
    place = (45.0, 0.0) if site is None else (site.place.latitude_deg, site.place.longitude_deg)
    times = times_of(stamp_s, latitude_deg=place[0], longitude_deg=place[1])
    values = values[:, times.rows]
    runs = next((values[names.index(one)] for one in ("pump", "flow") if one in names), None)
    on = None if runs is None else runs > 0.02 * np.nanmax(np.abs(runs))
    phases = phases_of(times, on)
    looks = [look_at(row, times) for row in values]
    looks = [
        replace(look, moves=motion_of(row, phases, times, span=look.high - look.low))
        for look, row in zip(looks, values, strict=True)
    ]
    sky = None if site is None else clear_sky_of(times, site, shift_s=0.0)
    states = []
    for row, look in zip(values, looks, strict=True):
        column = OpenColumn(place=0, head="", unit_head="", values=row, words=False)
        fit = fit_of(row, look, sky, times)
        states.append(
            states_of(
                column, header_of(column), look, fit, temperature="c", trust_frac=times.trust_frac
            )
        )
    gaps = gaps_of(values, phases)
    links = Links(pairs=pairs_of(values, values, times, on), gaps=gaps, named=[None] * len(names))
    return Seen(
        names=names, looks=looks, gaps=gaps, states=states, links=links,
        trust_frac=times.trust_frac,
    )  # fmt: skip


def middle(values: list[float], least: float) -> str:
    """Write the median, and a spread a third wider than the values show."""
    there = np.array(values)[np.isfinite(values)]
    if there.size < 8:
        return "-"
    centre = float(np.median(there))
    spread = 1.3 * float(np.percentile(np.abs(there - centre), 75)) / 1.15
    return f"{centre:.3g}±{max(spread, least):.2g}"


def usual_table(seen: list[Seen]) -> None:
    """Print what each channel usually shows."""
    for name in SHARES:
        linear = BASE_CHANNELS[name].quantity == "temperature"
        scale = UNITS[BASE_CHANNELS[name].quantity].get(BASE_CHANNELS[name].unit.lower())
        factor = 1.0 if scale is None else scale.factor
        looks = [
            rescaled(look, factor=factor, shift=0.0)
            for one in seen
            for other, look in zip(one.names, one.looks, strict=True)
            if other == name
        ]
        cells = [
            middle(
                [counted(trait, trait_value(look, trait.name), linear=linear) for look in looks],
                narrowest(trait, linear=linear),
            )
            for trait in TRAITS
        ]
        print(f"{name:<22} {' '.join(f'{cell:<13}' for cell in cells)}")


def gap_table(seen: list[Seen]) -> None:
    """Print by how much temperatures differ."""
    held: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for one in seen:
        for i, a in enumerate(one.names):
            for j, b in enumerate(one.names):
                if a not in _TEMPERATURES or b not in _TEMPERATURES:
                    continue
                if _TEMPERATURES.index(a) >= _TEMPERATURES.index(b):
                    continue
                for gap in GAP_WEIGHTS:
                    held[a, b, gap].append(float(getattr(one.gaps, gap)[i, j]))
    for a, b in dict.fromkeys(key[:2] for key in held):
        cells = [middle(held[a, b, gap], 0.1) for gap in GAP_WEIGHTS]
        print(f"{a:<14} {b:<14} {' '.join(f'{cell:<13}' for cell in cells)}")


def trait_weights(seen: list[Seen]) -> dict[str, float]:
    """Give how much each trait should count, the other columns known."""
    blocks = []
    for one in seen:
        for column, (name, states) in enumerate(zip(one.names, one.states, strict=True)):
            truth = [at for at, state in enumerate(states) if state.channel == name]
            if not truth:
                continue
            signs = one.trust_frac * np.array([state.traits for state in states])
            rest = np.array([_beside(one, column, state.channel) for state in states])
            fixed = np.array([state.nats for state in states]) - signs.sum(axis=1) + rest
            blocks.append((signs, fixed, truth[0]))

    def loss(share: np.ndarray) -> tuple[float, np.ndarray]:
        total, slope = float(_HOLD * ((share - 1.0) ** 2).sum()), 2.0 * _HOLD * (share - 1.0)
        for signs, fixed, truth in blocks:
            nats = signs @ share + fixed
            odds = np.exp(nats - nats.max())
            total -= float(nats[truth] - nats.max() - math.log(odds.sum()))
            slope = slope + signs.T @ (odds / odds.sum()) - signs[truth]
        return total, slope

    found = minimize(loss, np.ones(len(TRAITS)), jac=True, bounds=[(0.1, 3.0)] * len(TRAITS))
    return {trait.name: trait.weight * share for trait, share in zip(TRAITS, found.x, strict=True)}


def _beside(one: Seen, column: int, channel: str) -> float:
    nats = 0.0
    for other, name in enumerate(one.names):
        if other == column or not channel or name == channel:
            continue
        table = one.links.beside(channel, name)
        nats += 0.0 if table is None else float(table[column, other])
    return nats


def main() -> None:
    """Print the tables."""
    plants = int(sys.argv[1]) if len(sys.argv) > 1 else PLANTS
    seen = list(stretches(plants))
    usual_table(seen)
    gap_table(seen)
    for name, weight in trait_weights(seen).items():
        print(f"{name:<14} {weight:.2f}")


if __name__ == "__main__":
    main()
