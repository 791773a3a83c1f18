"""Ordinal mixed models: cumulative logit, flexible thresholds, crossed random effects."""

import warnings
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import numpy as np
import pandas as pd

from kit.errors import (
    BoundaryVarianceWarning,
    EmptyGradeWarning,
    Misuse,
    NotConvergedWarning,
    SeparationWarning,
)
from kit.mixed.display import model_line
from kit.mixed.grouping import check_twins, columns_of, pattern_of, read_random_terms
from kit.mixed.laplace import LaplaceLikelihood, Mode, OrdinalRows
from kit.mixed.mixture import Mixture
from kit.mixed.model_matrix import complete_rows, grade_codes, parse, read_effects
from kit.mixed.optimise import Optimum, inverse_of, minimise
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior, as_prior
from kit.mixed.quadrature import QuadratureLikelihood
from kit.mixed.results import random_effects
from kit.mixed.sparsity import Array, Index
from kit.mixed.threads import one_thread

# Past this many logits over a factor's range an effect says "always", not "how much".
SEPARATED = 12.0
# A standard deviation below this share of a logit cannot be told from zero.
NEGLIGIBLE_SD = 1e-3
START_SD = 0.6


class OrdinalMixedModel:
    """Cumulative-logit model of ordered grades with random intercepts and slopes.

    P(y <= k) = logistic(threshold_k - eta), with eta the effects of `formula` plus one normal
    deviation for each level of each group, and one times a column for each random slope.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread ~ base_family * overlay_family + firings'. Thresholds stand
        in for the intercept.
    data : DataFrame
        Rows with a blank in a column that is used are left out.
    groups : sequence of str
        Columns whose levels each have a deviation of their own, crossed or nested; several columns
        joined by ':' make one group ('base:overlay').
    slopes : mapping of str to sequence of str, optional
        Numeric columns whose effect differs by group: {"judge": ["warm"]}. A slope is independent
        of the group's intercept and is not centred: it vanishes where the column is 0.

    Raises
    ------
    Misuse
        If the formula or the data cannot be used as asked: one grade only, a group of one level,
        more effects than rows.

    Warns
    -----
    AliasedEffectWarning
        If an effect repeats others; it is left out.

    Examples
    --------
    >>> model = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"])
    >>> print(model.fit().summary())
    """

    def __init__(
        self,
        formula: str,
        data: pd.DataFrame,
        groups: Sequence[str] = (),
        slopes: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        groups = [groups] if isinstance(groups, str) else list(groups)
        slopes = dict(slopes or {})
        response, left, right = parse(formula)
        data = complete_rows(data, formula, left, right, columns_of(groups, slopes))
        if response not in data.columns:
            raise Misuse(f"The response {response!r} must be a column of the data.")
        self.formula = formula
        self.response = response
        self.y, self.labels = grade_codes(data[response])
        self.effects = read_effects(right, data, intercept=False)
        self.terms = read_random_terms(groups, slopes, data)
        self.data = data
        self.nobs = len(data)
        if len(self.effects.names) + 1 >= self.nobs:
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} grades. "
                "Drop some terms."
            )
        self.pattern = pattern_of(self.terms, self.nobs)

    def __repr__(self) -> str:
        return model_line(self)

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
        fit = _OrdinalFit(self, belief, quadrature)
        with one_thread():
            return fit.run()


class _OrdinalFit:
    """One fit: inside, effects' columns are centred and scaled; thresholds shift to match."""

    def __init__(self, model: OrdinalMixedModel, prior: Prior | None, quadrature: int) -> None:
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

    def run(self) -> OrdinalResults:
        start = self._start()
        mode = self.laplace.mode(start)
        if mode is None:
            raise Misuse("The grades and groups leave no place to start a fit from.")
        curvature = self.laplace.curvature(start, mode)
        curvature += self._prior_bend(start)
        best = minimise(self._objective, start, curvature)
        best = self._at_zero(best)
        return self._results(best)

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

    def _objective(self, psi: Array, near: Mode | None) -> tuple[float, Array, Mode | None]:
        mode = self.likelihood.mode(psi, None if near is None else near.b)
        if mode is None:
            return np.inf, np.zeros_like(psi), None
        value, slope = self._log_prior(psi)
        return -mode.value - value, -self.likelihood.gradient(psi, mode) - slope, mode

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
        value, gradient, mode = self._objective(psi, best.state)
        if mode is None or value > best.value + 1e-6:
            return best
        hessian = best.hessian * np.outer(flip, flip)
        return Optimum(psi, value, gradient, hessian, mode, best.converged, best.evaluations)

    def _outward(self) -> Array:
        """d(reported parameters)/d(internal ones): theta + centre'beta, gamma / unit, sd / unit."""
        rows = self.rows
        outward = np.eye(rows.size)
        effect = slice(rows.cuts, rows.cuts + rows.x.shape[1])
        outward[effect, effect] = np.diag(1 / self.unit)
        outward[: rows.cuts, effect] = self.centre / self.unit
        for place, term in enumerate(self.model.terms, start=rows.size - rows.free_sds):
            outward[place, place] = 1 / term.unit
        return outward

    def _results(self, best: Optimum[Mode]) -> OrdinalResults:
        model, rows = self.model, self.rows
        outward = self._outward()
        psi = outward @ best.x
        cov = outward @ inverse_of(best.hessian) @ outward.T
        mode = best.state
        slopes = self.laplace.mode_slopes(best.x, mode) @ np.linalg.inv(outward)
        sd = psi[rows.size - rows.free_sds :]
        sd_slopes = np.eye(rows.size)[rows.size - rows.free_sds :]
        posterior = Posterior(
            effects=model.effects,
            terms=model.terms,
            psi=psi,
            psi_cov=cov,
            first_effect=rows.cuts,
            sd=sd,
            new_var=new_level_variance(sd, sd_slopes, cov, self.prior is not None),
            sd_slopes=sd_slopes,
            b=mode.b if rows.free_sds else np.empty(0),
            b_slopes=slopes if rows.free_sds else np.empty((0, rows.size)),
            factor=mode.factor,
        )
        names = [f"{a}|{b}" for a, b in zip(self.labels[:-1], self.labels[1:], strict=True)]
        names += model.effects.names
        fixed = len(names)
        results = OrdinalResults(
            model=model,
            params=pd.Series(psi[:fixed], index=names),
            bse=pd.Series(np.sqrt(np.diag(cov)[:fixed]), index=names),
            random_sd={t.name: float(s) for t, s in zip(model.terms, sd, strict=True)},
            random_effects=random_effects(posterior),
            llf=mode.value,
            nobs=model.nobs,
            parameters=rows.size,
            converged=best.converged,
            prior=self.prior,
            mixture=Mixture.of(posterior),
            covariance=pd.DataFrame(cov[:fixed, :fixed], index=names, columns=names),
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
        size = np.abs(results.params.to_numpy()[self.rows.cuts :]) * self.reach
        wide = [n for n, s in zip(self.model.effects.names, size, strict=True) if s > SEPARATED]
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
