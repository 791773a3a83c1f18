"""Predictions averaged over one or several values of a model's standard deviations.

A fit is a mixture of one: the best fit, with the uncertainty of its standard deviations carried to
first order. Integrated over them, it is a mixture of several, each sure of its own values.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import gamma, norm, qmc

from kit.errors import Misuse
from kit.mixed.posterior import (
    NewLevels,
    NewRows,
    Posterior,
    RowDesign,
    covariance,
    lay_out,
    noise_variance,
    read_rows,
    variance,
)
from kit.mixed.sparsity import Array
from kit.mixed.threads import one_thread

# Rows laid out at once, which bounds the memory of marginal predictions.
CHUNK = 256


@dataclass(frozen=True, eq=False)
class Mixture:
    """Posteriors with their weights.

    Parameters
    ----------
    at_best : Posterior
        At the best fit.
    weights : (k,) array
        They sum to 1.
    parts : tuple of k Posterior
    """

    at_best: Posterior
    weights: Array
    parts: tuple[Posterior, ...]

    @classmethod
    def of(cls, posterior: Posterior) -> "Mixture":
        """The best fit alone."""
        return cls(posterior, np.ones(1), (posterior,))

    def moments(
        self, frame: pd.DataFrame, noise: Sequence[str] = (), below: int | None = None
    ) -> tuple[Array, Array]:
        """Mean and covariance of new rows' eta, or of eta minus the parameter at `below`."""
        design = read_rows(self.at_best, frame, noise)
        with one_thread():
            means, covs = [], []
            for part in self.parts:
                rows = lay_out(part, design)
                if below is not None:
                    rows.mean[:] -= part.psi[below]
                    rows.slopes[:, below] -= 1.0
                means.append(rows.mean)
                covs.append(covariance(part, rows))
        mean = self.weights @ np.stack(means)
        apart = np.stack(means) - mean
        inner = np.einsum("k,kij->ij", self.weights, np.stack(covs))
        return mean, inner + (apart.T * self.weights) @ apart

    def marginal_moments(
        self, frame: pd.DataFrame, noise: Sequence[str] = ()
    ) -> tuple[Array, Array]:
        """Mean and variance of each new row's eta."""
        design = read_rows(self.at_best, frame, noise)
        first, second = np.zeros(len(frame)), np.zeros(len(frame))
        with one_thread():
            for weight, part in zip(self.weights, self.parts, strict=True):
                rows = lay_out(part, design)
                first += weight * rows.mean
                second += weight * (variance(part, rows) + rows.mean**2)
        return first, second - first**2

    def by_chunk(
        self, frame: pd.DataFrame, noise: Sequence[str] = ()
    ) -> Iterator[tuple[RowDesign, slice]]:
        """Read new rows, and hand them out some at a time."""
        design = read_rows(self.at_best, frame, noise)
        for start in range(0, len(frame), CHUNK):
            part = slice(start, min(start + CHUNK, len(frame)))
            yield design.part(part), part

    def shared_out(self, draws: int) -> Iterator[tuple[Posterior, slice]]:
        """Share draws out among the parts, by weight."""
        ends = np.round(np.cumsum(self.weights) * draws).astype(int)
        start = 0
        for part, end in zip(self.parts, ends, strict=True):
            if end > start:
                yield part, slice(start, int(end))
            start = int(end)


@dataclass(frozen=True, eq=False, repr=False)
class LatentDraws:
    """Joint draws of new rows' latent values from all that is known after a fit.

    Row by row they may be compared, averaged or summed draw by draw: what rows share (effects,
    levels, thresholds) is the same within a draw.

    Attributes
    ----------
    value : (draws, n) array
        eta, without the noise groups.
    noise_sd : (draws, n) array
        Standard deviation that new levels of the noise groups add to each row, in that draw.
    """

    value: Array
    noise_sd: Array

    def __len__(self) -> int:
        return len(self.value)

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.value.shape[0]} draws of {self.value.shape[1]} rows>"

    def with_noise(self, seed: int = 0) -> Array:
        """Latent values of single rows, each at a new level of every noise group.

        Returns
        -------
        (draws, n) array
        """
        random = np.random.default_rng(seed)
        noisy: Array = self.value + self.noise_sd * random.standard_normal(self.value.shape)
        return noisy


def standard_normal(draws: int, width: int, seed: int) -> Array:
    """Evenly spread standard normal draws, a (draws, width) array (scrambled Sobol points)."""
    if draws < 1 or draws & (draws - 1):
        raise Misuse(f"The number of draws must be a power of two, which {draws} is not.")
    points = qmc.Sobol(max(width, 1), seed=seed).random(draws)
    normal: Array = norm.ppf(points.clip(1e-9, 1 - 1e-9))
    return normal[:, :width]


def draw(
    mixture: Mixture, frame: pd.DataFrame, noise: Sequence[str], draws: int, seed: int
) -> tuple[Array, Array, Array]:
    """Draw parameters and new rows' latent values.

    Returns
    -------
    psi : (draws, m) array
    value : (draws, n) array
    noise_sd : (draws, n) array
    """
    best = mixture.at_best
    design = read_rows(best, frame)
    known = np.unique(lay_out(best, design).weights.indices)
    fresh = sum(new.level.max() + 1 for new in lay_out(best, design).unseen)
    m = best.psi.size
    z = standard_normal(draws, m + known.size + int(fresh), seed)
    psi, value = np.empty((draws, m)), np.empty((draws, len(frame)))
    noise_sd = np.empty_like(value)
    with one_thread():
        for part, own in mixture.shared_out(draws):
            rows = lay_out(part, design)
            moved = z[own, :m] @ square_root(part.psi_cov).T
            psi[own] = part.psi + moved
            value[own] = rows.mean + moved @ rows.slopes.T
            if known.size:
                value[own] += _about_mode(part, rows, known, z[own, m : m + known.size])
            sd = sd_draws(part, moved)
            start = m + known.size
            for new in rows.unseen:
                value[own] += _at_new(new, sd, z[own, start:])
                start += int(new.level.max()) + 1
            noise_sd[own] = np.sqrt(noise_variance(part, frame, noise, sd**2))
    return psi, value, noise_sd


def _about_mode(part: Posterior, rows: NewRows, known: Array, z: Array) -> Array:
    """Draws of what known levels add about their mode, at given parameters."""
    pick = np.zeros((part.b.size, known.size))
    pick[known, np.arange(known.size)] = 1.0
    root = square_root(part.factor.solve(pick)[known])
    spread: Array = (rows.weights[:, known] @ (root @ z.T)).T
    return spread


def _at_new(new: NewLevels, sd: Array, z: Array) -> Array:
    """Draws of what levels never seen add."""
    added = sd[:, [new.term]] * z[:, np.maximum(new.level, 0)] * new.entries
    return np.where(new.level >= 0, added, 0.0)


def sd_draws(part: Posterior, moved: Array) -> Array:
    """Draws of the standard deviations beside those of the parameters, a (draws, terms) array.

    Each follows the gamma distribution that `new_level_variance` rests on, joined to the other
    parameters by a normal copula.
    """
    if not part.sd.size:
        return np.zeros((len(moved), 0))
    sd = np.tile(part.sd, (len(moved), 1))
    error = np.sqrt(np.einsum("ij,jk,ik->i", part.sd_slopes, part.psi_cov, part.sd_slopes))
    for j in np.flatnonzero(part.new_var > part.sd**2 * (1 + 1e-9)):
        v = part.new_var[j] / part.sd[j] ** 2 - 1
        level = norm.cdf(moved @ part.sd_slopes[j] / error[j]).clip(1e-9, 1 - 1e-9)
        sd[:, j] = gamma.ppf(level, 1 / v, scale=part.sd[j] * v)
    return sd


def square_root(cov: Array) -> Array:
    """A matrix whose product with its own transpose is `cov`."""
    values, vectors = np.linalg.eigh(cov)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return root
