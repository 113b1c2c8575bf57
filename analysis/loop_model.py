"""The few numbers of a site from which a healthy loop is worked out.

All from the site file; where it is silent, from common practice, which is said beside each figure
and carried as uncertainty by whoever uses it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.collector import eta0_hemispherical
from analysis.fluid import density_kg_m3, specific_heat_j_kgk
from analysis.heat import coil_effectiveness
from analysis.loop_pipes import pipe_for
from analysis.record import Floats
from analysis.site import Array, Site
from analysis.units import m3_s_from_l_min

# Flow and return of a house together (common practice, no source).
USUAL_PIPE_M = 20.0
# What a working heat pipe's tube is warmer than the fluid (common practice, no source).
TUBE_OVER_FLUID_K = 8.0
# Where a heat pipe fades out below its limit (engineering judgement).
LIMIT_BAND_K = 20.0
_USUAL_LOOP_C = 50.0
_WATER_J_LK = 4150.0  # at 50 to 60 C: IAPWS-95, 988 kg/m3 and 4.18 kJ/(kg K)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopModel:
    """Lumped numbers of collector, loop and store.

    Attributes
    ----------
    loss_w_k, loss_w_k2 : collector loss against the air, linear and quadratic
    collector_j_k, pipe_j_k : heat capacities
    pipe_w_k : loss of both pipes to what is around them
    flow_l_min, flow_w_k : the commissioned flow, and its heat capacity
    hand_over_w_k : what the coil takes per kelvin of mean loop over store bottom
    store_j_k : heat capacity of the store
    brightest_w : the collectors' output under 1000 W/m2 without loss
    arrays : the collectors one by one
    """

    loss_w_k: float
    loss_w_k2: float
    collector_j_k: float
    pipe_j_k: float
    pipe_w_k: float
    flow_l_min: float
    flow_w_k: float
    hand_over_w_k: float
    store_j_k: float
    brightest_w: float
    arrays: tuple[Array, ...]

    @property
    def stranded_k(self) -> float:
        """Collector over store bottom that no circulating loop reaches [K].

        Half as much again as full sun would give through the coil, at least 25 K.
        """
        full_sun = self.brightest_w / (self.flow_w_k * float(coil_effectiveness(1.0)))
        return max(25.0, 1.5 * full_sun + 5.0)

    def loss_w(self, excess_k: Floats) -> Floats:
        """Give the collectors' loss at a mean fluid temperature over the air [W]."""
        return self.loss_w_k * excess_k + self.loss_w_k2 * excess_k * np.abs(excess_k)

    def running_loss_w(self, t_mean_c: Floats, t_ambient_c: Floats) -> Floats:
        """Give the collectors' loss while fluid at this mean temperature runs through them [W].

        A heat pipe carries nothing before its charge boils, so its tube is never cooler than that,
        however cold the fluid. The certificate's curve holds that tubes are warmer than the fluid.
        """
        loss = np.zeros(np.broadcast(t_mean_c, t_ambient_c).shape)
        for array in self.arrays:
            over = _inside_c(array, t_mean_c) - t_ambient_c
            loss += array.area_m2 * over * (array.a1_w_m2k + array.a2_w_m2k2 * np.abs(over))
        return loss

    def over_air_k(self, t_mean_c: Floats, t_ambient_c: Floats) -> Floats:
        """Give how far the tubes are over the air while fluid at this temperature runs [K].

        The mean of the arrays by area, heat pipes as in `running_loss_w`.
        """
        area_m2 = sum(array.area_m2 for array in self.arrays)
        over = np.zeros(np.broadcast(t_mean_c, t_ambient_c).shape)
        for array in self.arrays:
            over += array.area_m2 / area_m2 * (_inside_c(array, t_mean_c) - t_ambient_c)
        return over

    def let_through_frac(self, t_mean_c: Floats) -> Floats:
        """Give the share of the heat that heat pipes near their limit still hand over [-]."""
        share = np.zeros(t_mean_c.shape)
        for array in self.arrays:
            passed = np.ones(t_mean_c.shape)
            if array.collector == "heat_pipe" and array.heat_pipe_limit_c is not None:
                passed = np.clip((array.heat_pipe_limit_c - t_mean_c) / LIMIT_BAND_K, 0.0, 1.0)
            share += _brightest_w(array) / self.brightest_w * passed
        return share

    @property
    def one_way(self) -> bool:
        """Whether no collector can take heat out of the fluid: all are heat pipes."""
        return all(array.collector == "heat_pipe" for array in self.arrays)


def _start_c(array: Array) -> float:
    """Give where an array's heat pipes begin to work, -inf where not stated [°C]."""
    return -np.inf if array.heat_pipe_start_c is None else array.heat_pipe_start_c


def _inside_c(array: Array, t_mean_c: Floats) -> Floats:
    """Give the temperature that an array loses heat at [°C]."""
    if array.collector != "heat_pipe":
        return t_mean_c
    return np.asarray(np.maximum(t_mean_c, _start_c(array) - TUBE_OVER_FLUID_K))


def _brightest_w(array: Array) -> float:
    return array.area_m2 * eta0_hemispherical(array) * 1000.0


def loop_model(site: Site) -> LoopModel:
    """Gather the lumped numbers of a site."""
    fluid, frac = site.loop.fluid, site.loop.concentration_frac
    by_volume = float(
        density_kg_m3(fluid=fluid, concentration_frac=frac, t_c=_USUAL_LOOP_C)
    ) * float(specific_heat_j_kgk(fluid=fluid, concentration_frac=frac, t_c=_USUAL_LOOP_C))
    flow = m3_s_from_l_min(site.loop.flow_l_min) * by_volume
    share = float(coil_effectiveness(1.0))
    pipe_m = site.loop.pipe_length_m or USUAL_PIPE_M
    pipe = pipe_for(flow_l_min=site.loop.flow_l_min, fluid_j_m3k=by_volume)
    return LoopModel(
        loss_w_k=sum(array.area_m2 * array.a1_w_m2k for array in site.arrays),
        loss_w_k2=sum(array.area_m2 * array.a2_w_m2k2 for array in site.arrays),
        collector_j_k=sum(
            array.area_m2 * array.heat_capacity_kj_m2k * 1000.0 for array in site.arrays
        ),
        pipe_j_k=pipe_m * pipe.capacity_j_mk,
        pipe_w_k=pipe_m * pipe.loss_w_mk,
        flow_l_min=site.loop.flow_l_min,
        flow_w_k=flow,
        hand_over_w_k=flow * share / (1.0 - share / 2.0),
        store_j_k=site.store.volume_l * _WATER_J_LK,
        brightest_w=sum(_brightest_w(array) for array in site.arrays),
        arrays=site.arrays,
    )
