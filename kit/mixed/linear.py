"""Linear mixed models for measurements: normal response, crossed random intercepts."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import BoundaryVarianceWarning, Misuse, NotConvergedWarning
from kit.mixed import posterior as posteriors
from kit.mixed.display import Summary, summarise
from kit.mixed.grouping import check_twins, read_groups
from kit.mixed.model_matrix import complete_rows, parse, read_effects
from kit.mixed.optimise import Optimum, inverse_of, minimise
from kit.mixed.penalised_least_squares import PenalisedLikelihood, Solution
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior, as_prior
from kit.mixed.results import MixedResults, random_effects
from kit.mixed.sparsity import Array, CrossedPattern, Index
from kit.mixed.threads import one_thread

# A standard deviation below this share of the residual's cannot be told from zero.
NEGLIGIBLE_SHARE = 1e-4


@dataclass(frozen=True, eq=False)
class LinearResults(MixedResults):
    """A fitted `LinearMixedModel`.

    Attributes
    ----------
    residual_sd : float
        Standard deviation of a measurement about its own expectation; `random_sd` has it too,
        as 'Residual'.
    reml : bool
        Whether the log-likelihood is the residual (restricted) one.
    """

    residual_sd: float
    reml: bool

    def predict(
        self, frame: pd.DataFrame, confidence: float = 0.9, noise: Sequence[str] = ()
    ) -> pd.DataFrame:
        """Expected measurement for new rows, with intervals.

        Parameters
        ----------
        frame : DataFrame, n rows
        confidence : float
        noise : sequence of str
            As for `latent`.

        Returns
        -------
        DataFrame
            Columns `mean`, `low`, `high` (of the expectation) and `new_low`, `new_high` (of a
            single new measurement).
        """
        if not 0 < confidence < 1:
            raise Misuse(f"confidence must lie between 0 and 1, not {confidence}.")
        rows = posteriors.lay_out(self.posterior, frame, noise)
        reach = norm.ppf(0.5 + confidence / 2)
        var = posteriors.variance(self.posterior, rows)
        sd, new_sd = np.sqrt(var), np.sqrt(var + self.residual_sd**2)
        return pd.DataFrame(
            {
                "mean": rows.mean,
                "low": rows.mean - reach * sd,
                "high": rows.mean + reach * sd,
                "new_low": rows.mean - reach * new_sd,
                "new_high": rows.mean + reach * new_sd,
            },
            index=frame.index,
        )

    def summary(self, alpha: float = 0.05) -> Summary:
        """Tables of effects and sources of variation, to print or to read on."""
        how = "REML" if self.reml else "maximum likelihood"
        notes = (self.prior.describe_for_measurements(),) if self.prior is not None else ()
        return summarise(self, f"Linear mixed model ({how})", alpha, notes)


class LinearMixedModel:
    """Measurements with random intercepts: y = effects + one normal deviation a level + error.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread_mm ~ base_family * overlay_family + firings'.
    data : DataFrame
        Rows with a blank in a column that is used are left out.
    groups : sequence of str
        As for `OrdinalMixedModel`.

    Raises
    ------
    Misuse
        If the formula or the data cannot be used as asked.

    Warns
    -----
    AliasedEffectWarning
        If an effect repeats others; it is left out.
    """

    def __init__(self, formula: str, data: pd.DataFrame, groups: Sequence[str] = ()) -> None:
        if isinstance(groups, str):
            groups = [groups]
        response, left, right = parse(formula)
        data = complete_rows(data, formula, left, right, groups)
        self.formula = formula
        self.y = _measurements(left.get_model_matrix(data, output="numpy"), response)
        self.effects = read_effects(right, data, intercept=True)
        self.groups = read_groups(groups, data)
        self.nobs = len(data)
        single = [group.name for group in self.groups if group.size == self.nobs]
        if single:
            raise Misuse(
                f"{', '.join(single)} has a level for every row, so it cannot be told apart from "
                "the measurement's own error. Leave it out of the groups."
            )
        if self.nobs <= len(self.effects.names):
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} measurements."
            )
        if self.groups:
            codes: list[Index] = [group.codes for group in self.groups]
            self.pattern = CrossedPattern(codes, [group.size for group in self.groups])
        else:
            self.pattern = CrossedPattern([np.zeros(self.nobs, np.int64)], [1])

    def fit(self, reml: bool = True, prior: Prior | Literal["weak"] | None = None) -> LinearResults:
        """Fit by residual or plain maximum likelihood, with a prior if one is given.

        Parameters
        ----------
        reml : bool
            Residual maximum likelihood, which does not underestimate spreads in small data.
        prior : None, 'weak' or Prior

        Warns
        -----
        BoundaryVarianceWarning, NotConvergedWarning
        """
        check_twins(self.groups, with_prior=prior is not None)
        with one_thread():
            x = self.effects.x
            likelihood = PenalisedLikelihood(
                x, self.y, self.pattern, len(self.groups), reml, as_prior(prior), np.ptp(x, axis=0)
            )
            if likelihood.rest_squares <= 1e-20 * max(float(self.y @ self.y), 1e-300):
                raise Misuse(
                    "The effects explain every measurement to the last digit, which leaves no "
                    "variation to learn from. Drop some effects."
                )
            start = np.ones(len(self.groups) + 1)
            start[-1] = 0.5 * np.log(likelihood.rest_squares / likelihood.count)
            at = likelihood.solve(start)
            start[-1] = 0.5 * np.log(at.squares / likelihood.count)
            best = minimise(likelihood.objective, start, likelihood.curvature(start))
            return self._results(likelihood, _at_zero(likelihood, best))

    def _results(self, likelihood: PenalisedLikelihood, best: Optimum[Solution]) -> LinearResults:
        at, names = best.state, list(self.effects.names)
        _, s = likelihood.split(best.x)
        own = s**2 * _sandwich(likelihood, np.linalg.inv(at.s_matrix))
        posterior = self._posterior(likelihood, best, own)
        beta = pd.Series(posterior.psi[: len(names)], index=names)
        random_sd = {g.name: float(sd) for g, sd in zip(self.groups, posterior.sd, strict=True)}
        results = LinearResults(
            formula=self.formula,
            params=beta,
            bse=pd.Series(np.sqrt(np.diag(own)), index=names),
            random_sd={**random_sd, "Residual": s},
            random_effects=random_effects(posterior),
            llf=likelihood.log_likelihood(best.x, at),
            nobs=self.nobs,
            parameters=len(names) + best.x.size,
            converged=best.converged,
            prior=likelihood.prior,
            posterior=posterior,
            covariance=pd.DataFrame(own, index=names, columns=names),
            residual_sd=s,
            reml=likelihood.reml,
        )
        _warn(results)
        return results

    def _posterior(
        self, likelihood: PenalisedLikelihood, best: Optimum[Solution], own: Array
    ) -> Posterior:
        """psi holds the effects, the relative standard deviations and log s."""
        at, p, terms = best.state, likelihood.p, len(self.groups)
        relative, s = likelihood.split(best.x)
        spread_cov = inverse_of(best.hessian)
        delta_slopes, b_moving = likelihood.moving(best.x, at)
        beta_slopes = likelihood.effects_back(delta_slopes)
        size = p + terms + 1
        cov = np.zeros((size, size))
        cov[:p, :p] = own + beta_slopes @ spread_cov @ beta_slopes.T
        cov[:p, p:] = beta_slopes @ spread_cov
        cov[p:, :p] = cov[:p, p:].T
        cov[p:, p:] = spread_cov
        sd_slopes = np.zeros((terms, size))
        sd_slopes[:, p : p + terms] = s * np.eye(terms)
        if terms:
            sd_slopes[:, -1] = s * relative
        b_slopes = np.hstack([-at.b_of_q @ likelihood.triangle / s, b_moving])
        return Posterior(
            effects=self.effects,
            groups=self.groups,
            psi=np.concatenate([likelihood.effects_back(likelihood.first + at.delta), best.x]),
            psi_cov=cov,
            first_effect=0,
            sd=s * relative[:terms],
            new_var=new_level_variance(
                s * relative[:terms], sd_slopes, cov, likelihood.prior is not None
            ),
            sd_slopes=sd_slopes,
            b=at.b / s if terms else np.empty(0),
            b_slopes=b_slopes if terms else np.empty((0, size)),
            factor=at.factor,
        )


def _sandwich(likelihood: PenalisedLikelihood, middle: Array) -> Array:
    half = likelihood.effects_back(middle)
    return likelihood.effects_back(half.T)


def _measurements(matrix: Array, response: str) -> Array:
    y = np.asarray(matrix, dtype=float)
    if y.ndim == 2 and y.shape[1] != 1:
        raise Misuse(f"The response {response!r} must be one column of numbers.")
    y = y.reshape(len(y))
    if np.ptp(y) == 0:
        raise Misuse(
            f"Every {response} is {y[0]:g}. Where nothing differs there is nothing to fit."
        )
    return y


def _at_zero(likelihood: PenalisedLikelihood, best: Optimum[Solution]) -> Optimum[Solution]:
    """Make standard deviations positive, and zero where they cannot be told from it."""
    flip = np.where(best.x < 0, -1.0, 1.0)
    flip[-1] = 1.0
    phi = best.x * flip
    small = phi < NEGLIGIBLE_SHARE
    small[-1] = False
    if likelihood.prior is None:
        phi[small] = 0.0
    value, gradient, at = likelihood.objective(phi, None)
    if at is None or value > best.value + 1e-6:
        return best
    hessian = best.hessian * np.outer(flip, flip)
    return Optimum(phi, value, gradient, hessian, at, best.converged, best.evaluations)


def _warn(results: LinearResults) -> None:
    if not results.converged:
        warnings.warn(
            "The search stopped before it reached the best fit; do not trust the standard errors. "
            "Simplify the model, or fit with prior='weak'.",
            NotConvergedWarning,
            stacklevel=4,
        )
    zero = [
        name
        for name, sd in results.random_sd.items()
        if sd < NEGLIGIBLE_SHARE * results.residual_sd
    ]
    if zero:
        warnings.warn(
            f"The variation of {', '.join(zero)} was estimated at zero: these data show none "
            "beyond what the rest explains.",
            BoundaryVarianceWarning,
            stacklevel=4,
        )
