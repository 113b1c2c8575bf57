"""How far a site is, as the crow flies."""

import math

# The mean radius of the earth (IUGG; value from memory) [km].
_RADIUS_KM = 6371.0088

Place = tuple[float, float]


def as_the_crow_flies_km(one: Place, other: Place) -> float:
    """Give the great-circle distance of two places, each latitude and longitude in degrees [km].

    The haversine form, which stays exact for places close together. On a sphere: up to 0.6 % off
    the ellipsoid (common practice, no source), much less than roads wind.
    """
    lat_1, lon_1, lat_2, lon_2 = (math.radians(value) for value in (*one, *other))
    across = (
        math.sin((lat_2 - lat_1) / 2) ** 2
        + math.cos(lat_1) * math.cos(lat_2) * math.sin((lon_2 - lon_1) / 2) ** 2
    )
    return 2 * _RADIUS_KM * math.asin(math.sqrt(min(across, 1.0)))


def distance_words(km: float) -> str:
    """Write a distance: `under 1 km`, `4.2 km`, `38 km`, said to be as the crow flies."""
    if km < 1.0:
        return "under 1 km as the crow flies"
    return f"{km:.1f} km as the crow flies" if km < 10.0 else f"{km:,.0f} km as the crow flies"
