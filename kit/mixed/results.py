"""What every fitted model of the kit offers, whatever its response."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed import posterior as posteriors
from kit.mixed.posterior import Posterior
from kit.mixed.prior import Prior
from kit.mixed.sparsity import Array


@dataclass(frozen=True, eq=False)
class MixedResults:
    """A fitted mixed model.

    Attributes
    ----------
    formula : str
    params, bse : Series
        Estimates and their standard errors, by name.
    random_sd : dict of str to float
        Standard deviation of each group.
    random_effects : dict of str to DataFrame
        For each group, one row a level: `value`, the conditional mode, and `se`, its conditional
        standard error.
    llf : float
        Log-likelihood, without any prior.
    nobs : int
    parameters : int
        Number of parameters estimated, standard deviations included.
    converged : bool
    prior : Prior or None
    posterior : Posterior
    """

    formula: str
    params: pd.Series
    bse: pd.Series
    random_sd: dict[str, float]
    random_effects: dict[str, pd.DataFrame]
    llf: float
    nobs: int
    parameters: int
    converged: bool
    prior: Prior | None
    posterior: Posterior
    covariance: pd.DataFrame

    @property
    def aic(self) -> float:
        """Akaike's criterion, 2 parameters - 2 llf."""
        return 2 * self.parameters - 2 * self.llf

    @property
    def bic(self) -> float:
        """Schwarz's criterion, parameters log(nobs) - 2 llf."""
        return self.parameters * float(np.log(self.nobs)) - 2 * self.llf

    @property
    def group_sizes(self) -> dict[str, int]:
        """Number of levels of each group."""
        return {group.name: group.size for group in self.posterior.groups}

    def cov_params(self) -> pd.DataFrame:
        """Covariance of `params`."""
        return self.covariance.copy()

    def conf_int(self, alpha: float = 0.05) -> pd.DataFrame:
        """Intervals that hold each parameter with confidence 1 - alpha (normal approximation).

        Returns
        -------
        DataFrame
            Columns `low` and `high`, by name.
        """
        if not 0 < alpha < 1:
            raise Misuse(f"alpha must lie between 0 and 1, not {alpha}.")
        reach = norm.ppf(1 - alpha / 2) * self.bse
        return pd.DataFrame({"low": self.params - reach, "high": self.params + reach})

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
        noise : sequence of str
            Groups, missing from the frame, to meet at a new level in each row, so that their
            variance counts: noise=("tile", "patch") for a new patch on a new tile.

        Returns
        -------
        mean : (n,) array
        cov : (n, n) array
        """
        rows = posteriors.lay_out(self.posterior, frame, noise)
        return rows.mean, posteriors.covariance(self.posterior, rows)

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
        rows = posteriors.lay_out(self.posterior, frame, noise)
        return rows.mean, posteriors.variance(self.posterior, rows)


def random_effects(posterior: Posterior) -> dict[str, pd.DataFrame]:
    """For each group, the conditional modes of its levels and their standard errors."""
    if not posterior.groups:
        return {}
    spread = np.repeat(posterior.sd, [group.size for group in posterior.groups])
    value = spread * posterior.b
    se = spread * np.sqrt(posterior.factor.inverse()[: posterior.b.size])
    tables, start = {}, 0
    for group in posterior.groups:
        own = slice(start, start + group.size)
        index = group.levels.rename(group.name)
        tables[group.name] = pd.DataFrame({"value": value[own], "se": se[own]}, index=index)
        start += group.size
    return tables
