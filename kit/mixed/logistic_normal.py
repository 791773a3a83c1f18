"""Chances of logistic readings, and of states, about latent values that are normal."""

from collections.abc import Sequence

import numpy as np
from scipy.special import expit, ndtr

from kit.mixed.sparsity import Array


def reading_below(gap: Array, sd: Array) -> Array:
    """Chance that a logistic reading falls below cuts at a normal distance, by quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    below = np.zeros_like(gap)
    for z, w in zip(nodes, weights / weights.sum(), strict=True):
        below += w * expit(gap + sd * z)
    return below


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
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    below = np.zeros((*eta.shape, theta.shape[1]))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        below += weight * expit(theta[:, None, :] - (eta + sd * node)[:, :, None])
    return below
