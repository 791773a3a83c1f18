"""Ordinal mixed models for grades: cumulative logit, flexible thresholds, crossed random effects.

The model, one fit of it with its start and its prior, and which effects have no finite estimate.
"""

from __future__ import annotations

import warnings
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import pandas as pd
from formulaic import Formula
from scipy.optimize import linprog

from kit.errors import EmptyGradeWarning, Misuse, SeparationWarning
from kit.mixed.cholesky import one_thread
from kit.mixed.grouping import check_twins
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.laplace_fit import START_SD, LaplaceFit
from kit.mixed.mixed_model import OneResponseModel, grade_codes
from kit.mixed.new_rows import foretelling
from kit.mixed.optimise import inverse_of
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.posterior import Posterior
from kit.mixed.prior import Prior, as_prior
from kit.mixed.quadrature import QuadratureLikelihood
from kit.mixed.results import random_effects
from kit.mixed.row_likelihoods import GradeRows, GradeTerms
from kit.mixed.sparsity import Array, Index


class OrdinalMixedModel(OneResponseModel):
    """Cumulative-logit model of ordered grades with random intercepts and slopes.

    P(y <= k) = logistic(threshold_k - eta), with eta the effects of `formula` plus one normal
    deviation for each level of each group, and one times a column for each random slope.
    Thresholds stand in for the intercept. Formula, data, groups and slopes are those of
    `OneResponseModel`.

    Examples
    --------
    >>> model = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"])
    >>> print(model.fit().summary())
    """

    rows_are = "grades"

    def _take_response(self, left: Formula) -> bool:
        if self.response not in self.data.columns:
            raise Misuse(f"The response {self.response!r} must be a column of the data.")
        self.y, self.labels = grade_codes(self.data[self.response])
        return False

    def fit(
        self, prior: Prior | Literal["weak"] | None = None, quadrature: int = 1
    ) -> OrdinalResults:
        """Fit by maximum likelihood, or by the highest posterior density under a prior.

        Parameters
        ----------
        prior : None, 'weak' or Prior
            None is plain maximum likelihood; it refuses groups that divide the rows alike.
        quadrature : int
            Points of adaptive Gauss-Hermite quadrature; 1 is Laplace's approximation. More need
            a model with one group.

        Warns
        -----
        EmptyGradeWarning, SeparationWarning, BoundaryVarianceWarning, NotConvergedWarning
        """
        belief = as_prior(prior)
        if quadrature > 1 and (len(self.terms) != 1 or self.terms[0].column is not None):
            raise Misuse(
                "Quadrature needs exactly one group and no slopes; this model has "
                f"{', '.join(term.name for term in self.terms) or 'no group'}. Use quadrature=1."
            )
        check_twins(self.terms, with_prior=belief is not None)
        with one_thread():
            return OrdinalFit(self, belief, quadrature).results()


# Where an effect runs off, the slope that is left when the search stops is far below a logit's
# worth of curvature: only then is it worth asking whether there is a finite estimate.
RUN_OFF = 20.0


class OrdinalFit(LaplaceFit[GradeTerms]):
    """A fit of grades. Effects' columns are centred too; thresholds shift to match.

    Parameters
    ----------
    model : OrdinalMixedModel
    prior : Prior or None
    quadrature : int
    """

    rows: GradeRows

    def __init__(self, model: OrdinalMixedModel, prior: Prior | None, quadrature: int) -> None:
        x = model.effects.x
        self.centre, unit = x.mean(axis=0), x.std(axis=0)
        y, self.labels = used_steps(model.y, model.labels, model.response, prior)
        rows = GradeRows(
            y, (x - self.centre) / unit, model.pattern, len(self.labels), len(model.terms)
        )
        finer = QuadratureLikelihood(rows, quadrature) if quadrature > 1 else None
        super().__init__(model, prior, rows, unit, likelihood=finer)

    def _set_outward(self) -> None:
        back = np.diag(self.outward[self.effects, self.effects])
        self.outward[: self.rows.cuts, self.effects] = self.centre * back

    def _start(self) -> Array:
        rows = self.rows
        theta = start_thresholds(rows)
        return np.concatenate([theta, np.zeros(rows.x.shape[1]), np.full(rows.free_sds, START_SD)])

    def _own_prior(self, x: Array) -> tuple[float, Array, Array]:
        return step_prior(self.prior or Prior(), x, self.rows.cuts)

    def results(self) -> OrdinalResults:
        """What the fit says, with its warnings."""
        model, posterior = self.model, self.at_best()
        names = [*threshold_names(self.labels), *model.effects.names]
        cov = posterior.psi_cov[: self.fixed, : self.fixed]
        results = OrdinalResults(
            model=model,
            params=pd.Series(posterior.psi[: self.fixed], index=names),
            bse=pd.Series(np.sqrt(np.diag(cov)), index=names),
            covariance=pd.DataFrame(cov, index=names, columns=names),
            random_sd={t.name: float(s) for t, s in zip(model.terms, posterior.sd, strict=True)},
            random_effects=random_effects(posterior),
            llf=self.best.state.value,
            nobs=model.nobs,
            parameters=self.rows.size,
            converged=self.best.converged,
            prior=self.prior,
            posterior=posterior,
            foretelling=foretelling(posterior, self) if self.prior else posterior,
            fit=self,
            labels=model.labels,
            used_labels=tuple(self.labels),
        )
        self.warn(results)
        wide = self._without_finite_estimate(results)
        if wide:
            warnings.warn(
                f"{', '.join(wide)} splits the grades so cleanly that its effect has no finite "
                "estimate. Fit with prior='weak' for a finite, honest one.",
                SeparationWarning,
                stacklevel=4,
            )
        return results

    def without(self, left_out: Array) -> Posterior:
        """What would be known without some rows: one Newton step from the best fit of all.

        Parameters
        ----------
        left_out : (n,) boolean array

        Notes
        -----
        The step is that of all parameters, standard deviations on the log scale; the rows' share of
        the Hessian is taken from `LaplaceLikelihood.curvature`. Modes are then found anew.
        """
        laplace = LaplaceLikelihood(self.rows.part(~left_out))
        best, x = self.best, self.best.x
        near = laplace.mode(x, best.state.b)
        assert near is not None
        slope = -laplace.gradient(x, near) - self._log_prior(x)[1]
        lost = self._curvature_of_all - laplace.curvature(x, near)
        stretch = np.ones(x.size)
        stretch[self.every_sd] = x[self.every_sd]
        slope = slope * stretch
        hessian = (best.hessian - lost) * np.outer(stretch, stretch)
        hessian[self.every_sd, self.every_sd] += np.diag(slope[self.every_sd])
        inverse = inverse_of(hessian)
        step = -inverse @ slope
        for shrink in (1.0, 0.5, 0.25, 0.0):
            moved = x + shrink * step
            reach = np.clip(moved - x, -1, 1)[self.every_sd]
            moved[self.every_sd] = x[self.every_sd] * np.exp(reach)
            mode = laplace.mode(moved, near.b)
            if mode is not None:
                break
        assert mode is not None
        stretch[self.every_sd] = moved[self.every_sd]
        cov = inverse * np.outer(stretch, stretch)
        return self.posterior(moved, cov, mode, laplace)

    @cached_property
    def _curvature_of_all(self) -> Array:
        return self.laplace.curvature(self.best.x, self.best.state)

    def _without_finite_estimate(self, results: OrdinalResults) -> list[str]:
        """Effects that the search only stopped for want of slope."""
        x, names = self.model.effects.x, self.model.effects.names
        error = results.bse.to_numpy()[self.rows.cuts :] * np.ptp(x, axis=0)
        if self.prior is not None or (results.converged and not np.any(error > RUN_OFF)):
            return []
        return [names[j] for j in without_finite_estimate(self.rows.y, x, self.rows.steps)]


def threshold_names(labels: tuple[Any, ...]) -> list[str]:
    """'1|2' for the threshold between steps 1 and 2."""
    return [f"{a}|{b}" for a, b in pairwise(labels)]


def start_thresholds(rows: GradeRows) -> Array:
    """Thresholds that give the grades' own shares, for rows without any effect."""
    counts = rows.counts + 0.2
    share = np.cumsum(counts)[:-1] / counts.sum()
    # Random effects stretch the scale: Zeger, Liang and Albert (1988), Biometrics 44.
    stretch = np.sqrt(1 + 0.346 * START_SD**2 * rows.free_sds)
    start: Array = stretch * np.log(share / (1 - share))
    return start


def step_prior(prior: Prior, x: Array, cuts: int) -> tuple[float, Array, Array]:
    """The prior of thresholds, which stand first: log density, slopes, minus bends."""
    value, by_cut, bent = prior.step_terms(x[:cuts])
    slope, bend = np.zeros(x.size), np.zeros((x.size, x.size))
    slope[:cuts] = by_cut
    difference = np.diff(np.eye(cuts), axis=0)
    bend[:cuts, :cuts] = (difference.T * bent) @ difference
    return value, slope, bend


def used_steps(
    y: Index, labels: tuple[Any, ...], response: str, prior: Prior | None
) -> tuple[Index, tuple[Any, ...]]:
    """Leave steps that were never used out of the scale, and say so, unless a prior holds them."""
    used = np.bincount(y, minlength=len(labels)) > 0
    if used.all() or (prior is not None and prior.step_shape > 1):
        return y, labels
    empty = ", ".join(str(label) for label, seen in zip(labels, used, strict=True) if not seen)
    warnings.warn(
        f"No {response} was {empty}; such a step has no threshold of its own and a chance of 0.",
        EmptyGradeWarning,
        stacklevel=5,
    )
    place = np.cumsum(used) - 1
    return place[y], tuple(label for label, seen in zip(labels, used, strict=True) if seen)


# A direction's entries are at most 1; below this they are the arithmetic's own.
TOLERANCE = 1e-7


def without_finite_estimate(y: Index, x: Array, steps: int) -> list[int]:
    """Places of the effects that run off to infinity.

    The log-likelihood of grades given eta = x'beta is concave. It has a finite maximum unless
    there is a direction in which no row's chance ever falls and some row's rises: changes of
    thresholds t and effects d with

        t_y >= x'd >= t_{y-1}  for every row,  somewhere strictly.

    A linear programme finds such a direction or proves that there is none: Albert and Anderson
    (1984), On the existence of maximum likelihood estimates in logistic regression models,
    Biometrika 71; for cumulative models Haberman (1980), discussion of McCullagh, Journal of
    the Royal Statistical Society B 42. What random effects add to eta changes neither side's
    order, so the answer holds with them.

    Parameters
    ----------
    y : (n,) integer array
        Step of each row, counted from 0; every step is used.
    x : (n, p) array
        Effects' columns, without a constant.
    steps : int

    Returns
    -------
    list of int
        Empty if the likelihood has a finite maximum.
    """
    gains = _gains(y, x, steps)
    cuts = steps - 1
    if -_least(gains, -gains.sum(axis=0)) < TOLERANCE:
        return []
    found = []
    for j in range(x.shape[1]):
        one = np.zeros(gains.shape[1])
        one[cuts + j] = 1.0
        if max(-_least(gains, one), -_least(gains, -one)) > TOLERANCE:
            found.append(j)
    return found


def _gains(y: Index, x: Array, steps: int) -> Array:
    """How far each row's two distances to its cuts grow along a direction (t, d)."""
    cuts = steps - 1
    # Columns are brought to one size, so that no direction hides behind a large unit.
    scaled = x / np.maximum(np.ptp(x, axis=0), 1e-300)
    rows = np.unique(np.column_stack([y, scaled]), axis=0)
    step, scaled = rows[:, 0].astype(int), rows[:, 1:]
    above = np.hstack([np.eye(cuts, steps).T[step], -scaled])[step < cuts]
    below = np.hstack([-np.eye(steps, cuts, k=-1)[step], scaled])[step > 0]
    return np.vstack([above, below])


def _least(gains: Array, cost: Array) -> float:
    """Least cost of a direction along which no distance shrinks, its entries at most 1."""
    answer = linprog(cost, A_ub=-gains, b_ub=np.zeros(len(gains)), bounds=(-1, 1), method="highs")
    return float(answer.fun) if answer.success else 0.0
