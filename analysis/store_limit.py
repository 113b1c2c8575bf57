"""When the controller rightly leaves the store alone: full, and not yet released again.

A controller that has stopped at the store's limit takes up charging only some kelvin below it, and
which store sensor it watches is rarely on record. In the data: a hot store, a pump that rests, a
collector that climbs; then one draw, and all goes on. Looks alike and is not it: a pump that died
while the backup keeps the upper store warm; so a store that is only warm counts as held back just
until the end of the day after it was full.
"""

import numpy as np

from analysis.record import Bools, Floats
from analysis.runs import latched

# Sensors and the place they sit in leave a full store's bottom a little below the limit, and
# controllers release from 2 K below it on (common practice, no source).
FULL_BAND_K = 4.0
# The widest usual hysteresis of a store limit is 10 K; 1 K for the sensor (common practice, no
# source).
RELEASE_BAND_K = 11.0
# Where the site file gives no set point of the backup; and how far a backup heats beyond its set
# point, with its own hysteresis and the sensor's error (common practice, no source).
USUAL_BACKUP_C = 60.0
BACKUP_MARGIN_K = 8.0


def store_full(
    *,
    t_bottom_c: Floats,
    t_hottest_c: Floats,
    running: Bools,
    limit_c: float,
    backup_c: float | None,
    after_yesterday: bool = True,
) -> Bools:
    """Tell bins in which the controller rightly leaves the store alone.

    Parameters
    ----------
    t_bottom_c, t_hottest_c : shape (days, bins), store bottom and hottest store sensor [°C]
    running : shape (days, bins), the pump was commanded or fluid moved: nothing is held back
    limit_c : the store's limit [°C]
    backup_c : what the backup heats the store to, None where not known [°C]
    after_yesterday : whether a store that was full in the evening before may still be held back

    Returns
    -------
    shape (days, bins). A day depends on itself and, `after_yesterday`, on the day before it.
    """
    full = (t_bottom_c >= limit_c - FULL_BAND_K) | (t_hottest_c >= limit_c - 1.0)
    # A sensor that is silent for a while says neither.
    warm = (t_hottest_c >= limit_c - RELEASE_BAND_K) | np.isnan(t_hottest_c)
    by_sun = t_hottest_c > (USUAL_BACKUP_C if backup_c is None else backup_c) + BACKUP_MARGIN_K
    resting = warm & ~running
    full |= resting & by_sun
    alone = latched(full, resting)
    if not after_yesterday:
        return alone
    before = np.zeros(full.shape[0], dtype=np.bool_)
    before[1:] = alone[:-1, -1]
    return latched(full, resting, before)
