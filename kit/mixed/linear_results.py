"""What a fitted linear mixed model says."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.mixed.prior import Prior
from kit.mixed.results import MixedResults, measurements_expected


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

    def predict(
        self,
        frame: pd.DataFrame | None = None,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Expected measurement for new rows, with intervals.

        Parameters
        ----------
        frame, confidence, noise
            As for `MixedResults`; the fitted rows if none are given.

        Returns
        -------
        DataFrame
            Columns `mean`, `low`, `high` (of the expectation) and `new_low`, `new_high` (of a
            single new measurement).
        """
        frame = self.model.data if frame is None else frame
        mean, var = self.latent_marginal(frame, noise)
        return measurements_expected(mean, np.sqrt(var), self.residual_sd, confidence, frame.index)

    @property
    def _kind(self) -> str:
        return f"Linear mixed model ({'REML' if self.reml else 'maximum likelihood'})"

    def _prior_in_words(self, prior: Prior) -> str:
        return prior.describe_for_measurements()
