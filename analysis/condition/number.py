"""From a step in output and loss to a number of tubes, of one kind or the other.

Missing or broken tubes take gain and loss with them: k of N cost the share k/N of the output. Tubes
without vacuum keep their gain and lose more: k of N add k/N times what one loses besides. How much
that is differs from tube to tube and is carried as uncertain.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.compiled import given
from analysis.condition.number_kernel import ln_chance, weigh
from analysis.record import Floats

Kind = Literal["optical", "vacuum"]
KINDS: tuple[Kind, ...] = ("optical", "vacuum")

# A tube that lost its vacuum, loss at its own area [W/(m2 K)]: 4 to 8, those in the middle likelier
# (invented, of the right size; no measured source); a triangle as in JCGM 100:2008, 4.3.9.
LOSS_WITHOUT_VACUUM_W_M2K = 6.0
_REACH_W_M2K = 2.0
# From here one kind is said to be it (engineering judgement).
SURE_OF_KIND = 0.9
_QUADRATURE = np.linspace(-0.975, 0.975, 40)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Number:
    """How many tubes are lost.

    Attributes
    ----------
    chances : shape (2, N + 1), probability of kind and number; at none both kinds share
    misfit : how far the likeliest reading lies from any number of either kind [sigmas]
    """

    chances: Floats
    misfit: float

    @property
    def kind(self) -> Kind | None:
        """The kind where it is sure."""
        lost = self.chances[:, 1:].sum(axis=1)
        share = lost / max(float(lost.sum()), 1e-300)
        best = int(np.argmax(share))
        return KINDS[best] if share[best] >= SURE_OF_KIND else None

    @property
    def likeliest(self) -> int:
        """The middle of the chances."""
        return self._quantile(0.5)

    @property
    def low(self) -> int:
        """Fewest, 95 % range."""
        return self._quantile(0.025)

    @property
    def high(self) -> int:
        """Most, 95 % range."""
        return self._quantile(0.975)

    @property
    def if_any(self) -> "Number":
        """Give the number if any tube is lost at all."""
        chances = self.chances.copy()
        chances[:, 0] = 0.0
        return Number(chances=chances / max(float(chances.sum()), 1e-300), misfit=self.misfit)

    def of_kind(self, kind: Kind) -> "Number":
        """Give the number if it is that kind."""
        chances = np.zeros_like(self.chances)
        row = self.chances[KINDS.index(kind)]
        chances[KINDS.index(kind)] = row / max(float(row.sum()), 1e-300)
        return Number(chances=chances, misfit=self.misfit)

    def _quantile(self, share: float) -> int:
        rising = np.cumsum(self.chances.sum(axis=0))
        return int(np.searchsorted(rising, share * rising[-1]))


def number_of(
    *,
    change: Floats,
    covariance: Floats,
    weight: Floats,
    tubes: int,
    a1_w_m2k: float,
    none_weight: float,
) -> Number:
    """Weigh each number of tubes of each kind against what the data say.

    Parameters
    ----------
    change : shape (n, 2), n readings of the step: share of output lost, extra loss [W/(m2 K)]
    covariance : shape (n, 2, 2), of each
    weight : shape (n,), log of how likely each reading is, as `Scan.weight`
    tubes : of the collector
    a1_w_m2k : loss of a sound tube
    none_weight : log of how likely it is that nothing changed, -inf where that is settled

    Returns
    -------
    chances, every number from 1 to N alike beforehand, both kinds alike
    """
    count = np.arange(1, tubes + 1) / tubes
    extra = LOSS_WITHOUT_VACUUM_W_M2K - a1_w_m2k + _REACH_W_M2K * _QUADRATURE
    known = (1.0 - np.abs(_QUADRATURE)) * (extra > 0.2)
    size = -0.5 * np.log(_determinant(covariance))
    top = max(float((weight + size).max()), none_weight)
    scale = np.exp(weight + size - top)
    best, closest, seen = int(np.argmax(weight)), -np.inf, np.empty((2, tubes))
    # Missing tubes change the first of the two alone, those without vacuum the second.
    for kind, sizes, share in (
        (0, count[:, None], np.ones(1)),
        (1, count[:, None] * np.maximum(extra, 0.2), known / known.sum()),
    ):
        likeliest, own, left = map(given, _completed(change, covariance, along=kind))
        weigh(likeliest, own, left, given(scale), given(sizes), given(share), seen[kind])
        suits = ln_chance(sizes, float(likeliest[best]), float(own[best]), float(left[best]))
        closest = max(closest, float(suits.max()))
    chances = np.zeros((2, tubes + 1))
    chances[:, 1:] = seen / (2.0 * tubes)
    chances[:, 0] = 0.5 * float(np.exp(none_weight - top))
    total = float(chances.sum())
    if total <= 0.0:
        chances[:] = 1.0
        total = float(chances.sum())
    return Number(chances=chances / total, misfit=float(np.sqrt(-2.0 * closest)))


def _completed(change: Floats, covariance: Floats, *, along: int) -> tuple[Floats, Floats, Floats]:
    """Complete the square along one of the two parts, the other being nought.

    Parameters
    ----------
    change, covariance : shapes (n, 2) and (n, 2, 2), readings and what is known of them

    Returns
    -------
    shapes (n,), the size that suits each reading best, its precision, and what is left
    """
    other = 1 - along
    spread, shared = covariance[:, other, other], covariance[:, 0, 1]
    likeliest = change[:, along] - shared / spread * change[:, other]
    return likeliest, spread / _determinant(covariance), change[:, other] ** 2 / spread


def _determinant(covariance: Floats) -> Floats:
    """Give it of each of n; shape (n,)."""
    return np.asarray(
        covariance[:, 0, 0] * covariance[:, 1, 1] - covariance[:, 0, 1] * covariance[:, 1, 0]
    )
