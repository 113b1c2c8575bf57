"""The compiled loops of pressures and slopes: of days, and of days with those before them."""

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Bools, Floats

LEAST_BINS = 24


@step
def slope_of(sums: Floats, row: int) -> tuple[float, float]:
    """Fit growth and air to a row of sums: the slope, and its standard uncertainty."""
    gg, ga, aa = sums[row, 0], sums[row, 1], sums[row, 2]
    gy, ay, yy = sums[row, 3], sums[row, 4], sums[row, 5]
    n, g2, gas = sums[row, 6], sums[row, 7], sums[row, 8]
    own = gg * aa - ga**2
    if not (n >= LEAST_BINS and own > 1e-6 * gg * aa):
        return np.nan, np.nan
    by_g, by_a = (gy * aa - ay * ga) / own, (ay * gg - gy * ga) / own
    left = max(yy - by_g * gy - by_a * ay, 0.0) / max(n - 3.0, 1.0)
    # Bins of an hour err together, the gas's warmth does all day.
    warmth = gas / g2**2 if g2 > 0.0 else np.inf
    return -by_g, np.sqrt(12.0 * left * aa / own + warmth)


@compiled
def follow(
    sums: Floats,
    usual: Floats,
    beyond: Floats,
    sound: Floats,
    sigmas: float,
    total: Floats,
    per_l: Floats,
    far: Bools,
    near: Bools,
) -> None:
    """Judge each day with as many before it as it takes to be certain.

    Parameters
    ----------
    sums : shape (n, 9), of each day
    usual, beyond, sound : shape (n,), the slope a day is held against, NaN unknown, that from which
        gas is gone, and that up to which it is not
    sigmas : how far beyond chance a slope must lie
    total : shape (reach, 9), room for the sums of up to so many days
    per_l : shape (n,), written: the slope that decided, NaN where none did
    far, near : shape (n,), written: whether it lies beyond the one, or below the other
    """
    for day in range(sums.shape[0]):
        per_l[day], far[day], near[day] = np.nan, False, False
        for back in range(min(total.shape[0], day + 1) if np.isfinite(usual[day]) else 0):
            for part in range(sums.shape[1]):
                before = total[back - 1, part] if back else 0.0
                total[back, part] = before + sums[day - back, part]
            slope, u = slope_of(total, back)
            far[day] = slope - sigmas * u > beyond[day]
            near[day] = slope + u < sound[day]
            if far[day] or near[day]:
                per_l[day] = slope
                break


@compiled
def likeliest_fall(day: Floats, read: Floats) -> tuple[int, float, bool]:
    """Find where a straight line down, or a step, leaves least.

    Parameters
    ----------
    day, read : shape (n,), n at least 1

    Returns
    -------
    which reading is the first after it, the level before it, and whether it is a step; the first of
    all readings where nothing falls
    """
    least, chosen = np.inf, (0, read[0], False)
    for number in range(1, read.size):
        before = read[:number].mean()
        step, rise, square = before - read[number:].mean(), 0.0, 0.0
        for later in range(number, read.size):
            ramp = day[later] - day[number - 1]
            rise += ramp * (before - read[later])
            square += ramp**2
        slope = rise / square
        if not max(slope, step) > 0.0:
            continue
        by_line = 0.0
        for earlier in range(number):
            by_line += (before - read[earlier]) ** 2
        by_step = by_line
        for later in range(number, read.size):
            off = before - read[later]
            by_line += (off - slope * (day[later] - day[number - 1])) ** 2
            by_step += (off - step) ** 2
        if by_line < least:
            least, chosen = by_line, (number, before, False)
        if by_step < least:
            least, chosen = by_step, (number, before, True)
    return chosen
