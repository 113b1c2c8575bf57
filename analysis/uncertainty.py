"""Standard uncertainties of the sensors, and how they combine.

Everything inside is a standard uncertainty u (k = 1); 95 % bounds are made once, at the end, with
`COVERAGE_95`. Which effects stay the same all year, and so add linearly over time, is decided
where the energy is summed, not here.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.sources import GUM, IEC_60751, MID_ANNEX_VI

SOURCES = (GUM, IEC_60751, MID_ANNEX_VI)

TemperatureClass = Literal["AA", "A", "B"] | float

COVERAGE_95 = 1.96
"""Coverage factor for 95 % of a normal distribution [-].

A heat sum collects many effects of which none dominates for long, so its distribution is close to
normal (central limit theorem; JCGM 100:2008, G.2) and k = 1.96 rather than the rounded k = 2.
Limits +-a of which nothing is known but that values keep inside them are a rectangle: u = a/sqrt(3)
(JCGM 100:2008, 4.3.7); where values near the middle are likelier, a triangle: u = a/sqrt(6)
(4.3.9); limits stated as holding 95 %: u = a/1.96 (4.3.4)."""

RECTANGLE = float(np.sqrt(3.0))

# IEC 60751:2022, tolerance classes, wire wound or film: constant [K] and share of |t| [K/K].
# Values from memory of the standard, very widely quoted.
_CLASS_LIMITS: dict[str, tuple[float, float]] = {
    "AA": (0.10, 0.0017),
    "A": (0.15, 0.002),
    "B": (0.30, 0.005),
}

# EN 1434-1 flow sensors: constant and share of q_p/q [%]; class 2 read in a meter manual,
# 1 and 3 from memory. Never above 5 %.
_METER_FLOW_LIMITS: dict[int, tuple[float, float]] = {
    1: (1.0, 0.01),
    2: (2.0, 0.02),
    3: (3.0, 0.05),
}
_METER_FLOW_CEILING_PERCENT = 5.0


def temperature_limit_k(
    *, temperature_class: TemperatureClass, t_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the limits +-a within which a temperature reading lies.

    Parameters
    ----------
    temperature_class : "AA", "A" or "B" of IEC 60751, or constant 95 % limits as a number [K]
    t_c : array_like, any shape
        The temperature read [°C]; NaN gives NaN.

    Returns
    -------
    ndarray, shape of `t_c`
        Half width of the limits [K], positive.

    Raises
    ------
    ValueError
        For a class that IEC 60751 does not have.

    References
    ----------
    IEC 60751:2022, tolerance classes (values from memory).
    """
    t = np.asarray(t_c, dtype=np.float64)
    if not isinstance(temperature_class, str):
        return np.where(np.isnan(t), np.nan, float(temperature_class))
    if temperature_class not in _CLASS_LIMITS:
        raise ValueError(f"temperature class {temperature_class!r} is none of AA, A, B")
    constant, share = _CLASS_LIMITS[temperature_class]
    return constant + share * np.abs(t)


def temperature_standard_uncertainty_k(
    *, temperature_class: TemperatureClass, t_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the standard uncertainty of a temperature reading.

    The limits of a class are a rectangle (u = a/sqrt 3); a number states 95 % limits (u = a/1.96).

    Parameters
    ----------
    temperature_class : "AA", "A" or "B" of IEC 60751, or constant 95 % limits as a number [K]
    t_c : array_like, any shape
        The temperature read [°C]; NaN gives NaN.

    Returns
    -------
    ndarray, shape of `t_c`
        Standard uncertainty [K].

    References
    ----------
    JCGM 100:2008, 4.3.4 and 4.3.7; IEC 60751:2022.
    """
    limit = temperature_limit_k(temperature_class=temperature_class, t_c=t_c)
    return limit / (RECTANGLE if isinstance(temperature_class, str) else COVERAGE_95)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growth:
    """How an error that is known at one temperature goes on at others.

    Attributes
    ----------
    factor : what the known error is expected to be multiplied with [-]
    u_k_per_k : standard uncertainty of what each sensor adds, per kelvin between the two [K/K]
    """

    factor: NDArray[np.float64]
    u_k_per_k: float


def growth_from(*, temperature_class: TemperatureClass, from_c: float, to_c: ArrayLike) -> Growth:
    """Give what a sensor's error at one temperature says of its error at others.

    The limits of a class have a constant and a part that grows with |t|. How the two belong
    together in one sensor the standard leaves open; here they are independent rectangles, and
    knowing their sum at one temperature tells so much of each (conditional mean and variance of
    the normal distribution, as in JCGM 102:2011 for correlated quantities). Limits given as a
    number do not grow.

    Parameters
    ----------
    temperature_class : as for `temperature_limit_k`
    from_c : where the error is known [°C]
    to_c : array_like, any shape; where it is asked for [°C]
    """
    to = np.asarray(to_c, dtype=np.float64)
    if not isinstance(temperature_class, str):
        return Growth(factor=np.ones(to.shape), u_k_per_k=0.0)
    constant, share = _CLASS_LIMITS[temperature_class]
    at = abs(from_c)
    whole = constant**2 + (share * at) ** 2
    factor = 1.0 + (np.abs(to) - at) * share**2 * at / whole
    return Growth(factor=factor, u_k_per_k=share * constant / float(np.sqrt(whole)) / RECTANGLE)


def combine(*parts: ArrayLike) -> NDArray[np.float64]:
    """Give the root of the sum of squares of independent standard uncertainties.

    Parameters
    ----------
    parts : array_like, shapes that broadcast
        Contributions to the same result, all in its unit or all relative [same unit].

    Returns
    -------
    ndarray
        Combined standard uncertainty [same unit]; 0 without parts.

    References
    ----------
    JCGM 100:2008, eq. 10, uncorrelated inputs.
    """
    total: NDArray[np.float64] = np.zeros(())
    for part in parts:
        total = total + np.square(np.asarray(part, dtype=np.float64))
    return np.asarray(np.sqrt(total))


def heat_meter_limit_percent(
    *,
    flow_m3_h: ArrayLike,
    nominal_flow_m3_h: float,
    spread_k: ArrayLike,
    least_spread_k: float = 3.0,
    accuracy_class: Literal[1, 2, 3] = 2,
) -> NDArray[np.float64]:
    """Give the error limits of a complete heat meter: flow sensor, temperature pair, calculator.

    Parameters
    ----------
    flow_m3_h : array_like
        Flow q [m3/h]; NaN gives NaN.
    nominal_flow_m3_h : float
        Permanent flow q_p of the meter [m3/h], 0.6 to 2.5 in homes.
    spread_k : array_like
        Difference between the two pipes [K].
    least_spread_k : float
        Least difference the meter is approved for [K]: 3, 5 or 10.
    accuracy_class : {1, 2, 3}
        Class of EN 1434-1 [-].

    Returns
    -------
    ndarray
        Half width of the limits, arithmetic sum of the three parts [%]. NaN where there is no
        forward flow or a spread below `least_spread_k`, for which nothing is approved.

    Notes
    -----
    EN 1434 is about water: a glycol loop is outside the approval unless the meter states its
    mixture. In service twice these limits are often allowed (from memory).

    References
    ----------
    Directive 2014/32/EU Annex VI; EN 1434-1.
    """
    flow = np.asarray(flow_m3_h, dtype=np.float64)
    spread = np.asarray(spread_k, dtype=np.float64)
    constant, share = _METER_FLOW_LIMITS[accuracy_class]
    valid = (flow > 0.0) & (spread >= least_spread_k)
    q = np.where(valid, flow, np.nan)
    ratio = least_spread_k / np.where(valid, spread, np.nan)
    flow_part = np.minimum(constant + share * nominal_flow_m3_h / q, _METER_FLOW_CEILING_PERCENT)
    return np.asarray(flow_part + (0.5 + 3.0 * ratio) + (0.5 + ratio))
