"""The likelihood of single rows, given their eta: of grades, and of measurements.

Grades:

    P(y <= k) = F(theta_k - eta),

F the logistic distribution. Written with p = F(theta_y - eta) and s = F(eta - theta_{y-1}), a
grade's probability is p s (1 - exp(theta_{y-1} - theta_y)): two logistic terms and a factor that
eta does not enter. Hence, by eta,

    d log P = p - s = e,    -d^2 log P = p(1 - p) + s(1 - s) = w >= 0.

Measurements:

    m_i = a + b eta_i + error,  error ~ N(0, v_i),  v_i = tau^2 + (known standard error of i)^2.

With r = m - a - b eta, a measurement's log-likelihood is -(log 2 pi v + r^2 / v) / 2. One that only
says 'this or less' (side 1) or 'this or more' (side -1) has Phi(q) instead, q = side r / sqrt(v):
what lies beyond what the camera can tell is censored, as in Tobin (1958), Estimation of
relationships for limited dependent variables, Econometrica 26. With h = phi(q) / Phi(q) and
k = h (q + h), which lies between 0 and 1,

    d log Phi = h,   -d^2 log Phi = k,   dk/dq = h - k (q + 2 h),   dq/d eta = -side b / sqrt(v).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit, log_ndtr

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
class FittedRows:
    """Rows with effects and random effects, and how their parameters stand in one vector.

    In front stand `own` of the rows', then the effects, the standard deviations and, behind them,
    any further ones of the rows'.

    Parameters
    ----------
    y : (g,) integer array
        Step of each graded row, counted from 0.
    x : (n, p) array
        Effects' columns, centred.
    pattern : CrossedPattern
        Random effects. A model without any has one term of one level, held at sd 0.
    steps : int
        Number of steps of the scale, K + 1; 1 without grades.
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
    def behind(self) -> int:
        """Number of parameters behind the standard deviations."""
        return 0

    @property
    def size(self) -> int:
        """Number of parameters."""
        total: int = self.own + self.x.shape[1] + self.free_sds + self.behind
        return total

    def split(self, psi: Array) -> tuple[Array, Array, Array]:
        """Own parameters in front, effects and standard deviations from one vector."""
        first, last = self.own, self.own + self.x.shape[1]
        sd = psi[last : last + self.free_sds] if self.free_sds else np.zeros(1)
        return psi[:first], psi[first:last], sd


@dataclass(frozen=True)
class GradeRows(FittedRows):
    """Graded rows, their effects and random effects."""

    @cached_property
    def counts(self) -> Index:
        """Number of rows by step."""
        return np.bincount(self.y, minlength=self.steps)

    def part(self, keep: Array) -> "GradeRows":
        """Some of the rows only."""
        pattern = self.pattern.part(keep)
        return GradeRows(self.y[keep], self.x[keep], pattern, self.steps, self.free_sds)

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


@dataclass(frozen=True)
class MeasuredTerms:
    """Likelihood of each measurement at one value of its eta.

    `q`, `first`, `second` and `third` are r / sqrt(v), or q, and the derivatives by it of the
    log-likelihood (of minus, minus, that of `second`); `pull` is dq/d eta.
    """

    eta: Array
    v: Array
    q: Array
    pull: Array
    first: Array
    second: Array
    third: Array
    total: float

    @property
    def e(self) -> Array:
        return self.first * self.pull

    @property
    def w(self) -> Array:
        w: Array = self.second * self.pull**2
        return w

    @property
    def w_slope(self) -> Array:
        """dw/d eta."""
        slope: Array = self.third * self.pull**3
        return slope


@dataclass(frozen=True)
class MeasuredRows:
    """Measurements, their known errors, and which of them are censored.

    Parameters
    ----------
    values, error : (m,) arrays
    side : (m,) integer array
        0 for what was read, 1 for 'this or less', -1 for 'this or more'.
    """

    values: Array
    error: Array
    side: Index

    @property
    def size(self) -> int:
        return int(self.values.size)

    @property
    def read(self) -> int:
        """How many were read: what a change of units counts for."""
        return int((self.side == 0).sum())

    def variances(self, tau: float) -> Array:
        return self.error**2 + tau**2

    def terms(self, eta: Array, a: float, b: float, v: Array) -> MeasuredTerms:
        """The measurements' likelihood at eta."""
        sign = np.where(self.side == 0, 1, self.side)
        q = sign * (self.values - a - b * eta) / np.sqrt(v)
        exact = self.side == 0
        log_below = log_ndtr(q)
        h = np.exp(-0.5 * q**2 - 0.5 * np.log(2 * np.pi) - log_below)
        k = h * (q + h)
        single = np.where(exact, -0.5 * (np.log(2 * np.pi * v) + q**2), log_below)
        return MeasuredTerms(
            eta,
            v,
            q,
            -sign * b / np.sqrt(v),
            np.where(exact, -q, h),
            np.where(exact, 1.0, k),
            np.where(exact, 0.0, h - k * (q + 2 * h)),
            float(single.sum()),
        )

    def by_link(self, terms: MeasuredTerms) -> tuple[list[Array], list[Array]]:
        """dq and d(dq/d eta) by a, b and v, row by row."""
        sign = np.where(self.side == 0, 1, self.side)
        unit = -sign / np.sqrt(terms.v)
        moved = [unit, terms.eta * unit, -0.5 * terms.q / terms.v]
        turned = [np.zeros(self.size), unit, -0.5 * terms.pull / terms.v]
        return moved, turned

    def slopes(self, terms: MeasuredTerms, h: Array, t: Array) -> list[Array]:
        """Slopes of log P - (h w + t e) / 2 by a, b and v at fixed eta, h and t, row by row."""
        moved, turned = self.by_link(terms)
        g = terms.pull
        found = []
        for q, own in zip(moved, turned, strict=True):
            by_w = terms.third * q * g**2 + 2 * terms.second * g * own
            by_e = -terms.second * q * g + terms.first * own
            found.append(terms.first * q - 0.5 * (h * by_w + t * by_e))
        # What a reading's density is wide by; a censored one is a chance and has none.
        found[2] = found[2] - np.where(self.side == 0, 0.5 / terms.v, 0.0)
        return found

    def pulls(self, terms: MeasuredTerms) -> list[Array]:
        """de by a, b and v, row by row."""
        return [
            -terms.second * q * terms.pull + terms.first * own
            for q, own in zip(*self.by_link(terms), strict=True)
        ]

    def of_v(self, terms: MeasuredTerms) -> float:
        """Information on v, summed: expected for readings, observed for the rest."""
        seen = np.where(self.side == 0, 2.0, terms.second * terms.q**2)
        return float((0.25 * seen / terms.v**2).sum())
