"""What a fitted ordinal mixed model says."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit
from scipy.stats import norm, qmc

from kit.errors import Misuse
from kit.mixed import posterior as posteriors
from kit.mixed.display import Summary, summarise
from kit.mixed.results import MixedResults
from kit.mixed.sparsity import Array
from kit.mixed.threads import one_thread

# Draws behind the intervals of `predict`; a power of two suits the sequence.
DRAWS = 512
# Rows laid out at once, which bounds the memory of `predict`.
CHUNK = 256


@dataclass(frozen=True, eq=False)
class OrdinalResults(MixedResults):
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
        full = np.zeros((3, len(frame), len(self.labels)))
        places = [self.labels.index(label) for label in self.used_labels]
        with one_thread():
            for rows, part in self._chunks(frame, noise):
                full[0, part][:, places] = np.diff(self._below(rows), prepend=0.0, append=1.0)
                full[1:, part][:, :, places] = self._limits(rows, confidence)
        columns = pd.MultiIndex.from_product(
            [["probability", "low", "high"], list(self.labels)], names=["", "grade"]
        )
        return pd.DataFrame(
            full.transpose(1, 0, 2).reshape(len(frame), 3 * len(self.labels)),
            index=frame.index,
            columns=columns,
        )

    def at_most(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> pd.DataFrame:
        """Chance that new rows get at most each grade, averaged over all that is uncertain.

        Parameters
        ----------
        frame, noise
            As for `predict`.

        Returns
        -------
        DataFrame
            One column a step of the scale; the last is 1.
        """
        below = np.zeros((len(frame), self.cuts + 1))
        below[:, -1] = 1.0
        with one_thread():
            for rows, part in self._chunks(frame, noise):
                below[part, :-1] = self._below(rows)
        # A step without a threshold adds nothing to the step before it.
        used = np.searchsorted(
            [self.labels.index(label) for label in self.used_labels],
            np.arange(len(self.labels)),
            side="right",
        )
        spelt = np.hstack([np.zeros((len(frame), 1)), below])[:, used]
        return pd.DataFrame(spelt, index=frame.index, columns=list(self.labels))

    def _chunks(
        self, frame: pd.DataFrame, noise: Sequence[str] = ()
    ) -> Iterator[tuple[posteriors.NewRows, slice]]:
        for start in range(0, len(frame), CHUNK):
            part = slice(start, min(start + CHUNK, len(frame)))
            yield posteriors.lay_out(self.posterior, frame.iloc[part], noise), part

    def _below(self, rows: posteriors.NewRows) -> Array:
        """P(y <= k), a (n, cuts) array, by quadrature over the spread of threshold minus eta."""
        cuts = self.cuts
        cov = self.posterior.psi_cov[:cuts]
        gap = self.posterior.psi[:cuts] - rows.mean[:, None]
        spread = posteriors.variance(self.posterior, rows)[:, None] + np.diag(cov[:, :cuts])
        spread = np.sqrt(np.maximum(spread - 2 * rows.slopes @ cov.T, 0.0))
        nodes, weights = np.polynomial.hermite_e.hermegauss(15)
        below = sum(
            w * expit(gap + spread * z) for z, w in zip(nodes, weights / weights.sum(), strict=True)
        )
        return np.maximum.accumulate(below, axis=1)

    def expected_grade(
        self,
        frame: pd.DataFrame,
        confidence: float = 0.8,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Average grade that rows of this kind would get, with its interval.

        Parameters
        ----------
        frame : DataFrame, n rows
        confidence : float
        noise : sequence of str
            Groups whose variation is averaged over: it moves single grades, not how surely their
            average is known.

        Returns
        -------
        DataFrame
            Columns `middle`, `low`, `high`, in steps of the scale.
        """
        new = dict(zip(self.random_sd, self.posterior.new_var, strict=True))
        spread = float(np.sqrt(sum(new[name] for name in noise)))
        steps = np.asarray([float(label) for label in self.used_labels])
        tail = (1 - confidence) / 2
        table = np.zeros((3, len(frame)))
        with one_thread():
            for rows, part in self._chunks(frame):
                theta, eta = self._draws(rows)
                grade = steps[-1] - averaged_below(theta, eta, spread) @ np.diff(steps)
                table[:, part] = quantiles(grade.T, [0.5, tail, 1 - tail])
        return pd.DataFrame(table.T, index=frame.index, columns=["middle", "low", "high"])

    def _limits(self, rows: posteriors.NewRows, confidence: float) -> Array:
        """Low and high chance by row and step, a (2, n, steps) array, from draws."""
        theta, eta = self._draws(rows)
        # Draws last, so that sorting runs along memory.
        below = expit(theta.T[None] - eta.T[:, None, :])
        ends = np.zeros((len(rows), 1, len(theta)))
        chance = np.diff(np.concatenate([ends, below, ends + 1.0], axis=1), axis=1)
        tail = (1 - confidence) / 2
        return quantiles(chance, [tail, 1 - tail])

    def _draws(self, rows: posteriors.NewRows) -> tuple[Array, Array]:
        """Draws of the thresholds and, row by row, of eta beside them.

        Returns
        -------
        theta : (draws, cuts) array
        eta : (draws, n) array
            Each row's joint distribution with the thresholds is right; rows among themselves share
            more than they should, which nothing that is worked out by row depends on.
        """
        cuts = self.cuts
        z = norm.ppf(qmc.Sobol(cuts + 1, seed=0).random(DRAWS).clip(1e-6, 1 - 1e-6))
        root = square_root(self.posterior.psi_cov[:cuts, :cuts])
        theta = self.posterior.psi[:cuts] + z[:, :cuts] @ root.T
        shared = rows.slopes @ self.posterior.psi_cov[:, :cuts]
        weight = shared @ np.linalg.pinv(root).T
        rest = posteriors.variance(self.posterior, rows) - (weight**2).sum(axis=1)
        own = np.sqrt(np.maximum(rest, 0.0))
        eta = rows.mean + z[:, :cuts] @ weight.T + np.outer(z[:, cuts], own)
        return np.sort(theta, axis=1), eta

    def summary(self, alpha: float = 0.05) -> Summary:
        """Tables of thresholds, effects and sources of variation, to print or to read on."""
        notes = (self.prior.describe(),) if self.prior is not None else ()
        return summarise(self, "Ordinal mixed model (cumulative logit)", alpha, notes)


def quantiles(draws: Array, shares: Sequence[float]) -> Array:
    """Quantiles along the last axis, each the draw of the nearest rank; shares come first."""
    count = draws.shape[-1]
    ranks = [min(count - 1, int(share * count)) for share in shares]
    found = np.partition(draws, sorted(set(ranks)), axis=-1)[..., ranks]
    return np.moveaxis(found, -1, 0)


def square_root(cov: Array) -> Array:
    """A matrix whose product with its own transpose is `cov`."""
    values, vectors = np.linalg.eigh(cov)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return root


def averaged_below(theta: Array, eta: Array, spread: float) -> Array:
    """P(y <= k) averaged over normal noise of the given standard deviation around eta.

    Parameters
    ----------
    theta : (draws, cuts) array
    eta : (draws, n) array
    spread : float

    Returns
    -------
    (draws, n, cuts) array
        By Gauss-Hermite quadrature of nine points.
    """
    if spread == 0:
        exact: Array = expit(theta[:, None, :] - eta[:, :, None])
        return exact
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    below = np.zeros((*eta.shape, theta.shape[1]))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        below += weight * expit(theta[:, None, :] - eta[:, :, None] - spread * node)
    return below
