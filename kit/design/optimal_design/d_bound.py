"""How good any plan could ever be, so that a plan can be held against it.

Both bounds come from the best division of effort over all cells (the approximate design), found
by the multiplicative algorithm and certified by the equivalence theorem, so that they hold even
where the algorithm has not fully converged (Pukelsheim 1993, Optimal Design of Experiments).
"""

import numpy as np

from kit.design.optimal_design.covariance_structure import Structure
from kit.design.optimal_design.model_terms import Candidates

_MOST_CELLS = 20_000
_ITERATIONS = 400


def log_det_bound(candidates: Candidates, allowed: np.ndarray, structure: Structure) -> float:
    """Least upper bound known for log det M of a plan with this structure; NaN if too large.

    Notes
    -----
    Columns that only tile factors decide, q of them, are worth at most 1 / (1 + k d) a patch on
    tiles of k or more patches with tile variance ratio d, and the rest at most 1, so that
    log det M <= p log n - q log(1 + k d) + max log det over approximate designs.
    """
    x = candidates.x[allowed]
    if len(x) > _MOST_CELLS:
        return np.nan
    weight = np.full(len(x), 1 / len(x))
    for _ in range(_ITERATIONS):
        variance = _quadratic(x, np.linalg.inv(_moments(x, weight)))
        weight *= variance / candidates.p
    information = _moments(x, weight)
    slack = _quadratic(x, np.linalg.inv(information)).max() - candidates.p
    best = np.linalg.slogdet(information)[1] + slack
    smallest = np.bincount(structure.tile).min()
    shrinkage = candidates.by_tile * np.log1p(smallest * structure.spread.tile)
    return float(candidates.p * np.log(structure.n) - shrinkage + best)


def average_variance_bound(
    candidates: Candidates, allowed: np.ndarray, structure: Structure
) -> float:
    """Largest lower bound known for trace(M^-1 B) of a plan with this structure; NaN if too large.

    Notes
    -----
    An unbiased estimate L y of the coefficients has variance LL' + d LZZ'L'. The first part is at
    least what independent patches give, the second at least what the T tiles' settings give for
    the columns that only tile factors decide; each is bounded by its own approximate design.
    """
    x = candidates.x[allowed]
    if len(x) > _MOST_CELLS:
        return np.nan
    basis = candidates.by_tile_basis
    patches = _least_average_variance(x, candidates.moments) / structure.n
    tiles = structure.tile[-1] + 1
    by_tile = _least_average_variance(
        np.unique(np.round(x @ basis, 12), axis=0), basis.T @ candidates.moments @ basis
    )
    return float(patches + structure.spread.tile * by_tile / tiles)


def _least_average_variance(x: np.ndarray, moments: np.ndarray) -> float:
    weight = np.full(len(x), 1 / len(x))
    for _ in range(_ITERATIONS):
        inverse = np.linalg.inv(_moments(x, weight))
        pull = np.sqrt(_quadratic(x, inverse @ moments @ inverse))
        weight = weight * pull / (weight @ pull)
    inverse = np.linalg.inv(_moments(x, weight))
    weighted = inverse @ moments @ inverse
    return float(np.sum(inverse * moments) ** 2 / _quadratic(x, weighted).max())


def _moments(x: np.ndarray, weight: np.ndarray) -> np.ndarray:
    return x.T @ (weight[:, None] * x)


def _quadratic(x: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    return np.einsum("cp,cp->c", x @ matrix, x)
