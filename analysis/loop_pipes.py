"""The loop's pipes where the site file gives no more than their length.

Size from the commissioned flow, insulation as thick as the rules ask, loss of a cylinder. Half of
the way counts as indoors, half as roof space and outdoors.
"""

from dataclasses import dataclass

import numpy as np

from analysis.record import Floats
from analysis.sources import BUILDING_ENERGY_ACT, EN_1057, ISO_12241
from analysis.units import m3_s_from_l_min

SOURCES = (EN_1057, ISO_12241, BUILDING_ENERGY_ACT)

# Copper tubes, outer diameter and wall [mm] (EN 1057, usual sizes, from memory).
_SIZES_MM = ((15.0, 1.0), (18.0, 1.0), (22.0, 1.0), (28.0, 1.5), (35.0, 1.5), (42.0, 1.5),
             (54.0, 2.0), (76.1, 2.0), (108.0, 2.5))  # fmt: skip
# Fastest usual flow in small loops, 0.3 to 0.7 m/s (common practice, no source).
_FASTEST_M_S = 0.5
# Elastomer foam at loop temperature; film outside indoors (common practice, no source).
_INSULATION_W_MK = 0.040
_FILM_W_M2K = 10.0
_COPPER_J_M3K = 8940.0 * 385.0
# Round the store and the pipes indoors: heated rooms as EN 12831 designs them (from memory).
ROOM_C = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A metre of pipe: what it loses per kelvin, what warming it takes, what it holds."""

    loss_w_mk: float
    capacity_j_mk: float
    content_l_m: float


def pipe_for(*, flow_l_min: float, fluid_j_m3k: float) -> Pipe:
    """Choose the pipe for a flow.

    Parameters
    ----------
    flow_l_min : the commissioned flow
    fluid_j_m3k : heat capacity of the fluid by volume [J/(m3 K)]

    Returns
    -------
    Pipe : loss [W/(m K)], capacity of fluid and copper [J/(m K)], content [l/m]

    References
    ----------
    EN 1057 (sizes), ISO 12241 (loss of a cylinder), thickness after the German building energy act.
    """
    flow_m3_s = m3_s_from_l_min(flow_l_min)
    fitting = (size for size in _SIZES_MM if flow_m3_s <= _FASTEST_M_S * _bore_m2(*size))
    outer_mm, wall_mm = next(fitting, _SIZES_MM[-1])
    outer_m = outer_mm / 1000.0
    cover_m = outer_m + 2.0 * _insulation_m(outer_mm - 2.0 * wall_mm)
    resistance = np.log(cover_m / outer_m) / (2.0 * np.pi * _INSULATION_W_MK)
    resistance += 1.0 / (np.pi * cover_m * _FILM_W_M2K)
    bore = _bore_m2(outer_mm, wall_mm)
    copper = np.pi / 4.0 * outer_m**2 - bore
    return Pipe(
        loss_w_mk=float(1.0 / resistance),
        capacity_j_mk=float(bore * fluid_j_m3k + copper * _COPPER_J_M3K),
        content_l_m=1000.0 * bore,
    )


def _bore_m2(outer_mm: float, wall_mm: float) -> float:
    return float(np.pi / 4.0 * ((outer_mm - 2.0 * wall_mm) / 1000.0) ** 2)


def _insulation_m(bore_mm: float) -> float:
    """Give the least thickness: 20 mm up to 22 mm bore, 30 mm up to 35 mm, then the bore."""
    if bore_mm <= 22.0:
        return 0.020
    return 0.030 if bore_mm <= 35.0 else min(bore_mm, 100.0) / 1000.0


def around_pipes_c(t_ambient_c: Floats) -> Floats:
    """Give the temperature around the pipes [°C]; NaN outdoors counts as a room."""
    outdoors = np.where(np.isfinite(t_ambient_c), t_ambient_c, ROOM_C)
    return np.asarray(0.5 * (ROOM_C + outdoors))
