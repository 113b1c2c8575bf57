"""A compiled loop: whether a sensor outdoors and one of the loop read as each other would."""

from analysis.compiled import compiled
from analysis.record import Bools, Floats, Ints


@compiled
def air_or_loop(
    resting: Bools,
    running: Bools,
    roof_c: Floats,
    air_c: Floats,
    warm_c: Floats,
    shows: Ints,
    denies: Ints,
) -> None:
    """Count each day's bins that show a swap, and those that deny one; NaN does neither.

    Parameters
    ----------
    resting, running : shape (days, bins), the loop rests at night, and runs in the sun
    roof_c, air_c, warm_c : shape (days, bins), the roof and the two sensors [°C]
    shows, denies : shape (days,), written
    """
    for day in range(roof_c.shape[0]):
        for_swap, against = 0, 0
        for place in range(roof_c.shape[1]):
            roof, air, warm = roof_c[day, place], air_c[day, place], warm_c[day, place]
            if resting[day, place]:
                for_swap += air > roof + 5.0 and abs(warm - roof) < 3.0
                against += warm > roof + 5.0 and abs(air - roof) < 3.0
            elif running[day, place]:
                for_swap += roof > warm + 15.0 and abs(air - roof) < 10.0 and air > warm
                against += warm > air + 8.0
        shows[day], denies[day] = for_swap, against
