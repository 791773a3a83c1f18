"""The ordinal mixed model's log-likelihood by Laplace's approximation, with its exact gradient.

For row i with grade y_i, effects x_i and columns z_i of Z,

    P(y_i <= k) = F(theta_k - eta_i),    eta_i = x_i' beta + z_i' L b,    b ~ N(0, I),

F the logistic distribution and L the standard deviations. Written with p = F(theta_y - eta) and
s = F(eta - theta_{y-1}), a grade's probability is p s (1 - exp(theta_{y-1} - theta_y)): two
logistic terms and a factor that the random effects do not enter. Hence, by eta,

    d log P = p - s = e,    -d^2 log P = p(1 - p) + s(1 - s) = w >= 0,

so log P - b'b/2 has one maximum b^ and Laplace's approximation is

    log P(b^) - b^'b^/2 - log det D / 2,    D = I + L Z'WZ L.

Its gradient follows b^ by implicit differentiation: D db^ = d(L Z'e) at fixed b. Tierney and
Kadane (1986), Accurate approximations for posterior moments and marginal densities, JASA 81;
Skaug and Fournier (2006), Automatic approximation of the marginal likelihood in non-Gaussian
hierarchical models, Computational Statistics & Data Analysis 51.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from kit.mixed.cholesky import CrossedFactor
from kit.mixed.sparsity import Array, CrossedPattern, Index

# Newton's decrement at which the mode is as exact as the arithmetic lets it be used.
MODE_TOLERANCE = 1e-14
MODE_STEPS = 60


@dataclass(frozen=True)
class OrdinalRows:
    """What the likelihood needs of the data.

    Parameters
    ----------
    y : (n,) integer array
        Step of the scale, counted from 0.
    x : (n, p) array
        Effects' columns, centred.
    pattern : CrossedPattern
        Random intercepts. A model without any has one term of one level, held at sd 0.
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
    def size(self) -> int:
        """Number of parameters: thresholds, effects, standard deviations."""
        return self.cuts + self.x.shape[1] + self.free_sds

    def split(self, psi: Array) -> tuple[Array, Array, Array]:
        """Thresholds, effects and standard deviations from one vector."""
        cuts, p = self.cuts, self.x.shape[1]
        sd = psi[cuts + p :] if self.free_sds else np.zeros(1)
        return psi[:cuts], psi[cuts : cuts + p], sd


@dataclass(frozen=True)
class RowTerms:
    """Likelihood of each row at one value of its random effects (letters as above).

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
        return (2 * self.p - 1) * self.p_var + (1 - 2 * self.s) * self.s_var


def row_terms(up: Array, down: Array) -> RowTerms:
    """Likelihood of rows from theta_y - eta (`up`) and eta - theta_{y-1} (`down`)."""
    p, s = expit(up), expit(down)
    with np.errstate(divide="ignore"):
        total = float(np.log(p * s).sum())
    return RowTerms(p, s, p * (1 - p), s * (1 - s), total)


@dataclass(frozen=True)
class Mode:
    """The maximum over the random effects at one parameter vector.

    Attributes
    ----------
    b : (q,) array
        Standardised random effects.
    terms : RowTerms
    factor : CrossedFactor
        D at the mode.
    summed : (stored,) array
        Z'WZ at the mode.
    value : float
        Laplace log-likelihood.
    """

    b: Array
    terms: RowTerms
    factor: CrossedFactor
    summed: Array
    value: float


class LaplaceLikelihood:
    """Laplace log-likelihood of an ordinal mixed model and its gradient.

    Parameters
    ----------
    rows : OrdinalRows
    """

    def __init__(self, rows: OrdinalRows) -> None:
        self.rows = rows
        self.counts = np.bincount(rows.y, minlength=rows.steps)

    def mode(self, psi: Array, start: Array | None = None) -> Mode | None:
        """Find the mode by Newton's method, steps halved until they rise.

        Returns None where the thresholds are out of order.
        """
        rows, pattern = self.rows, self.rows.pattern
        theta, beta, sd = rows.split(psi)
        gaps = np.diff(theta)
        if not np.all(gaps > 0) or not np.all(np.isfinite(psi)):
            return None
        constant = float(self.counts[1:-1] @ np.log(-np.expm1(-gaps)))
        ends = np.concatenate([[-np.inf], theta, [np.inf]])
        xb = rows.x @ beta
        up, down = ends[rows.y + 1] - xb, xb - ends[rows.y]
        spread = sd[pattern.term]
        scale = pattern.scale(sd)
        cell = pattern.cell

        def at(b: Array) -> tuple[RowTerms, float]:
            zu = pattern.by_cell(spread * b)[cell]
            terms = row_terms(up - zu, down + zu)
            return terms, terms.total - 0.5 * float(b @ b)

        b = np.zeros(pattern.q) if start is None else start
        terms, height = at(b)
        if not np.isfinite(height):
            b = np.zeros(pattern.q)
            terms, height = at(b)
            if not np.isfinite(height):
                return None
        for _ in range(MODE_STEPS):
            summed = pattern.gather(np.bincount(cell, terms.w, pattern.cells))
            factor = CrossedFactor(pattern, summed, scale)
            rise = spread * pattern.by_column(np.bincount(cell, terms.e, pattern.cells)) - b
            step = factor.solve(rise)
            decrement = float(rise @ step)
            if decrement < MODE_TOLERANCE:
                break
            b, terms, height = _climb(at, b, step, height)
        value = constant + height - 0.5 * factor.logdet
        return Mode(b, terms, factor, summed, value)

    def gradient(self, psi: Array, mode: Mode) -> Array:
        """Gradient of the Laplace log-likelihood by thresholds, effects and sds.

        The sensitivity of log det D to eta is carried back through the mode (an adjoint), so the
        cost does not grow with the number of parameters.
        """
        rows, pattern, terms = self.rows, self.rows.pattern, mode.terms
        theta, _, sd = rows.split(psi)
        cell, spread = pattern.cell, sd[pattern.term]
        inverse = mode.factor.inverse()
        h = pattern.leverage(inverse, sd)[cell]
        hw = h * terms.w_slope
        pull = np.bincount(cell, hw, pattern.cells)
        v = mode.factor.solve(spread * pattern.by_column(pull))
        t = pattern.by_cell(spread * v)[cell]
        e_star = terms.e + 0.5 * (terms.w * t - hw)
        by_cut = self._cut_slopes(theta, terms, h, t)
        by_effect = rows.x.T @ e_star
        if not rows.free_sds:
            return np.concatenate([by_cut, by_effect])
        by_level = mode.b * pattern.by_column(np.bincount(cell, e_star, pattern.cells))
        by_level -= 0.5 * v * pattern.by_column(np.bincount(cell, terms.e, pattern.cells))
        by_sd = np.bincount(pattern.term, by_level, sd.size)
        by_sd -= pattern.sd_trace(mode.summed, inverse, sd)
        return np.concatenate([by_cut, by_effect, by_sd])

    def _cut_slopes(self, theta: Array, terms: RowTerms, h: Array, t: Array) -> Array:
        rows = self.rows
        upper = (1 - terms.p) - 0.5 * terms.p_var * (h * (1 - 2 * terms.p) + t)
        lower = -(1 - terms.s) + 0.5 * terms.s_var * (h * (1 - 2 * terms.s) - t)
        slope = np.bincount(rows.y, upper, rows.steps)[:-1]
        slope += np.bincount(rows.y, lower, rows.steps)[1:]
        return slope + self.gap_slopes(theta)

    def gap_slopes(self, theta: Array) -> Array:
        """Slopes of the factor 1 - exp(-gap), summed over rows, by threshold."""
        pull = self.counts[1:-1] / np.expm1(np.diff(theta))
        slope = np.zeros(theta.size)
        slope[1:] += pull
        slope[:-1] -= pull
        return slope

    def mode_slopes(self, psi: Array, mode: Mode) -> Array:
        """db^/d psi, a (q, parameters) array."""
        return mode.factor.solve(self.rise_slopes(psi, mode))

    def rise_slopes(self, psi: Array, mode: Mode) -> Array:
        """Derivative of L Z'e - b by psi at fixed b, a (q, parameters) array."""
        rows, pattern, terms = self.rows, self.rows.pattern, mode.terms
        _, _, sd = rows.split(psi)
        cell, spread = pattern.cell, sd[pattern.term]

        def down(values: Array) -> Array:
            return pattern.by_column(np.bincount(cell, values, pattern.cells))

        columns = []
        for k in range(rows.cuts):
            slope = np.where(rows.y == k, terms.p_var, 0) + np.where(
                rows.y == k + 1, terms.s_var, 0
            )
            columns.append(spread * down(slope))
        columns += [-spread * down(terms.w * x) for x in rows.x.T]
        pull = down(terms.e)
        for j in range(rows.free_sds):
            own = pattern.term == j
            moved = pattern.by_cell(np.where(own, mode.b, 0))[cell]
            columns.append(np.where(own, pull, 0) - spread * down(terms.w * moved))
        return np.column_stack(columns)

    def curvature(self, psi: Array, mode: Mode) -> Array:
        """A first guess at minus the Hessian, good enough to start a search.

        For thresholds and effects, the joint information with the random effects eliminated; for
        each standard deviation, what its levels would say if no other term crossed them.
        """
        rows, pattern, terms = self.rows, self.rows.pattern, mode.terms
        theta, beta, sd = rows.split(psi)
        fixed = rows.cuts + beta.size
        information = np.zeros((rows.size, rows.size))
        information[:fixed, :fixed] = self._fixed_information(theta, terms)
        rise = self.rise_slopes(psi, mode)[:, :fixed]
        information[:fixed, :fixed] -= rise.T @ mode.factor.solve(rise)
        if rows.free_sds:
            weight = mode.summed[: pattern.q]
            spread = np.maximum(sd, 0.1)[pattern.term]
            share = spread * weight / (1 + spread**2 * weight)
            own = 2 * np.bincount(pattern.term, share**2, sd.size)
            information[np.arange(fixed, rows.size), np.arange(fixed, rows.size)] = own
        return information

    def _fixed_information(self, theta: Array, terms: RowTerms) -> Array:
        rows = self.rows
        cuts = rows.cuts
        gap = np.diff(theta)
        bend = self.counts[1:-1] * np.exp(gap) / np.expm1(gap) ** 2
        corner = np.zeros((cuts, cuts))
        own = np.bincount(rows.y, terms.p_var, rows.steps)[:-1]
        own += np.bincount(rows.y, terms.s_var, rows.steps)[1:]
        corner[np.arange(cuts), np.arange(cuts)] = own
        inner = np.arange(cuts - 1)
        corner[inner, inner] += bend
        corner[inner + 1, inner + 1] += bend
        corner[inner, inner + 1] -= bend
        corner[inner + 1, inner] -= bend
        side = np.zeros((cuts, rows.x.shape[1]))
        for k in range(cuts):
            side[k] = -(terms.p_var[rows.y == k] @ rows.x[rows.y == k])
            side[k] -= terms.s_var[rows.y == k + 1] @ rows.x[rows.y == k + 1]
        block = (rows.x * terms.w[:, None]).T @ rows.x
        return np.block([[corner, side], [side.T, block]])


def _climb(
    at: Callable[[Array], tuple[RowTerms, float]], b: Array, step: Array, height: float
) -> tuple[Array, RowTerms, float]:
    """Take a Newton step, halved until it does not lose height."""
    for _ in range(30):
        terms, reached = at(b + step)
        if reached >= height - 1e-12 * abs(height):
            return b + step, terms, reached
        step = 0.5 * step
    terms, reached = at(b)
    return b, terms, reached
