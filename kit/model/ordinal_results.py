"""What a fitted ordinal mixed model says."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit
from scipy.stats import norm, qmc

from kit.errors import Misuse
from kit.model import posterior as posteriors
from kit.model.crossed import Array
from kit.model.fitted import FittedModel
from kit.model.summary import Summary, summarise

# Draws behind the intervals of `predict`; a power of two suits the sequence.
DRAWS = 1024
# Rows laid out at once, which bounds the memory of `predict`.
CHUNK = 512


@dataclass(frozen=True, eq=False)
class OrdinalResults(FittedModel):
    """A fitted `OrdinalMixedModel`.

    Attributes
    ----------
    labels : tuple
        Every step of the scale.
    used_labels : tuple
        Steps that have a threshold; the others have a chance of 0.
    """

    labels: tuple[Any, ...]
    used_labels: tuple[Any, ...]

    @property
    def cuts(self) -> int:
        return len(self.used_labels) - 1

    @property
    def thresholds(self) -> pd.Series:
        """Where the latent value passes from one step to the next, named '1|2' and so on."""
        return self.params.iloc[: self.cuts]

    @property
    def effects(self) -> pd.Series:
        """The formula's effects, without the thresholds."""
        return self.params.iloc[self.cuts :]

    def above(
        self, frame: pd.DataFrame, cut: str, noise: Sequence[str] = ()
    ) -> tuple[Array, Array]:
        """Mean and covariance of eta minus one threshold for new rows.

        Parameters
        ----------
        frame, noise
            As for `latent`.
        cut : str
            The threshold's name, as in '1|2'.

        Returns
        -------
        mean : (n,) array
        cov : (n, n) array
        """
        if cut not in self.thresholds.index:
            raise Misuse(
                f"There is no threshold {cut}; there are {', '.join(self.thresholds.index)}."
            )
        place = self.thresholds.index.get_loc(cut)
        rows = posteriors.lay_out(self.posterior, frame, noise)
        rows.mean[:] -= self.posterior.psi[place]
        rows.slopes[:, place] -= 1.0
        return rows.mean, posteriors.covariance(self.posterior, rows)

    def predict(
        self, frame: pd.DataFrame, confidence: float = 0.9, noise: Sequence[str] = ()
    ) -> pd.DataFrame:
        """Chance of each grade for new rows, with intervals.

        A chance is averaged over all that is uncertain: effects, thresholds, levels that were seen
        and levels that were not. Its interval says how far the chance itself may lie from that
        average.

        Parameters
        ----------
        frame : DataFrame, n rows
        confidence : float
        noise : sequence of str
            As for `latent`.

        Returns
        -------
        DataFrame
            Columns in two levels: 'probability', 'low' and 'high', each by grade. Steps that
            the fit has no threshold for have a chance of 0.
        """
        if not 0 < confidence < 1:
            raise Misuse(f"confidence must lie between 0 and 1, not {confidence}.")
        parts = []
        for start in range(0, len(frame), CHUNK):
            rows = posteriors.lay_out(self.posterior, frame.iloc[start : start + CHUNK], noise)
            parts.append(self._chances(rows, confidence))
        each = np.concatenate(parts, axis=1) if parts else np.zeros((3, 0, self.cuts + 1))
        full = np.zeros((3, len(frame), len(self.labels)))
        places = [self.labels.index(label) for label in self.used_labels]
        full[:, :, places] = each
        columns = pd.MultiIndex.from_product(
            [["probability", "low", "high"], list(self.labels)], names=["", "grade"]
        )
        return pd.DataFrame(
            full.transpose(1, 0, 2).reshape(len(frame), -1), index=frame.index, columns=columns
        )

    def _chances(self, rows: posteriors.NewRows, confidence: float) -> Array:
        """Mean, low and high chance by row and step, a (3, n, steps) array, from draws."""
        cuts = self.cuts
        z = norm.ppf(qmc.Sobol(cuts + 1, seed=0).random(DRAWS).clip(1e-6, 1 - 1e-6))
        cov = self.posterior.psi_cov[:cuts, :cuts]
        root = _root(cov)
        theta = self.posterior.psi[:cuts] + z[:, :cuts] @ root.T
        shared = rows.slopes @ self.posterior.psi_cov[:, :cuts]
        weight = shared @ np.linalg.pinv(root).T
        rest = posteriors.variance(self.posterior, rows) - (weight**2).sum(axis=1)
        own = np.sqrt(np.maximum(rest, 0.0))
        eta = rows.mean + z[:, :cuts] @ weight.T + np.outer(z[:, cuts], own)
        below = expit(theta[:, None, :] - eta[:, :, None])
        chance = np.diff(below, prepend=0.0, append=1.0, axis=2).clip(0.0, 1.0)
        tail = (1 - confidence) / 2
        low, high = np.quantile(chance, [tail, 1 - tail], axis=0)
        mean = chance.mean(axis=0)
        return np.stack([mean / mean.sum(axis=1, keepdims=True), low, high])

    def summary(self, alpha: float = 0.05) -> Summary:
        """Tables of thresholds, effects and sources of variation, to print or to read on."""
        return summarise(self, "Ordinal mixed model (cumulative logit)", alpha)


def _root(cov: Array) -> Array:
    values, vectors = np.linalg.eigh(cov)
    return vectors * np.sqrt(np.maximum(values, 0.0))
