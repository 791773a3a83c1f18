"""The linear mixed model's log-likelihood by penalised least squares, with its exact gradient.

    y = Q delta + Z L b + e,    e ~ N(0, s^2 I),    b ~ N(0, s^2 I),

L holding standard deviations relative to the residual's, Q an orthonormal basis of the effects.
With D = I + L Z'Z L, M = L Z'Q and B = D^-1 M, everything is a matter of q-by-q sums that are
taken once:

    S = I - M'B,  delta = S^-1 (Q'y - M' D^-1 L Z'y),  b = D^-1 L Z'(y - Q delta),
    -2 log P = n log(2 pi s^2) + log det D + (|y - Q delta - Z L b|^2 + |b|^2) / s^2,

and REML takes n - p for n and adds log det S and the basis's own determinant. Bates, Machler,
Bolker and Walker (2015), Fitting linear mixed-effects models using lme4, Journal of Statistical
Software 67. A normal prior on the effects adds s^2 P to S.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from kit.mixed.cholesky import CrossedFactor
from kit.mixed.prior import Prior
from kit.mixed.sparsity import Array, CrossedPattern


@dataclass(frozen=True)
class Solution:
    """The best effects and random effects at given standard deviations (letters as above).

    `b_of_q` is B, `gap_of_q` is Z'(Q - Z L B) and `pull` is Z'(y - Q delta - Z L b).
    """

    delta: Array
    b: Array
    s_matrix: Array
    factor: CrossedFactor
    b_of_q: Array
    gap_of_q: Array
    pull: Array
    squares: float
    penalty: float


class PenalisedLikelihood:
    """Log-likelihood of a linear mixed model by relative standard deviations and log residual sd.

    Parameters
    ----------
    x : (n, p) array
        Independent columns, the constant among them.
    y : (n,) array
    pattern : CrossedPattern
    reml : bool
    prior : Prior or None
    reach : (p,) array
        Range of each column; 0 for the constant, which has no prior.
    """

    def __init__(
        self,
        x: Array,
        y: Array,
        pattern: CrossedPattern,
        terms: int,
        reml: bool,
        prior: Prior | None,
        reach: Array,
    ) -> None:
        self.pattern, self.terms, self.reml, self.prior = pattern, terms, reml, prior
        basis, self.triangle = np.linalg.qr(x)
        self.n, self.p = x.shape
        self.first = basis.T @ y
        rest = y - basis @ self.first
        # Projected twice: what is left is orthogonal to the basis to the last digit.
        again = basis.T @ rest
        self.first, rest = self.first + again, rest - basis @ again
        self.rest_squares = float(rest @ rest)
        self.summed = pattern.gather(np.bincount(pattern.cell, minlength=pattern.cells) * 1.0)
        self.z_rest = self._down(rest)
        self.z_basis = np.array([self._down(column) for column in basis.T]).reshape(-1, pattern.q).T
        self.unit = float(y.std())
        self.penalty = self._penalty(reach)
        self.count = self.n - self.p if reml else self.n
        log_size = float(np.log(np.abs(np.diag(self.triangle))).sum())
        self.constant = 0.5 * self.count * np.log(2 * np.pi) + (log_size if reml else 0.0)

    def _down(self, values: Array) -> Array:
        pattern = self.pattern
        return pattern.by_column(np.bincount(pattern.cell, values, pattern.cells))

    def _penalty(self, reach: Array) -> Array:
        """P: the prior's precision of the effects, in the basis's coordinates."""
        if self.prior is None:
            return np.zeros((self.p, self.p))
        precision = (reach / (self.prior.effect_sd * self.unit)) ** 2
        back = solve_triangular(self.triangle, np.eye(self.p))
        penalty: Array = (back.T * precision) @ back
        return penalty

    def split(self, phi: Array) -> tuple[Array, float]:
        """Relative standard deviations and the residual's from one vector."""
        relative = phi[: self.terms] if self.terms else np.zeros(1)
        return relative, float(np.exp(phi[-1]))

    def solve(self, phi: Array) -> Solution:
        """Effects and random effects that are best at given standard deviations."""
        pattern = self.pattern
        relative, s = self.split(phi)
        column_sd = relative[pattern.term]
        factor = CrossedFactor(pattern, self.summed, pattern.scale(relative))
        m, m_rest = column_sd[:, None] * self.z_basis, column_sd * self.z_rest
        both = factor.solve(np.column_stack([m, m_rest]))
        b_of_q, b_rest = both[:, :-1], both[:, -1]
        prior = s**2 * self.penalty
        s_matrix = np.eye(self.p) - m.T @ b_of_q + prior
        delta = np.linalg.solve(s_matrix, -m.T @ b_rest - prior @ self.first)
        b = b_rest - b_of_q @ delta
        beta = self.first + delta
        penalty = float(beta @ self.penalty @ beta)
        bare = s_matrix - prior
        squares = self.rest_squares - float(m_rest @ b_rest)
        squares += 2 * float(delta @ (m.T @ b_rest)) + float(delta @ bare @ delta)
        inner = pattern.times(self.summed, column_sd[:, None] * np.column_stack([b_of_q, b]))
        pull = self.z_rest - self.z_basis @ delta - inner[:, -1]
        gap = self.z_basis - inner[:, :-1]
        return Solution(delta, b, s_matrix, factor, b_of_q, gap, pull, squares, penalty)

    def log_likelihood(self, phi: Array, at: Solution) -> float:
        """Log-likelihood (REML: the residual one), without the prior."""
        _, s = self.split(phi)
        value = self.constant + self.count * np.log(s)
        value += 0.5 * at.factor.logdet + 0.5 * at.squares / s**2
        if self.reml:
            value += 0.5 * np.linalg.slogdet(at.s_matrix)[1]
        return -float(value)

    def objective(self, phi: Array, _: Solution | None) -> tuple[float, Array, Solution | None]:
        """Minus the log of likelihood times prior, with its gradient."""
        if not np.all(np.isfinite(phi)) or phi[-1] > 300 or phi[-1] < -300:
            return np.inf, np.zeros_like(phi), None
        relative, s = self.split(phi)
        at = self.solve(phi)
        value = -self.log_likelihood(phi, at) + 0.5 * at.penalty
        slope = np.zeros_like(phi)
        slope[-1] = self.count - at.squares / s**2
        inverse_s = np.linalg.inv(at.s_matrix)
        if self.reml:
            slope[-1] += s**2 * float(np.sum(inverse_s * self.penalty))
        if self.terms:
            slope[:-1] = self._sd_slopes(relative, s, at, inverse_s)
        if self.prior is not None:
            # The residual is held as well: few rows with many effects would drive it to nothing.
            every = np.append(relative, 1.0)
            density, by_sd, _bend = self.prior.sd_terms(every * s, self.unit)
            value -= density
            slope[:-1] -= by_sd[:-1] * s
            slope[-1] -= float(by_sd @ every) * s
        return value, slope, at

    def _sd_slopes(self, relative: Array, s: float, at: Solution, inverse_s: Array) -> Array:
        pattern = self.pattern
        slope = pattern.sd_trace(self.summed, at.factor.inverse(), relative)
        by_level = -at.b * at.pull / s**2
        if self.reml:
            by_level -= np.sum((at.b_of_q @ inverse_s) * at.gap_of_q, axis=1)
        return slope + np.bincount(pattern.term, by_level, self.terms)

    def curvature(self, phi: Array) -> Array:
        """A first guess at the Hessian: each standard deviation by its own levels."""
        relative, s = self.split(phi)
        guess = np.zeros((phi.size, phi.size))
        guess[-1, -1] = 2 * self.count
        if self.terms:
            weight = self.summed[: self.pattern.q]
            column_sd = np.maximum(np.abs(relative), 0.1)[self.pattern.term]
            share = column_sd * weight / (1 + column_sd**2 * weight)
            place = np.arange(self.terms)
            guess[place, place] = 2 * np.bincount(self.pattern.term, share**2, self.terms)
            if self.prior is not None:
                bend = self.prior.sd_terms(relative * s, self.unit)[2]
                guess[place, place] -= bend * s**2
        return guess

    def effects_back(self, block: Array) -> Array:
        """From the basis's coordinates to those of the columns: R^-1 block."""
        back: Array = solve_triangular(self.triangle, block)
        return back

    def moving(self, phi: Array, at: Solution) -> tuple[Array, Array]:
        """How effects and modes move with the standard deviations.

        Returns
        -------
        delta_slopes : (p, parameters) array
            d delta / d phi.
        b_slopes : (q, parameters) array
            d b / d phi at fixed delta, b in units of s.
        """
        pattern = self.pattern
        relative, s = self.split(phi)
        column_sd = relative[pattern.term]
        delta_slopes = np.zeros((self.p, phi.size))
        right = np.zeros((pattern.q, phi.size))
        for j in range(self.terms):
            own = pattern.term == j
            turned = at.b_of_q[own].T @ at.pull[own] + at.gap_of_q[own].T @ at.b[own]
            delta_slopes[:, j] = -np.linalg.solve(at.s_matrix, turned)
            moved = pattern.times(self.summed, np.where(own, at.b, 0.0)[:, None])[:, 0]
            right[:, j] = np.where(own, at.pull, 0.0) - column_sd * moved
        prior = 2 * s**2 * self.penalty @ (self.first + at.delta)
        delta_slopes[:, -1] = -np.linalg.solve(at.s_matrix, prior)
        b_slopes = at.factor.solve(right) / s
        b_slopes[:, -1] = -at.b / s
        return delta_slopes, b_slopes
