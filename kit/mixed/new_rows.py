"""Rows that were never seen: their latent values from all that is known after a fit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import pandas as pd
from scipy.stats import gamma, norm, qmc

from kit.errors import Misuse
from kit.mixed.cholesky import one_thread
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

# Rows laid out at once, which bounds the memory of marginal predictions.
CHUNK = 256


class Movable(Protocol):
    """A fit whose standard deviations can be moved."""

    def sd_shares(self) -> Array:
        """Standard error of each standard deviation, as a share of it."""

    def given(self, stretch: Array) -> Posterior | None:
        """What is known where the standard deviations are so many times the best ones."""


def foretelling(best: Posterior, fit: Movable) -> Posterior:
    """What is known of rows, with the standard deviations' own uncertainty in full.

    Standard deviations at their best values pull the levels that were seen too close to their mean,
    because a standard deviation that is not known is more often far above its best value than far
    below. So levels seen are shrunk by the expected variance, which is also that of a level never
    seen (`new_level_variance`). Averaging over many values of the standard deviations gives nearly
    the same, at many times the cost.

    Parameters
    ----------
    best : Posterior
        Under a prior, at the best fit.
    fit : Movable
        That it comes from.
    """
    count = len(best.sd)
    if not count:
        return best
    stretch = np.ones(len(fit.sd_shares()))
    stretch[:count] = np.sqrt(best.new_var) / best.sd
    found = fit.given(stretch)
    return best if found is None else replace(found, new_var=best.new_var)


def moments(
    posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str] = (), below: int | None = None
) -> tuple[Array, Array]:
    """Mean and covariance of new rows' eta, or of eta minus the parameter at `below`."""
    with one_thread():
        rows = lay_out(posterior, read_rows(posterior, frame, noise))
        if below is not None:
            rows.mean[:] -= posterior.psi[below]
            rows.slopes[:, below] -= 1.0
        return rows.mean, covariance(posterior, rows)


def marginal_moments(
    posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str] = ()
) -> tuple[Array, Array]:
    """Mean and variance of each new row's eta."""
    with one_thread():
        rows = lay_out(posterior, read_rows(posterior, frame, noise))
        return rows.mean, variance(posterior, rows)


def by_chunk(
    posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str] = ()
) -> Iterator[tuple[RowDesign, slice]]:
    """Read new rows, and hand them out some at a time."""
    design = read_rows(posterior, frame, noise)
    for start in range(0, len(frame), CHUNK):
        part = slice(start, min(start + CHUNK, len(frame)))
        yield design.part(part), part


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


def standard_normal(draws: int, width: int, seed: int) -> Array:
    """Evenly spread standard normal draws, a (draws, width) array (scrambled Sobol points)."""
    if draws < 1 or draws & (draws - 1):
        raise Misuse(f"The number of draws must be a power of two, which {draws} is not.")
    points = qmc.Sobol(max(width, 1), seed=seed).random(draws)
    normal: Array = norm.ppf(points.clip(1e-9, 1 - 1e-9))
    return normal[:, :width]


def draw(
    best: Posterior,
    posterior: Posterior,
    frame: pd.DataFrame,
    noise: Sequence[str],
    draws: int,
    seed: int,
) -> tuple[Array, Array, Array]:
    """Draw parameters and new rows' latent values.

    Parameters
    ----------
    best : Posterior
        At the best fit: standard deviations are drawn about it.
    posterior : Posterior
        As from `foretelling`.

    Returns
    -------
    psi : (draws, m) array
    value : (draws, n) array
    noise_sd : (draws, n) array
    """
    with one_thread():
        rows = lay_out(posterior, read_rows(posterior, frame))
        known = np.unique(rows.weights.indices)
        fresh = sum(int(new.level.max()) + 1 for new in rows.unseen)
        m = posterior.psi.size
        z = standard_normal(draws, m + known.size + fresh, seed)
        moved = z[:, :m] @ square_root(posterior.psi_cov).T
        value = rows.mean + moved @ rows.slopes.T
        if known.size:
            value += _about_mode(posterior, rows, known, z[:, m : m + known.size])
        sd = sd_draws(best, moved)
        start = m + known.size
        for new in rows.unseen:
            value += _at_new(new, sd, z[:, start:])
            start += int(new.level.max()) + 1
        noise_sd = np.sqrt(noise_variance(posterior, frame, noise, sd**2))
    return posterior.psi + moved, value, noise_sd


def _about_mode(part: Posterior, rows: NewRows, known: Array, z: Array) -> Array:
    """Draws of what known levels add about their mode, at given parameters."""
    pick = np.zeros((part.b.size, known.size))
    pick[known, np.arange(known.size)] = 1.0
    root = square_root(part.factor.solve(pick)[known])
    about: Array = (rows.weights[:, known] @ (root @ z.T)).T
    return about


def _at_new(new: NewLevels, sd: Array, z: Array) -> Array:
    """Draws of what levels never seen add."""
    added = sd[:, [new.term]] * z[:, np.maximum(new.level, 0)] * new.entries
    return np.where(new.level >= 0, added, 0.0)


def sd_draws(part: Posterior, moved: Array) -> Array:
    """Draws of the standard deviations beside those of the parameters, a (draws, terms) array.

    Each is gamma distributed so that its expected square is that of `new_level_variance`, joined to
    the other parameters by a normal copula.
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
