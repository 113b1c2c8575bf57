"""Mass flow becomes volume flow with the density of the fluid where the meter sits."""

import numpy as np
from numpy.typing import NDArray

from analysis.site import Site

# Where no loop temperature is logged: a usual one of the return (common practice, no source). Over
# 20 to 60 C the density of water and of the glycol mixtures differs from this by less than 2 %.
_USUAL_C = 40.0
_LITRES_PER_M3 = 1000.0


def volume_flow_l_min(
    *, flow_kg_min: NDArray[np.float64], values: dict[str, NDArray[np.float64]], site: Site | None
) -> NDArray[np.float64]:
    """Turn mass flow into volume flow.

    Parameters
    ----------
    flow_kg_min : ndarray, shape (n,)
        Mass flow [kg/min]; NaN stays NaN.
    values : dict of ndarray, shape (n,)
        The other channels of the same rows; `loop_cold` and `loop_hot` count [C].
    site : Site or None
        Its fluid, and the pipe that the meter sits in; without one: water, in the cold pipe.

    Returns
    -------
    ndarray, shape (n,)
        Volume flow at the temperature of the meter [l/min]; NaN where the temperature is outside
        the span of the fluid's data.
    """
    from analysis.fluid import density_kg_m3

    near, far = ("loop_cold", "loop_hot")
    if site is not None and site.sensors.flow_in == "hot":
        near, far = far, near
    t_c = np.full(len(flow_kg_min), np.nan)
    for name in (near, far):
        if name in values:
            t_c = np.where(np.isnan(t_c), values[name], t_c)
    t_c = np.where(np.isnan(t_c), _USUAL_C, t_c)
    density = density_kg_m3(
        fluid="water" if site is None else site.loop.fluid,
        concentration_frac=0.0 if site is None else site.loop.concentration_frac,
        t_c=t_c,
    )
    flow_l_min = flow_kg_min * _LITRES_PER_M3 / density
    # No flow is no flow at any temperature.
    return np.where(flow_kg_min == 0.0, 0.0, flow_l_min)
