"""What a fitted linear mixed model says."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.mixed.display import Summary, summarise
from kit.mixed.mixture import LatentDraws, draw
from kit.mixed.results import MixedResults, checked


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
