"""What a survey is judged by: how unsure the pairs remain, on average or at worst.

Letters as in the docstrings: V the covariance of all pairs, k the covariance of patches with each
other, Q = k⁻¹, w the weights of pairs. A batch of candidates is scored at once; candidate c
replaces r patches by the pairs named in row c.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.design.pair_field import Floats, Ints

SHARPNESS = 8
"""Power of the mean that stands for the worst pair while searching."""


@dataclass(frozen=True, eq=False)
class Rest:
    """The patches that stay while others are replaced.

    Parameters
    ----------
    pair : (n,) int array
    Q : (n, n) array
        Inverse of their covariance.
    """

    pair: Ints
    Q: Floats


@dataclass(frozen=True, eq=False)
class Batch:
    """Candidates for r patches.

    Parameters
    ----------
    pair : (c, r) int array
    A : (n, c, r) array
        Q times the covariance of the patches that stay with the candidates.
    S_inverse : (c, r, r) array
        Inverse covariance of the candidates given the patches that stay.
    """

    pair: Ints
    A: Floats
    S_inverse: Floats


class Criterion:
    """Something to make small; `scores` gives its value for each candidate of a batch."""

    def value(self, plan: Rest) -> float:
        """Return the criterion of a whole plan."""
        raise NotImplementedError

    def scores(self, rest: Rest, batch: Batch) -> Floats:
        """Return the criterion of `rest` with each candidate added, shape (c,)."""
        raise NotImplementedError


class AverageVariance(Criterion):
    """Weighted mean prediction variance, sum_p w_p Var(f_p | plan), weights summing to one.

    With M = V W V it equals tr(W V) - tr(Q M), M taken at the patches' pairs: no pair that is
    not on a tile need be looked at while searching.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        self._total = float(np.diag(V) @ w)
        self._M = V @ (w[:, None] * V)

    def value(self, plan: Rest) -> float:
        return self._total - float(np.sum(plan.Q * self._M[np.ix_(plan.pair, plan.pair)]))

    def scores(self, rest: Rest, batch: Batch) -> Floats:
        n, c, r = batch.A.shape
        flat = batch.A.reshape(n, c * r)
        M = self._M[np.ix_(rest.pair, rest.pair)]
        across = self._M[np.ix_(rest.pair, batch.pair.ravel())]
        N = np.einsum("ncr,ncs->crs", batch.A, (M @ flat - across).reshape(n, c, r))
        N -= np.einsum("ncr,ncs->crs", across.reshape(n, c, r), batch.A)
        N += self._M[batch.pair[:, :, None], batch.pair[:, None, :]]
        return self.value(rest) - np.einsum("crs,crs->c", batch.S_inverse, N)


class WorstVariance(Criterion):
    """Largest weighted prediction variance, smoothed to (mean_p (w_p Var(f_p))^q)^(1/q).

    The true largest value stays put under most exchanges, which leaves a search nothing to go by.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        wanted = np.flatnonzero(w)
        self._V, self._w, self._prior = V[wanted], w[wanted] / w.max(), np.diag(V)[wanted]

    def value(self, plan: Rest) -> float:
        return float(self._smooth(self._variance(plan)[:, None])[0])

    def scores(self, rest: Rest, batch: Batch) -> Floats:
        n, c, r = batch.A.shape
        G = self._V[:, batch.pair.ravel()] - self._V[:, rest.pair] @ batch.A.reshape(n, c * r)
        G = G.reshape(-1, c, r)
        gain = np.einsum("pcr,crs,pcs->pc", G, batch.S_inverse, G, optimize=True)
        return self._smooth(self._variance(rest)[:, None] - gain)

    def _variance(self, plan: Rest) -> Floats:
        C = self._V[:, plan.pair]
        return self._prior - np.einsum("pi,pi->p", C @ plan.Q, C)

    def _smooth(self, variance: Floats) -> Floats:
        weighted = self._w[:, None] * np.maximum(variance, 0.0)
        return np.mean(weighted**SHARPNESS, axis=0) ** (1 / SHARPNESS)


CRITERIA: dict[str, Callable[[Floats, Floats], Criterion]] = {
    "average": AverageVariance,
    "worst": WorstVariance,
}
