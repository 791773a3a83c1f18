"""Grades and measurements of the same latent value in one mixed model: the model and its fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import log_ndtr

from kit.errors import Misuse
from kit.mixed.cholesky import one_thread
from kit.mixed.grouping import (
    Group,
    RandomTerm,
    as_lists,
    check_twins,
    columns_of,
    read_random_terms,
)
from kit.mixed.joint_rows import JointRows, JointTerms
from kit.mixed.laplace_fit import START_SD, LaplaceFit
from kit.mixed.measured_results import JointResults
from kit.mixed.mixed_model import MixedModel, complete_rows, differing, grade_codes, parse
from kit.mixed.new_rows import foretelling
from kit.mixed.ordinal import start_thresholds, step_prior, threshold_names, used_steps
from kit.mixed.prior import Prior, as_prior
from kit.mixed.results import random_effects
from kit.mixed.row_likelihoods import MeasuredRows
from kit.mixed.sparsity import Array, Index

# Measurements below which a line through them says nothing.
FEWEST = 4


class JointMixedModel(MixedModel):
    """One latent value seen in two ways: by grades through cuts, and by measurements on a line.

    P(grade <= k) = logistic(threshold_k - eta)  and  measurement = a + b eta + error, with eta the
    effects of `formula` plus random intercepts and slopes. The error is normal; its variance is one
    that is estimated plus the square of a known standard error. A measurement at or below `floor`
    says no more than that it lies there, one at or above `ceiling` likewise: both are censored.
    Either source may be missing: then the model is that of the other, with a = 0 and b = 1 where
    there are no grades.

    Parameters
    ----------
    formula : str
        Of the grades: 'spread ~ base_family * overlay_family + firings'.
    grades : DataFrame or None
    measurements : DataFrame or None
        Needs the columns of the formula's right-hand side.
    measure : str
        Column of what was measured, on a scale on which the line makes sense (shares as logits).
    groups, slopes
        As for `OrdinalMixedModel`. A group whose columns only one of the tables has, such as the
        grader, enters the rows of that table alone.
    error : str, optional
        Column of the measurements' known standard errors.
    floor, ceiling : float
        Between which measurements can be told from each other, in the units of `measure`.

    Raises
    ------
    Misuse
        If the formula or the data cannot be used as asked.

    Warns
    -----
    AliasedEffectWarning
        If an effect repeats others; it is left out.
    """

    def __init__(
        self,
        formula: str,
        grades: pd.DataFrame | None,
        measurements: pd.DataFrame | None,
        measure: str,
        groups: Sequence[str] = (),
        slopes: Mapping[str, Sequence[str]] | None = None,
        error: str | None = None,
        floor: float = -np.inf,
        ceiling: float = np.inf,
    ) -> None:
        groups, slopes = as_lists(groups, slopes)
        self.formula, self.measure = formula, measure
        self.response, _, right = parse(formula)
        used = {str(name) for name in right.required_variables}
        own = {self.response}, {measure, *([error] if error else [])}
        tables = [
            _complete(table, formula, used | mine, columns_of(groups, slopes))
            for table, mine in zip((grades, measurements), own, strict=True)
        ]
        graded, measured = tables
        if graded.empty and measured.empty:
            raise Misuse("There are neither grades nor measurements to fit.")
        self.y, self.labels = _grades(graded, self.response)
        values, self.error = _measurements(measured, measure, error, len(graded) > 0)
        self.side = (values <= floor).astype(int) - (values >= ceiling).astype(int)
        self.measured = np.clip(values, floor, ceiling)
        if len(measured) and np.all(self.side != 0):
            raise Misuse(f"No {measure} lies between what can be told: {floor:g} to {ceiling:g}.")
        self.data = graded if len(graded) else measured
        both = pd.concat([t for t in tables if len(t)], ignore_index=True)
        terms = _terms(groups, slopes, graded, measured, both)
        self._lay_out(right, both, terms, intercept=graded.empty)

    def fit(self, prior: Prior | Literal["weak"] | None = None) -> JointResults:
        """Fit by maximum likelihood, or by the highest posterior density under a prior.

        Parameters
        ----------
        prior : None, 'weak' or Prior
            In logits; where there are no grades, in standard deviations of the measurements.

        Warns
        -----
        EmptyGradeWarning, BoundaryVarianceWarning, NotConvergedWarning
        """
        belief = as_prior(prior)
        check_twins(self.terms, with_prior=belief is not None)
        with one_thread():
            return JointFit(self, belief).results()


def _complete(
    table: pd.DataFrame | None, formula: str, needed: set[str], grouping: set[str]
) -> pd.DataFrame:
    """A table's rows without a blank in what it needs and in what it has of the groups."""
    if table is None or table.empty:
        return pd.DataFrame()
    return complete_rows(table, formula, needed | (grouping & set(table.columns)))


def _grades(graded: pd.DataFrame, response: str) -> tuple[Index, tuple[Any, ...]]:
    if graded.empty:
        return np.empty(0, np.int64), ()
    return grade_codes(graded[response])


def _measurements(
    measured: pd.DataFrame, measure: str, error: str | None, beside_grades: bool
) -> tuple[Array, Array]:
    """What was measured, and known standard errors."""
    if measured.empty:
        return np.empty(0), np.empty(0)
    values = measured[measure].to_numpy(float)
    if len(values) < FEWEST and beside_grades:
        raise Misuse(
            f"{len(values)} measurements cannot be set beside grades; at least {FEWEST} are needed."
        )
    differing(values, measure)
    known = measured[error].to_numpy(float) if error else np.zeros(len(values))
    if (known < 0).any():
        raise Misuse(f"{error} holds a negative standard error.")
    return values, known


def _terms(
    groups: list[str],
    slopes: dict[str, list[str]],
    graded: pd.DataFrame,
    measured: pd.DataFrame,
    both: pd.DataFrame,
) -> tuple[RandomTerm, ...]:
    """Random terms over both tables; a group that one table lacks has no entries there."""
    terms = []
    tables = [table for table in (graded, measured) if len(table)]
    for name in dict.fromkeys((*groups, *slopes)):
        columns = {part.strip() for part in name.split(":")}
        having = [columns <= set(table.columns) for table in tables]
        if not any(having):
            raise Misuse(f"Neither the grades nor the measurements have the columns of {name}.")
        alone = [name] if name in groups else []
        mine = {name: slopes[name]} if name in slopes else {}
        source = both if all(having) else tables[having.index(True)]
        found = read_random_terms(alone, mine, source)
        inside = np.concatenate(
            [np.full(len(table), has) for table, has in zip(tables, having, strict=True)]
        )
        terms += [term if inside.all() else _padded(term, inside) for term in found]
    return tuple(sorted(terms, key=lambda term: term.column is not None))


def _padded(term: RandomTerm, inside: Array) -> RandomTerm:
    """The same term over rows some of which it does not enter."""
    codes = np.zeros(inside.size, np.int64)
    codes[inside] = term.group.codes
    entries = np.zeros(inside.size)
    entries[inside] = 1.0 if term.entries is None else term.entries
    group = Group(term.group.name, term.group.columns, term.group.levels, codes)
    return RandomTerm(group, term.column, term.unit, entries)


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

    def __init__(self, model: JointMixedModel, prior: Prior | None) -> None:
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
            self.measured_sd = _deviation_within(measured, model.side)
        self.zero, self.one = (float(measured.mean()), self.measured_sd) if linked else (0.0, 1.0)
        rows = JointRows(
            y,
            x / unit,
            model.pattern,
            max(len(self.labels), 1),
            len(model.terms),
            MeasuredRows((measured - self.zero) / self.one, model.error / self.one, model.side),
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


def _deviation_within(values: Array, side: Index) -> float:
    """Standard deviation of measurements, were none censored: that of the likeliest normal.

    `side` is as for `MeasuredRows`.
    """
    sd = float(values.std())
    if not side.any():
        return sd

    def misfit(at: Array) -> float:
        q = (values - at[0]) / np.exp(at[1])
        each = np.where(side == 0, -0.5 * q**2 - at[1], log_ndtr(side * q))
        return -float(each.sum())

    start = np.array([values.mean(), np.log(sd)])
    return float(np.exp(minimize(misfit, start, method="Nelder-Mead").x[1]))
