"""The simulator against its own laws: the books close, a sound collector is the certified one."""

import functools

import numpy as np
import pytest

from fixtures import kernel
from fixtures.faults import MODIFIERS, Fault, modifiers
from fixtures.fluid import density_kg_m3, enthalpy_j_kg, fluid
from fixtures.plant import plant_of
from fixtures.scenario import Scenario, flat_roof, home, school
from fixtures.simulate import Run, simulate
from fixtures.truth import balance_error_frac

FLAT_PLATE = {
    # Published certificate of a flat plate, ISO 9806:2017, gross area (reference values, 1a).
    "collector": "flat_plate",
    "tubes": None,
    "area_m2": 4.0,
    "area_basis": "gross",
    "eta0_hem": 0.729,
    "a1_w_m2k": 3.51,
    "a2_w_m2k2": 0.017,
    "iam_diffuse": 0.91,
    "stagnation_c": 189.0,
    "heat_pipe_start_c": None,
    "heat_pipe_limit_c": None,
}


@functools.cache
def summer(*faults: Fault) -> Run:
    return simulate(home(faults=faults), seed=5, start="2025-05-20", days=24)


def steady(scenario: Scenario, *, gain: float, ambient: float, hours: int = 5):
    """Run the kernel under a constant sun on a store too large to warm, pump forced on."""
    minutes = hours * 60
    plant = plant_of(scenario, fluid(name="propylene_glycol", concentration_frac=0.4))
    plant = plant._replace(store_m3=1e6, start_k=-500.0, stop_k=-600.0, store_limit_c=500.0)
    mods = np.zeros((MODIFIERS, minutes))
    mods[[0, 1, 3, 13, 14]] = 1.0
    out = [np.empty((rows, minutes)) for rows in (kernel.SIGNALS, kernel.SIGNALS, kernel.ENERGIES)]
    flat = np.full(minutes + 1, 1.0)
    kernel.run(
        plant, gain * flat, ambient * flat, 20.0 * flat[1:], 10.0 * flat[1:], 0.0 * flat[1:],
        np.zeros(minutes, dtype=np.uint8), mods, *out,
    )  # fmt: skip
    return plant, out[0][:, -1], out[2][:, -1]


@pytest.mark.parametrize(
    "scenario",
    [
        home(),
        home(faults=(Fault(kind="reverse_circulation", start="2025-03-03"),)),
        home(faults=(Fault(kind="pump_dead", start="2025-03-05"),)),
        home(
            faults=(
                Fault(kind="tubes_without_vacuum", tubes=5, start="2025-03-01"),
                Fault(kind="night_running", start="2025-03-06"),
            )
        ),
        home(**FLAT_PLATE),
        flat_roof(),
        school(least_speed=1.0),
    ],
    ids=["home", "reverse", "pump", "tubes", "flat_plate", "flat_roof", "school"],
)
def test_energy_in_is_what_is_stored_lost_and_drawn(scenario: Scenario) -> None:
    run = simulate(scenario, seed=2, start="2025-03-01", days=21)
    assert run.truth["absorbed_w"].sum() > 0
    assert abs(balance_error_frac(run)) < 1e-9


def test_a_whole_year_closes_its_books_within_half_a_per_cent() -> None:
    run = simulate(home(faults=(Fault(kind="airlock", start="2025-07-01"),)), seed=2)
    assert abs(balance_error_frac(run)) < 0.005
    assert sum(run.daily_truth().values()) == pytest.approx(
        run.truth["delivered_w"].sum() / 60_000, rel=1e-9
    )


def test_loop_loses_what_the_roof_gave_and_the_store_did_not_get() -> None:
    # Without what a warm store gives to its resting pipes, which they lose as well.
    alone = home(pipe_conduct_w_k=0.0, pipe_creep_w_k=0.0)
    run = simulate(alone, seed=2, start="2025-06-01", days=20)
    given, got, lost = (
        run.truth[name].sum() for name in ("collector_gain_w", "delivered_w", "pipe_loss_w")
    )
    # What the pipes hold at the end (some 10 kJ/K) is small beside twenty days' heat.
    assert given - got == pytest.approx(lost, rel=0.02)


@pytest.mark.parametrize("ambient", [5.0, 25.0])
@pytest.mark.parametrize("gain", [250.0, 600.0])
@pytest.mark.parametrize("kind", [{}, FLAT_PLATE], ids=["heat_pipe", "flat_plate"])
def test_steady_collector_is_the_iso_9806_equation(
    kind: dict[str, object], gain: float, ambient: float
) -> None:
    scenario = home(**kind)
    _, at, energy = steady(scenario, gain=gain, ambient=ambient)
    tm_k = _mean_in_collector(scenario, energy, at) - ambient
    iso = gain - scenario.a1_w_m2k * tm_k - scenario.a2_w_m2k2 * tm_k**2
    assert energy[kernel.COLLECTOR_GAIN] / 60 / scenario.area == pytest.approx(iso, rel=0.01)
    assert energy[kernel.HEALTHY] == pytest.approx(energy[kernel.COLLECTOR_GAIN], rel=0.01)


def _mean_in_collector(scenario, energy, at) -> float:
    """Mean of inlet and outlet from the outlet's sensor and the heat taken up."""
    liquid = fluid(name="propylene_glycol", concentration_frac=0.4)
    rho = density_kg_m3(of=liquid, t_c=np.array(at[kernel.COLD]))
    mass = at[kernel.FLOWING] / 60_000 * rho
    out_j = enthalpy_j_kg(of=liquid, t_c=np.array(at[kernel.COLLECTOR]))
    into_j = out_j - energy[kernel.COLLECTOR_GAIN] / 60 / mass
    span = np.linspace(-20, 150, 17001)
    into_c = np.interp(into_j, enthalpy_j_kg(of=liquid, t_c=span), span)
    return 0.5 * (into_c + at[kernel.COLLECTOR])


@pytest.mark.parametrize(
    ("scenario", "certified_c"),
    [
        (home(heat_pipe_limit_c=None), 210.0),
        (home(**FLAT_PLATE), 189.0),
        (flat_roof(), 250.0),
    ],
    ids=["heat_pipe", "flat_plate", "direct_flow"],
)
def test_dry_collector_climbs_to_its_certified_stagnation(scenario, certified_c: float) -> None:
    scenario = home(**{**_fields(scenario), "flow_l_min": 1e-9})
    _, at, _ = steady(scenario, gain=1000 * scenario.eta0_hem, ambient=30.0, hours=12)
    assert at[kernel.TUBE] == pytest.approx(certified_c, abs=3.0)


def _fields(scenario: Scenario) -> dict[str, object]:
    return {name: getattr(scenario, name) for name in Scenario.__dataclass_fields__}


def test_limiter_keeps_the_manifold_cool_while_the_tubes_stagnate() -> None:
    run = summer(Fault(kind="pump_dead", start="2025-05-20"))
    assert 115 < run.signals["collector"].max() < 132
    assert 170 < run.truth["tube_c"].max() < 235


def test_standing_loop_cools_to_the_room_and_the_manifold_to_the_night() -> None:
    run = summer()
    hours = (run.start_s // 3600 + 1) % 24  # British summer time
    night = hours == 4
    still = night & (run.signals["flow"] == 0)
    assert np.abs(run.signals["loop_hot"][still] - 17).max() < 8
    over = run.signals["collector"][still] - run.signals["ambient"][still]
    assert 0 < np.median(over) < 12


def test_store_is_never_warmer_below_than_above() -> None:
    run = summer()
    low, mid, top = (run.signals[f"store_{place}"] for place in ("bottom", "middle", "top"))
    assert np.all(low <= mid + 1e-6)
    assert np.all(mid <= top + 1e-6)


def test_pump_keeps_to_the_controller() -> None:
    run = summer()
    warm = run.signals["store_bottom"] > run.scenario.limit_c + 0.3
    assert not np.any(run.signals["pump"][warm] > 0)
    hot = run.signals["collector"] > run.scenario.collector_cutout_c + 1
    assert not np.any(run.signals["pump"][hot] > 0)


def test_modifiers_refuse_what_they_do_not_know() -> None:
    with pytest.raises(ValueError, match="no fault"):
        Fault(kind="gremlins", start="2025-01-01")
    with pytest.raises(ValueError, match="needs a channel"):
        Fault(kind="sensor_open", start="2025-01-01")
    with pytest.raises(TypeError, match="wings"):
        home(wings=2)


def test_fault_bends_only_its_own_days() -> None:
    minutes = np.arange(0, 3 * 86400, 60, dtype=np.int64)
    table = modifiers(
        (Fault(kind="low_flow", start="1970-01-02", end="1970-01-03"),),
        start_s=minutes, timezone="UTC", tubes=18, a1_w_m2k=1.4,
    )  # fmt: skip
    assert table[3].tolist() == [1.0] * 1440 + [0.35] * 1440 + [1.0] * 1440
