"""How good a plan is: against the best conceivable, and against another plan."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.optimal_design.d_bound import average_variance_bound, log_det_bound
from kit.design.optimal_design.d_criterion import DCriterion, ICriterion
from kit.design.optimal_design.factor_space import Factors, grid
from kit.design.readback import read_plan
from kit.design.rule import forbidden
from kit.design.optimal_design.covariance_structure import Spread
from kit.design.optimal_design.model_terms import candidates
from kit.errors import Misuse


@dataclass(frozen=True)
class Efficiency:
    """How much a plan tells about a model.

    Parameters
    ----------
    d_value : float
        Information a patch, det(M)^(1/p) / n. It is 1 for a plan that fires every combination
        equally often when tiles do not differ.
    i_value : float
        Average variance of a foretold value over the region, in units of one patch's variance.
    d_bound, i_bound : float
        No plan of this size can have a higher `d_value` or a lower `i_value`; NaN where there
        are too many combinations to say.
    """

    d_value: float
    i_value: float
    d_bound: float
    i_bound: float

    @property
    def d_against_bound(self) -> float:
        """Share of the best conceivable information, at most 1."""
        return self.d_value / self.d_bound

    @property
    def i_against_bound(self) -> float:
        """Best conceivable average variance over this plan's, at most 1."""
        return self.i_bound / self.i_value

    def describe(self) -> str:
        """Say in words how good the plan is."""
        if np.isnan(self.d_bound):
            return "There are too many combinations to say how near the plan is to the best."
        return (
            f"The effects are as sure as {self.d_against_bound:.0%} of this number of patches "
            "could make them in the best conceivable plan, and a foretold value as sure as "
            f"{self.i_against_bound:.0%}. (No real plan need reach 100%.)"
        )


@dataclass(frozen=True)
class RelativeEfficiency:
    """One plan against another for the same model: above 1, the first is better.

    Parameters
    ----------
    d : float
        (det M / det M_other)^(1/p).
    i : float
        Average variance of a foretold value of the other plan over that of the first.
    """

    d: float
    i: float


def efficiency(
    plan: pd.DataFrame,
    factors: Factors,
    terms: str | None = None,
    *,
    tile_factors: Sequence[str] = (),
    tile_variance_ratio: float = 1.0,
    session_variance_ratio: float = 0.0,
    patch_variance_ratio: float = 0.0,
    rule: str | None = None,
    graded_at: str | None = None,
) -> Efficiency:
    """Work out how much a plan tells about a model.

    Parameters
    ----------
    plan : pandas.DataFrame
        A `tile` column, a column a factor in the levels given, `session` if tiles share sessions.
    factors, terms, tile_factors, tile_variance_ratio, session_variance_ratio, \
patch_variance_ratio, rule, graded_at
        As for `kit.design.optimal`.

    Raises
    ------
    Misuse
        When the plan does not fit the factors, or cannot estimate the model.
    """
    space = grid(factors, tile_factors)
    model = candidates(space, terms)
    spread = Spread(tile_variance_ratio, session_variance_ratio, patch_variance_ratio)
    cells, structure = read_plan(plan, space, spread, graded_at)
    x = model.x[cells]
    information = (x.T @ structure.precision @ x)[None]
    log_det = DCriterion().values(information)[0]
    if np.isneginf(log_det):
        raise Misuse("This plan cannot tell all the terms apart, so it has no efficiency.")
    allowed = np.ones(space.size, bool)
    if rule:
        allowed = ~forbidden(rule, space.frame(np.arange(space.size)))
    return Efficiency(
        float(np.exp(log_det / model.p) / structure.n),
        float(-ICriterion(model.moments).values(information)[0]),
        float(np.exp(log_det_bound(model, allowed, structure) / model.p) / structure.n),
        average_variance_bound(model, allowed, structure),
    )


def relative_efficiency(
    plan: pd.DataFrame,
    other: pd.DataFrame,
    factors: Factors,
    terms: str | None = None,
    *,
    tile_variance_ratio: float = 1.0,
) -> RelativeEfficiency:
    """Hold a plan against another one of the same factors and model.

    Raises
    ------
    Misuse
        When a plan does not fit the factors, or cannot estimate the model.
    """
    space = grid(factors)
    model = candidates(space, terms)
    values = []
    for frame in (plan, other):
        cells, structure = read_plan(frame, space, Spread(tile_variance_ratio))
        x = model.x[cells]
        information = (x.T @ structure.precision @ x)[None]
        values.append(
            (DCriterion().values(information)[0], ICriterion(model.moments).values(information)[0])
        )
    (d, i), (other_d, other_i) = values
    if np.isneginf([d, other_d]).any():
        raise Misuse("One of the plans cannot tell all the terms apart, so it has no efficiency.")
    return RelativeEfficiency(float(np.exp((d - other_d) / model.p)), float(other_i / i))
