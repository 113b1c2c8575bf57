"""The power that a collector field should give, as ISO 24194 estimates it.

The equations are those of the 2022 edition as quoted in secondary text; the standard itself was not
opened, so nothing here may be called a statement of conformity.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.sources import ISO_24194
from analysis.units import SECONDS_PER_HOUR

SOURCES = (ISO_24194.at("clause 5.2, quoted from secondary text"),)


def safety_factor(*, pipes: float, uncertainty: float, other: float) -> float:
    """Give the factor that the estimate is lowered by, the product of three agreed ones [-].

    Parameters
    ----------
    pipes : losses of pipes and the rest of the field [-]
    uncertainty : of the measurement [-]
    other : flow distribution, dirt and the like [-]

    References
    ----------
    ISO 24194:2022, clause 5.2, f_safe = f_p f_U f_O (from memory).
    """
    return pipes * uncertainty * other


def estimated_w(
    *,
    optical_w: ArrayLike,
    excess_k: ArrayLike,
    rise_k_h: ArrayLike,
    a1_w_k: float,
    a2_w_k2: float,
    a5_j_k: float,
) -> NDArray[np.float64]:
    """Give the estimated power of a field before the safety factor [W].

    Parameters
    ----------
    optical_w : array_like
        Absorbed sun of the whole field [W]: eta0_hem G A in equation 1; with beam and diffuse
        apart, eta0_b (K_b G_b + K_d G_d) A in equation 2.
    excess_k : array_like
        Mean fluid over outdoor air [K].
    rise_k_h : array_like
        Rise of the mean fluid temperature [K/h].
    a1_w_k, a2_w_k2 : float
        Loss coefficients times the field's area [W/K, W/K2].
    a5_j_k : float
        Heat capacity of the field [J/K].

    References
    ----------
    ISO 24194:2022, equations 1 and 2 without f_safe (from memory).
    """
    excess = np.asarray(excess_k, dtype=np.float64)
    stored = a5_j_k * np.asarray(rise_k_h, dtype=np.float64) / SECONDS_PER_HOUR
    loss = a1_w_k * excess + a2_w_k2 * excess * np.abs(excess)
    return np.asarray(optical_w, dtype=np.float64) - loss - stored
