"""How good any plan could ever be, so that a plan can be held against it.

The bound comes from the best division of effort over all cells (the approximate design), found
by the multiplicative algorithm and certified by the equivalence theorem, so that it holds even
where the algorithm has not fully converged (Pukelsheim 1993, Optimal Design of Experiments).
"""

import numpy as np

from kit.design.optimal_design.covariance_structure import CovarianceStructure
from kit.design.optimal_design.model_terms import Candidates

_MOST_CELLS = 20_000
_ITERATIONS = 400


def log_det_bound(candidates: Candidates, structure: CovarianceStructure) -> float:
    """Least upper bound known for log det M of a plan with this structure; NaN if too large.

    Notes
    -----
    Columns that only tile factors decide, q of them, are worth at most 1 / (1 + k d) a patch on
    tiles of k or more patches with tile variance ratio d, and the rest at most 1, so that
    log det M <= p log n - q log(1 + k d) + max log det over approximate designs.
    """
    x = candidates.x
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
    shrinkage = candidates.by_tile * np.log1p(smallest * structure.ratios.tile)
    return float(candidates.p * np.log(len(structure.tile)) - shrinkage + best)


def _moments(x: np.ndarray, weight: np.ndarray) -> np.ndarray:
    return x.T @ (weight[:, None] * x)


def _quadratic(x: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    return np.einsum("cp,cp->c", x @ matrix, x)
