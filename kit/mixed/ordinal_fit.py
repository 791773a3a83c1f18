"""One fit of an ordinal mixed model: search, results, and the posterior at given spreads."""

import warnings
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit.errors import (
    BoundaryVarianceWarning,
    EmptyGradeWarning,
    Misuse,
    NotConvergedWarning,
    SeparationWarning,
)
from kit.mixed.laplace import LaplaceLikelihood, Mode, OrdinalRows
from kit.mixed.mixture import Mixture
from kit.mixed.optimise import Optimum, descend, inverse_of, minimise
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior
from kit.mixed.profile_likelihood import Profile
from kit.mixed.quadrature import QuadratureLikelihood
from kit.mixed.results import random_effects
from kit.mixed.separation import without_finite_estimate
from kit.mixed.sparsity import Array, Index

if TYPE_CHECKING:
    from kit.mixed.ordinal import OrdinalMixedModel

# Where an effect runs off, the slope that is left when the search stops is far below a logit's
# worth of curvature: only then is it worth asking whether there is a finite estimate.
RUN_OFF = 20.0
# A standard deviation below this share of a logit cannot be told from zero.
NEGLIGIBLE_SD = 1e-3
START_SD = 0.6


class OrdinalFit:
    """The search for one fit, and what can be asked of it afterwards.

    Inside, effects' columns are centred and scaled, thresholds shift to match, and a slope's
    standard deviation is per unit of its column. `x` is that inner vector of parameters
    (thresholds, effects, standard deviations), psi the one reported.

    Parameters
    ----------
    model : OrdinalMixedModel
    prior : Prior or None
    quadrature : int

    Attributes
    ----------
    best : Optimum
        Where the search ended.
    """

    def __init__(self, model: "OrdinalMixedModel", prior: Prior | None, quadrature: int) -> None:
        self.model, self.prior = model, prior
        x = model.effects.x
        self.centre = x.mean(axis=0)
        self.unit = x.std(axis=0)
        self.reach = np.ptp(x, axis=0)
        y, self.labels = model.y, model.labels
        if prior is None or prior.step_shape == 1:
            y, self.labels = _without_empty(y, self.labels, model.response)
        self.rows = OrdinalRows(
            y, (x - self.centre) / self.unit, model.pattern, len(self.labels), len(model.terms)
        )
        self.laplace = LaplaceLikelihood(self.rows)
        self.likelihood: LaplaceLikelihood | QuadratureLikelihood = (
            QuadratureLikelihood(self.laplace, quadrature) if quadrature > 1 else self.laplace
        )

        self.best = self._at_zero(self._search())

    def _search(self) -> Optimum[Mode]:
        start = self._start()
        mode = self.laplace.mode(start)
        if mode is None:
            raise Misuse("The grades and groups leave no place to start a fit from.")
        curvature = self.laplace.curvature(start, mode) + self._prior_bend(start)
        return minimise(self.objective, start, curvature)

    def _start(self) -> Array:
        counts = np.bincount(self.rows.y, minlength=self.rows.steps) + 0.2
        share = np.cumsum(counts)[:-1] / counts.sum()
        # Random effects stretch the scale: Zeger, Liang and Albert (1988), Biometrics 44.
        stretch = np.sqrt(1 + 0.346 * START_SD**2 * self.rows.free_sds)
        return np.concatenate(
            [
                stretch * np.log(share / (1 - share)),
                np.zeros(self.rows.x.shape[1]),
                np.full(self.rows.free_sds, START_SD),
            ]
        )

    def objective(self, x: Array, near: Mode | None) -> tuple[float, Array, Mode | None]:
        """Minus the log of likelihood times prior, with its gradient."""
        mode = self.likelihood.mode(x, None if near is None else near.b)
        if mode is None:
            return np.inf, np.zeros_like(x), None
        value, slope = self._log_prior(x)
        return -mode.value - value, -self.likelihood.gradient(x, mode) - slope, mode

    @property
    def _effect_sd(self) -> Array:
        """The prior's standard deviation of each effect, per internal unit."""
        assert self.prior is not None
        return self.prior.effect_sd * self.unit / self.reach

    def _log_prior(self, psi: Array) -> tuple[float, Array]:
        if self.prior is None:
            return 0.0, np.zeros_like(psi)
        theta, beta, sd = self.rows.split(psi)
        step, step_slope, _ = self.prior.step_terms(theta)
        pull = -beta / self._effect_sd**2
        value = step + 0.5 * float(beta @ pull)
        if not self.rows.free_sds:
            return value, np.concatenate([step_slope, pull])
        spread, spread_slope, _ = self.prior.spread_terms(sd)
        return value + spread, np.concatenate([step_slope, pull, spread_slope])

    def _prior_bend(self, psi: Array) -> Array:
        bend = np.zeros((psi.size, psi.size))
        if self.prior is None:
            return bend
        theta, beta, sd = self.rows.split(psi)
        cuts = theta.size
        difference = np.diff(np.eye(cuts), axis=0)
        bend[:cuts, :cuts] = (difference.T * self.prior.step_terms(theta)[2]) @ difference
        effect = np.arange(cuts, cuts + beta.size)
        bend[effect, effect] = 1 / self._effect_sd**2
        if self.rows.free_sds:
            spread = np.arange(cuts + beta.size, psi.size)
            bend[spread, spread] = -self.prior.spread_terms(sd)[2]
        return bend

    def _at_zero(self, best: Optimum[Mode]) -> Optimum[Mode]:
        """Make standard deviations positive, and zero where they cannot be told from it."""
        flip = np.ones(best.x.size)
        spreads = slice(best.x.size - self.rows.free_sds, None)
        flip[spreads][best.x[spreads] < 0] = -1.0
        psi = best.x * flip
        if self.prior is None:
            psi[spreads][psi[spreads] < NEGLIGIBLE_SD] = 0.0
        value, gradient, mode = self.objective(psi, best.state)
        if mode is None or value > best.value + 1e-6:
            return best
        hessian = best.hessian * np.outer(flip, flip)
        return Optimum(psi, value, gradient, hessian, mode, best.converged, best.evaluations)

    @cached_property
    def outward(self) -> Array:
        """d psi / d x: theta + centre'beta, beta / unit, sd / unit."""
        rows = self.rows
        outward = np.eye(rows.size)
        effect = slice(rows.cuts, rows.cuts + rows.x.shape[1])
        outward[effect, effect] = np.diag(1 / self.unit)
        outward[: rows.cuts, effect] = self.centre / self.unit
        for place, term in enumerate(self.model.terms, start=self.fixed):
            outward[place, place] = 1 / term.unit
        return outward

    @property
    def fixed(self) -> int:
        """Number of thresholds and effects, which come first."""
        return self.rows.size - self.rows.free_sds

    def _posterior(self, x: Array, cov: Array, mode: Mode) -> Posterior:
        """What is known at `x`, whose own uncertainty is `cov`."""
        model, rows = self.model, self.rows
        psi = self.outward @ x
        psi_cov = self.outward @ cov @ self.outward.T
        sd = psi[self.fixed :]
        sd_slopes = np.eye(rows.size)[self.fixed :]
        slopes = self.laplace.mode_slopes(x, mode) @ np.linalg.inv(self.outward)
        return Posterior(
            effects=model.effects,
            terms=model.terms,
            psi=psi,
            psi_cov=psi_cov,
            first_effect=rows.cuts,
            sd=sd,
            new_var=new_level_variance(sd, sd_slopes, psi_cov, self.prior is not None),
            sd_slopes=sd_slopes,
            b=mode.b if rows.free_sds else np.empty(0),
            b_slopes=slopes if rows.free_sds else np.empty((0, rows.size)),
            factor=mode.factor,
        )

    @property
    def log_sd(self) -> Array:
        """Logs of the standard deviations at the best fit."""
        return np.log(self.best.x[self.fixed :])

    def log_sd_covariance(self) -> Array:
        """Their covariance."""
        share = 1 / self.best.x[self.fixed :]
        cov = inverse_of(self.best.hessian)[self.fixed :, self.fixed :]
        return np.outer(share, share) * cov

    def sd_shares(self) -> Array:
        """Standard error of each standard deviation, as a share of it."""
        error = np.sqrt(np.diag(inverse_of(self.best.hessian))[self.fixed :])
        with np.errstate(divide="ignore"):
            return error / self.best.x[self.fixed :]

    def given(self, log_sd: Array) -> tuple[float, Posterior] | None:
        """What is known where the standard deviations are given.

        Thresholds and effects follow from the best fit along their dependence on the standard
        deviations, and then by one Newton step.

        Returns
        -------
        log_density : float
            Of the logs of the standard deviations given the data, up to a constant, by Laplace's
            approximation over all else.
        posterior : Posterior

        None stands for a place that cannot be reached.
        """
        best, fixed = self.best, slice(self.fixed)
        x = best.x.copy()
        x[self.fixed :] = np.exp(log_sd)
        drift = best.hessian[fixed, self.fixed :] @ (x - best.x)[self.fixed :]
        x[fixed] -= np.linalg.solve(best.hessian[fixed, fixed], drift)
        _, gradient, mode = self.objective(x, best.state)
        if mode is None:
            return None
        information = (self.laplace.curvature(x, mode) + self._prior_bend(x))[fixed, fixed]
        x[fixed] -= np.linalg.solve(information, gradient[fixed])
        mode = self.likelihood.mode(x, mode.b)
        if mode is None:
            return None
        cov = np.zeros((x.size, x.size))
        cov[fixed, fixed] = np.linalg.inv(information)
        density = mode.value + self._log_prior(x)[0] - 0.5 * np.linalg.slogdet(information)[1]
        return float(density), self._posterior(x, cov, mode)

    def profile(self, place: int) -> Profile:
        """The deviance of one of psi: a threshold, an effect, or after them a deviation's sd."""
        inward = np.linalg.inv(self.outward)
        psi = self.outward @ self.best.x
        hessian = inward.T @ self.best.hessian @ inward
        rest = np.delete(np.arange(psi.size), place)
        inverse = inverse_of(hessian[np.ix_(rest, rest)])
        drift = inverse @ hessian[rest, place]

        def deviance(value: float) -> float:
            held = psi.copy()
            held[place] = value

            def objective(free: Array, near: Mode | None) -> tuple[float, Array, Mode | None]:
                held[rest] = free
                height, slope, mode = self.objective(inward @ held, near)
                return height, (inward.T @ slope)[rest], mode

            _, least = descend(objective, psi[rest] - drift * (value - psi[place]), inverse)
            return 2 * (least - self.best.value)

        step = float(np.sqrt(inverse_of(hessian)[place, place]))
        floor = -np.inf if place < self.fixed else 0.0
        return Profile(float(psi[place]), step, deviance, floor)

    def results(self) -> OrdinalResults:
        """What the fit says, with its warnings."""
        model, best = self.model, self.best
        posterior = self._posterior(best.x, inverse_of(best.hessian), best.state)
        names = [f"{a}|{b}" for a, b in zip(self.labels[:-1], self.labels[1:], strict=True)]
        names += model.effects.names
        cov = posterior.psi_cov[: self.fixed, : self.fixed]
        results = OrdinalResults(
            model=model,
            params=pd.Series(posterior.psi[: self.fixed], index=names),
            bse=pd.Series(np.sqrt(np.diag(cov)), index=names),
            covariance=pd.DataFrame(cov, index=names, columns=names),
            random_sd={t.name: float(s) for t, s in zip(model.terms, posterior.sd, strict=True)},
            random_effects=random_effects(posterior),
            llf=best.state.value,
            nobs=model.nobs,
            parameters=self.rows.size,
            converged=best.converged,
            prior=self.prior,
            mixture=Mixture.of(posterior),
            fit=self,
            labels=model.labels,
            used_labels=tuple(self.labels),
        )
        self._warn(results)
        return results

    def _warn(self, results: OrdinalResults) -> None:
        def say(text: str, kind: type[Warning]) -> None:
            warnings.warn(text, kind, stacklevel=6)

        if not results.converged:
            say(
                "The search stopped before it reached the best fit; do not trust the standard "
                "errors. Simplify the model, or fit with prior='weak'.",
                NotConvergedWarning,
            )
        wide = self._without_finite_estimate(results)
        if wide:
            say(
                f"{', '.join(wide)} splits the grades so cleanly that its effect has no finite "
                "estimate. Fit with prior='weak' for a finite, honest one.",
                SeparationWarning,
            )
        zero = [
            term.name
            for term in self.model.terms
            if results.random_sd[term.name] * term.unit < NEGLIGIBLE_SD
        ]
        if zero:
            say(
                f"The variation of {', '.join(zero)} was estimated at zero: these data show none "
                "beyond what the rest explains.",
                BoundaryVarianceWarning,
            )

    def _without_finite_estimate(self, results: OrdinalResults) -> list[str]:
        """Effects that the search only stopped for want of slope."""
        error = results.bse.to_numpy()[self.rows.cuts :] * self.reach
        if self.prior is not None or (results.converged and not np.any(error > RUN_OFF)):
            return []
        names = self.model.effects.names
        x = self.model.effects.x
        return [names[j] for j in without_finite_estimate(self.rows.y, x, self.rows.steps)]


def _without_empty(
    y: Index, labels: tuple[Any, ...], response: str
) -> tuple[Index, tuple[Any, ...]]:
    """Leave steps that were never used out of the scale, and say so."""
    counts = np.bincount(y, minlength=len(labels))
    used = counts > 0
    if used.all():
        return y, labels
    empty = ", ".join(str(label) for label, seen in zip(labels, used, strict=True) if not seen)
    warnings.warn(
        f"No {response} was {empty}; such a step has no threshold of its own and a chance of 0.",
        EmptyGradeWarning,
        stacklevel=4,
    )
    place = np.cumsum(used) - 1
    return place[y], tuple(label for label, seen in zip(labels, used, strict=True) if seen)
