"""Density, specific heat, ice point and boiling point of the fluids in collector loops.

Values come from curves on a 1 K grid, made once for each fluid and concentration from
`analysis.fluid_table` and interpolated linearly inside their span; outside it they are NaN.

================  ==========================  ===================================================
fluid             span                        from
================  ==========================  ===================================================
water             0 to 150 °C, liquid         IAPWS-95 at 3 bar (5 % over saturation above 129 °C)
propylene glycol  ice point to 100 °C         Melinder, mass fraction 0 to 0.6
ethylene glycol   ice point to 100 °C         Melinder, mass fraction 0 to 0.6
both glycols      100 to 125 °C               value at 100 °C times the ratio along the ASHRAE curve
================  ==========================  ===================================================

The continuation is continuous at 100 °C. For propylene glycol the ASHRAE curve agrees with the
printed ASHRAE table up to 120 °C; for ethylene glycol it is the same law continued without
printed values to check it against. Above 125 °C nothing is stated for mixtures: the loop is about
to boil. Concentrations are mass fractions of glycol. Ready-mixed fluids hold inhibitors, which
these curves do not know; `relative_uncertainty_frac` leaves room for them.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis import fluid_table as table
from analysis.compiled import given
from analysis.fluid_kernel import look_up
from analysis.sources import (
    ASHRAE_GLYCOL,
    EN_1434,
    IAPWS_95,
    MELINDER,
    STEAM_POWER_2008,
)
from analysis.uncertainty import COVERAGE_95, RECTANGLE
from analysis.units import KELVIN_AT_0_C

SOURCES = (IAPWS_95, MELINDER, ASHRAE_GLYCOL, EN_1434, STEAM_POWER_2008)

# Heat that a litre a minute carries for one kelvin, water and glycol mixtures alike within a tenth
# [W], for rough comparisons: 4180 J/(kg K) / 60 s; handbook value of water at 20 °C, from memory.
W_PER_L_MIN_K = 68.0
HOTTEST_WATER_C = 150.0
HOTTEST_MIXTURE_C = 125.0
MOST_GLYCOL_FRAC = 0.6

_MIXTURE_TABLE_ENDS_C = 100.0
_MOLAR_WATER = 18.015  # g/mol
# What a refractometer, a top-up with water and years in the loop leave open (95 % limits).
_CONCENTRATION_LIMIT_FRAC = 0.03
# Correlations and inhibitors: half width of a rectangle. Between 0 and 120 °C Melinder's product of
# density and specific heat is 0.4 to 1.1 % below ASHRAE's, which is about inhibited fluids.
_MIXTURE_LIMIT_FRAC = 0.01
_WATER_LIMIT_FRAC = 0.001  # IAPWS-95 against IF97, and dissolved matter
_TYPICAL_LOOP_C = 50.0
_FINE_PER_K = 10
_SAME_K = 1e-2  # closer than this two pipes are one


@dataclass(frozen=True, slots=True, kw_only=True)
class _Glycol:
    """The table's constants for one glycol."""

    density: tuple[float, ...]
    specific_heat: tuple[float, ...]
    ice_point: tuple[float, ...]
    hot_mass_frac: tuple[float, ...]
    hot_density_ratio: tuple[float, ...]
    hot_specific_heat_ratio: tuple[float, ...]
    molar: float  # g/mol
    pure_density: float  # kg/m3 at 20 °C


_GLYCOLS = {
    "propylene_glycol": _Glycol(
        density=table.PROPYLENE_GLYCOL_DENSITY,
        specific_heat=table.PROPYLENE_GLYCOL_SPECIFIC_HEAT,
        ice_point=table.PROPYLENE_GLYCOL_ICE_POINT,
        hot_mass_frac=table.PROPYLENE_GLYCOL_HOT_MASS_FRAC,
        hot_density_ratio=table.PROPYLENE_GLYCOL_HOT_DENSITY_RATIO,
        hot_specific_heat_ratio=table.PROPYLENE_GLYCOL_HOT_SPECIFIC_HEAT_RATIO,
        molar=76.094,
        pure_density=1036.0,
    ),
    "ethylene_glycol": _Glycol(
        density=table.ETHYLENE_GLYCOL_DENSITY,
        specific_heat=table.ETHYLENE_GLYCOL_SPECIFIC_HEAT,
        ice_point=table.ETHYLENE_GLYCOL_ICE_POINT,
        hot_mass_frac=table.ETHYLENE_GLYCOL_HOT_MASS_FRAC,
        hot_density_ratio=table.ETHYLENE_GLYCOL_HOT_DENSITY_RATIO,
        hot_specific_heat_ratio=table.ETHYLENE_GLYCOL_HOT_SPECIFIC_HEAT_RATIO,
        molar=62.068,
        pure_density=1113.0,
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Curves:
    """Property curves of one fluid at one concentration; outside `t_c` nothing is known.

    `enthalpy_j_kg` stands on the finer grid `fine_c`, between whose points a straight line is off
    by less than 0.01 J/kg.
    """

    t_c: NDArray[np.float64]
    density_kg_m3: NDArray[np.float64]
    specific_heat_j_kgk: NDArray[np.float64]
    fine_c: NDArray[np.float64]
    enthalpy_j_kg: NDArray[np.float64]

    def enthalpy_at(self, t_c: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the specific heat summed from the curve's first point; NaN outside."""
        return _between(t_c, self.fine_c, self.enthalpy_j_kg)

    def at(self, values: NDArray[np.float64], t_c: ArrayLike) -> NDArray[np.float64]:
        return _between(np.asarray(t_c, dtype=np.float64), self.t_c, values)


def _between(
    t_c: NDArray[np.float64], grid_c: NDArray[np.float64], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Interpolate a curve that is given by whole steps from its second point on; NaN outside."""
    found = np.empty(t_c.shape)
    look_up(given(t_c.ravel()), grid_c, values, found.ravel())
    return found


def _polynomial(
    coefficients: tuple[float, ...], frac: float, t_c: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Evaluate Melinder's form: powers of concentration up to 5 and of temperature up to 3."""
    matrix = np.reshape(np.array(coefficients), (6, 4))
    by_temperature = ((frac - 0.3) / 0.3) ** np.arange(6) @ matrix
    return np.asarray(np.polynomial.polynomial.polyval((t_c - 40.0) / 60.0, by_temperature))


def _hot_ratio(
    ratios: tuple[float, ...], glycol: _Glycol, frac: float, t_c: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give value over value at 100 °C along the ASHRAE curve, 1 up to 100 °C."""
    hot_c = np.array(table.HOT_C)
    grid = np.reshape(np.array(ratios), (len(glycol.hot_mass_frac), hot_c.size))
    row = np.array([np.interp(frac, glycol.hot_mass_frac, column) for column in grid.T])
    return np.asarray(np.interp(t_c, hot_c, row))


def _check(fluid: str, concentration_frac: float) -> None:
    if fluid != "water" and fluid not in _GLYCOLS:
        names = ", ".join(["water", *_GLYCOLS])
        raise ValueError(f"fluid {fluid!r} is none of {names}")
    if fluid != "water" and not 0.0 <= concentration_frac <= MOST_GLYCOL_FRAC:
        raise ValueError(
            f"a glycol mass fraction of {concentration_frac} is outside 0 to {MOST_GLYCOL_FRAC}"
        )


@lru_cache(maxsize=64)
def _curves(fluid: str, concentration_frac: float) -> _Curves:
    """Make the curves of a fluid; the first grid point is the ice point itself."""
    _check(fluid, concentration_frac)
    if fluid == "water":
        t = np.arange(0.0, HOTTEST_WATER_C + 1.0)
        return _frozen(t, np.array(table.WATER_DENSITY), np.array(table.WATER_SPECIFIC_HEAT))
    glycol = _GLYCOLS[fluid]
    ice = ice_point_c(fluid=fluid, concentration_frac=concentration_frac)
    t = np.concatenate(([ice], np.arange(np.floor(ice) + 1.0, HOTTEST_MIXTURE_C + 1.0)))
    cool = np.minimum(t, _MIXTURE_TABLE_ENDS_C)
    density = _polynomial(glycol.density, concentration_frac, cool)
    specific = _polynomial(glycol.specific_heat, concentration_frac, cool)
    density = density * _hot_ratio(glycol.hot_density_ratio, glycol, concentration_frac, t)
    specific = specific * _hot_ratio(glycol.hot_specific_heat_ratio, glycol, concentration_frac, t)
    return _frozen(t, density, specific)


def _frozen(
    t: NDArray[np.float64], density: NDArray[np.float64], specific: NDArray[np.float64]
) -> _Curves:
    """Bundle arrays that are shared between calls and so must not be written."""
    even = np.arange(np.ceil(t[0]) * _FINE_PER_K, t[-1] * _FINE_PER_K + 1.0) / _FINE_PER_K
    fine = np.union1d(t[:1], even)
    heats = np.interp(fine, t, specific)
    enthalpy = np.concatenate(([0.0], np.cumsum(0.5 * (heats[1:] + heats[:-1]) * np.diff(fine))))
    for array in (t, density, specific, fine, enthalpy):
        array.setflags(write=False)
    return _Curves(
        t_c=t,
        density_kg_m3=density,
        specific_heat_j_kgk=specific,
        fine_c=fine,
        enthalpy_j_kg=enthalpy,
    )


def density_kg_m3(*, fluid: str, concentration_frac: float, t_c: ArrayLike) -> NDArray[np.float64]:
    """Give the density of a loop fluid.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.
    t_c : array_like, any shape
        Temperature [°C]; NaN, or outside the span in the module's table, gives NaN.

    Returns
    -------
    ndarray, shape of `t_c`
        Density [kg/m3].

    Raises
    ------
    ValueError
        For an unknown fluid or a concentration outside 0 to 0.6.

    References
    ----------
    IAPWS R6-95; Melinder (IIR 2010); ASHRAE Handbook Fundamentals.
    """
    curves = _curves(fluid, concentration_frac)
    return curves.at(curves.density_kg_m3, t_c)


def specific_heat_j_kgk(
    *, fluid: str, concentration_frac: float, t_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the specific heat of a loop fluid at constant pressure.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.
    t_c : array_like, any shape
        Temperature [°C]; NaN, or outside the span in the module's table, gives NaN.

    Returns
    -------
    ndarray, shape of `t_c`
        Specific heat [J/(kg K)].

    Raises
    ------
    ValueError
        For an unknown fluid or a concentration outside 0 to 0.6.

    References
    ----------
    IAPWS R6-95; Melinder (IIR 2010); ASHRAE Handbook Fundamentals.
    """
    curves = _curves(fluid, concentration_frac)
    return curves.at(curves.specific_heat_j_kgk, t_c)


def volumetric_heat_j_m3k(
    *, fluid: str, concentration_frac: float, t_flow_c: ArrayLike, t_mean_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the heat that a cubic metre through the flow sensor carries for each kelvin of spread.

    The density belongs to the temperature where the flow sensor sits, the specific heat to the
    mean of both pipes; for the exact heat coefficient see `mean_specific_heat_j_kgk`.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.
    t_flow_c : array_like
        Temperature at the flow sensor [°C]; NaN gives NaN.
    t_mean_c : array_like
        Mean of the hot and the cold pipe [°C]; NaN gives NaN.

    Returns
    -------
    ndarray
        Density times specific heat [J/(m3 K)].

    References
    ----------
    EN 1434-1, Annex A (form from memory).
    """
    density = density_kg_m3(fluid=fluid, concentration_frac=concentration_frac, t_c=t_flow_c)
    return density * specific_heat_j_kgk(
        fluid=fluid, concentration_frac=concentration_frac, t_c=t_mean_c
    )


def mean_specific_heat_j_kgk(
    *, fluid: str, concentration_frac: float, t_hot_c: ArrayLike, t_cold_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the enthalpy difference of two pipes over their temperature difference.

    Also right where they are equal or exchanged, and the heat of two steps is the heat of both.
    Times the density at the flow sensor it is the heat coefficient of EN 1434-1.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.
    t_hot_c, t_cold_c : array_like
        Temperatures of the pipes [°C]; NaN, or outside the span, gives NaN.

    Returns
    -------
    ndarray
        Mean specific heat [J/(kg K)].

    References
    ----------
    EN 1434-1, Annex A (form from memory).
    """
    hot = np.asarray(t_hot_c, dtype=np.float64)
    cold = np.asarray(t_cold_c, dtype=np.float64)
    curves = _curves(fluid, concentration_frac)
    apart_k = hot - cold
    near = np.abs(apart_k) < _SAME_K
    gained = curves.enthalpy_at(hot) - curves.enthalpy_at(cold)
    mean = np.asarray(gained / np.where(near, 1.0, apart_k))
    middle_c = 0.5 * (hot + cold)
    mean[near] = curves.at(curves.specific_heat_j_kgk, middle_c[near])
    return mean


def ice_point_c(*, fluid: str, concentration_frac: float) -> float:
    """Give the temperature at which the first ice crystals form.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.

    Returns
    -------
    float
        Ice point [°C]. Handbook values differ by up to 1.2 K.

    Raises
    ------
    ValueError
        For an unknown fluid or a concentration outside 0 to 0.6.

    References
    ----------
    Melinder (IIR 2010), read through CoolProp.
    """
    _check(fluid, concentration_frac)
    if fluid == "water":
        return 0.0
    powers = concentration_frac ** np.arange(6)
    return float(powers @ np.array(_GLYCOLS[fluid].ice_point))


def relative_uncertainty_frac(*, fluid: str, concentration_frac: float) -> float:
    """Give the relative standard uncertainty (k = 1) of density times specific heat.

    For glycols a concentration known to +-3 points (95 %, engineering judgement: refractometer,
    top-ups with water, ageing) at the table's slope at 50 °C, and +-1 % (rectangle) for the
    correlation and for inhibitors. For water +-0.1 % (rectangle). It stays the same for a site, so
    it adds linearly over time.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.

    Returns
    -------
    float
        Standard uncertainty over value [-].

    References
    ----------
    JCGM 100:2008, 4.3 and eq. 10.
    """
    _check(fluid, concentration_frac)
    if fluid == "water":
        return _WATER_LIMIT_FRAC / RECTANGLE
    low = max(0.0, concentration_frac - _CONCENTRATION_LIMIT_FRAC)
    high = min(MOST_GLYCOL_FRAC, concentration_frac + _CONCENTRATION_LIMIT_FRAC)
    heats = [
        float(
            volumetric_heat_j_m3k(
                fluid=fluid,
                concentration_frac=frac,
                t_flow_c=_TYPICAL_LOOP_C,
                t_mean_c=_TYPICAL_LOOP_C,
            )
        )
        for frac in (low, concentration_frac, high)
    ]
    slope = abs(heats[2] - heats[0]) / heats[1] / (high - low)
    concentration_part = slope * _CONCENTRATION_LIMIT_FRAC / COVERAGE_95
    return float(np.hypot(concentration_part, _MIXTURE_LIMIT_FRAC / RECTANGLE))


def boiling_c(
    *, fluid: str, concentration_frac: float, pressure_bar_abs: ArrayLike
) -> NDArray[np.float64]:
    """Give the temperature at which the fluid starts to boil.

    Water: the saturation line. Mixtures: Raoult's law, the water alone boils away. At 40 %
    propylene glycol it stays within 1.6 K of a fit over 210 outdoor experiments between 1.5 and
    5 bar.

    Parameters
    ----------
    fluid : "water", "propylene_glycol" or "ethylene_glycol"
    concentration_frac : float
        Mass fraction of glycol [-], 0 to 0.6; ignored for water.
    pressure_bar_abs : array_like
        Absolute pressure where it boils [bar]: gauge + 1.013, less 0.1 for each metre up. NaN,
        or a pressure outside what the saturation line spans to 200 °C, gives NaN.

    Returns
    -------
    ndarray, shape of `pressure_bar_abs`
        Boiling temperature [°C].

    References
    ----------
    IAPWS R6-95; Raoult's law; EuroSun 2008 steam-power paper (quoted from secondary text).
    """
    _check(fluid, concentration_frac)
    pressure = np.asarray(pressure_bar_abs, dtype=np.float64)
    water_share = 1.0
    if fluid != "water":
        water_mol = (1.0 - concentration_frac) / _MOLAR_WATER
        water_share = water_mol / (water_mol + concentration_frac / _GLYCOLS[fluid].molar)
    over_water = np.log(np.where(pressure > 0.0, pressure, np.nan) / water_share)
    # ln p is nearly straight against 1/T (Clausius-Clapeyron), so 5 K apart is close enough.
    inverse_k = 1.0 / (np.array(table.SATURATION_C) + KELVIN_AT_0_C)
    line = np.log(np.array(table.SATURATION_BAR))
    boiling_k = 1.0 / np.interp(over_water, line, inverse_k, left=np.nan, right=np.nan)
    return np.asarray(boiling_k - KELVIN_AT_0_C)


def mass_frac_of_volume_frac(*, fluid: str, volume_frac: float) -> float:
    """Give the mass fraction of a mixture stated by volume, both parts measured at 20 °C.

    Parameters
    ----------
    fluid : "propylene_glycol" or "ethylene_glycol"
    volume_frac : float
        Volume of glycol over the sum of both volumes before mixing [-].

    Returns
    -------
    float
        Mass of glycol over mass of mixture [-].

    Raises
    ------
    ValueError
        For a fluid that is no glycol or a fraction outside 0 to 1.
    """
    if fluid not in _GLYCOLS or not 0.0 <= volume_frac <= 1.0:
        raise ValueError(f"a volume fraction of {volume_frac} of {fluid!r} means nothing")
    glycol_kg = volume_frac * _GLYCOLS[fluid].pure_density
    return glycol_kg / (glycol_kg + (1.0 - volume_frac) * 998.2)
