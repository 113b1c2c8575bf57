"""Whatever plant is drawn up and whatever is wrong with it, the simulator's books close."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fixtures.faults import Fault
from fixtures.scenario import home
from fixtures.simulate import simulate
from fixtures.truth import balance_error_frac

BENDING = (
    "pump_dead", "pump_never_commanded", "airlock", "low_flow", "night_running",
    "reverse_circulation", "not_yet_fitted", "soiling", "backup_overlap", "holiday_full_store",
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(
    tubes=st.integers(8, 60),
    flow_l_min=st.floats(0.5, 6.0),
    volume_l=st.floats(80, 600),
    least_speed=st.sampled_from([0.3, 1.0]),
    kind=st.sampled_from(BENDING),
    fluid=st.sampled_from(["water", "propylene_glycol"]),
    seed=st.integers(0, 10_000),
)
def test_energy_is_neither_made_nor_lost(
    tubes: int, flow_l_min: float, volume_l: float, least_speed: float, kind: str, fluid: str,
    seed: int,
) -> None:  # fmt: skip
    scenario = home(
        tubes=tubes, flow_l_min=flow_l_min, volume_l=volume_l, least_speed=least_speed,
        fluid=fluid, concentration_frac=0.0 if fluid == "water" else 0.4,
        faults=(Fault(kind=kind, start="2025-06-02"),),
    )  # fmt: skip
    run = simulate(scenario, seed=seed, start="2025-06-01", days=3)
    assert abs(balance_error_frac(run)) < 1e-9
    for name, values in run.signals.items():
        assert np.all(np.isfinite(values)), name
    assert run.signals["collector"].max() < 215
    assert run.signals["store_top"].max() < 105
