"""What a fit of measurements says: of them alone, or of grades and measurements together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.posterior import lay_out, read_rows, variance
from kit.mixed.prior import Prior
from kit.mixed.results import MixedResults, checked_confidence
from kit.mixed.sparsity import Array


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
        return _measurements_expected(mean, np.sqrt(var), self.residual_sd, confidence, frame.index)

    @property
    def _kind(self) -> str:
        return f"Linear mixed model ({'REML' if self.reml else 'maximum likelihood'})"

    def _prior_in_words(self, prior: Prior) -> str:
        return prior.describe_for_measurements()


@dataclass(frozen=True, eq=False, repr=False)
class JointResults(OrdinalResults):
    """A fitted `JointMixedModel`: all that `OrdinalResults` offers, and measurements.

    Latent values, and the chances of grades and states, rest on both sources. With one source
    absent the fit is that of the other: without measurements there is no link, and without grades
    the latent value is the measurement itself and there are no steps.

    Attributes
    ----------
    residual_sd : float
        What a measurement is off by beside its known error; `random_sd` has it too, as 'Residual'.
        0 without measurements.
    measured_sd : float
        Standard deviation of all measurements, which their prior counts in: without grades, what
        it would be were none censored.
    """

    residual_sd: float
    measured_sd: float

    @property
    def link(self) -> tuple[float, float]:
        """a and b: a measurement is a + b (latent value), up to its error."""
        constant, slope = f"{self.model.measure}|constant", f"{self.model.measure}|slope"
        if constant not in self.params.index:
            return 0.0, 1.0
        return float(self.params[constant]), float(self.params[slope])

    @property
    def fittedvalues(self) -> pd.Series:
        """Grade expected of each graded row; measurement, where there are no grades."""
        if self.labels:
            return super().fittedvalues
        told = self.predict_measurement(self.model.data)["mean"]
        return told.rename(self.model.measure)

    @property
    def resid(self) -> pd.Series:
        """Each graded row's grade minus what was expected; so for measurements without grades."""
        return super().resid if self.labels else self.model.measured - self.fittedvalues

    def predict(
        self,
        frame: pd.DataFrame | None = None,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Grades to expect of new rows; measurements, where there are no grades.

        Parameters
        ----------
        frame, confidence, noise
            As for `MixedResults`; the fitted rows if none are given.
        """
        if self.labels:
            return super().predict(frame, confidence, noise)
        rows = self.model.data if frame is None else frame
        return self.predict_measurement(rows, confidence, noise)

    def predict_measurement(
        self,
        frame: pd.DataFrame,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Expected measurement for new rows, with intervals.

        Parameters
        ----------
        frame, confidence, noise
            As for `predict`.

        Returns
        -------
        DataFrame
            Columns `mean`, `low`, `high` (of the expectation) and `new_low`, `new_high` (of a
            single new measurement without a known error).

        Raises
        ------
        Misuse
            If nothing was measured.
        """
        if not self.residual_sd:
            raise Misuse("Nothing was measured, so no measurement can be foretold.")
        design = read_rows(self.posterior, frame, noise)
        part = self.foretelling
        rows = lay_out(part, design)
        a, b, slopes = 0.0, 1.0, rows.slopes
        if part.first_effect > self.cuts:
            a, b = part.psi[self.cuts], part.psi[self.cuts + 1]
            slopes = b * rows.slopes
            slopes[:, self.cuts] += 1.0
            slopes[:, self.cuts + 1] += rows.mean
        own = variance(part, rows) - np.einsum(
            "ij,jk,ik->i", rows.slopes, part.psi_cov, rows.slopes, optimize=True
        )
        var = b**2 * own + np.einsum("ij,jk,ik->i", slopes, part.psi_cov, slopes, optimize=True)
        sd = np.sqrt(np.maximum(var, 0.0))
        return _measurements_expected(
            a + b * rows.mean, sd, float(part.psi[-1]), confidence, frame.index
        )

    def _prior_in_words(self, prior: Prior) -> str:
        return prior.describe() if self.labels else prior.describe_for_measurements()

    @property
    def _kind(self) -> str:
        return "Mixed model of grades and measurements together"


def _measurements_expected(
    mean: Array, sd: Array, residual_sd: float | Array, confidence: float, index: pd.Index
) -> pd.DataFrame:
    """Lay out expected measurements with their intervals.

    Parameters
    ----------
    mean, sd : (n,) array
        Of the expectation.
    residual_sd : float or array
        What a single measurement is off by.

    Returns
    -------
    DataFrame
        Columns `mean`, `low`, `high` (of the expectation) and `new_low`, `new_high` (of a single
        new measurement).
    """
    reach = norm.ppf(0.5 + checked_confidence(confidence) / 2)
    near, far = reach * sd, reach * np.sqrt(sd**2 + residual_sd**2)
    return pd.DataFrame(
        {
            "mean": mean,
            "low": mean - near,
            "high": mean + near,
            "new_low": mean - far,
            "new_high": mean + far,
        },
        index=index,
    )
