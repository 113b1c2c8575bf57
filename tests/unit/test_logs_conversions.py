"""Units of logs: every factor against its definition or NIST Special Publication 811 (2008)."""

import numpy as np
import pytest

from analysis.channels import BASE_CHANNELS
from analysis.logs.conversions import UNITS, converted, known_units, time_unit_s, unit_named

# Definitions of the units; psi, US gallon, mile, knot, Btu: NIST SP 811, appendix B (from memory).
EXPECTED = [
    ("temperature", "C", 25.0, 25.0),
    ("temperature", "°C", 25.0, 25.0),
    ("temperature", "F", 212.0, 100.0),
    ("temperature", "°F", 32.0, 0.0),
    ("temperature", "K", 273.15, 0.0),
    ("flow", "l/min", 2.0, 2.0),
    ("flow", "l/h", 120.0, 2.0),
    ("flow", "L/h", 120.0, 2.0),
    ("flow", "m3/h", 0.12, 2.0),
    ("flow", "m³/h", 0.12, 2.0),
    ("flow", "l/s", 0.5, 30.0),
    ("flow", "ml/s", 50.0, 3.0),
    ("flow", "gal/min", 1.0, 3.785411784),
    ("power", "kW", 1.5, 1500.0),
    ("power", "BTU/h", 1.0, 0.2930711),
    ("power", "kBtu/hr", 1.0, 293.0711),
    ("energy", "BTU", 1e6, 293.0711),
    # The calorie (IT) is 4.1868 J, the standard atmosphere 101.325 kPa (NIST SP 811, from memory).
    ("energy", "kcal", 1000.0, 1.163),
    ("energy", "Gcal", 1.0, 1163.0),
    ("power", "kcal/h", 1000.0, 1163.0),
    ("pressure", "bar abs", 3.01325, 2.0),
    ("pressure", "kPa (abs)", 301.325, 2.0),
    ("pressure", "psia", 29.1997228, 1.0),
    ("energy", "kJ", 3600.0, 1.0),
    ("flow", "gal/h", 60.0, 3.785411784),
    ("irradiance", "kW/m²", 0.8, 800.0),
    ("irradiance", "W/m2", 800.0, 800.0),
    ("energy", "Wh", 1000.0, 1.0),
    ("energy", "MWh", 1.0, 1000.0),
    ("energy", "MJ", 3.6, 1.0),
    ("energy", "GJ", 3.6, 1000.0),
    ("pressure", "kPa", 200.0, 2.0),
    ("pressure", "psi", 14.503774, 1.0),
    ("share", "%", 40.0, 40.0),
    ("share", "0..1", 0.4, 40.0),
    ("share", "on/off", 1.0, 100.0),
    ("volume", "m3", 1.0, 1000.0),
    ("speed", "km/h", 36.0, 10.0),
    ("speed", "mph", 1.0, 0.44704),
    ("speed", "kn", 1.0, 0.514444),
    ("duration", "min", 90.0, 1.5),
]


@pytest.mark.parametrize(("quantity", "unit", "value", "canonical"), EXPECTED)
def test_a_unit_becomes_the_canonical_one(quantity, unit, value, canonical):
    found = unit_named(quantity=quantity, unit=unit)
    assert found is not None
    assert converted(np.array([value]), found)[0] == pytest.approx(canonical, rel=1e-6, abs=1e-9)


def test_mass_flows_become_kilograms_per_minute_and_say_so():
    for unit, value in (("kg/h", 60.0), ("kg/s", 1 / 60), ("g/s", 1000 / 60)):
        found = unit_named(quantity="flow", unit=unit)
        assert found is not None
        assert found.mass_flow
        assert converted(np.array([value]), found)[0] == pytest.approx(1.0)


def test_every_channel_has_units_and_its_own_is_the_canonical_one():
    for channel in BASE_CHANNELS.values():
        found = unit_named(quantity=channel.quantity, unit=channel.unit)
        assert found is not None, channel.name
        assert (found.factor, found.shift) == (1.0, 0.0)


def test_a_unit_of_another_quantity_is_none_of_this():
    assert unit_named(quantity="flow", unit="C") is None
    assert unit_named(quantity="temperature", unit="") is None
    assert time_unit_s("fortnight") is None


def test_units_are_listed_as_people_write_them():
    assert known_units("temperature") == "C, F, K, 0.1 C, 0.01 C, 0.1 F, 0.1 K"
    assert known_units("energy") == "kWh, Wh, MWh, kJ, MJ, GJ, Btu, kBtu, kcal, Mcal, Gcal"
    assert all(known_units(quantity) for quantity in (*UNITS, "time"))
