"""Write `analysis/fluid_table.py` from CoolProp; run by hand when the table is to change.

    python tests/reference/make_fluid_table.py > analysis/fluid_table.py

CoolProp takes seconds to import and its mixtures end at 100 °C, so the product carries this table
and the tests compare the two. Three parts:

- Melinder's polynomials of the mixtures in mass fraction and temperature. CoolProp evaluates them;
  a least-squares fit of the same form finds them again to rounding error, which is checked here.
- How density and specific heat go on from 100 to 125 °C: the ASHRAE curves (volume fractions,
  `INCOMP::APG` and `INCOMP::AEG`) continued and divided by their own value at 100 °C. For
  propylene glycol the continued curves meet the printed ASHRAE table, which runs to 125 °C,
  within 0.02 kg/m3 and 0.4 J/(kg K) at 110 and 120 °C (checked here). For ethylene glycol
  no printed values above 100 °C were at hand.
- Water (IAPWS-95) at 3 bar, above 129 °C at 5 % over saturation pressure, and its saturation line.
"""

import sys

import CoolProp
import numpy as np
from CoolProp.CoolProp import PropsSI

MELINDER = {"propylene_glycol": "MPG", "ethylene_glycol": "MEG"}
ASHRAE = {"propylene_glycol": "APG", "ethylene_glycol": "AEG"}
PURE_GLYCOL_KG_M3 = {"propylene_glycol": 1036.0, "ethylene_glycol": 1113.0}  # at 20 °C, handbook
PURE_WATER_KG_M3 = 998.2
PRESSURE_PA = 3e5
HOT_C = np.arange(100.0, 126.0, 5.0)
# volume fraction: (density, specific heat) at 110 and 120 °C, ASHRAE Handbook Fundamentals,
# aqueous solutions of propylene glycol
PRINTED = {
    0.2: ((963.37, 4169), (954.67, 4191)),
    0.3: ((967.56, 4095), (958.26, 4123)),
    0.4: ((970.81, 3999), (960.97, 4032)),
    0.5: ((973.20, 3879), (962.89, 3918)),
}


def mixture(code, prop, x, t_c):
    return PropsSI(prop, "T", t_c + 273.15, "P", PRESSURE_PA, f"INCOMP::{code}[{x}]")


def ice_point(code, x):
    return PropsSI("T_freeze", "T", 300.0, "P", PRESSURE_PA, f"INCOMP::{code}[{x}]") - 273.15


def water(prop, t_c):
    t_k = max(t_c, 0.01) + 273.15
    pressure = max(PRESSURE_PA, 1.05 * PropsSI("P", "T", t_k, "Q", 0, "Water"))
    return PropsSI(prop, "T", t_k, "P", pressure, "Water")


def terms(x, t_c):
    return np.stack(
        [((x - 0.3) / 0.3) ** i * ((t_c - 40.0) / 60.0) ** j for i in range(6) for j in range(4)],
        axis=-1,
    )


def fit(code, prop):
    lowest = 0.1 if code.startswith("A") else 0.0
    x, t, value = [], [], []
    for share in np.linspace(lowest, 0.6, 13):
        start = max(ice_point(code, share) + 1.0, -34.9)
        for t_c in np.linspace(start, 99.99, 25):
            x.append(share)
            t.append(t_c)
            value.append(mixture(code, prop, share, t_c))
    form = terms(np.array(x), np.array(t))
    coefficients, *_ = np.linalg.lstsq(form, np.array(value), rcond=None)
    assert np.abs(form @ coefficients - value).max() < 1e-8
    return coefficients


def continuation(glycol, prop):
    """Give mass fractions and, for each, value over value at 100 °C on HOT_C."""
    coefficients = fit(ASHRAE[glycol], prop)
    if glycol == "propylene_glycol":
        limit = 0.02 if prop == "D" else 0.4
        for volume, rows in PRINTED.items():
            for t_c, row in zip((110.0, 120.0), rows, strict=True):
                printed = row[0] if prop == "D" else row[1]
                here = float(terms(np.array(volume), np.array(t_c)) @ coefficients)
                assert abs(here - printed) < limit, (volume, t_c, here, printed)
    masses, ratios = [0.0], [[water(prop, t) / water(prop, 100.0) for t in HOT_C]]
    for volume in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6):
        glycol_kg = volume * PURE_GLYCOL_KG_M3[glycol]
        masses.append(glycol_kg / (glycol_kg + (1.0 - volume) * PURE_WATER_KG_M3))
        curve = terms(np.full(HOT_C.shape, volume), HOT_C) @ coefficients
        ratios.append(list(curve / curve[0]))
    return masses, ratios


def show(name, values, digits, annotation="tuple[float, ...]"):
    print(f"{name}: {annotation} = (")
    line = "   "
    for value in values:
        value = 0.0 if abs(value) < 1e-9 else float(value)  # rounding dust of the fit
        word = f" {value:.{digits}g},"
        if len(line) + len(word) > 98:
            print(line)
            line = "   "
        line += word
    print(line)
    print(")")


def main():
    print('"""Fluid data for `analysis.fluid`, made by `tests/reference/make_fluid_table.py`.')
    print()
    print(f"From CoolProp {CoolProp.__version__}. Not to be edited by hand; what the numbers mean")
    print('stands in that script."""')
    print()
    print("# fmt: off")
    for glycol, code in MELINDER.items():
        prefix = glycol.upper()
        x = np.linspace(0.0, 0.6, 13)
        ice = np.polynomial.polynomial.polyfit(x, [ice_point(code, v) for v in x], 5)
        show(f"{prefix}_DENSITY", fit(code, "D"), 14)
        show(f"{prefix}_SPECIFIC_HEAT", fit(code, "C"), 14)
        show(f"{prefix}_ICE_POINT", ice, 14)
        masses, density = continuation(glycol, "D")
        _, heat = continuation(glycol, "C")
        show(f"{prefix}_HOT_MASS_FRAC", masses, 7)
        show(f"{prefix}_HOT_DENSITY_RATIO", np.ravel(density), 8)
        show(f"{prefix}_HOT_SPECIFIC_HEAT_RATIO", np.ravel(heat), 8)
    show("HOT_C", HOT_C, 6)
    grid = np.arange(0.0, 151.0)
    show("WATER_DENSITY", [water("D", t) for t in grid], 8)
    show("WATER_SPECIFIC_HEAT", [water("C", t) for t in grid], 8)
    line = np.arange(0.0, 201.0, 5.0)
    pressures = [PropsSI("P", "T", max(t, 0.01) + 273.15, "Q", 0, "Water") / 1e5 for t in line]
    show("SATURATION_C", np.maximum(line, 0.01), 6)
    show("SATURATION_BAR", pressures, 9)


if __name__ == "__main__":
    sys.exit(main())
