"""Linear mixed models for measurements: the model and its fit.

The response is normal, the random effects are crossed.
"""

from __future__ import annotations

import warnings
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from formulaic import Formula

from kit.errors import BoundaryVarianceWarning, Misuse, NotConvergedWarning
from kit.mixed.cholesky import one_thread
from kit.mixed.grouping import RandomTerm, check_twins
from kit.mixed.measured_results import LinearResults
from kit.mixed.mixed_model import OneResponseModel, differing
from kit.mixed.new_rows import foretelling
from kit.mixed.optimise import Optimum, descend, inverse_of, minimise
from kit.mixed.penalised_least_squares import PenalisedLikelihood, Solution
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior, as_prior
from kit.mixed.profile_likelihood import FARTHEST, Profile
from kit.mixed.results import random_effects
from kit.mixed.sparsity import Array


class LinearMixedModel(OneResponseModel):
    """Measurements with random intercepts and slopes.

    y = effects + one normal deviation a level, alone or times a column, + error. Formula, data,
    groups and slopes are those of `OneResponseModel`.
    """

    rows_are = "measurements"

    def _take_response(self, left: Formula) -> bool:
        y = np.asarray(left.get_model_matrix(self.data, output="numpy"), dtype=float)
        if y.ndim == 2 and y.shape[1] != 1:
            raise Misuse(f"The response {self.response!r} must be one column of numbers.")
        self.y = differing(y.reshape(len(y)), self.response)
        return True

    def _lay_out(
        self, right: Formula, rows: pd.DataFrame, terms: tuple[RandomTerm, ...], intercept: bool
    ) -> None:
        single = [t.name for t in terms if t.size == len(rows) and t.column is None]
        if single:
            raise Misuse(
                f"{', '.join(single)} has a level for every row, so it cannot be told apart from "
                "the measurement's own error. Leave it out of the groups."
            )
        super()._lay_out(right, rows, terms, intercept)

    def fit(self, reml: bool = True, prior: Prior | Literal["weak"] | None = None) -> LinearResults:
        """Fit by residual or plain maximum likelihood, with a prior if one is given.

        Parameters
        ----------
        reml : bool
            Residual maximum likelihood, which does not underestimate standard deviations in small
            data.
        prior : None, 'weak' or Prior

        Warns
        -----
        BoundaryVarianceWarning, NotConvergedWarning
        """
        check_twins(self.terms, with_prior=prior is not None)
        with one_thread():
            return LinearFit(self, reml, as_prior(prior)).results()


# A standard deviation below this share of the residual's cannot be told from zero.
NEGLIGIBLE_SHARE = 1e-4


class LinearFit:
    """The search for one fit, and what can be asked of it afterwards.

    phi holds the standard deviations relative to the residual's, a slope's per unit of its column,
    and the log of the residual's.

    Parameters
    ----------
    model : LinearMixedModel
    reml : bool
    prior : Prior or None

    Attributes
    ----------
    best : Optimum
        Where the search ended.
    """

    def __init__(self, model: LinearMixedModel, reml: bool, prior: Prior | None) -> None:
        self.model, self.prior = model, prior
        self.likelihood = self.criterion(reml)
        if self.likelihood.rest_squares <= 1e-20 * max(float(model.y @ model.y), 1e-300):
            raise Misuse(
                "The effects explain every measurement to the last digit, which leaves no "
                "variation to learn from. Drop some effects."
            )
        self.best = self._at_zero(self._search())

    def criterion(self, reml: bool) -> PenalisedLikelihood:
        """The log-likelihood, residual or plain, that the model's rows give."""
        x, model = self.model.effects.x, self.model
        reach = np.ptp(x, axis=0)
        return PenalisedLikelihood(
            x, model.y, model.pattern, len(model.terms), reml, self.prior, reach
        )

    def _search(self) -> Optimum[Solution]:
        likelihood = self.likelihood
        start = np.ones(len(self.model.terms) + 1)
        start[-1] = 0.5 * np.log(likelihood.rest_squares / likelihood.count)
        at = likelihood.solve(start)
        start[-1] = 0.5 * np.log(at.squares / likelihood.count)
        return minimise(likelihood.objective, start, likelihood.curvature(start))

    def _at_zero(self, best: Optimum[Solution]) -> Optimum[Solution]:
        """Make standard deviations positive, and zero where they cannot be told from it."""
        flip = np.where(best.x < 0, -1.0, 1.0)
        flip[-1] = 1.0
        phi = best.x * flip
        small = phi < NEGLIGIBLE_SHARE
        small[-1] = False
        if self.prior is None:
            phi[small] = 0.0
        value, gradient, at = self.likelihood.objective(phi, None)
        if at is None or value > best.value + 1e-6:
            return best
        hessian = best.hessian * np.outer(flip, flip)
        return Optimum(phi, value, gradient, hessian, at, best.converged, best.evaluations)

    @cached_property
    def _integral(self) -> PenalisedLikelihood:
        """The likelihood with the effects integrated out."""
        return self.likelihood if self.likelihood.reml else self.criterion(reml=True)

    def sd_shares(self) -> Array:
        """Standard error of each standard deviation and the residual's, as a share of it."""
        cov, relative = inverse_of(self.best.hessian), self.best.x[:-1]
        own, cross, residual = np.diag(cov)[:-1], cov[:-1, -1], cov[-1, -1]
        with np.errstate(divide="ignore"):
            var = own / relative**2 + 2 * cross / relative + residual
        shares: Array = np.sqrt(np.append(np.where(relative > 0, var, np.inf), residual))
        return shares

    def given(self, stretch: Array) -> Posterior | None:
        """What is known where the standard deviations are so many times the best ones.

        None stands for a place that cannot be reached.
        """
        phi = np.append(self.best.x[:-1] * stretch[:-1], self.best.x[-1] + np.log(stretch[-1]))
        at = self._integral.objective(phi, None)[2]
        return None if at is None else self._posterior(phi, at, inverse_of(self.best.hessian))

    def _posterior(self, phi: Array, at: Solution, sd_cov: Array) -> Posterior:
        """What is known at `phi`, whose own uncertainty is `sd_cov`.

        psi holds the effects, the relative standard deviations and log s.
        """
        likelihood, model = self.likelihood, self.model
        p, terms = likelihood.p, len(model.terms)
        relative, s = likelihood.split(phi)
        delta_slopes, b_moving = likelihood.moving(phi, at)
        beta_slopes = likelihood.effects_back(delta_slopes)
        size = p + terms + 1
        cov = np.zeros((size, size))
        cov[:p, :p] = self._effects_covariance(s, at) + beta_slopes @ sd_cov @ beta_slopes.T
        cov[:p, p:] = beta_slopes @ sd_cov
        cov[p:, :p] = cov[:p, p:].T
        cov[p:, p:] = sd_cov
        per_unit = np.array([s / term.unit for term in model.terms])
        sd = per_unit * relative[:terms]
        sd_slopes = np.zeros((terms, size))
        sd_slopes[:, p : p + terms] = np.diag(per_unit)
        sd_slopes[:, -1] = sd
        held = None
        if self.prior is not None:
            held = self.prior.held(s * relative[:terms], likelihood.unit)
        b_slopes = np.hstack([-at.b_of_q @ likelihood.triangle / s, b_moving])
        return Posterior(
            effects=model.effects,
            terms=model.terms,
            psi=np.concatenate([likelihood.effects_back(likelihood.first + at.delta), phi]),
            psi_cov=cov,
            first_effect=0,
            sd=sd,
            new_var=new_level_variance(sd, sd_slopes, cov, held),
            sd_slopes=sd_slopes,
            b=at.b / s if terms else np.empty(0),
            b_slopes=b_slopes if terms else np.empty((0, size)),
            factor=at.factor,
        )

    def _effects_covariance(self, s: float, at: Solution) -> Array:
        """Covariance of the effects at given standard deviations."""
        back = self.likelihood.effects_back
        return s**2 * back(back(np.linalg.inv(at.s_matrix)).T)

    @cached_property
    def _plain(self) -> tuple[PenalisedLikelihood, Optimum[Solution]]:
        """The likelihood, not the residual one, and where it is greatest."""
        if not self.likelihood.reml:
            return self.likelihood, self.best
        plain = self.criterion(reml=False)
        start = np.append(np.maximum(self.best.x[:-1], 0.1), self.best.x[-1])
        return plain, minimise(plain.objective, start, plain.curvature(start))

    def profile(self, place: int) -> Profile:
        """The deviance of an effect or, after them, of a deviation's sd and the residual's."""
        p = len(self.model.effects.names)
        return self._effect_profile(place) if place < p else self._sd_profile(place - p)

    def _effect_profile(self, j: int) -> Profile:
        """Hold an effect by moving what it explains over to the other side."""
        model = self.model
        plain, best = self._plain
        x, others = model.effects.x, np.delete(model.effects.x, j, axis=1)
        inverse = inverse_of(best.hessian)
        psi = plain.effects_back(plain.first + best.state.delta)
        error = self._effects_covariance(plain.split(best.x)[1], best.state)[j, j]

        def deviance(value: float) -> float:
            held = PenalisedLikelihood(
                others,
                model.y - value * x[:, j],
                model.pattern,
                len(model.terms),
                False,
                None,
                np.zeros(others.shape[1]),
            )
            return 2 * (descend(held.objective, best.x, inverse)[1] - best.value)

        return Profile(float(psi[j]), float(np.sqrt(error)), deviance)

    def _sd_profile(self, j: int) -> Profile:
        """Hold a standard deviation; the relative one follows the residual's."""
        plain, best = self._plain
        terms = len(self.model.terms)
        s = float(np.exp(best.x[-1]))
        if j == terms:
            return self._residual_profile()
        per_unit = 1 / self.model.terms[j].unit
        rest = np.delete(np.arange(terms + 1), j)
        inverse = inverse_of(best.hessian[np.ix_(rest, rest)])

        def deviance(value: float) -> float:
            def objective(
                free: Array, near: Solution | None
            ) -> tuple[float, Array, Solution | None]:
                phi = np.zeros(terms + 1)
                phi[rest] = free
                phi[j] = value / per_unit * np.exp(-free[-1])
                height, slope, at = plain.objective(phi, near)
                free_slope = slope[rest]
                free_slope[-1] -= phi[j] * slope[j]
                return height, free_slope, at

            return 2 * (descend(objective, best.x[rest], inverse)[1] - best.value)

        error = np.sqrt(inverse_of(best.hessian)[j, j])
        return Profile(
            abs(float(best.x[j])) * s * per_unit, float(error) * s * per_unit, deviance, 0.0
        )

    def _residual_profile(self) -> Profile:
        plain, best = self._plain
        s = float(np.exp(best.x[-1]))
        inverse = inverse_of(best.hessian[:-1, :-1])

        def deviance(value: float) -> float:
            def objective(
                free: Array, near: Solution | None
            ) -> tuple[float, Array, Solution | None]:
                height, slope, at = plain.objective(np.append(free, np.log(value)), near)
                return height, slope[:-1], at

            return 2 * (descend(objective, best.x[:-1], inverse)[1] - best.value)

        error = float(np.sqrt(inverse_of(best.hessian)[-1, -1]))
        return Profile(s, s * error, deviance, s * np.exp(-FARTHEST * error))

    def results(self) -> LinearResults:
        """What the fit says, with its warnings."""
        model, best, likelihood = self.model, self.best, self.likelihood
        names = list(model.effects.names)
        _, s = likelihood.split(best.x)
        own = self._effects_covariance(s, best.state)
        posterior = self._posterior(best.x, best.state, inverse_of(best.hessian))
        random_sd = {t.name: float(sd) for t, sd in zip(model.terms, posterior.sd, strict=True)}
        results = LinearResults(
            model=model,
            params=pd.Series(posterior.psi[: len(names)], index=names),
            bse=pd.Series(np.sqrt(np.diag(own)), index=names),
            covariance=pd.DataFrame(own, index=names, columns=names),
            random_sd={**random_sd, "Residual": s},
            random_effects=random_effects(posterior),
            llf=likelihood.log_likelihood(best.x, best.state),
            nobs=model.nobs,
            parameters=len(names) + best.x.size,
            converged=best.converged,
            prior=self.prior,
            posterior=posterior,
            foretelling=foretelling(posterior, self) if self.prior else posterior,
            fit=self,
            residual_sd=s,
            reml=likelihood.reml,
        )
        self._warn(results)
        return results

    def _warn(self, results: LinearResults) -> None:
        if not results.converged:
            warnings.warn(
                "The search stopped before it reached the best fit; do not trust the standard "
                "errors. Simplify the model, or fit with prior='weak'.",
                NotConvergedWarning,
                stacklevel=4,
            )
        zero = [
            term.name
            for term in self.model.terms
            if results.random_sd[term.name] * term.unit < NEGLIGIBLE_SHARE * results.residual_sd
        ]
        if zero:
            warnings.warn(
                f"The variation of {', '.join(zero)} was estimated at zero: these data show none "
                "beyond what the rest explains.",
                BoundaryVarianceWarning,
                stacklevel=4,
            )
