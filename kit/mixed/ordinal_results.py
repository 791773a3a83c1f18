"""What a fitted ordinal mixed model says, and the chances behind it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr

from kit.errors import Misuse
from kit.mixed import posterior as posteriors
from kit.mixed.cholesky import one_thread
from kit.mixed.new_rows import (
    LatentDraws,
    by_chunk,
    draw,
    moments,
    square_root,
    standard_normal,
)
from kit.mixed.posterior import RowDesign
from kit.mixed.results import DRAWS, MixedResults, checked_confidence
from kit.mixed.sparsity import Array

if TYPE_CHECKING:
    from kit.mixed.laplace_fit import LaplaceFit


@dataclass(frozen=True, eq=False, repr=False)
class OrdinalDraws(LatentDraws):
    """Joint draws of new rows' latent values and of the thresholds.

    Attributes
    ----------
    value, noise_sd
        As in `LatentDraws`.
    cuts : (draws, steps - 1) array
        The threshold above each step of the scale but the last. A step that was never used and
        has no threshold shares that of the step before it; -inf if there is none, inf past the
        last one used.
    labels : tuple
        Every step of the scale.
    """

    cuts: Array
    labels: tuple[Any, ...]

    def share_at_most(self) -> Array:
        """Of many new levels of the noise groups, the share whose latent value is at most a step.

        Returns
        -------
        (draws, n, steps) array
            The last is 1. Without noise groups each is 0 or 1.
        """
        gap = self.cuts[:, None, :] - self.value[:, :, None]
        sd = self.noise_sd[:, :, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(sd > 0, ndtr(gap / sd), gap >= 0)
        return np.concatenate([share, np.ones((*self.value.shape, 1))], axis=2)


@dataclass(frozen=True, eq=False, repr=False)
class OrdinalResults(MixedResults):
    """A fitted `OrdinalMixedModel`.

    Attributes
    ----------
    labels : tuple
        Every step of the scale.
    used_labels : tuple
        Steps that have a threshold; the others have a chance of 0.
    """

    fit: "LaplaceFit[Any]"
    labels: tuple[Any, ...]
    used_labels: tuple[Any, ...]

    @property
    def cuts(self) -> int:
        return max(len(self.used_labels) - 1, 0)

    @property
    def thresholds(self) -> pd.Series:
        """Where the latent value passes from one step to the next, named '1|2' and so on."""
        return self.params.iloc[: self.cuts]

    @property
    def effects(self) -> pd.Series:
        """The formula's effects, without what stands before them."""
        return self.params.iloc[self.posterior.first_effect :]

    @property
    def fittedvalues(self) -> pd.Series:
        """Grade expected of each fitted row, at its own levels and the best fit."""
        best = self.posterior
        frame = self.model.data
        rows = posteriors.lay_out(best, posteriors.read_rows(best, frame))
        below = expit(best.psi[: self.cuts] - rows.mean[:, None])
        grade = self._steps[-1] - below @ np.diff(self._steps)
        return pd.Series(grade, index=frame.index, name=self.model.response)

    @property
    def resid(self) -> pd.Series:
        """Each fitted row's grade minus what was expected of it."""
        scale = np.asarray([float(label) for label in self.labels])
        return scale[self.model.y] - self.fittedvalues

    @property
    def _steps(self) -> Array:
        return np.asarray([float(label) for label in self.used_labels])

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
        return moments(self.foretelling, frame, noise, below=self.thresholds.index.get_loc(cut))

    def latent_draws(
        self, frame: pd.DataFrame, noise: Sequence[str] = (), draws: int = DRAWS, seed: int = 0
    ) -> OrdinalDraws:
        """Joint draws of new rows' latent values and of the thresholds, as in `MixedResults`."""
        psi, value, noise_sd = draw(self.posterior, self.foretelling, frame, noise, draws, seed)
        theta = np.sort(psi[:, : self.cuts], axis=1)
        ends = np.full((draws, 1), np.inf)
        full = np.hstack([-ends, theta, ends])
        cuts = full[:, self._place_of_each_step()[:-1]]
        return OrdinalDraws(value, noise_sd, cuts, self.labels)

    def above_cuts(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> tuple[Array, Array]:
        """Mean and variance of eta minus each threshold for new rows, two (n, cuts) arrays."""
        mean, variance = np.zeros((2, len(frame), self.cuts))
        for design, rows in by_chunk(self.foretelling, frame, noise):
            gap, sd = self._gap(design)
            mean[rows], variance[rows] = -gap, sd**2
        return mean, variance

    def predict(
        self,
        frame: pd.DataFrame | None = None,
        confidence: float = 0.9,
        noise: Sequence[str] = (),
    ) -> pd.DataFrame:
        """Chance of each grade for new rows, with intervals.

        A chance is averaged over all that is uncertain: effects, thresholds, levels that were seen
        and levels that were not. Its interval says how far the chance itself may lie from that
        average.

        Parameters
        ----------
        frame, confidence, noise
            As for `MixedResults`; the fitted rows if none are given.

        Returns
        -------
        DataFrame
            Columns in two levels: 'probability', 'low' and 'high', each by grade. Steps that
            the fit has no threshold for have a chance of 0.
        """
        checked_confidence(confidence)
        frame = self.model.data if frame is None else frame
        full = np.zeros((3, len(frame), len(self.labels)))
        places = [self.labels.index(label) for label in self.used_labels]
        with one_thread():
            for design, part in by_chunk(self.foretelling, frame, noise):
                below = self._below(design, reading_below)
                full[0, part][:, places] = np.diff(below, prepend=0.0, append=1.0)
                full[1:, part][:, :, places] = self._limits(design, confidence)
        columns = pd.MultiIndex.from_product(
            [["probability", "low", "high"], list(self.labels)], names=["", "grade"]
        )
        return pd.DataFrame(
            full.transpose(1, 0, 2).reshape(len(frame), 3 * len(self.labels)),
            index=frame.index,
            columns=columns,
        )

    def at_most(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> pd.DataFrame:
        """Chance that one reading of new rows is at most each grade.

        It is averaged over all that is uncertain, and over how a single reading wavers.

        Parameters
        ----------
        frame, noise
            As for `predict`.

        Returns
        -------
        DataFrame
            One column a step of the scale; the last is 1.
        """
        return self._by_step(frame, noise, reading_below)

    def state_at_most(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> pd.DataFrame:
        """Chance that new rows' latent value is at most each step: that it lies below the cut.

        This is `at_most` without the wavering of a single reading: the chance that at least half
        of many readings would be at most that grade.

        Parameters
        ----------
        frame, noise
            As for `predict`.

        Returns
        -------
        DataFrame
            One column a step of the scale; the last is 1.
        """
        return self._by_step(frame, noise, state_below)

    def _by_step(
        self, frame: pd.DataFrame, noise: Sequence[str], chance: Callable[[Array, Array], Array]
    ) -> pd.DataFrame:
        told = np.empty((len(frame), len(self.labels)))
        with one_thread():
            for design, part in by_chunk(self.foretelling, frame, noise):
                told[part] = self.steps_at_most(design, chance)
        return pd.DataFrame(told, index=frame.index, columns=list(self.labels))

    def steps_at_most(self, design: RowDesign, chance: Callable[[Array, Array], Array]) -> Array:
        """`at_most` or `state_at_most` of rows that were read already, an (n, steps) array."""
        below = np.zeros((len(design.x), self.cuts + 2))
        below[:, -1] = 1.0
        below[:, 1:-1] = self._below(design, chance)
        return below[:, self._place_of_each_step()]

    def _place_of_each_step(self) -> Array:
        """Number of thresholds up to the upper end of each step.

        A step without a threshold adds nothing to the step before it.
        """
        used = [self.labels.index(label) for label in self.used_labels]
        return np.searchsorted(used, np.arange(len(self.labels)), side="right")

    def _below(self, design: RowDesign, chance: Callable[[Array, Array], Array]) -> Array:
        """Chance of lying below each cut, a (n, cuts) array."""
        below: Array = np.maximum.accumulate(chance(*self._gap(design)), axis=1)
        return below

    def _gap(self, design: RowDesign) -> tuple[Array, Array]:
        """Mean and standard deviation of threshold minus eta, each a (n, cuts) array."""
        part, cuts = self.foretelling, self.cuts
        rows = posteriors.lay_out(part, design)
        cov = part.psi_cov[:cuts]
        gap = part.psi[:cuts] - rows.mean[:, None]
        square = posteriors.variance(part, rows)[:, None] + np.diag(cov[:, :cuts])
        return gap, np.sqrt(np.maximum(square - 2 * rows.slopes @ cov.T, 0.0))

    def _limits(self, design: RowDesign, confidence: float) -> Array:
        """Low and high chance by row and step, a (2, n, steps) array, from draws."""
        theta, eta = self._draws(design)
        # Draws last, so that sorting runs along memory.
        below = expit(theta.T[None] - eta.T[:, None, :])
        ends = np.zeros((len(design.x), 1, len(theta)))
        chance = np.diff(np.concatenate([ends, below, ends + 1.0], axis=1), axis=1)
        tail = (1 - confidence) / 2
        return quantiles(chance, [tail, 1 - tail])

    def _draws(self, design: RowDesign) -> tuple[Array, Array]:
        """Draws of the thresholds and, row by row, of eta beside them.

        Returns
        -------
        theta : (draws, cuts) array
        eta : (draws, n) array
            Each row's joint distribution with the thresholds is right; rows among themselves share
            more than they should, which nothing that is worked out by row depends on.
        """
        cuts = self.cuts
        z = standard_normal(DRAWS, cuts + 1, seed=0)
        part = self.foretelling
        rows = posteriors.lay_out(part, design)
        root = square_root(part.psi_cov[:cuts, :cuts])
        theta = part.psi[:cuts] + z[:, :cuts] @ root.T
        weight = rows.slopes @ part.psi_cov[:, :cuts] @ np.linalg.pinv(root).T
        rest = posteriors.variance(part, rows) - (weight**2).sum(axis=1)
        apart = np.sqrt(np.maximum(rest, 0.0))
        eta = rows.mean + z[:, :cuts] @ weight.T + np.outer(z[:, cuts], apart)
        return np.sort(theta, axis=1), eta

    @property
    def _kind(self) -> str:
        return "Ordinal mixed model (cumulative logit)"


def reading_below(gap: Array, sd: Array) -> Array:
    """Chance that a logistic reading falls below cuts at a normal distance, by quadrature."""
    nodes, weights = _gauss_hermite(15)
    below = np.zeros_like(gap)
    for z, w in zip(nodes, weights / weights.sum(), strict=True):
        below += w * expit(gap + sd * z)
    return below


@cache
def _gauss_hermite(points: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(points)
    return nodes, weights


def state_below(gap: Array, sd: Array) -> Array:
    """Chance that cuts at a normal distance lie above."""
    with np.errstate(divide="ignore", invalid="ignore"):
        below: Array = np.where(sd > 0, ndtr(gap / sd), gap >= 0)
    return below


def quantiles(draws: Array, shares: Sequence[float]) -> Array:
    """Quantiles along the last axis, each the draw of the nearest rank; shares come first."""
    count = draws.shape[-1]
    ranks = [min(count - 1, int(share * count)) for share in shares]
    found = np.partition(draws, sorted(set(ranks)), axis=-1)[..., ranks]
    return np.moveaxis(found, -1, 0)


def averaged_below(theta: Array, eta: Array, sd: float | Array) -> Array:
    """P(y <= k) averaged over normal noise of the given standard deviation around eta.

    Parameters
    ----------
    theta : (draws, cuts) array
    eta : (draws, n) array
    sd : float, or array that fits beside eta

    Returns
    -------
    (draws, n, cuts) array
        By Gauss-Hermite quadrature of nine points.
    """
    if not np.any(sd):
        exact: Array = expit(theta[:, None, :] - eta[:, :, None])
        return exact
    nodes, weights = _gauss_hermite(9)
    below = np.zeros((*eta.shape, theta.shape[1]))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        below += weight * expit(theta[:, None, :] - (eta + sd * node)[:, :, None])
    return below
