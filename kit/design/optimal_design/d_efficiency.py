"""How good a plan is: against the best conceivable, and against another plan.

The bound comes from the best division of effort over all cells (the approximate design), found
by the multiplicative algorithm and certified by the equivalence theorem, so that it holds even
where the algorithm has not fully converged (Pukelsheim 1993, Optimal Design of Experiments).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.optimal_design.d_criterion import CovarianceStructure, VarianceRatios, log_det
from kit.design.optimal_design.design_space import Factors, FactorSpace, factor_space
from kit.design.optimal_design.model_terms import Candidates, candidates
from kit.errors import Misuse
from kit.wording import percent

_MOST_CELLS = 20_000
_ITERATIONS = 400


@dataclass(frozen=True)
class Efficiency:
    """How much a plan tells about a model.

    Parameters
    ----------
    d_value : float
        Information a patch, det(M)^(1/p) / n. It is 1 for a plan that fires every combination
        equally often when tiles do not differ.
    d_bound : float
        No plan of this size can have a higher `d_value`; NaN where there are too many
        combinations to say.
    """

    d_value: float
    d_bound: float

    @property
    def d_against_bound(self) -> float:
        """Share of the best conceivable information, at most 1."""
        return self.d_value / self.d_bound

    def describe(self) -> str:
        """Say in words how good the plan is."""
        if np.isnan(self.d_bound):
            return "There are too many combinations to say how near the plan is to the best."
        return (
            f"The effects are as sure as {percent(self.d_against_bound)} of this number of patches "
            "could make them in the best conceivable plan. (No real plan need reach all of it.)"
        )


def efficiency(
    plan: pd.DataFrame,
    factors: Factors,
    terms: str | None = None,
    *,
    tile_factors: Sequence[str] = (),
    tile_variance_ratio: float = 1.0,
    session_variance_ratio: float = 0.0,
) -> Efficiency:
    """Work out how much a plan tells about a model.

    Parameters
    ----------
    plan : pandas.DataFrame
        A `tile` column, a column a factor in the levels given, `session` if tiles share sessions.
    factors, terms, tile_factors, tile_variance_ratio, session_variance_ratio
        As for `kit.design.optimal`.

    Raises
    ------
    Misuse
        When the plan does not fit the factors, or cannot estimate the model.
    """
    model = candidates(factor_space(factors, tile_factors), terms)
    ratios = VarianceRatios(tile_variance_ratio, session_variance_ratio)
    value, layout = information_of(plan, model, ratios)
    if np.isneginf(value):
        raise Misuse("This plan cannot tell all the terms apart, so it has no efficiency.")
    n = len(layout.tile)
    return Efficiency(
        float(np.exp(value / model.p) / n),
        float(np.exp(log_det_bound(model, layout) / model.p) / n),
    )


def relative_efficiency(
    plan: pd.DataFrame,
    other: pd.DataFrame,
    factors: Factors,
    terms: str | None = None,
    *,
    tile_variance_ratio: float = 1.0,
) -> float:
    """Hold a plan against another of the same factors and model: above 1, the first is better.

    Returns
    -------
    float
        (det M / det M_other)^(1/p).

    Raises
    ------
    Misuse
        When a plan does not fit the factors, or cannot estimate the model.
    """
    model = candidates(factor_space(factors), terms)
    ratios = VarianceRatios(tile_variance_ratio)
    one, two = (information_of(frame, model, ratios)[0] for frame in (plan, other))
    if np.isneginf([one, two]).any():
        raise Misuse("One of the plans cannot tell all the terms apart, so it has no efficiency.")
    return float(np.exp((one - two) / model.p))


def information_of(
    plan: pd.DataFrame, model: Candidates, ratios: VarianceRatios
) -> tuple[float, CovarianceStructure]:
    """log det M of a plan given as a frame, and the structure it was read with."""
    cells, layout = cells_of(plan, model.grid, ratios)
    x = model.x[cells]
    return float(log_det((x.T @ layout.precision @ x)[None])[0]), layout


def cells_of(
    plan: pd.DataFrame, grid: FactorSpace, ratios: VarianceRatios
) -> tuple[np.ndarray, CovarianceStructure]:
    """Number the cells of a plan's patches and say what they share.

    Parameters
    ----------
    plan : pandas.DataFrame
        A row a patch, with a `tile` column and one column a factor; `session` if there is one.
    grid : FactorSpace
    ratios : VarianceRatios

    Raises
    ------
    Misuse
        When a column is missing, a level is unknown or a tile factor changes within a tile.
    """
    if "tile" not in plan:
        raise Misuse("A plan needs a column 'tile' that says which tile each patch is on.")
    plan = plan.sort_values("tile", kind="stable").reset_index(drop=True)
    for name in grid.tile_factors:
        if name in plan and len(plan[["tile", name]].drop_duplicates()) > plan["tile"].nunique():
            raise Misuse(f"{name} changes within a tile of the plan, but is a tile factor.")
    cells = grid.cells(plan, "the plan")
    tile = pd.factorize(plan["tile"])[0]
    session = pd.factorize(plan["session"])[0] if "session" in plan else np.zeros(len(plan), int)
    return cells, CovarianceStructure(tile, session, ratios)


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
    moments: np.ndarray = x.T @ (weight[:, None] * x)
    return moments


def _quadratic(x: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    quadratic: np.ndarray = np.einsum("cp,cp->c", x @ matrix, x)
    return quadratic
