"""Linear mixed models for measurements: normal response, crossed random effects."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import BoundaryVarianceWarning, Misuse, NotConvergedWarning
from kit.mixed.display import Summary, model_line, summarise
from kit.mixed.grouping import check_twins, columns_of, pattern_of, read_random_terms
from kit.mixed.mixture import LatentDraws, Mixture, draw
from kit.mixed.model_matrix import complete_rows, parse, read_effects
from kit.mixed.optimise import Optimum, inverse_of, minimise
from kit.mixed.penalised_least_squares import PenalisedLikelihood, Solution
from kit.mixed.posterior import Posterior, new_level_variance
from kit.mixed.prior import Prior, as_prior
from kit.mixed.results import MixedResults, checked, random_effects
from kit.mixed.sparsity import Array
from kit.mixed.threads import one_thread

# A standard deviation below this share of the residual's cannot be told from zero.
NEGLIGIBLE_SHARE = 1e-4


@dataclass(frozen=True, eq=False, repr=False)
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

    @property
    def fittedvalues(self) -> pd.Series:
        """Measurement expected of each fitted row, at its own levels."""
        mean, _ = self.latent_marginal(self.model.data)
        return pd.Series(mean, index=self.model.data.index, name=self.model.response)

    @property
    def resid(self) -> pd.Series:
        """Each fitted row's measurement minus what was expected of it."""
        return self.model.y - self.fittedvalues

    def latent_draws(
        self,
        frame: pd.DataFrame,
        noise: Sequence[str] = (),
        draws: int = 512,
        seed: int = 0,
    ) -> LatentDraws:
        """Joint draws of what is expected of new rows, given the data.

        Parameters
        ----------
        frame : DataFrame, n rows
            As for `latent`.
        noise : sequence of str
            Groups whose new levels are not drawn; how much they vary is, draw by draw.
        draws : int
            A power of two.
        seed : int
        """
        _, value, noise_sd = draw(self.mixture, frame, noise, draws, seed)
        return LatentDraws(value, noise_sd)

    def predict(
        self,
        frame: pd.DataFrame | None = None,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Expected measurement for new rows, with intervals.

        Parameters
        ----------
        frame : DataFrame, n rows
            The fitted rows if not given.
        confidence : float
        noise : sequence of str
            As for `latent`.

        Returns
        -------
        DataFrame
            Columns `mean`, `low`, `high` (of the expectation) and `new_low`, `new_high` (of a
            single new measurement).
        """
        frame = self.model.data if frame is None else frame
        reach = norm.ppf(0.5 + checked(confidence) / 2)
        mean, var = self.latent_marginal(frame, noise)
        sd, new_sd = np.sqrt(var), np.sqrt(var + self.residual_sd**2)
        return pd.DataFrame(
            {
                "mean": mean,
                "low": mean - reach * sd,
                "high": mean + reach * sd,
                "new_low": mean - reach * new_sd,
                "new_high": mean + reach * new_sd,
            },
            index=frame.index,
        )

    def summary(self, confidence: float = 0.95) -> Summary:
        """Tables of effects and sources of variation, to print or to read on."""
        how = "REML" if self.reml else "maximum likelihood"
        notes = (self.prior.describe_for_measurements(),) if self.prior is not None else ()
        return summarise(self, f"Linear mixed model ({how})", confidence, notes)


class LinearMixedModel:
    """Measurements with random intercepts and slopes.

    y = effects + one normal deviation a level, alone or times a column, + error.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread_mm ~ base_family * overlay_family + firings'.
    data : DataFrame
        Rows with a blank in a column that is used are left out.
    groups, slopes
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
        self.formula = formula
        self.response = response
        self.y = _measurements(left.get_model_matrix(data, output="numpy"), response)
        self.effects = read_effects(right, data, intercept=True)
        self.terms = read_random_terms(groups, slopes, data)
        self.data = data
        self.nobs = len(data)
        single = [t.name for t in self.terms if t.size == self.nobs and t.column is None]
        if single:
            raise Misuse(
                f"{', '.join(single)} has a level for every row, so it cannot be told apart from "
                "the measurement's own error. Leave it out of the groups."
            )
        if self.nobs <= len(self.effects.names):
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} measurements."
            )
        self.pattern = pattern_of(self.terms, self.nobs)

    def __repr__(self) -> str:
        return model_line(self)

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
        check_twins(self.terms, with_prior=prior is not None)
        with one_thread():
            x = self.effects.x
            likelihood = PenalisedLikelihood(
                x, self.y, self.pattern, len(self.terms), reml, as_prior(prior), np.ptp(x, axis=0)
            )
            if likelihood.rest_squares <= 1e-20 * max(float(self.y @ self.y), 1e-300):
                raise Misuse(
                    "The effects explain every measurement to the last digit, which leaves no "
                    "variation to learn from. Drop some effects."
                )
            start = np.ones(len(self.terms) + 1)
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
        random_sd = {t.name: float(sd) for t, sd in zip(self.terms, posterior.sd, strict=True)}
        results = LinearResults(
            model=self,
            params=beta,
            bse=pd.Series(np.sqrt(np.diag(own)), index=names),
            random_sd={**random_sd, "Residual": s},
            random_effects=random_effects(posterior),
            llf=likelihood.log_likelihood(best.x, at),
            nobs=self.nobs,
            parameters=len(names) + best.x.size,
            converged=best.converged,
            prior=likelihood.prior,
            mixture=Mixture.of(posterior),
            covariance=pd.DataFrame(own, index=names, columns=names),
            residual_sd=s,
            reml=likelihood.reml,
        )
        self._warn(results)
        return results

    def _posterior(
        self, likelihood: PenalisedLikelihood, best: Optimum[Solution], own: Array
    ) -> Posterior:
        """psi holds the effects, the relative standard deviations and log s."""
        at, p, terms = best.state, likelihood.p, len(self.terms)
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
        per_unit = np.array([s / term.unit for term in self.terms])
        sd = per_unit * relative[:terms]
        sd_slopes = np.zeros((terms, size))
        sd_slopes[:, p : p + terms] = np.diag(per_unit)
        sd_slopes[:, -1] = sd
        b_slopes = np.hstack([-at.b_of_q @ likelihood.triangle / s, b_moving])
        return Posterior(
            effects=self.effects,
            terms=self.terms,
            psi=np.concatenate([likelihood.effects_back(likelihood.first + at.delta), best.x]),
            psi_cov=cov,
            first_effect=0,
            sd=sd,
            new_var=new_level_variance(sd, sd_slopes, cov, likelihood.prior is not None),
            sd_slopes=sd_slopes,
            b=at.b / s if terms else np.empty(0),
            b_slopes=b_slopes if terms else np.empty((0, size)),
            factor=at.factor,
        )

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
            for term in self.terms
            if results.random_sd[term.name] * term.unit < NEGLIGIBLE_SHARE * results.residual_sd
        ]
        if zero:
            warnings.warn(
                f"The variation of {', '.join(zero)} was estimated at zero: these data show none "
                "beyond what the rest explains.",
                BoundaryVarianceWarning,
                stacklevel=4,
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
