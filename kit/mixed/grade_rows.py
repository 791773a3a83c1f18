"""The likelihood of single grades: what the ordinal model says of each row, given its eta.

    P(y <= k) = F(theta_k - eta),

F the logistic distribution. Written with p = F(theta_y - eta) and s = F(eta - theta_{y-1}), a
grade's probability is p s (1 - exp(theta_{y-1} - theta_y)): two logistic terms and a factor that
eta does not enter. Hence, by eta,

    d log P = p - s = e,    -d^2 log P = p(1 - p) + s(1 - s) = w >= 0.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit

from kit.mixed.sparsity import Array, CrossedPattern, Index


@dataclass(frozen=True)
class GradeTerms:
    """Likelihood of each row at one value of its eta (letters as above).

    `p_var` is p(1 - p) and `s_var` s(1 - s).
    """

    p: Array
    s: Array
    p_var: Array
    s_var: Array
    total: float

    @property
    def e(self) -> Array:
        return self.p - self.s

    @property
    def w(self) -> Array:
        return self.p_var + self.s_var

    @property
    def w_slope(self) -> Array:
        """dw/d eta."""
        slope: Array = (2 * self.p - 1) * self.p_var + (1 - 2 * self.s) * self.s_var
        return slope


def grade_terms(up: Array, down: Array) -> GradeTerms:
    """Likelihood of rows from theta_y - eta (`up`) and eta - theta_{y-1} (`down`).

    `total` leaves out the factors that eta does not enter.
    """
    p, s = expit(up), expit(down)
    with np.errstate(divide="ignore"):
        total = float(np.log(p * s).sum())
    return GradeTerms(p, s, p * (1 - p), s * (1 - s), total)


@dataclass(frozen=True)
class GradeRows:
    """Graded rows, their effects and random effects.

    Parameters
    ----------
    y : (n,) integer array
        Step of the scale, counted from 0.
    x : (n, p) array
        Effects' columns, centred.
    pattern : CrossedPattern
        Random effects. A model without any has one term of one level, held at sd 0.
    steps : int
        Number of steps of the scale, K + 1.
    free_sds : int
        Number of standard deviations to estimate.
    """

    y: Index
    x: Array
    pattern: CrossedPattern
    steps: int
    free_sds: int

    @property
    def cuts(self) -> int:
        return self.steps - 1

    @property
    def own(self) -> int:
        """Number of parameters before the effects: the thresholds."""
        return self.cuts

    @property
    def size(self) -> int:
        """Number of parameters: thresholds, effects, standard deviations."""
        total: int = self.cuts + self.x.shape[1] + self.free_sds
        return total

    @cached_property
    def counts(self) -> Index:
        """Number of rows by step."""
        return np.bincount(self.y, minlength=self.steps)

    def part(self, keep: Array) -> "GradeRows":
        """Some of the rows only."""
        pattern = self.pattern.part(keep)
        return GradeRows(self.y[keep], self.x[keep], pattern, self.steps, self.free_sds)

    def split(self, psi: Array) -> tuple[Array, Array, Array]:
        """Thresholds, effects and standard deviations from one vector."""
        cuts, p = self.cuts, self.x.shape[1]
        sd = psi[cuts + p :] if self.free_sds else np.zeros(1)
        return psi[:cuts], psi[cuts : cuts + p], sd

    def distances(self, psi: Array) -> tuple[Array, Array] | None:
        """theta_y - x'beta and x'beta - theta_{y-1}; None if the thresholds are out of order."""
        theta, beta, _ = self.split(psi)
        if not np.all(np.diff(theta) > 0):
            return None
        ends = np.concatenate([[-np.inf], theta, [np.inf]])
        xb = self.x @ beta
        return ends[self.y + 1] - xb, xb - ends[self.y]

    def constant(self, psi: Array) -> float:
        """Log of the factors that eta does not enter."""
        gaps = np.diff(psi[: self.cuts])
        return float(self.counts[1:-1] @ np.log(-np.expm1(-gaps)))

    def conditional(self, psi: Array) -> Callable[[Array], GradeTerms] | None:
        """The rows' likelihood by what random effects add to eta; None outside the domain."""
        distances = self.distances(psi)
        if distances is None:
            return None
        up, down = distances
        return lambda zu: grade_terms(up - zu, down + zu)

    def own_slopes(self, psi: Array, terms: GradeTerms, h: Array, t: Array) -> Array:
        """Slopes of log P - (h w + t e) / 2 by the thresholds, at fixed eta, h and t."""
        upper = (1 - terms.p) - 0.5 * terms.p_var * (h * (1 - 2 * terms.p) + t)
        lower = -(1 - terms.s) + 0.5 * terms.s_var * (h * (1 - 2 * terms.s) - t)
        slope = np.bincount(self.y, upper, self.steps)[:-1]
        slope += np.bincount(self.y, lower, self.steps)[1:]
        return slope + self.gap_slopes(psi[: self.cuts])

    def gap_slopes(self, theta: Array) -> Array:
        """Slopes of `constant` by threshold."""
        pull = self.counts[1:-1] / np.expm1(np.diff(theta))
        slope = np.zeros(theta.size)
        slope[1:] += pull
        slope[:-1] -= pull
        return slope

    def own_pulls(self, psi: Array, terms: GradeTerms) -> list[Array]:
        """de by each threshold, row by row."""
        return [
            np.where(self.y == k, terms.p_var, 0) + np.where(self.y == k + 1, terms.s_var, 0)
            for k in range(self.cuts)
        ]

    def information(self, psi: Array, terms: GradeTerms) -> Array:
        """Minus the second derivatives of log P by thresholds and effects."""
        cuts = self.cuts
        gap = np.diff(psi[:cuts])
        bend = self.counts[1:-1] * np.exp(gap) / np.expm1(gap) ** 2
        corner = np.zeros((cuts, cuts))
        own = np.bincount(self.y, terms.p_var, self.steps)[:-1]
        own += np.bincount(self.y, terms.s_var, self.steps)[1:]
        corner[np.arange(cuts), np.arange(cuts)] = own
        inner = np.arange(cuts - 1)
        corner[inner, inner] += bend
        corner[inner + 1, inner + 1] += bend
        corner[inner, inner + 1] -= bend
        corner[inner + 1, inner] -= bend
        side = np.zeros((cuts, self.x.shape[1]))
        for k in range(cuts):
            side[k] = -(terms.p_var[self.y == k] @ self.x[self.y == k])
            side[k] -= terms.s_var[self.y == k + 1] @ self.x[self.y == k + 1]
        block = (self.x * terms.w[:, None]).T @ self.x
        return np.block([[corner, side], [side.T, block]])
