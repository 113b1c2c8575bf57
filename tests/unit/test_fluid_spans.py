"""Where the fluid curves end, and what they refuse."""

import numpy as np
import pytest

from analysis import fluid
from analysis.sources import Source

PG = {"fluid": "propylene_glycol", "concentration_frac": 0.4}
WATER = {"fluid": "water", "concentration_frac": 0.0}


@pytest.mark.parametrize(
    ("of", "t_c", "known"),
    [
        (WATER, -0.1, False),
        (WATER, 0.0, True),
        (WATER, 150.0, True),
        (WATER, 150.1, False),
        (PG, -20.6, False),
        (PG, -20.5, True),
        (PG, 125.0, True),
        (PG, 125.1, False),
    ],
)
def test_nothing_is_said_outside_the_span(of, t_c, known):
    assert np.isfinite(fluid.density_kg_m3(**of, t_c=t_c)) == known
    assert np.isfinite(fluid.specific_heat_j_kgk(**of, t_c=t_c)) == known
    assert np.isfinite(fluid.mean_specific_heat_j_kgk(**of, t_hot_c=t_c, t_cold_c=50.0)) == known


@pytest.mark.parametrize("name", ["propylene_glycol", "ethylene_glycol"])
@pytest.mark.parametrize("frac", [0.0, 0.25, 0.4, 0.6])
def test_curves_do_not_jump_where_the_tables_meet(name, frac):
    of = {"fluid": name, "concentration_frac": frac}
    density = fluid.density_kg_m3(**of, t_c=np.array([99.99, 100.01]))
    heat = fluid.specific_heat_j_kgk(**of, t_c=np.array([99.99, 100.01]))
    assert abs(np.diff(density))[0] < 0.05
    assert abs(np.diff(heat))[0] < 0.5


@pytest.mark.parametrize("frac", [-0.01, 0.61, float("nan")])
def test_a_concentration_outside_the_tables_is_refused(frac):
    with pytest.raises(ValueError, match=r"outside 0 to 0\.6"):
        fluid.density_kg_m3(fluid="propylene_glycol", concentration_frac=frac, t_c=20.0)


def test_an_unknown_fluid_is_refused_by_name():
    with pytest.raises(ValueError, match="'brine' is none of water, propylene_glycol"):
        fluid.ice_point_c(fluid="brine", concentration_frac=0.2)


@pytest.mark.parametrize(("name", "frac"), [("water", 0.2), ("propylene_glycol", 1.2)])
def test_a_meaningless_volume_fraction_is_refused(name, frac):
    with pytest.raises(ValueError, match="means nothing"):
        fluid.mass_frac_of_volume_frac(fluid=name, volume_frac=frac)


def test_shape_is_kept_and_inputs_are_not_written():
    t_c = np.array([[20.0, 30.0], [np.nan, 50.0]])
    before = t_c.copy()
    assert fluid.density_kg_m3(**PG, t_c=t_c).shape == (2, 2)
    np.testing.assert_array_equal(t_c, before)


def test_uncertainty_of_glycol_is_mostly_its_concentration_and_of_water_is_small():
    assert fluid.relative_uncertainty_frac(**WATER) < 0.001
    weak = fluid.relative_uncertainty_frac(fluid="propylene_glycol", concentration_frac=0.2)
    strong = fluid.relative_uncertainty_frac(fluid="propylene_glycol", concentration_frac=0.5)
    assert 0.005 < weak < strong < 0.012


@pytest.mark.parametrize("bar", [0.0, -1.0, 40.0])
def test_no_boiling_point_without_a_possible_pressure(bar):
    assert np.isnan(fluid.boiling_c(**WATER, pressure_bar_abs=bar))


def test_a_source_without_a_work_is_no_source():
    with pytest.raises(ValueError, match="names its work"):
        Source(" ")
    assert str(Source("Work").at("table 1")) == "Work, table 1"
