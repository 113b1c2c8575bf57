"""The collector equation of ISO 9806:2017: gain, loss, capacity, incidence angle modifier.

All coefficients refer to the area that `Array.area_m2` states, whichever its basis; powers are per
square metre of that same area. Wind and long-wave terms are left out: behind a vacuum they hardly
matter, and site files do not state them.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.site import Array
from analysis.sources import ISO_9806, THEUNISSEN_BECKMAN

SOURCES = (ISO_9806, THEUNISSEN_BECKMAN)

STANDARD_BEAM_SHARE = 0.85
"""Share of beam in the hemispherical irradiance that eta0_hem refers to, 850 of 1000 W/m2 [-]."""

STAGNATION_IRRADIANCE_W_M2 = 1000.0
STAGNATION_AMBIENT_C = 30.0
HOTTEST_STAGNATION_C = 350.0
"""No collector is certified hotter; a loss curve that says so was stretched too far [°C]."""


def incidence_modifier(
    *, array: Array, theta_longitudinal_deg: ArrayLike, theta_transversal_deg: ArrayLike
) -> NDArray[np.float64]:
    """Give the modifier for beam as product of the two tables of the test report.

    Parameters
    ----------
    array : Array
        Its tables; outside the last angle they fall straight to 0 at 90 degrees, an empty table
        counts as 1 throughout.
    theta_longitudinal_deg, theta_transversal_deg : array_like
        Angles of incidence in the two planes [°], of either sign; NaN gives NaN.

    Returns
    -------
    ndarray
        Modifier K [-], 0 where either angle reaches 90 degrees (sun behind the plane). It may
        pass 1 for round absorbers.

    References
    ----------
    ISO 9806:2017, biaxial modifier; Theunissen & Beckman (1985), from memory.
    """
    longitudinal = _from_table(array.iam_angles_deg, array.iam_longitudinal, theta_longitudinal_deg)
    return longitudinal * _from_table(
        array.iam_angles_deg, array.iam_transversal, theta_transversal_deg
    )


def _from_table(
    angles_deg: tuple[float, ...], values: tuple[float, ...], theta_deg: ArrayLike
) -> NDArray[np.float64]:
    """Interpolate one table, the same on both sides of 0."""
    theta = np.abs(np.asarray(theta_deg, dtype=np.float64))
    if not angles_deg:
        return np.where(np.isnan(theta), np.nan, np.where(theta < 90.0, 1.0, 0.0))
    angles, modifiers = np.array(angles_deg), np.array(values)
    if angles[-1] < 90.0:
        angles, modifiers = np.append(angles, 90.0), np.append(modifiers, 0.0)
    found = np.interp(theta, angles, modifiers)
    return np.where(theta >= 90.0, 0.0, found)


def eta0_beam(array: Array) -> float:
    """Give the peak efficiency for beam, from the hemispherical one if only that is stated.

    Parameters
    ----------
    array : Array

    Returns
    -------
    float
        Peak efficiency at normal incidence [-].

    Raises
    ------
    ValueError
        If the array states neither.

    Notes
    -----
    eta0_hem = eta0_b (0.85 + 0.15 K_d).

    References
    ----------
    ISO 9806:2017; the split of 850 and 150 W/m2 as on a published certificate data sheet.
    """
    if array.eta0_beam is not None:
        return array.eta0_beam
    if array.eta0_hem is None:
        raise ValueError("the array states neither eta0 nor eta0_beam")
    return array.eta0_hem / _hemispherical_over_beam(array)


def eta0_hemispherical(array: Array) -> float:
    """Give the peak efficiency for the certificate's standard sky, 85 % beam.

    Parameters
    ----------
    array : Array

    Returns
    -------
    float
        Peak efficiency [-]: the stated one, else from the one for beam.

    Raises
    ------
    ValueError
        If the array states neither.
    """
    if array.eta0_hem is not None:
        return array.eta0_hem
    return eta0_beam(array) * _hemispherical_over_beam(array)


def _hemispherical_over_beam(array: Array) -> float:
    return STANDARD_BEAM_SHARE + (1.0 - STANDARD_BEAM_SHARE) * array.iam_diffuse


def gain_w_m2(
    *, array: Array, beam_w_m2: ArrayLike, diffuse_w_m2: ArrayLike, modifier: ArrayLike
) -> NDArray[np.float64]:
    """Give the optical gain.

    Parameters
    ----------
    array : Array
    beam_w_m2 : array_like
        Beam in the collector plane [W/m2]; NaN gives NaN.
    diffuse_w_m2 : array_like
        Diffuse from sky and ground in the collector plane [W/m2]; NaN gives NaN.
    modifier : array_like
        Incidence angle modifier for beam [-].

    Returns
    -------
    ndarray
        Heat absorbed for each square metre of the reference area [W/m2].

    References
    ----------
    ISO 9806:2017, quasi-dynamic equation, first two terms.
    """
    beam = np.asarray(beam_w_m2, dtype=np.float64) * np.asarray(modifier, dtype=np.float64)
    diffuse = np.asarray(diffuse_w_m2, dtype=np.float64) * array.iam_diffuse
    return eta0_beam(array) * (beam + diffuse)


def loss_w_m2(*, array: Array, t_mean_c: ArrayLike, t_ambient_c: ArrayLike) -> NDArray[np.float64]:
    """Give the heat lost to the air.

    Parameters
    ----------
    array : Array
    t_mean_c : array_like
        Mean fluid temperature in the collector [°C]; NaN gives NaN.
    t_ambient_c : array_like
        Outdoor air [°C]; NaN gives NaN.

    Returns
    -------
    ndarray
        Loss for each square metre [W/m2]. Below air temperature it is negative: the square takes
        the sign of the difference, which the standard's form for a warm collector leaves open.

    References
    ----------
    ISO 9806:2017, terms a1 and a2.
    """
    over = np.asarray(t_mean_c, dtype=np.float64) - np.asarray(t_ambient_c, dtype=np.float64)
    return over * (array.a1_w_m2k + array.a2_w_m2k2 * np.abs(over))


def power_w_m2(
    *,
    array: Array,
    beam_w_m2: ArrayLike,
    diffuse_w_m2: ArrayLike,
    modifier: ArrayLike,
    t_mean_c: ArrayLike,
    t_ambient_c: ArrayLike,
    dt_mean_k_s: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Give the useful power of the collector.

    Parameters
    ----------
    array : Array
    beam_w_m2, diffuse_w_m2 : array_like
        Irradiance in the collector plane [W/m2].
    modifier : array_like
        Incidence angle modifier for beam [-].
    t_mean_c : array_like
        Mean fluid temperature [°C].
    t_ambient_c : array_like
        Outdoor air [°C].
    dt_mean_k_s : array_like
        Rate of the mean fluid temperature [K/s]; 0 is the steady state.

    Returns
    -------
    ndarray
        Power for each square metre of the reference area [W/m2]; NaN where any input is. Negative
        where the collector would cool the fluid.

    Notes
    -----
    Q/A = eta0_b K_b G_b + eta0_b K_d G_d - a1 (t_m - t_a) - a2 (t_m - t_a)^2 - a5 dt_m/dt; the
    wind, sky and fourth-power terms are left out.

    References
    ----------
    ISO 9806:2017, quasi-dynamic equation.
    """
    gain = gain_w_m2(array=array, beam_w_m2=beam_w_m2, diffuse_w_m2=diffuse_w_m2, modifier=modifier)
    loss = loss_w_m2(array=array, t_mean_c=t_mean_c, t_ambient_c=t_ambient_c)
    stored = array.heat_capacity_kj_m2k * 1000.0 * np.asarray(dt_mean_k_s, dtype=np.float64)
    return gain - loss - stored


def to_area(*, coefficient: float, from_m2: float, to_m2: float) -> float:
    """Give a coefficient of the collector equation for another reference area.

    The power stays the same, so eta0, a1, a2 and the capacity all scale alike; the modifiers do
    not change.

    Parameters
    ----------
    coefficient : float
        Value that refers to `from_m2` [its own unit].
    from_m2, to_m2 : float
        The two areas of the same collector [m2].

    Returns
    -------
    float
        Value that refers to `to_m2` [its own unit].

    Raises
    ------
    ValueError
        If an area is not positive.

    Notes
    -----
    p_G = p_a A_a / A_G.
    """
    if from_m2 <= 0.0 or to_m2 <= 0.0:
        raise ValueError(f"areas must be positive: {from_m2} and {to_m2} m2")
    return coefficient * from_m2 / to_m2


def steady_stagnation_c(
    *, array: Array, gain_w_m2: ArrayLike, t_ambient_c: ArrayLike
) -> NDArray[np.float64]:
    """Give the temperature at which the loss curve eats the gain.

    A rough figure only: curves are fitted over 50 to 100 K, and stretched to stagnation they lie.
    On one published certificate the curve gives 158 °C where 189 °C was measured. Where the
    certified standard stagnation temperature is known, prefer it.

    Parameters
    ----------
    array : Array
    gain_w_m2 : array_like
        Optical gain for each square metre [W/m2]; below 0 counts as 0, NaN gives NaN.
    t_ambient_c : array_like
        Outdoor air [°C]; NaN gives NaN.

    Returns
    -------
    ndarray
        Temperature of the standing collector [°C]; infinite without any loss coefficient.

    Notes
    -----
    The positive root of a2 x^2 + a1 x - gain = 0, in the form that also holds for a2 = 0.
    """
    gain = np.maximum(np.asarray(gain_w_m2, dtype=np.float64), 0.0)
    a1, a2 = array.a1_w_m2k, array.a2_w_m2k2
    slope = a1 + np.sqrt(a1 * a1 + 4.0 * a2 * gain)
    excess = np.divide(2.0 * gain, slope, out=np.full_like(gain, np.inf), where=slope != 0.0)
    excess = np.where(gain == 0.0, 0.0, excess)
    return np.asarray(np.asarray(t_ambient_c, dtype=np.float64) + excess)


def standard_stagnation_c(array: Array) -> float:
    """Give the standard stagnation temperature, at 1000 W/m2 and 30 °C outdoors.

    Parameters
    ----------
    array : Array

    Returns
    -------
    float
        The certified value if stated; else that of the loss curve [°C], which is rough, and
        never above `HOTTEST_STAGNATION_C`.

    References
    ----------
    ISO 9806:2017, standard stagnation temperature (conditions as printed on a certificate).
    """
    if array.stagnation_c is not None:
        return array.stagnation_c
    standing = steady_stagnation_c(
        array=array,
        gain_w_m2=eta0_hemispherical(array) * STAGNATION_IRRADIANCE_W_M2,
        t_ambient_c=STAGNATION_AMBIENT_C,
    )
    return min(float(standing), HOTTEST_STAGNATION_C)
