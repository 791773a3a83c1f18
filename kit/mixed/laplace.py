"""A mixed model's log-likelihood by Laplace's approximation, with its exact gradient.

For rows whose log-likelihood l_i depends on eta_i = x_i' beta + z_i' L b, with b ~ N(0, I) and L
the standard deviations, let e = dl/d eta and w = -de/d eta. Where w >= 0, sum l - b'b/2 has one
maximum b^, and Laplace's approximation is

    sum l(b^) - b^'b^/2 - log det D / 2,    D = I + L Z'WZ L.

Its gradient follows b^ by implicit differentiation: D db^ = d(L Z'e) at fixed b. Tierney and
Kadane (1986), Accurate approximations for posterior moments and marginal densities, JASA 81;
Skaug and Fournier (2006), Automatic approximation of the marginal likelihood in non-Gaussian
hierarchical models, Computational Statistics & Data Analysis 51. For normal rows it is exact.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from kit.mixed.cholesky import CrossedFactor
from kit.mixed.sparsity import Array, CrossedPattern

# Newton's decrement at which the mode is as exact as the arithmetic lets it be used.
MODE_TOLERANCE = 1e-14
MODE_STEPS = 60


class Terms(Protocol):
    """Likelihood of each row at one value of its eta."""

    @property
    def e(self) -> Array: ...

    @property
    def w(self) -> Array: ...

    @property
    def w_slope(self) -> Array: ...

    @property
    def total(self) -> float: ...


T = TypeVar("T", bound=Terms)


class Rows(Protocol[T]):
    """Rows of data and how likely they are, given what random effects add to their eta.

    The parameters are `own` of the rows', the effects, the standard deviations and, behind them,
    any further ones of the rows'. Lists of slopes by the rows' parameters hold both kinds.
    """

    @property
    def x(self) -> Array: ...

    @property
    def pattern(self) -> CrossedPattern: ...

    @property
    def free_sds(self) -> int: ...

    @property
    def own(self) -> int: ...

    @property
    def size(self) -> int: ...

    def split(self, psi: Array) -> tuple[Array, Array, Array]: ...

    def constant(self, psi: Array) -> float: ...

    def conditional(self, psi: Array) -> Callable[[Array], T] | None: ...

    def own_slopes(self, psi: Array, terms: T, h: Array, t: Array) -> Array: ...

    def own_pulls(self, psi: Array, terms: T) -> list[Array]: ...

    def information(self, psi: Array, terms: T) -> Array: ...


@dataclass(frozen=True)
class Mode(Generic[T]):
    """The maximum over the random effects at one parameter vector.

    Attributes
    ----------
    b : (q,) array
        Standardised random effects.
    terms : Terms
    factor : CrossedFactor
        D at the mode.
    summed : (stored,) array
        Z'WZ at the mode.
    value : float
        Laplace log-likelihood.
    """

    b: Array
    terms: T
    factor: CrossedFactor
    summed: Array
    value: float


class LaplaceLikelihood(Generic[T]):
    """Laplace log-likelihood of a mixed model and its gradient.

    Parameters
    ----------
    rows : Rows
    """

    def __init__(self, rows: Rows[T]) -> None:
        self.rows = rows

    def mode(self, psi: Array, start: Array | None = None) -> Mode[T] | None:
        """Find the mode by Newton's method, steps halved until they rise.

        Returns None outside the parameters' domain.
        """
        rows, pattern = self.rows, self.rows.pattern
        if not np.all(np.isfinite(psi)):
            return None
        conditional = rows.conditional(psi)
        if conditional is None:
            return None
        sd = rows.split(psi)[2]
        column_sd = sd[pattern.term]
        scale = pattern.scale(sd)
        cell = pattern.cell

        def at(b: Array) -> tuple[T, float]:
            terms = conditional(pattern.by_cell(column_sd * b)[cell])
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
            rise = column_sd * pattern.by_column(np.bincount(cell, terms.e, pattern.cells)) - b
            step = factor.solve(rise)
            decrement = float(rise @ step)
            if decrement < MODE_TOLERANCE:
                break
            b, terms, height = _climb(at, b, step, height)
        value = rows.constant(psi) + height - 0.5 * factor.logdet
        return Mode(b, terms, factor, summed, value)

    def gradient(self, psi: Array, mode: Mode[T]) -> Array:
        """Gradient of the Laplace log-likelihood by all parameters.

        The sensitivity of log det D to eta is carried back through the mode (an adjoint), so the
        cost does not grow with the number of parameters.
        """
        rows, pattern, terms = self.rows, self.rows.pattern, mode.terms
        sd = rows.split(psi)[2]
        cell, column_sd = pattern.cell, sd[pattern.term]
        e, w = terms.e, terms.w
        inverse = mode.factor.inverse()
        h = pattern.leverage(inverse, sd)[cell]
        hw = h * terms.w_slope
        pull = np.bincount(cell, hw, pattern.cells)
        v = mode.factor.solve(column_sd * pattern.by_column(pull))
        t = pattern.by_cell(column_sd * v)[cell]
        e_star = e + 0.5 * (w * t - hw)
        own = rows.own_slopes(psi, terms, h, t)
        before, behind = own[: rows.own], own[rows.own :]
        by_effect = rows.x.T @ e_star
        if not rows.free_sds:
            return np.concatenate([before, by_effect, behind])
        by_level = mode.b * pattern.by_column(np.bincount(cell, e_star, pattern.cells))
        by_level -= 0.5 * v * pattern.by_column(np.bincount(cell, e, pattern.cells))
        by_sd = np.bincount(pattern.term, by_level, sd.size)
        by_sd -= pattern.sd_trace(mode.summed, inverse, sd)
        return np.concatenate([before, by_effect, by_sd, behind])

    def mode_slopes(self, psi: Array, mode: Mode[T]) -> Array:
        """db^/d psi, a (q, parameters) array."""
        return mode.factor.solve(self.rise_slopes(psi, mode))

    def rise_slopes(self, psi: Array, mode: Mode[T]) -> Array:
        """Derivative of L Z'e - b by psi at fixed b, a (q, parameters) array."""
        rows, pattern, terms = self.rows, self.rows.pattern, mode.terms
        sd = rows.split(psi)[2]
        cell, column_sd = pattern.cell, sd[pattern.term]
        e, w = terms.e, terms.w

        def down(values: Array) -> Array:
            return pattern.by_column(np.bincount(cell, values, pattern.cells))

        own = [column_sd * down(slope) for slope in rows.own_pulls(psi, terms)]
        by_term = pattern.values * mode.b[pattern.columns]
        free = range(rows.free_sds)
        slopes = [*rows.x.T, *(by_term[j][cell] for j in free)]
        moved = [np.bincount(cell, w * slope, pattern.cells) for slope in slopes]
        block = np.reshape(moved, (len(slopes), pattern.cells)).T
        pulled = -column_sd[:, None] * pattern.by_columns(block)
        pull = down(e)
        for j in free:
            mine = pattern.term == j
            pulled[mine, rows.x.shape[1] + j] += pull[mine]
        return np.column_stack([*own[: rows.own], pulled, *own[rows.own :]])

    def curvature(self, psi: Array, mode: Mode[T]) -> Array:
        """A first guess at minus the Hessian, good enough to start a search.

        For own parameters and effects, the joint information with the random effects eliminated;
        for each standard deviation, what its levels would say if no other term crossed them.
        """
        rows, pattern = self.rows, self.rows.pattern
        sd = rows.split(psi)[2]
        fixed = rows.own + rows.x.shape[1]
        information = np.zeros((rows.size, rows.size))
        given = rows.information(psi, mode.terms)
        behind = np.arange(fixed + rows.free_sds, rows.size)
        place = np.concatenate([np.arange(fixed), behind])
        information[np.ix_(place, place)] = given
        rise = self.rise_slopes(psi, mode)[:, :fixed]
        information[:fixed, :fixed] -= rise.T @ mode.factor.solve(rise)
        if rows.free_sds:
            weight = mode.summed[: pattern.q]
            column_sd = np.maximum(sd, 0.1)[pattern.term]
            share = column_sd * weight / (1 + column_sd**2 * weight)
            sds = np.arange(fixed, fixed + rows.free_sds)
            information[sds, sds] = 2 * np.bincount(pattern.term, share**2, sd.size)
        return information


def _climb(
    at: Callable[[Array], tuple[T, float]], b: Array, step: Array, height: float
) -> tuple[Array, T, float]:
    """Take a Newton step, halved until it does not lose height."""
    for _ in range(30):
        terms, reached = at(b + step)
        if reached >= height - 1e-12 * abs(height):
            return b + step, terms, reached
        step = 0.5 * step
    terms, reached = at(b)
    return b, terms, reached
