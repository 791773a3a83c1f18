"""One fit of grades and measurements together: its start, its prior, its results."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.mixed.joint_results import JointResults
from kit.mixed.joint_rows import JointRows, JointTerms
from kit.mixed.laplace_fit import START_SD, LaplaceFit
from kit.mixed.measured_rows import MeasuredRows, deviation_within
from kit.mixed.new_rows import foretelling
from kit.mixed.ordinal_fit import start_thresholds, step_prior, threshold_names, used_steps
from kit.mixed.prior import Prior
from kit.mixed.results import random_effects
from kit.mixed.sparsity import Array

if TYPE_CHECKING:
    from kit.mixed.joint import JointMixedModel


class JointFit(LaplaceFit[JointTerms]):
    """A fit of grades and measurements.

    Inside, measurements that stand beside grades are counted from their mean in units of their
    standard deviation.

    Parameters
    ----------
    model : JointMixedModel
    prior : Prior or None
    """

    rows: JointRows

    def __init__(self, model: "JointMixedModel", prior: Prior | None) -> None:
        x = model.effects.x
        sd = x.std(axis=0)
        unit = np.where(sd > 0, sd, 1.0)
        y, self.labels = model.y, model.labels
        if y.size:
            y, self.labels = used_steps(y, self.labels, model.response, prior)
        measured = model.measured
        linked = bool(y.size and measured.size)
        self.measured_sd = float(measured.std()) if measured.size else 1.0
        if measured.size and not linked:
            # The whole prior counts in it; beside grades only that of the line does.
            self.measured_sd = deviation_within(measured, model.side)
        self.zero, self.one = (float(measured.mean()), self.measured_sd) if linked else (0.0, 1.0)
        rows = JointRows(
            y,
            MeasuredRows((measured - self.zero) / self.one, model.error / self.one, model.side),
            x / unit,
            model.pattern,
            max(len(self.labels), 1),
            len(model.terms),
        )
        super().__init__(model, prior, rows, unit, scale=1.0 if y.size else self.measured_sd)

    def _set_outward(self) -> None:
        rows = self.rows
        if rows.linked:
            link = np.arange(rows.cuts, rows.own)
            self.outward[link, link] = self.one
            self.offset[rows.cuts] = self.zero
        if rows.behind:
            self.outward[-1, -1] = self.one

    def _start(self) -> Array:
        rows = self.rows
        start = np.zeros(rows.size)
        if rows.cuts:
            start[: rows.cuts] = start_thresholds(rows.grades)
        if rows.linked:
            start[rows.cuts + 1] = 0.4
        if rows.behind:
            start[-1] = 0.6 * self.measured_sd / self.one
        start[self.sds] = START_SD * self.scale
        if not rows.cuts:
            start[self.effects] = np.linalg.lstsq(rows.x, rows.measured.values, rcond=None)[0]
        return start

    def _own_prior(self, x: Array) -> tuple[float, Array, Array]:
        """Log-density of steps, b and tau, with its slope and bend.

        Steps as for grades; b within about a standard deviation of the measurements a unit; tau
        like the other standard deviations, in units of that.
        """
        prior, rows = self.prior or Prior(), self.rows
        if rows.cuts:
            value, slope, bend = step_prior(prior, x, rows.cuts)
        else:
            value, slope, bend = 0.0, np.zeros(x.size), np.zeros((x.size, x.size))
        if rows.linked:
            place = rows.cuts + 1
            value -= 0.5 * float(x[place] ** 2)
            slope[place], bend[place, place] = -x[place], 1.0
        if rows.behind:
            height, slope[-1:], bent = prior.sd_terms(x[-1:], self.measured_sd / self.one)
            value, bend[-1, -1] = value + height, -bent[0]
        return value, slope, bend

    def results(self) -> JointResults:
        """What the fit says, with its warnings."""
        model, rows, posterior = self.model, self.rows, self.at_best()
        names = threshold_names(self.labels)
        if rows.linked:
            names += [f"{model.measure}|constant", f"{model.measure}|slope"]
        names += model.effects.names
        cov = posterior.psi_cov[: self.fixed, : self.fixed]
        random_sd = {t.name: float(s) for t, s in zip(model.terms, posterior.sd, strict=True)}
        residual = float(posterior.psi[-1]) if rows.behind else 0.0
        if rows.behind:
            random_sd["Residual"] = residual
        results = JointResults(
            model=model,
            params=pd.Series(posterior.psi[: self.fixed], index=names),
            bse=pd.Series(np.sqrt(np.diag(cov)), index=names),
            covariance=pd.DataFrame(cov, index=names, columns=names),
            random_sd=random_sd,
            random_effects=random_effects(posterior),
            llf=self.best.state.value - rows.measured.read * float(np.log(self.one)),
            nobs=model.nobs,
            parameters=rows.size,
            converged=self.best.converged,
            prior=self.prior,
            posterior=posterior,
            foretelling=foretelling(posterior, self) if self.prior else posterior,
            fit=self,
            labels=model.labels,
            used_labels=tuple(self.labels),
            residual_sd=residual,
            measured_sd=self.measured_sd,
        )
        self.warn(results)
        return results
