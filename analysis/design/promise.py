"""The door to the design yield: from the facts of a site to twelve months of promised heat.

A promise in the site file takes precedence. Else the months come from EN 15316-4-3, with the
climate of the site file or of the coarse table; the other methods stand beside it with the reason
why they differ.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.collector import (
    STANDARD_BEAM_SHARE,
    eta0_hemispherical,
    incidence_modifier,
)
from analysis.design import en15316, f_chart, sap2012
from analysis.design.climate import WHAT_TO_GIVE, DesignClimate, climate_of
from analysis.design.demand import Demand, demand_of
from analysis.design.result import BesideYield, DesignYield
from analysis.design.system import Collectors, System
from analysis.loop_model import loop_model
from analysis.record import Floats
from analysis.site import Array, Site
from analysis.sun import absorber_plane

GIVEN = "given"
METHOD = "EN 15316-4-3"
NO_CLIMATE = f"No design yield: nothing is known of the climate here; {WHAT_TO_GIVE}"

# The one angle at which the standard wants the modifier.
_ANGLE_DEG = 50.0
RATED: dict[str, Callable[[System], Floats]] = {
    METHOD: en15316.monthly_kwh,
    "f-chart": f_chart.monthly_kwh,
    "SAP 2012 Appendix H": sap2012.monthly_kwh,
}
"""Each method by its name: heat of the months from a system."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """A design yield worked out from the site's facts.

    Attributes
    ----------
    climate, demand, system : what it rests on
    first_plane_kwh_m2 : irradiation in the plane of the first array, where a sensor lies
    monthly_kwh : heat that the loop brings into the store
    """

    climate: DesignClimate
    demand: Demand
    system: System
    first_plane_kwh_m2: tuple[float, ...]
    monthly_kwh: tuple[float, ...]

    def under(self, sun_ratio: Floats) -> Floats:
        """Give the months' heat with so many times the typical irradiation; (..., 12) [kWh]."""
        return en15316.monthly_kwh(self.system, sun_ratio)


@lru_cache(maxsize=256)
def computed_of(site: Site) -> Computed | None:
    """Work out the design yield from the facts of one day; None where no climate is known."""
    climate = climate_of(site)
    if climate is None:
        return None
    demand = demand_of(site, climate)
    system = system_of(site, climate, demand)
    first = site.arrays[0]
    plane = climate.plane(tilt_deg=first.tilt_deg, azimuth_deg=first.azimuth_deg)
    return Computed(
        climate=climate,
        demand=demand,
        system=system,
        first_plane_kwh_m2=tuple(plane.total_kwh_m2.tolist()),
        monthly_kwh=tuple(en15316.monthly_kwh(system).tolist()),
    )


def promised_kwh(site: Site) -> tuple[float, ...] | None:
    """Give what each month is promised, January first; None where nothing is [kWh].

    Parameters
    ----------
    site : the facts of one day
    """
    if site.design is not None:
        return site.design.monthly_kwh
    computed = computed_of(site)
    return None if computed is None else computed.monthly_kwh


def basis_of(site: Site) -> str | None:
    """Name what the promise rests on: "given", the method, or None."""
    if site.design is not None:
        return GIVEN
    return METHOD if computed_of(site) is not None else None


@lru_cache(maxsize=256)
def design_yield(site: Site) -> DesignYield | None:
    """Give the promise with all that it rests on; None where there is none.

    Parameters
    ----------
    site : the facts of one day, in the report those of its last
    """
    computed = computed_of(site)
    promise = promised_kwh(site)
    if promise is None:
        return None
    return DesignYield(
        method=GIVEN if site.design is not None else METHOD,
        climate=None if computed is None else computed.climate.words,
        demand=None if computed is None else _demand_words(site, computed.demand),
        assumed=() if computed is None else tuple(_assumed(site, computed)),
        monthly_kwh=promise,
        yearly_kwh=sum(promise),
        beside=() if computed is None else tuple(_beside(site, computed)),
    )


def system_of(site: Site, climate: DesignClimate, demand: Demand) -> System:
    """Gather what the methods want to know of a system."""
    length, loop = site.loop.pipe_length_m, loop_model(site)
    return System(
        collectors=tuple(_collectors(site, array, climate) for array in site.arrays),
        store_l=site.store.volume_l,
        solar_l=demand.solar_l,
        load_kwh=tuple(np.add(demand.tap_kwh, demand.store_kwh).tolist()),
        tap_kwh=demand.tap_kwh,
        litres_per_day=demand.litres_per_day,
        hot_c=demand.hot_c,
        cold_c=climate.cold_c,
        air_c=climate.air_c,
        capacity_flow_w_k=loop.flow_w_k,
        pipes_w_k=None if length is None else loop.pipe_w_k,
    )


def _collectors(site: Site, array: Array, climate: DesignClimate) -> Collectors:
    tilt_deg, azimuth_deg = absorber_plane(
        tilt_deg=array.tilt_deg,
        azimuth_deg=array.azimuth_deg,
        tubes_run=array.tubes_run,
        absorber_turn_deg=array.absorber_turn_deg,
        latitude_deg=site.place.latitude_deg,
    )
    plane = climate.plane(tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    return Collectors(
        area_m2=array.area_m2,
        eta0=eta0_hemispherical(array),
        iam=tuple(_modifier(array, plane.diffuse_frac).tolist()),
        a1_w_m2k=array.a1_w_m2k,
        a2_w_m2k2=array.a2_w_m2k2,
        plane_kwh_m2=tuple(plane.total_kwh_m2.tolist()),
    )


def modifier_50(array: Array) -> float:
    """Give the modifier for beam at 50 degrees of incidence, mean of all directions [-].

    Tubes take the sun differently along and across them; the method has room for one number.
    """
    around = np.radians(np.arange(0.5, 360.0))
    tangent = np.tan(np.radians(_ANGLE_DEG))
    along = np.degrees(np.arctan(tangent * np.sin(around)))
    across = np.degrees(np.arctan(tangent * np.cos(around)))
    return float(
        incidence_modifier(
            array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
        ).mean()
    )


def _modifier(array: Array, diffuse_frac: Floats) -> Floats:
    """Give the modifier of the whole irradiation, relative to the hemispherical efficiency [-]."""
    beam, diffuse = modifier_50(array), array.iam_diffuse
    rated = STANDARD_BEAM_SHARE + (1.0 - STANDARD_BEAM_SHARE) * diffuse
    return np.asarray((beam * (1.0 - diffuse_frac) + diffuse * diffuse_frac) / rated)


def _demand_words(site: Site, demand: Demand) -> str:
    water = f"{demand.litres_per_day:.0f} l of hot water a day at {demand.hot_c:.0f} °C"
    if demand.basis == "litres":
        return f"{water}, as the site file states"
    if demand.basis == "occupants":
        assert site.hot_water is not None
        return f"{water}, for {site.hot_water.occupants:g} people (SAP 2012: 25 l each and 36 l)"
    return (
        f"{water}, assumed from the size of the store; state litres_per_day or occupants in "
        "[hot_water] to put the real figure in its place"
    )


def _assumed(site: Site, computed: Computed) -> Iterator[str]:
    if site.store.solar_volume_l is None:
        yield f"half of the store, {computed.demand.solar_l:.0f} l, is heated by the sun alone"
    if site.store.heat_loss_w_k is None:
        yield "the store loses as much as energy class C allows"
    if site.loop.pipe_length_m is None:
        yield "the pipes lose 5 W/K and 0.5 W/K for each square metre, as the standard assumes"


def _beside(site: Site, computed: Computed) -> Iterator[BesideYield]:
    system = computed.system
    reasons = {"f-chart": _why_f_chart(system), "SAP 2012 Appendix H": _WHY_SAP}
    if site.design is not None:
        reasons = {METHOD: _WHY_METHOD, **reasons}
    if computed.climate.region is None:
        del reasons["SAP 2012 Appendix H"]
    for name, why in reasons.items():
        yield BesideYield(method=name, yearly_kwh=float(RATED[name](system).sum()), why=why)


_WHY_METHOD = "what Suntally would take without the given promise, from the climate alone"
_WHY_SAP = (
    "the British energy rating counts the water drawn but not the loss of the store, and knows "
    "collectors by two numbers only"
)


def _why_f_chart(system: System) -> str:
    outside = f_chart.outside_the_fit(system)
    if outside is not None:
        return f"outside its fit, so an extrapolation: {outside}"
    return "counts losses against the temperature of the hot water, so it promises less"
