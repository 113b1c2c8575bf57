"""The compiled loop of `analysis.faults._sun_path`: a collector that rests in the sun all day."""

from analysis.compiled import compiled
from analysis.record import Floats


@compiled
def warm_at_rest(
    gain_w: Floats, per_j: float, loss_w_k: float, loss_w_k2: float, over_k: Floats
) -> None:
    """Write how far the collector comes over the air, each day from the air's own temperature.

    Parameters
    ----------
    gain_w : shape (days, bins), optical gain, known [W]
    per_j : what a watt warms it by in a bin [K/W]
    loss_w_k, loss_w_k2 : its loss [W/K, W/K2]
    over_k : shape (days, bins), written [K]
    """
    for day in range(gain_w.shape[0]):
        warm = 0.0
        for place in range(gain_w.shape[1]):
            # It is never colder than the air, so its loss is a plain curve.
            lost_w = warm * (loss_w_k + loss_w_k2 * warm)
            warm = max(warm + per_j * (gain_w[day, place] - lost_w), 0.0)
            over_k[day, place] = warm
