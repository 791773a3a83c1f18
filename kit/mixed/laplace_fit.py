"""A fit by Laplace's approximation: the search, the posterior around it, profiles.

Inside, effects' columns are scaled and a slope's standard deviation is per unit of its column. `x`
is that inner vector of parameters, psi = outward x + offset the one reported. Both hold the rows'
own parameters, effects, standard deviations, and what further parameters the rows have.
"""

import warnings
from typing import Any, Generic, TypeVar

import numpy as np

from kit.errors import BoundaryVarianceWarning, Misuse, NotConvergedWarning
from kit.mixed.laplace import LaplaceLikelihood, Mode, Rows, Terms
from kit.mixed.optimise import Optimum, descend, inverse_of, minimise
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior
from kit.mixed.profile_likelihood import Profile
from kit.mixed.results import MixedResults
from kit.mixed.sparsity import Array

# A standard deviation below this share of the scale's unit cannot be told from zero.
NEGLIGIBLE_SD = 1e-3
START_SD = 0.6

T = TypeVar("T", bound=Terms)


class LaplaceFit(Generic[T]):
    """The search for one fit, and what can be asked of it afterwards.

    Parameters
    ----------
    model : OrdinalMixedModel or JointMixedModel
    prior : Prior or None
    rows : Rows
    unit : (p,) array
        What the effects' columns were divided by.
    scale : float
        Length of one unit of the prior on the scale of eta: 1 for logits.
    likelihood : optional
        A better approximation than Laplace's, with `mode` and `gradient`.

    Attributes
    ----------
    outward : (m, m) array
    offset : (m,) array
    best : Optimum
        Where the search ended.
    """

    def __init__(
        self,
        model: Any,
        prior: Prior | None,
        rows: Rows[T],
        unit: Array,
        scale: float = 1.0,
        likelihood: Any = None,
    ) -> None:
        self.model, self.prior, self.rows, self.scale = model, prior, rows, scale
        self.laplace = LaplaceLikelihood(rows)
        self.likelihood = likelihood or self.laplace
        self.fixed = rows.own + rows.x.shape[1]
        self.effects = slice(rows.own, self.fixed)
        self.sds = slice(self.fixed, self.fixed + rows.free_sds)
        # The rows may have a standard deviation of their own, which stands behind.
        self.every_sd = slice(self.fixed, rows.size)
        # The prior's standard deviation of each effect, per inner unit; a constant has no prior.
        reach = np.ptp(model.effects.x, axis=0) / unit
        with np.errstate(divide="ignore"):
            self.effect_sd = (prior or Prior()).effect_sd * scale / reach
        self.outward, self.offset = np.eye(rows.size), np.zeros(rows.size)
        self.outward[self.effects, self.effects] = np.diag(1 / unit)
        self.outward[self.sds, self.sds] = np.diag([1 / term.unit for term in model.terms])
        self._set_outward()
        self.row_belief = self._read_row_belief()
        self.best = self._at_zero(self._search())

    def _set_outward(self) -> None:
        """Say how the rows' own parameters are reported."""

    def _start(self) -> Array:
        """Inner parameters to start from."""
        raise NotImplementedError

    def _own_prior(self, x: Array) -> tuple[float, Array, Array]:
        """Log density of the rows' own parameters, its slopes and minus its bends."""
        raise NotImplementedError

    def _read_row_belief(self) -> tuple[Array, Array, Array] | None:
        """What is believed of rows: what they are of x, the mean, and its inverse covariance."""
        belief = self.prior.rows if self.prior is not None else None
        if belief is None or not self.rows.own:
            return None
        of_psi = np.zeros((len(belief.mean), self.rows.size))
        of_psi[:, self.effects] = self.model.effects.columns_for(belief.frame)
        of_psi[:, 0] = -1.0
        return of_psi @ self.outward, belief.mean, inverse_of(belief.covariance)

    def _search(self) -> Optimum[Mode[T]]:
        start = self._start()
        mode = self.laplace.mode(start)
        if mode is None:
            raise Misuse("The rows and groups leave no place to start a fit from.")
        curvature = self.laplace.curvature(start, mode) + self._log_prior(start)[2]
        return minimise(self.objective, start, curvature)

    def objective(self, x: Array, near: Mode[T] | None) -> tuple[float, Array, Mode[T] | None]:
        """Minus the log of likelihood times prior, with its gradient."""
        mode = self.likelihood.mode(x, None if near is None else near.b)
        if mode is None:
            return np.inf, np.zeros_like(x), None
        value, slope, _ = self._log_prior(x)
        return -mode.value - value, -self.likelihood.gradient(x, mode) - slope, mode

    def _log_prior(self, x: Array) -> tuple[float, Array, Array]:
        """Log density of the prior up to a constant, its slopes and minus its bends."""
        if self.prior is None:
            return 0.0, np.zeros(x.size), np.zeros((x.size, x.size))
        value, slope, bend = self._own_prior(x)
        beta, places = x[self.effects], np.arange(x.size)
        pull = -beta / self.effect_sd**2
        value += 0.5 * float(beta @ pull)
        slope[self.effects] = pull
        bend[places[self.effects], places[self.effects]] = 1 / self.effect_sd**2
        if self.row_belief is not None:
            of_x, mean, precision = self.row_belief
            off = of_x @ x - mean
            pulled = precision @ off
            value -= 0.5 * float(off @ pulled)
            slope -= of_x.T @ pulled
            bend += of_x.T @ precision @ of_x
        if self.rows.free_sds:
            height, by_sd, bent = self.prior.sd_terms(x[self.sds], *self._sd_units)
            value += height
            slope[self.sds] = by_sd
            bend[places[self.sds], places[self.sds]] = -bent
        return value, slope, bend

    @property
    def _sd_units(self) -> tuple[float, list[str], Array]:
        """How the prior is to read the inner standard deviations."""
        terms = self.model.terms
        return self.scale, [t.name for t in terms], np.array([t.unit for t in terms])

    def _at_zero(self, best: Optimum[Mode[T]]) -> Optimum[Mode[T]]:
        """Make standard deviations positive, and zero where they cannot be told from it."""
        flip = np.ones(best.x.size)
        flip[self.every_sd][best.x[self.every_sd] < 0] = -1.0
        x = best.x * flip
        if self.prior is None:
            x[self.sds][x[self.sds] < NEGLIGIBLE_SD * self.scale] = 0.0
        value, gradient, mode = self.objective(x, best.state)
        if mode is None or value > best.value + 1e-6:
            return best
        hessian = best.hessian * np.outer(flip, flip)
        return Optimum(x, value, gradient, hessian, mode, best.converged, best.evaluations)

    def posterior(
        self, x: Array, cov: Array, mode: Mode[T], laplace: LaplaceLikelihood[T] | None = None
    ) -> Posterior:
        """What is known at `x`, whose own uncertainty is `cov`; from all rows or another's."""
        laplace = laplace or self.laplace
        model, rows = self.model, self.rows
        psi = self.outward @ x + self.offset
        psi_cov = self.outward @ cov @ self.outward.T
        sd = psi[self.sds]
        held = self.prior.held(x[self.sds], *self._sd_units) if self.prior is not None else None
        sd_slopes = np.eye(rows.size)[self.sds]
        slopes = laplace.mode_slopes(x, mode) @ np.linalg.inv(self.outward)
        return Posterior(
            effects=model.effects,
            terms=model.terms,
            psi=psi,
            psi_cov=psi_cov,
            first_effect=rows.own,
            sd=sd,
            new_var=new_level_variance(sd, sd_slopes, psi_cov, held),
            sd_slopes=sd_slopes,
            b=mode.b if rows.free_sds else np.empty(0),
            b_slopes=slopes if rows.free_sds else np.empty((0, rows.size)),
            factor=mode.factor,
        )

    def at_best(self) -> Posterior:
        """What is known at the best fit."""
        return self.posterior(self.best.x, inverse_of(self.best.hessian), self.best.state)

    def sd_shares(self) -> Array:
        """Standard error of each standard deviation, as a share of it."""
        error = np.sqrt(np.diag(inverse_of(self.best.hessian))[self.every_sd])
        with np.errstate(divide="ignore"):
            shares: Array = error / self.best.x[self.every_sd]
            return shares

    def given(self, stretch: Array) -> Posterior | None:
        """What is known where the standard deviations are so many times the best ones.

        All else follows from the best fit along its dependence on the standard deviations, and then
        by one Newton step. None stands for a place that cannot be reached.
        """
        best, fixed = self.best, slice(self.fixed)
        x = best.x.copy()
        x[self.every_sd] *= stretch
        drift = best.hessian[fixed, self.every_sd] @ (x - best.x)[self.every_sd]
        x[fixed] -= np.linalg.solve(best.hessian[fixed, fixed], drift)
        _, gradient, mode = self.objective(x, best.state)
        if mode is None:
            return None
        bend = self._log_prior(x)[2]
        information = (self.laplace.curvature(x, mode) + bend)[fixed, fixed]
        x[fixed] -= np.linalg.solve(information, gradient[fixed])
        mode = self.likelihood.mode(x, mode.b)
        if mode is None:
            return None
        return self.posterior(x, inverse_of(best.hessian), mode)

    def profile(self, place: int) -> Profile:
        """The deviance of one of psi."""
        inward = np.linalg.inv(self.outward)
        psi = self.outward @ self.best.x + self.offset
        hessian = inward.T @ self.best.hessian @ inward
        rest = np.delete(np.arange(psi.size), place)
        inverse = inverse_of(hessian[np.ix_(rest, rest)])
        drift = inverse @ hessian[rest, place]

        def deviance(value: float) -> float:
            held = psi.copy()
            held[place] = value

            def objective(free: Array, near: Mode[T] | None) -> tuple[float, Array, Mode[T] | None]:
                held[rest] = free
                height, slope, mode = self.objective(inward @ (held - self.offset), near)
                return height, (inward.T @ slope)[rest], mode

            _, least = descend(objective, psi[rest] - drift * (value - psi[place]), inverse)
            return 2 * (least - self.best.value)

        step = float(np.sqrt(inverse_of(hessian)[place, place]))
        floor = -np.inf if place < self.fixed else 0.0
        return Profile(float(psi[place]), step, deviance, floor)

    def warn(self, results: MixedResults) -> None:
        """Say aloud what limits the fit."""
        if not results.converged:
            warnings.warn(
                "The search stopped before it reached the best fit; do not trust the standard "
                "errors. Simplify the model, or fit with prior='weak'.",
                NotConvergedWarning,
                stacklevel=5,
            )
        sd = self.best.x[self.sds]
        zero = [
            term.name
            for term, size in zip(self.model.terms, sd, strict=True)
            if size < NEGLIGIBLE_SD * self.scale
        ]
        if zero:
            warnings.warn(
                f"The variation of {', '.join(zero)} was estimated at zero: these data show none "
                "beyond what the rest explains.",
                BoundaryVarianceWarning,
                stacklevel=5,
            )
