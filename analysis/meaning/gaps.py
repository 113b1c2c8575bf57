"""By how much temperatures differ, and how they move together: a table of pairs of channels.

The relations of `analysis.meaning.pairs` say which of two is warmer; here is by how much, while the
loop runs and whether their hours rise and fall as one. Each number is held against
what two temperatures of any kind show.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.meaning.motion import Phases
from analysis.meaning.traits import FARTHEST, NORM, NU
from analysis.record import Floats

_FEWEST = 8
_SIGNED = ("on_k", "dawn_k")
_MOST_ROWS = 4000
# How much each counts: fitted once on drawn plants; no bench prints it. Engineering judgement.
GAP_WEIGHTS = {"on_k": 0.22, "on_vary": 0.05, "follow": 0.34, "follow_on": 0.34, "dawn_k": 1.0}
# The last one holds for the roof and the air alone, set by hand: a room is no air outside.
# Usual value and spread for a pair, and for any two temperatures.
_COLUMNS = """
one            other          on_k         on_vary      follow       follow_on    dawn_k
any            any            0±3.5        1.8±1.4      0.23±0.34    0.32±0.64   0±3.8
collector      loop_hot       0.18±1       -0.31±1.5    0.51±0.47    0.93±0.12   -
collector      loop_cold      2.09±0.46    0.92±0.59    0.38±0.56    0.77±0.33   -
collector      store_bottom   1.96±0.28    1.03±0.63    0.29±0.26    0.74±0.24   -
collector      store_middle   1.78±0.37    1.80±0.61    0.16±0.18    0.10±0.49   -
collector      store_top      -1.72±3.5    2.72±0.75    0.09±0.15    -0.17±0.53  -
collector      ambient        3.37±0.53    2.66±0.62    0.41±0.22    0.30±0.37   1.1±0.8
collector      cold_feed      3.31±0.63    2.56±0.78    0.00±0.1     0.00±0.12   -
collector      hot_tap        2.36±2       2.90±0.4     0.01±0.1     -0.13±0.12  -
loop_hot       loop_cold      2.05±0.37    1.03±0.54    0.88±0.12    0.84±0.12   -
loop_hot       store_bottom   1.90±0.35    1.16±0.49    0.32±0.19    0.70±0.26   -
loop_hot       store_middle   1.70±0.59    1.79±0.63    0.20±0.17    0.12±0.41   -
loop_hot       store_top      -1.45±3.1    2.73±0.7     0.01±0.13    -0.23±0.44  -
loop_hot       ambient        3.34±0.57    2.66±0.62    0.32±0.21    0.34±0.36   -
loop_hot       cold_feed      3.22±0.72    2.54±0.67    -0.00±0.1    0.01±0.12   -
loop_hot       hot_tap        2.22±2.9     2.78±0.43    0.02±0.1     -0.14±0.2   -
loop_cold      store_bottom   -0.53±1.4    0.34±0.96    0.37±0.31    0.77±0.24   -
loop_cold      store_middle   -1.25±0.88   1.56±1.1     0.26±0.21    0.27±0.61   -
loop_cold      store_top      -2.66±1.2    2.70±0.71    0.02±0.22    -0.11±0.45  -
loop_cold      ambient        3.05±0.67    2.61±0.55    0.28±0.22    0.32±0.31   -
loop_cold      cold_feed      2.97±0.82    2.74±0.51    -0.00±0.1    0.02±0.12   -
loop_cold      hot_tap        0.44±3.2     2.76±0.53    -0.03±0.13   -0.27±0.29  -
store_bottom   store_middle   -0.56±0.83   1.48±1       0.66±0.12    0.38±0.63   -
store_bottom   store_top      -2.49±1.3    2.69±0.7     0.30±0.31    -0.10±0.64  -
store_bottom   ambient        3.12±0.63    2.60±0.61    0.31±0.23    0.28±0.36   -
store_bottom   cold_feed      2.97±0.8     2.54±0.68    0.00±0.1     0.01±0.12   -
store_bottom   hot_tap        1.49±3.7     2.77±0.46    -0.16±0.1    -0.10±0.17  -
store_middle   store_top      -2.25±1.8    2.15±1.3     0.32±0.44    0.17±0.5    -
store_middle   ambient        3.20±0.59    2.39±0.6     0.11±0.13    0.03±0.34   -
store_middle   cold_feed      3.19±0.65    2.42±0.59    0.00±0.1     0.01±0.17   -
store_top      ambient        3.65±0.38    1.69±0.73    0.07±0.18    -0.22±0.38  -
store_top      cold_feed      3.73±0.49    1.57±0.94    -0.00±0.1    -0.00±0.12  -
store_top      hot_tap        2.98±0.6     2.43±0.58    0.03±0.1     0.06±0.19   -
ambient        cold_feed      0.96±2.6     1.10±0.78    0.00±0.1     0.03±0.12   -
ambient        hot_tap        -2.26±0.72   2.42±0.46    0.07±0.1     -0.02±0.21  -
"""


def _read(text: str) -> dict[tuple[str, str], dict[str, tuple[float, float]]]:
    first, *rows = (line.split() for line in text.strip().splitlines())
    table: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
    for one, other, *cells in rows:
        told = [(name, cell.partition("±")) for name, cell in zip(first[2:], cells, strict=True)]
        table[one, other] = {
            name: (float(middle), float(spread)) for name, (middle, _, spread) in told if spread
        }
    return table


_GAPS = _read(_COLUMNS)
_ANY = _GAPS.pop(("any", "any"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gaps:
    """Numbers for all pairs of columns, shape (columns, columns); NaN where rows do not tell.

    Attributes
    ----------
    on_k : median of the row's column less the other while the loop runs, as sign times ln(1 + K)
    dawn_k : the same before dawn
    on_vary : logarithm of the quartile distance of that while the loop runs
    follow, follow_on : correlation of their changes from hour to hour, and while the loop runs
    """

    on_k: Floats
    on_vary: Floats
    follow: Floats
    follow_on: Floats
    dawn_k: Floats


def gaps_of(celsius: Floats, phases: Phases) -> Gaps:
    """Compare all columns, taken for temperatures.

    Parameters
    ----------
    celsius : ndarray, shape (columns, m)
        Values [°C].
    phases : Phases
        What the loop does.

    Returns
    -------
    Gaps
        For all pairs.
    """
    on, vary = _medians(celsius[:, phases.on])
    dawn, _ = _medians(celsius[:, phases.dawn])
    change = celsius[:, phases.hour_to] - celsius[:, phases.hour_from]
    stride = max(change.shape[1] // _MOST_ROWS, 1)
    return Gaps(
        on_k=on,
        on_vary=vary,
        follow=_alike(change[:, ::stride]),
        follow_on=_alike(change[:, phases.hour_on]),
        dawn_k=dawn,
    )


def _medians(some: Floats) -> tuple[Floats, Floats]:
    some = some[:, :: max(some.shape[1] // _MOST_ROWS, 1)]
    count = len(some)
    middle, vary = np.full((count, count), np.nan), np.full((count, count), np.nan)
    if some.shape[1] < _FEWEST:
        return middle, vary
    for one in range(count):
        for other in range(one):
            gap = some[one] - some[other]
            gap = gap[np.isfinite(gap)]
            if gap.size < _FEWEST:
                continue
            low, half, high = np.percentile(gap, [25.0, 50.0, 75.0])
            vary[one, other] = vary[other, one] = np.log(high - low + 0.1)
            middle[one, other] = np.sign(half) * np.log1p(abs(half))
            middle[other, one] = -middle[one, other]
    return middle, vary


def _alike(change: Floats) -> Floats:
    count = len(change)
    known = np.isfinite(change)
    zero = np.where(known, change, 0.0)
    number = known.astype(np.float64) @ known.T
    with np.errstate(invalid="ignore", divide="ignore"):
        total = zero @ known.T
        square = (zero**2) @ known.T
        mean, mean_other = total / number, (total / number).T
        covariance = (zero @ zero.T) / number - mean * mean_other
        variance = square / number - mean**2
        alike = covariance / np.sqrt(variance * variance.T)
    alike[(number < _FEWEST) | ~np.isfinite(alike)] = np.nan
    return np.asarray(np.clip(alike, -1.0, 1.0)).reshape(count, count)


def gap_nats(one: str, other: str, gaps: Gaps) -> Floats | None:
    """Say how much gaps speak for pairs of columns being these channels [nats].

    Shape (columns, columns), the row being `one`; None where the table holds no such pair.
    """
    usual, way = _GAPS.get((one, other)), 1.0
    if usual is None:
        usual, way = _GAPS.get((other, one)), -1.0
    if usual is None:
        return None
    nats = np.zeros_like(gaps.on_k)
    for name, weight in GAP_WEIGHTS.items():
        if name not in usual:
            continue
        shown: Floats = getattr(gaps, name)
        # All but the signed gaps are the same either way.
        here = way * shown if name in _SIGNED else shown
        lift = _densities(here, *usual[name]) - _densities(shown, *_ANY[name])
        nats += np.where(np.isnan(shown), 0.0, weight * lift)
    return nats


def _densities(shown: Floats, middle: float, spread: float) -> Floats:
    away = np.minimum(np.abs(shown - middle) / spread, FARTHEST)
    square = away * away / NU
    return np.asarray(NORM - math.log(spread) - 0.5 * (NU + 1.0) * np.log1p(square))
