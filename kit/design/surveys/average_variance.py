"""What a survey is judged by: how unsure the pairs remain, on average or at worst.

Letters: V the covariance of all pairs, w their weights, k the covariance of patches with each
other and Q its inverse, C = V at the patches' pairs. A batch holds c candidates, each of which
puts other pairs in the place of the same r patches.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from kit.design.surveys.pair_covariance import Floats, Ints

SHARPNESS = 8
"""Power of the mean that stands for the worst pair while searching."""


@dataclass(frozen=True, eq=False)
class Batch:
    """Candidates for r patches.

    Parameters
    ----------
    pair : (c, r) int array
    L : (n, r) array
        Q - L L' is the inverse covariance of the patches that stay, with zeros for those that go.
    A : (n, c, r) array
        (Q - L L') times the covariance of the patches that stay with the candidates.
    S_inverse : (c, r, r) array
        Inverse covariance of the candidates given the patches that stay.
    """

    pair: Ints
    L: Floats
    A: Floats
    S_inverse: Floats


class Standing(Protocol):
    """A plan as a criterion sees it.

    Attributes
    ----------
    value : float
        The criterion; small is good.
    """

    value: float

    def scores(self, batch: Batch) -> Floats:
        """Return the criterion after each exchange of a batch, shape (c,)."""
        ...


Criterion = Callable[[Ints, Floats], Standing]
"""Makes the standing of a plan from its patches' pairs, shape (n,), and Q."""


class AverageVariance:
    """Weighted mean prediction variance, sum_p w_p Var(f_p | plan), weights summing to one.

    With M = V W V it equals tr(W V) - tr(Q M), M taken at the patches' pairs: pairs that are on
    no tile need not be looked at while searching.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        self.M = V @ (w[:, None] * V)
        self.prior = float(np.diag(V) @ w)

    def __call__(self, pair: Ints, Q: Floats) -> Standing:
        return _Average(self, pair, Q)


class _Average:
    def __init__(self, of: AverageVariance, pair: Ints, Q: Floats) -> None:
        self._all, self._pair = of.M, pair
        self._M = of.M[np.ix_(pair, pair)]
        self.value = of.prior - float(np.sum(Q * self._M))

    def scores(self, batch: Batch) -> Floats:
        n, c, r = batch.A.shape
        across = self._all[np.ix_(self._pair, batch.pair.ravel())].reshape(n, c, r)
        MA = (self._M @ batch.A.reshape(n, c * r)).reshape(n, c, r)
        N = np.einsum("ncr,ncs->crs", batch.A, MA - across)
        N -= np.einsum("ncr,ncs->crs", across, batch.A)
        N += self._all[batch.pair[:, :, None], batch.pair[:, None, :]]
        without = self.value + float(np.sum(batch.L * (self._M @ batch.L)))
        return without - np.einsum("crs,crs->c", batch.S_inverse, N)


class WorstVariance:
    """Largest weighted prediction variance, smoothed to (mean_p (w_p Var(f_p))^q)^(1/q).

    The true largest value stays put under most exchanges, which leaves a search nothing to go by.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        wanted = np.flatnonzero(w)
        self.V, self.w, self.prior = V[wanted], w[wanted] / w.max(), np.diag(V)[wanted]

    def __call__(self, pair: Ints, Q: Floats) -> Standing:
        return _Worst(self, pair, Q)


class _Worst:
    def __init__(self, of: WorstVariance, pair: Ints, Q: Floats) -> None:
        self._of = of
        self._C = of.V[:, pair]
        self._variance = of.prior - np.einsum("pi,pi->p", self._C @ Q, self._C)
        self.value = float(self._smooth(self._variance[:, None])[0])

    def scores(self, batch: Batch) -> Floats:
        n, c, r = batch.A.shape
        G = self._of.V[:, batch.pair.ravel()] - self._C @ batch.A.reshape(n, c * r)
        G = G.reshape(-1, c, r)
        gain = np.einsum("pcr,pcr->pc", np.einsum("pcr,crs->pcs", G, batch.S_inverse), G)
        without = self._variance + np.sum((self._C @ batch.L) ** 2, axis=1)
        return self._smooth(without[:, None] - gain)

    def _smooth(self, variance: Floats) -> Floats:
        weighted = self._of.w[:, None] * np.maximum(variance, 0.0)
        return np.mean(weighted**SHARPNESS, axis=0) ** (1 / SHARPNESS)


CRITERIA: dict[str, Callable[[Floats, Floats], Criterion]] = {
    "average": AverageVariance,
    "worst": WorstVariance,
}
