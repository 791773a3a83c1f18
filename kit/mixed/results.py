"""What every fitted model offers, whatever its response."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed.cholesky import one_thread
from kit.mixed.display import Summary, summarise
from kit.mixed.new_rows import LatentDraws, Movable, draw, marginal_moments, moments
from kit.mixed.posterior import Posterior
from kit.mixed.prior import Prior
from kit.mixed.profile_likelihood import Profile
from kit.mixed.sparsity import Array

Method = Literal["wald", "profile"]

DRAWS = 512
"""Draws behind intervals, and where none other are asked for."""


class Fit(Movable, Protocol):
    """What results ask of the fit that they come from."""

    def profile(self, place: int) -> Profile:
        """The deviance of a parameter or, after them, of a standard deviation."""

    def sd_shares(self) -> Array:
        """Standard error of each standard deviation, as a share of it."""


@dataclass(frozen=True, eq=False, repr=False)
class MixedResults(ABC):
    """A fitted mixed model.

    Attributes
    ----------
    model : OrdinalMixedModel or LinearMixedModel
    params, bse : Series
        Estimates and their standard errors, by name.
    covariance : DataFrame
        Of `params`.
    random_sd : dict of str to float
        Standard deviation of each random term: 'judge' for an intercept, 'judge.warm' for a
        slope.
    random_effects : dict of str to DataFrame
        For each random term, one row a level: `value`, the conditional mode, and `se`, its
        conditional standard error.
    llf : float
        Log-likelihood, without any prior.
    nobs : int
    parameters : int
        Number of parameters estimated, standard deviations included.
    converged : bool
    prior : Prior or None
    posterior, foretelling : Posterior
        What is known at the best fit, and what new rows are foretold from (`new_rows.foretelling`).
    fit : OrdinalFit or LinearFit
        The likelihood and where its search ended.
    """

    model: Any
    params: pd.Series
    bse: pd.Series
    covariance: pd.DataFrame
    random_sd: dict[str, float]
    random_effects: dict[str, pd.DataFrame]
    llf: float
    nobs: int
    parameters: int
    converged: bool
    prior: Prior | None
    posterior: Posterior
    foretelling: Posterior
    fit: Fit

    @property
    def formula(self) -> str:
        """The model's formula."""
        return str(self.model.formula)

    @property
    def aic(self) -> float:
        """Akaike's criterion, 2 parameters - 2 llf."""
        return 2 * self.parameters - 2 * self.llf

    @property
    def bic(self) -> float:
        """Schwarz's criterion, parameters log(nobs) - 2 llf."""
        return self.parameters * float(np.log(self.nobs)) - 2 * self.llf

    @property
    def tvalues(self) -> pd.Series:
        """Each estimate in units of its standard error."""
        return self.params / self.bse

    @property
    def pvalues(self) -> pd.Series:
        """Two-sided chance of a greater `tvalues` if the parameter were 0 (normal)."""
        return pd.Series(2 * norm.sf(np.abs(self.tvalues)), index=self.params.index)

    @property
    def group_sizes(self) -> dict[str, int]:
        """Number of levels of each random term."""
        return {term.name: term.size for term in self.posterior.terms}

    def cov_params(self) -> pd.DataFrame:
        """Covariance of `params`."""
        return self.covariance.copy()

    def conf_int(self, confidence: float = 0.95, method: Method = "wald") -> pd.DataFrame:
        """Intervals that hold each parameter with the stated confidence.

        Parameters
        ----------
        confidence : float
        method : 'wald' or 'profile'
            The normal approximation, or the values that the likelihood does not contradict, which
            takes a few fits for each end. Profiles are those of the likelihood, not of the residual
            one.

        Returns
        -------
        DataFrame
            Columns `low` and `high`, by name.

        Raises
        ------
        Misuse
            For profiles of a fit with a prior.
        """
        if _is_profile(method):
            return self._profiles(self.params.index, 0, checked_confidence(confidence))
        reach = norm.ppf(0.5 + checked_confidence(confidence) / 2) * self.bse
        return pd.DataFrame({"low": self.params - reach, "high": self.params + reach})

    def random_sd_conf_int(self, confidence: float = 0.95, method: Method = "wald") -> pd.DataFrame:
        """Intervals of the standard deviations in `random_sd`.

        Parameters
        ----------
        confidence, method
            As for `conf_int`; the normal approximation is that of their logs.

        Returns
        -------
        DataFrame
            Columns `low` and `high`, by name.
        """
        names = pd.Index(list(self.random_sd))
        if _is_profile(method):
            return self._profiles(names, len(self.params), checked_confidence(confidence))
        reach = norm.ppf(0.5 + checked_confidence(confidence) / 2)
        sd = pd.Series(self.random_sd, dtype=float)
        # Past two standard errors of a log the approximation means nothing.
        factor = np.exp(np.minimum(reach * self.fit.sd_shares(), 2.0 * reach))
        return pd.DataFrame({"low": sd / factor, "high": sd * factor})

    def _profiles(self, names: pd.Index, first: int, confidence: float) -> pd.DataFrame:
        if self.prior is not None:
            raise Misuse(
                "A profile is that of the likelihood alone, and this fit has a prior. Fit without "
                "one, or use method='wald'."
            )
        with one_thread():
            ends = [self.fit.profile(first + j).interval(confidence) for j in range(len(names))]
        return pd.DataFrame(ends, index=names, columns=["low", "high"])

    def latent(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> tuple[Array, Array]:
        """Mean and covariance of the linear predictor eta for new rows, given the data.

        The uncertainty of effects, of the levels that were seen and of the standard deviations
        is in it (to first order), and so is the variance of levels never seen: two rows that
        share an unseen level share its variance. That variance is the estimated one, or under a
        prior its expectation.

        Parameters
        ----------
        frame : DataFrame, n rows
            Needs the formula's columns. A group whose columns are there is taken at its level; a
            group whose columns are not there stands at zero: the average grader, the average tile.
            Slopes are taken where their group is, and need their own column then.
        noise : sequence of str
            Groups, missing from the frame, to meet at a new level in each row, so that their
            variance counts: noise=("tile", "patch") for a new patch on a new tile.

        Returns
        -------
        mean : (n,) array
        cov : (n, n) array
        """
        return moments(self.foretelling, frame, noise)

    def latent_marginal(
        self, frame: pd.DataFrame, noise: Sequence[str] = ()
    ) -> tuple[Array, Array]:
        """Mean and variance of each new row's linear predictor, without their covariances.

        Parameters
        ----------
        frame, noise
            As for `latent`.

        Returns
        -------
        mean, variance : (n,) arrays
        """
        return marginal_moments(self.foretelling, frame, noise)

    def latent_draws(
        self, frame: pd.DataFrame, noise: Sequence[str] = (), draws: int = DRAWS, seed: int = 0
    ) -> LatentDraws:
        """Joint draws of new rows' latent values, given the data.

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
        _, value, noise_sd = draw(self.posterior, self.foretelling, frame, noise, draws, seed)
        return LatentDraws(value, noise_sd)

    @abstractmethod
    def predict(
        self,
        frame: pd.DataFrame | None = None,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """What to expect of new rows, with intervals.

        Parameters
        ----------
        frame : DataFrame, n rows
            The fitted rows if not given.
        confidence : float
        noise : sequence of str
            As for `latent`.
        """

    @property
    @abstractmethod
    def fittedvalues(self) -> pd.Series:
        """What is expected of each fitted row, at its own levels."""

    @property
    @abstractmethod
    def resid(self) -> pd.Series:
        """Each fitted row's response minus what was expected of it."""

    @property
    @abstractmethod
    def _kind(self) -> str:
        """What was fitted and how, as the heading of the summary."""

    def summary(self, confidence: float = 0.95) -> Summary:
        """Tables of the estimates and sources of variation, to print or to read on."""
        notes = () if self.prior is None else (self._prior_in_words(self.prior),)
        return summarise(self, self._kind, confidence, notes)

    def _prior_in_words(self, prior: Prior) -> str:
        return prior.describe()

    def __repr__(self) -> str:
        terms = ", ".join(self.group_sizes) or "no groups"
        reached = "" if self.converged else "; the best fit was NOT reached"
        return (
            f"<{type(self).__name__}: {self.formula} by {terms}; {self.nobs} rows, "
            f"log-likelihood {self.llf:.2f}{reached}>"
        )

    def _repr_html_(self) -> str:
        return self.summary()._repr_html_()


def _is_profile(method: Method) -> bool:
    if method not in ("wald", "profile"):
        raise Misuse(f"method must be 'wald' or 'profile', not {method!r}.")
    return method == "profile"


def checked_confidence(confidence: float) -> float:
    """Refuse a confidence that is none."""
    if not 0 < confidence < 1:
        raise Misuse(f"confidence must lie between 0 and 1, not {confidence}.")
    return confidence


def random_effects(posterior: Posterior) -> dict[str, pd.DataFrame]:
    """For each random term, the conditional modes of its levels and their standard errors."""
    if not posterior.terms:
        return {}
    sd = np.repeat(posterior.sd, [term.size for term in posterior.terms])
    value = sd * posterior.b
    se = sd * np.sqrt(posterior.factor.inverse()[: posterior.b.size])
    tables, start = {}, 0
    for term in posterior.terms:
        own = slice(start, start + term.size)
        index = term.group.levels.rename(term.group.name)
        tables[term.name] = pd.DataFrame({"value": value[own], "se": se[own]}, index=index)
        start += term.size
    return tables
