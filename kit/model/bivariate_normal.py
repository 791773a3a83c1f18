"""Chances of two normal values that are correlated."""

from functools import cache

import numpy as np
from scipy.special import ndtr

from kit.mixed import Array

# Gauss-Legendre points that keep the error below 1e-5 up to each correlation.
_POINTS = ((0.3, 5), (0.7, 10), (1.0, 24))


def both_below(h: Array, k: Array, rho: Array | float) -> Array:
    """P(X <= h and Y <= k) for standard normal X and Y of correlation rho.

    Plackett's identity, integrated by Gauss-Legendre: Drezner and Wesolowsky (1990), On the
    computation of the bivariate normal integral, Journal of Statistical Computation and
    Simulation 35.

    Parameters
    ----------
    h, k, rho : arrays that broadcast together, or one rho for all; -1 < rho < 1
    """
    # Bounds without end are as good as these, and can be multiplied.
    h, k = np.clip(h, -30.0, 30.0), np.clip(k, -30.0, 30.0)
    p, q = ndtr(h), ndtr(k)
    steepest = float(np.max(np.abs(rho), initial=0.0))
    points = next(points for bound, points in _POINTS if steepest <= bound)
    squares, product = h**2 + k**2, 2 * h * k
    joint = p * q + 0.0 * np.asarray(rho)
    for part, w in _gauss_legendre(points) if steepest else ():
        r = rho * part
        left = 1 - r**2
        density = np.asarray(product * (r / (2 * left)))
        density -= squares * (0.5 / left)
        np.exp(density, out=density)
        density *= rho * w / (4 * np.pi * np.sqrt(left))
        joint += density
    joined: Array = np.clip(joint, np.maximum(0.0, p + q - 1), np.minimum(p, q))
    return joined


@cache
def _gauss_legendre(points: int) -> tuple[tuple[float, float], ...]:
    """Nodes from 0 to 1, and their weights."""
    node, weight = np.polynomial.legendre.leggauss(points)
    return tuple(zip(0.5 * (node + 1), weight, strict=True))
