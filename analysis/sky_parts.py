"""The light on a plane taken apart: what comes from around the sun, and what from everywhere.

The bright ring around the sun falls in at the sun's own angle. For the glass it goes with the beam
(Duffie & Beckman, eq. 5.9.3), and a turned plane sees it with the beam's ratio; only the rest is
diffuse as the certificate's modifier for diffuse light means it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.record import Floats
from analysis.sources import DUFFIE_BECKMAN, HAY_DAVIES
from analysis.transposition import GROUND_ALBEDO, Plane, views

SOURCES = (HAY_DAVIES, DUFFIE_BECKMAN.at("eq. 5.9.3, absorbed radiation"))

# A grazing sun on a plane says little about the beam behind it: ratios stay bounded.
_GRAZING = 0.2
_LOWEST_COS_ZENITH = 0.065


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkyParts:
    """Beam facing the sun, diffuse on the level [W/m2], and the sun over the level and outside."""

    beam_w_m2: Floats
    diffuse_w_m2: Floats
    cos_zenith: Floats
    outside_w_m2: Floats

    def on(self, *, cos_incidence: Floats, tilt_deg: float) -> Plane:
        """Give a plane's light: beam with the ring around the sun, and the rest [W/m2]."""
        sunny = np.maximum(cos_incidence, 0.0)
        ring = self.diffuse_w_m2 * self._clear * _ratio(sunny, self.cos_zenith)
        sky, ground = views(tilt_deg)
        level = self.diffuse_w_m2 + self.beam_w_m2 * np.maximum(self.cos_zenith, 0.0)
        rest = self.diffuse_w_m2 * (1.0 - self._clear) * sky + GROUND_ALBEDO * level * ground
        return Plane(beam_w_m2=self.beam_w_m2 * sunny + ring, diffuse_w_m2=rest)

    @property
    def _clear(self) -> Floats:
        return np.asarray(np.clip(self.beam_w_m2 / self.outside_w_m2, 0.0, 1.0))


def parts_of(
    plane: Plane,
    *,
    cos_incidence: Floats,
    cos_zenith: Floats,
    outside_w_m2: Floats,
    tilt_deg: float,
) -> SkyParts:
    """Take the light on a plane apart, as Hay & Davies put it together.

    Parameters
    ----------
    plane : beam, and everything else with the ring around the sun [W/m2]; NaN gives NaN
    cos_incidence, cos_zenith : of the sun, to the plane's normal and to the zenith [-]
    outside_w_m2 : outside the atmosphere, facing the sun
    tilt_deg : of the plane
    """
    beam = plane.beam_w_m2 / np.maximum(cos_incidence, _GRAZING)
    clear = np.clip(beam / outside_w_m2, 0.0, 1.0)
    sky, ground = views(tilt_deg)
    ring = clear * _ratio(np.maximum(cos_incidence, 0.0), cos_zenith)
    seen = ring + (1.0 - clear) * sky + GROUND_ALBEDO * ground
    of_beam = beam * np.maximum(cos_zenith, 0.0) * GROUND_ALBEDO * ground
    diffuse = np.maximum(plane.diffuse_w_m2 - of_beam, 0.0) / seen
    return SkyParts(
        beam_w_m2=beam, diffuse_w_m2=diffuse, cos_zenith=cos_zenith, outside_w_m2=outside_w_m2
    )


def with_ring(plane: Plane, parts: SkyParts, *, cos_incidence: Floats) -> Plane:
    """Count the ring around the sun to the beam of a plane; the total stays."""
    clear = np.clip(parts.beam_w_m2 / parts.outside_w_m2, 0.0, 1.0)
    ring = parts.diffuse_w_m2 * clear * _ratio(np.maximum(cos_incidence, 0.0), parts.cos_zenith)
    ring = np.minimum(ring, plane.diffuse_w_m2)
    return Plane(beam_w_m2=plane.beam_w_m2 + ring, diffuse_w_m2=plane.diffuse_w_m2 - ring)


def _ratio(sunny: Floats, cos_zenith: Floats) -> Floats:
    return np.asarray(sunny / np.maximum(cos_zenith, _LOWEST_COS_ZENITH))
