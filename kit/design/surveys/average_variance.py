"""What an exchange gains: the weighted average of the variance that pairs keep.

Letters: V the covariance of all pairs, w their weights, k the covariance of patches with each
other and Q its inverse, C = V at the patches' pairs. A batch holds c candidates, each of which
puts other pairs in the place of the same r patches.
"""

from dataclasses import dataclass

import numpy as np

from kit.design.surveys.numbered_pairs import Floats, Ints


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


class AverageVariance:
    """Weighted sum of prediction variances, sum_p w_p Var(f_p | plan), with weights of any sum.

    With M = V W V it equals tr(W V) - tr(Q M), M taken at the patches' pairs: pairs that are on
    no tile need not be looked at while searching.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        self.M = V @ (w[:, None] * V)
        self.prior = float(np.diag(V) @ w)

    def __call__(self, pair: Ints, Q: Floats) -> "Standing":
        return Standing(self, pair, Q)


class Standing:
    """A plan as the criterion sees it.

    Attributes
    ----------
    value : float
        The criterion; small is good.
    """

    def __init__(self, of: AverageVariance, pair: Ints, Q: Floats) -> None:
        self._all, self._pair = of.M, pair
        self._M = of.M[np.ix_(pair, pair)]
        self.value = of.prior - float(np.sum(Q * self._M))

    def scores(self, batch: Batch) -> Floats:
        """Return the criterion after each exchange of a batch, shape (c,)."""
        n, c, r = batch.A.shape
        across = self._all[np.ix_(self._pair, batch.pair.ravel())].reshape(n, c, r)
        MA = (self._M @ batch.A.reshape(n, c * r)).reshape(n, c, r)
        N = np.einsum("ncr,ncs->crs", batch.A, MA - across)
        N -= np.einsum("ncr,ncs->crs", across, batch.A)
        N += self._all[batch.pair[:, :, None], batch.pair[:, None, :]]
        without = self.value + float(np.sum(batch.L * (self._M @ batch.L)))
        criterion: Floats = without - np.einsum("crs,crs->c", batch.S_inverse, N)
        return criterion
