"""One fit of an ordinal mixed model: its start, its prior, its results."""

import warnings
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit.errors import EmptyGradeWarning, SeparationWarning
from kit.mixed.grade_rows import GradeRows, GradeTerms
from kit.mixed.laplace_fit import START_SD, LaplaceFit
from kit.mixed.new_rows import foretelling
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.prior import Prior
from kit.mixed.quadrature import QuadratureLikelihood
from kit.mixed.results import random_effects
from kit.mixed.separation import without_finite_estimate
from kit.mixed.sparsity import Array, Index

if TYPE_CHECKING:
    from kit.mixed.ordinal import OrdinalMixedModel

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

    def __init__(self, model: "OrdinalMixedModel", prior: Prior | None, quadrature: int) -> None:
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
