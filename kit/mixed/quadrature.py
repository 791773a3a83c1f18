"""The ordinal mixed model's log-likelihood by adaptive Gauss-Hermite quadrature: one group.

Each level's random effect is integrated over points z_m placed around its own mode,

    log I_k = log s_k + log sum_m weight_m exp(z_m^2 / 2 + g_k(b_k + s_k z_m)),   s_k = D_k^(-1/2),

with g_k the level's log-likelihood minus b^2 / 2. The gradient follows the points as b_k and s_k
move. Liu and Pierce (1994), A note on Gauss-Hermite quadrature, Biometrika 81; one point gives
Laplace's approximation.
"""

from dataclasses import replace

import numpy as np

from kit.mixed.laplace import LaplaceLikelihood, Mode
from kit.mixed.row_likelihoods import GradeRows, GradeTerms, grade_terms
from kit.mixed.sparsity import Array


class QuadratureLikelihood:
    """Log-likelihood of a model with one group, and its gradient.

    Parameters
    ----------
    rows : GradeRows
        Of a model with one group.
    points : int
    """

    def __init__(self, rows: GradeRows, points: int) -> None:
        self.rows = rows
        self.laplace = LaplaceLikelihood(rows)
        self.z, weight = np.polynomial.hermite_e.hermegauss(points)
        # Normalised so that the normal density of b and of z cancel.
        self.log_weight = np.log(weight / np.sqrt(2 * np.pi)) + 0.5 * self.z**2
        # Levels are the cells when there is one group, but cells may be numbered otherwise.
        self.level = self.rows.pattern.columns[0][self.rows.pattern.cell]

    def mode(self, psi: Array, start: Array | None = None) -> Mode[GradeTerms] | None:
        """The Laplace mode, with the quadrature's value in place of Laplace's."""
        mode = self.laplace.mode(psi, start)
        if mode is None:
            return None
        heights, _ = self._heights(psi, mode)
        top = heights.max(axis=0)
        levels = top + np.log(np.exp(heights - top).sum(axis=0))
        value = self.rows.constant(psi) + float(levels.sum()) - 0.5 * mode.factor.logdet
        return replace(mode, value=value)

    def _conditional_sd(self, mode: Mode[GradeTerms]) -> Array:
        return 1 / np.sqrt(mode.factor.values[: self.rows.pattern.q])

    def _heights(self, psi: Array, mode: Mode[GradeTerms]) -> tuple[Array, list[GradeTerms]]:
        """log weight + z^2/2 + g at each point and level, and the rows' terms at each point."""
        sd = self.rows.split(psi)[2]
        q = self.rows.pattern.q
        distances = self.rows.distances(psi)
        assert distances is not None
        up, down = distances
        conditional_sd = self._conditional_sd(mode)
        heights, each = [], []
        for z, log_weight in zip(self.z, self.log_weight, strict=True):
            b = mode.b + conditional_sd * z
            zu = (sd[0] * b)[self.level]
            terms = grade_terms(up - zu, down + zu)
            g = np.bincount(self.level, np.log(terms.p * terms.s), q) - 0.5 * b**2
            heights.append(log_weight + g)
            each.append(terms)
        return np.stack(heights), each

    def gradient(self, psi: Array, mode: Mode[GradeTerms]) -> Array:
        """Gradient by thresholds, effects and the standard deviation."""
        rows, level, q = self.rows, self.level, self.rows.pattern.q
        sd = float(rows.split(psi)[2][0])
        heights, each = self._heights(psi, mode)
        share = np.exp(heights - heights.max(axis=0))
        share /= share.sum(axis=0)
        conditional_sd = self._conditional_sd(mode)
        b_slopes = self.laplace.mode_slopes(psi, mode)
        s_slopes = -0.5 * conditional_sd[:, None] ** 3 * self._pivot_slopes(psi, mode, b_slopes)
        slope: Array = (s_slopes / conditional_sd[:, None]).sum(axis=0)
        slope[: rows.cuts] += rows.gap_slopes(rows.split(psi)[0])
        for z, terms, pi in zip(self.z, each, share, strict=True):
            b = mode.b + conditional_sd * z
            weighted = pi[level]
            e = terms.e * weighted
            at_level = np.bincount(level, e, q)
            slope[: rows.cuts] += self._cut_slopes(terms, weighted)
            slope[rows.cuts : -1] += rows.x.T @ e
            slope[-1] += float(at_level @ b)
            slope += (sd * at_level - pi * b) @ (b_slopes + z * s_slopes)
        return slope

    def _cut_slopes(self, terms: GradeTerms, weight: Array) -> Array:
        rows = self.rows
        slope = np.bincount(rows.y, weight * (1 - terms.p), rows.steps)[:-1]
        return slope - np.bincount(rows.y, weight * (1 - terms.s), rows.steps)[1:]

    def _pivot_slopes(self, psi: Array, mode: Mode[GradeTerms], b_slopes: Array) -> Array:
        """dD_k/d psi along the moving mode, a (q, parameters) array."""
        rows, level, q, terms = self.rows, self.level, self.rows.pattern.q, mode.terms
        sd = float(rows.split(psi)[2][0])
        bent = terms.w_slope
        p_bend = (1 - 2 * terms.p) * terms.p_var
        s_bend = (1 - 2 * terms.s) * terms.s_var
        columns = []
        for k in range(rows.cuts):
            moved = np.where(rows.y == k, p_bend, 0) - np.where(rows.y == k + 1, s_bend, 0)
            columns.append(sd**2 * np.bincount(level, moved, q))
        columns += [sd**2 * np.bincount(level, bent * x, q) for x in rows.x.T]
        by_eta = np.bincount(level, bent, q)
        weight = np.bincount(level, terms.w, q)
        columns.append(2 * sd * weight + sd**2 * by_eta * mode.b)
        slopes: Array = np.column_stack(columns) + (sd**3 * by_eta)[:, None] * b_slopes
        return slopes
