"""The arithmetic under the search, against plain linear algebra and statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from kit.design.optimal_design import VarianceRatios, candidates, factor_space, structure
from kit.design.optimal_design.d_criterion import Change, gains, log_det
from kit.design.optimal_design.d_efficiency import cells_of

FACTORS = {
    "base_family": ["leaded", "unleaded"],
    "mesh": [60, 80, 100],
    "coat_weight": [20.0, 40.0],
}
TERMS = "(base_family + mesh + coat_weight)**2 + I(mesh**2)"


def random_plan(seed: int, tiles: int = 6, patches: int = 4) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    n = tiles * patches
    return pd.DataFrame(
        {
            "tile": np.repeat(np.arange(1, tiles + 1), patches),
            "base_family": np.repeat(rng.choice(FACTORS["base_family"], tiles), patches),
            "mesh": rng.choice(FACTORS["mesh"], n),
            "coat_weight": rng.choice(FACTORS["coat_weight"], n),
        }
    )


@pytest.mark.parametrize("ratio", [0.0, 0.3, 1.0, 5.0])
def test_precision_is_the_inverse_of_the_split_plot_covariance(ratio: float) -> None:
    layout = structure(3, 4, None, VarianceRatios(ratio))
    tiles = np.kron(np.eye(3), np.ones((4, 4)))
    np.testing.assert_allclose(
        layout.precision @ (np.eye(12) + ratio * tiles), np.eye(12), atol=1e-12
    )


def test_information_is_that_of_statsmodels_gls() -> None:
    # statsmodels' GLS, given the covariance of the split plot, is the outside judge.
    plan = random_plan(1)
    space = factor_space(FACTORS, ["base_family"])
    model = candidates(space, TERMS)
    cells, layout = cells_of(plan, space, VarianceRatios(0.7))
    x = model.x[cells]
    tile = plan["tile"].to_numpy()
    covariance = np.eye(len(plan)) + 0.7 * (tile[:, None] == tile)
    fit = sm.GLS(np.arange(len(plan), dtype=float), x, sigma=covariance).fit()
    np.testing.assert_allclose(
        np.linalg.inv(x.T @ layout.precision @ x), fit.normalized_cov_params, rtol=1e-8, atol=1e-10
    )


@pytest.mark.parametrize("rows", [[5], [4, 5, 6, 7]])
def test_gains_and_updates_match_recomputing_from_scratch(rows: list[int]) -> None:
    space = factor_space(FACTORS, ["base_family"])
    model = candidates(space, TERMS)
    cells, layout = cells_of(random_plan(1), space, VarianceRatios(1.0))
    w = layout.precision
    rng = np.random.default_rng(0)
    proposals = rng.integers(0, space.size, (5, len(rows)))

    def information(these: np.ndarray) -> np.ndarray:
        return (model.x[these].T @ w @ model.x[these])[None]

    x = model.x[cells]
    change = Change(
        (w[rows] @ x)[None], (model.x[proposals] - x[rows])[None], w[np.ix_(rows, rows)]
    )
    inverse = np.linalg.inv(information(cells))
    for proposal, gain in zip(proposals, gains(inverse, change)[0], strict=True):
        after = cells.copy()
        after[rows] = proposal
        direct = log_det(information(after)) - log_det(information(cells))
        assert gain == pytest.approx(direct[0], rel=1e-6, abs=1e-8)
    after = cells.copy()
    after[rows] = proposals[0]
    taken = Change(change.u, change.d[:, :1], change.omega)
    np.testing.assert_allclose(
        taken.updated(inverse), np.linalg.inv(information(after)), rtol=1e-6, atol=1e-8
    )
