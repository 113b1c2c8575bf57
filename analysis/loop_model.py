"""The few numbers of a site from which a healthy loop is worked out.

All from the site file; where it is silent, from common practice, which is said beside each figure
and carried as uncertainty by whoever uses it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.collector import eta0_hemispherical
from analysis.fluid import density_kg_m3, specific_heat_j_kgk
from analysis.heat import coil_effectiveness
from analysis.record import Floats
from analysis.site import Site
from analysis.units import m3_s_from_l_min

# Common practice, no source: 15 to 18 mm copper in 13 to 19 mm insulation, and its content.
PIPE_LOSS_W_MK = 0.18
PIPE_CAPACITY_J_MK = 900.0
USUAL_PIPE_M = 20.0
ROOM_C = 18.0
_USUAL_LOOP_C = 50.0
_WATER_J_LK = 4150.0  # at 50 to 60 C: IAPWS-95, 988 kg/m3 and 4.18 kJ/(kg K)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopModel:
    """Lumped numbers of collector, loop and store.

    Attributes
    ----------
    loss_w_k, loss_w_k2 : collector loss against the air, linear and quadratic
    collector_j_k, pipe_j_k : heat capacities
    pipe_w_k : loss of both pipes to the room
    flow_l_min, flow_w_k : the commissioned flow, and its heat capacity
    hand_over_w_k : what the coil takes per kelvin of mean loop over store bottom
    store_j_k : heat capacity of the store
    brightest_w : the collectors' output under 1000 W/m2 without loss
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


def loop_model(site: Site) -> LoopModel:
    """Gather the lumped numbers of a site."""
    fluid, frac = site.loop.fluid, site.loop.concentration_frac
    flow = (
        m3_s_from_l_min(site.loop.flow_l_min)
        * float(density_kg_m3(fluid=fluid, concentration_frac=frac, t_c=_USUAL_LOOP_C))
        * float(specific_heat_j_kgk(fluid=fluid, concentration_frac=frac, t_c=_USUAL_LOOP_C))
    )
    share = float(coil_effectiveness(1.0))
    pipe_m = site.loop.pipe_length_m or USUAL_PIPE_M
    return LoopModel(
        loss_w_k=sum(array.area_m2 * array.a1_w_m2k for array in site.arrays),
        loss_w_k2=sum(array.area_m2 * array.a2_w_m2k2 for array in site.arrays),
        collector_j_k=sum(
            array.area_m2 * array.heat_capacity_kj_m2k * 1000.0 for array in site.arrays
        ),
        pipe_j_k=pipe_m * PIPE_CAPACITY_J_MK,
        pipe_w_k=pipe_m * PIPE_LOSS_W_MK,
        flow_l_min=site.loop.flow_l_min,
        flow_w_k=flow,
        hand_over_w_k=flow * share / (1.0 - share / 2.0),
        store_j_k=site.store.volume_l * _WATER_J_LK,
        brightest_w=sum(
            array.area_m2 * eta0_hemispherical(array) * 1000.0 for array in site.arrays
        ),
    )
