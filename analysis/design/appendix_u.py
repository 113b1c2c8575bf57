"""Sun of the United Kingdom by region: tables of SAP 2012, Appendix U, and its formula for planes.

The tables were read in three public implementations; one value printed by a certified worksheet is
found again (see the tests). Regions here are chosen by the nearest of points that we set, not by
postcode: coarse, and called so.
"""

from dataclasses import dataclass

import numpy as np

from analysis.record import Floats
from analysis.sources import SAP_2012

SOURCES = (SAP_2012.at("Appendix U, tables U1, U3, U4 and U5"),)

DECLINATION_DEG: Floats = np.array(
    [-20.7, -12.8, -1.8, 9.8, 18.8, 23.1, 21.2, 13.7, 2.9, -8.7, -18.4, -23.0]
)
# Table U1, UK average [°C].
AIR_C = (4.3, 4.9, 6.5, 8.9, 11.7, 14.6, 16.6, 16.4, 14.1, 10.6, 7.1, 4.2)
# Table J1, water from the mains [°C].
MAINS_C = (8.0, 8.2, 9.3, 12.7, 14.6, 16.7, 18.4, 17.6, 16.6, 14.3, 11.1, 8.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A region of Appendix U.

    Attributes
    ----------
    number, name : as the appendix counts them
    latitude_deg : table U4
    longitude_deg : of a point that we set in its middle; the appendix gives none
    horizontal_w_m2 : table U3, mean of all hours of each month on the level
    """

    number: int
    name: str
    latitude_deg: float
    longitude_deg: float
    horizontal_w_m2: tuple[int, ...]


def _region(number: int, name: str, latitude: float, longitude: float, *sun: int) -> Region:
    return Region(
        number=number,
        name=name,
        latitude_deg=latitude,
        longitude_deg=longitude,
        horizontal_w_m2=sun,
    )


# fmt: off
AVERAGE = _region(
    0, "UK average", 53.5, -1.9, 26, 54, 96, 150, 192, 200, 189, 157, 115, 66, 33, 21)
REGIONS = (
    _region(1, "Thames", 51.6, -0.4, 30, 56, 98, 157, 195, 217, 203, 173, 127, 73, 39, 24),
    _region(2, "South East England", 51.1, 0.5,
            32, 59, 104, 170, 208, 231, 216, 182, 133, 77, 41, 25),
    _region(3, "Southern England", 50.9, -1.6,
            35, 62, 109, 172, 209, 235, 217, 185, 138, 80, 44, 27),
    _region(4, "South West England", 50.5, -4.1,
            36, 63, 111, 174, 210, 233, 204, 182, 136, 78, 44, 28),
    _region(5, "Severn", 51.5, -2.7, 32, 59, 105, 167, 201, 226, 206, 175, 130, 74, 40, 25),
    _region(6, "Midlands", 52.6, -1.6, 28, 55, 97, 153, 191, 208, 194, 163, 121, 69, 35, 23),
    _region(7, "West Pennines", 53.5, -2.6, 24, 51, 95, 152, 191, 203, 186, 152, 115, 65, 31, 20),
    _region(8, "North West England and South West Scotland", 54.6, -3.3,
            23, 51, 95, 157, 200, 203, 194, 156, 113, 62, 30, 19),
    _region(9, "Borders", 55.2, -2.2, 23, 50, 92, 151, 200, 196, 187, 153, 111, 61, 30, 18),
    _region(10, "North East England", 54.4, -1.5,
            25, 51, 95, 152, 196, 198, 190, 156, 115, 64, 32, 20),
    _region(11, "East Pennines", 53.5, -1.2, 26, 54, 96, 150, 192, 200, 189, 157, 115, 66, 33, 21),
    _region(12, "East Anglia", 52.1, 0.8, 30, 58, 101, 165, 203, 220, 206, 173, 128, 74, 39, 24),
    _region(13, "Wales", 52.6, -3.9, 29, 57, 104, 164, 205, 220, 199, 167, 120, 68, 35, 22),
    _region(14, "West Scotland", 55.9, -4.6, 19, 46, 88, 148, 196, 193, 185, 150, 101, 55, 25, 15),
    _region(15, "East Scotland", 56.2, -3.2, 21, 46, 89, 146, 198, 191, 183, 150, 106, 57, 27, 15),
    _region(16, "North East Scotland", 57.3, -2.5,
            19, 45, 89, 143, 194, 188, 177, 144, 101, 54, 25, 14),
    _region(17, "Highland", 57.5, -4.6, 17, 43, 85, 145, 189, 185, 170, 139, 98, 51, 22, 12),
    _region(18, "Western Isles", 57.7, -7.0, 16, 41, 87, 155, 205, 206, 185, 148, 101, 51, 21, 11),
    _region(19, "Orkney", 59.0, -3.0, 14, 39, 84, 143, 205, 201, 178, 145, 100, 50, 19, 9),
    _region(20, "Shetland", 60.1, -1.3, 12, 34, 79, 135, 196, 190, 168, 144, 90, 46, 16, 7),
    _region(21, "Northern Ireland", 54.6, -6.7,
            24, 52, 96, 155, 201, 198, 183, 150, 107, 61, 30, 18),
)

# Table U5, k1 to k9 for planes that face north, north-east, east, south-east and south; west is
# like east.
_K = {
    0.0: (26.3, -38.5, 14.8, -16.5, 27.3, -11.9, -1.06, 0.0872, -0.191),
    45.0: (0.165, -3.68, 3.0, 6.38, -4.53, -0.405, -4.38, 4.89, -1.99),
    90.0: (1.44, -2.36, 1.07, -0.514, 1.89, -1.64, -0.542, -0.757, 0.604),
    135.0: (-2.95, 2.89, 1.17, 5.67, -3.54, -4.28, -2.72, -0.25, 3.07),
    180.0: (-0.66, -0.106, 2.93, 3.63, -0.374, -7.4, -2.71, -0.991, 4.59),
}
# fmt: on


def plane_w_m2(*, region: Region, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Give the mean irradiance of all hours of each month on a plane; shape (12,) [W/m2].

    Parameters
    ----------
    region : Region
    tilt_deg : float
        From horizontal, 0 to 90 [°].
    azimuth_deg : float
        Clockwise from north [°]; between two of the eight directions of the table linear (the
        appendix takes the nearest).

    References
    ----------
    SAP 2012 v9.92, section U3.2.
    """
    turned = abs((azimuth_deg + 180.0) % 360.0 - 180.0)
    low = min(45.0 * (turned // 45.0), 135.0)
    share = (turned - low) / 45.0
    below, above = _ratio(region, tilt_deg, low), _ratio(region, tilt_deg, low + 45.0)
    ratio = below * (1.0 - share) + above * share
    return np.asarray(np.array(region.horizontal_w_m2, float) * ratio)


def _ratio(region: Region, tilt_deg: float, facing_deg: float) -> Floats:
    """Give plane over level in each month for one of the table's directions [-]."""
    s = np.sin(np.radians(tilt_deg / 2.0))
    k = _K[facing_deg]
    a, b, c = (s * (k[n] * s * s + k[n + 1] * s + k[n + 2]) for n in (0, 3, 6))
    noon = np.cos(np.radians(region.latitude_deg - DECLINATION_DEG))
    return np.asarray(noon * (a * noon + b) + c + 1.0)


def nearest(*, latitude_deg: float, longitude_deg: float) -> tuple[Region, float]:
    """Give the region whose point is nearest, and how far that is in degrees of latitude."""
    east = np.cos(np.radians(latitude_deg))

    def far(region: Region) -> float:
        return float(
            np.hypot(
                latitude_deg - region.latitude_deg, (longitude_deg - region.longitude_deg) * east
            )
        )

    best = min(REGIONS, key=far)
    return best, far(best)
