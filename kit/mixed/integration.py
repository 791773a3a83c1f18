"""Averaging over the standard deviations: a few points around the best fit, with weights.

The logs of the standard deviations are close to normal given the data. Their integral is replaced
by a sum over points of a rule for the normal density; the true density at each point, by Laplace's
approximation over everything else, corrects its weight, in the manner of Rue, Martino and Chopin
(2009), Approximate Bayesian inference for latent Gaussian models by using integrated nested Laplace
approximations, Journal of the Royal Statistical Society B 71.
"""

from itertools import product
from typing import Protocol

import numpy as np
from scipy.fft import dct
from scipy.linalg import hadamard

from kit.mixed.mixture import Mixture, square_root
from kit.mixed.posterior import Posterior
from kit.mixed.sparsity import Array


class Movable(Protocol):
    """A fit whose standard deviations can be moved."""

    @property
    def log_sd(self) -> Array:
        """Logs of the standard deviations at the best fit, a (k,) array."""

    def log_sd_covariance(self) -> Array:
        """Their covariance, a (k, k) array."""

    def given(self, log_sd: Array) -> tuple[float, Posterior] | None:
        """Log density of the standard deviations there, up to a constant, and what is known."""


def normal_rule(k: int) -> tuple[Array, Array]:
    """Points and weights that integrate polynomials against k independent standard normals.

    Up to three axes: the product of Gauss and Hermite's rule. Beyond, the corners of a two-level
    orthogonal array of strength 3 (a Hadamard matrix and its negative) and, up to eight axes, the
    same turned about the centre: exact for cubics, with two to four points an axis. Stroud (1971),
    Approximate Calculation of Multiple Integrals, section 3.9.

    Returns
    -------
    points : (n, k) array
    weights : (n,) array
        They sum to 1.
    """
    if k <= 3:
        node, weight = np.polynomial.hermite_e.hermegauss({1: 7, 2: 5, 3: 3}[k])
        points = np.array(list(product(node, repeat=k)))
        weights = np.prod(list(product(weight, repeat=k)), axis=1)
        return points, weights / weights.sum()
    half = hadamard(1 << (k - 1).bit_length())[:, :k].astype(float)
    corners = np.vstack([half, -half])
    both = [corners, dct(corners, norm="ortho")]
    points = corners if len(corners) > 16 else np.vstack(both)
    return points, np.full(len(points), 1 / len(points))


def integrated_mixture(at_best: Posterior, fit: Movable) -> Mixture:
    """Mix what is known at several values of the standard deviations, by their density."""
    axes = square_root(fit.log_sd_covariance())
    density, parts = [], []
    for z, weight in zip(*normal_rule(fit.log_sd.size), strict=True):
        found = fit.given(fit.log_sd + axes @ z)
        if found is not None:
            density.append(np.log(weight) + found[0] + 0.5 * float(z @ z))
            parts.append(found[1])
    weights = np.exp(np.array(density) - max(density))
    return Mixture(at_best, weights / weights.sum(), tuple(parts))
